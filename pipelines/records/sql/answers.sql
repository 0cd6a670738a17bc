-- Which kept line each staged line is given as the correction of: the one whose digest it names.
-- A line answers one, and is answered by one.
CREATE OR REPLACE TEMP TABLE answering AS
SELECT lines.n, kept.line_id, kept.digest
FROM lines
JOIN (
    SELECT line_id, line_digest(sheet, cells) AS digest
    FROM line
    WHERE sheet = this_sheet() AND state IN ('current', 'refused')
) AS kept ON kept.digest = lines.answers
QUALIFY row_number() OVER (PARTITION BY kept.line_id ORDER BY lines.n) = 1
    AND row_number() OVER (PARTITION BY lines.n ORDER BY kept.line_id) = 1;
