-- Title:   Every mating and insemination, with its heat, its dose and its semen
-- Grain:   insemination_id
-- Reads:   inseminations_seen
-- Notes:   Without the doubtful lines; cautions read inseminations_seen. Columns as there.
SELECT * EXCLUDE (is_doubtful)
FROM inseminations_seen
WHERE NOT is_doubtful
