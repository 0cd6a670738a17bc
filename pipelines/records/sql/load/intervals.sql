-- Rows of the Intervals sheet: how often this kennel repeats a test or an evaluation.
INSERT INTO repeat_interval
SELECT entry_id, entry_id, what, TRY_CAST(repeat_days AS INTEGER), notes FROM accepted;
