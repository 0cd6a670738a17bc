-- How well a fit predicts, and what hangs on the published numbers: computed once, when it is fitted.
ALTER TABLE fit ADD COLUMN checks VARCHAR;
