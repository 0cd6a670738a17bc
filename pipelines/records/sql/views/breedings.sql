-- Title:   Every breeding with its outcome as far as it is known
-- Grain:   breeding_id
-- Reads:   breedings_seen
-- Notes:   Without the doubtful lines; cautions read breedings_seen. Columns as there.
SELECT * EXCLUDE (is_doubtful)
FROM breedings_seen
WHERE NOT is_doubtful
