-- Title:   How often this kennel repeats a test or an evaluation
-- Grain:   interval_id
-- Reads:   repeat_interval
-- Notes:   what is a part of a test's name, or the word evaluation.
SELECT interval_id, what, repeat_days
FROM repeat_interval
