-- What the last axis of a kept parameter counts (names of studs, bitches, …), in order, and the last
-- load that a fit has read.
ALTER TABLE fit_draws ADD COLUMN labels VARCHAR;
ALTER TABLE fit ADD COLUMN load_id BIGINT;
