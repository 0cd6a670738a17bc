-- Title:   How often this kennel repeats a test or an evaluation
-- Grain:   interval_id
-- Reads:   repeat_interval, doubtful_entries
-- Notes:   what is a part of a test's name, or the word evaluation. Doubtful lines are left
--          out.
SELECT interval_id, what, repeat_days
FROM repeat_interval
ANTI JOIN doubtful_entries USING (entry_id)
