-- A finding keeps its rule and what the rule printed, and is told from them to whoever reads it. The
-- texts of earlier versions stay: a file of before 0008 has no values to tell its findings from.
ALTER TABLE finding ALTER COLUMN message DROP NOT NULL;
ALTER TABLE finding ALTER COLUMN remedy DROP NOT NULL;
