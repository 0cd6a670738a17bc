-- The inbreeding coefficient that a pedigree expects of the litter, as the owner wrote it down.
ALTER TABLE breeding ADD COLUMN litter_inbreeding_pct DOUBLE;
