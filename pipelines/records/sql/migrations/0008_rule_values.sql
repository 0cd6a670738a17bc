-- A finding keeps what its rule printed, so that it can be told in the reader's language; those of
-- earlier versions kept only their English sentence and go on showing it.
ALTER TABLE finding ADD COLUMN rule_values VARCHAR;
