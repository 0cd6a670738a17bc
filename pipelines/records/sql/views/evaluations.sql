-- Title:   Every reading of semen, and every attempt that gave none
-- Grain:   evaluation_id
-- Reads:   evaluations_seen
-- Notes:   Without the doubtful lines; cautions read evaluations_seen. Columns as there.
SELECT * EXCLUDE (is_doubtful)
FROM evaluations_seen
WHERE NOT is_doubtful
