-- What the temporary table raised holds becomes findings, each touched by this load.
-- A refused line is not asked about on top of it. A doubt that was confirmed stays so when the line
-- changes elsewhere.
DELETE FROM raised WHERE state = 'refused' AND severity <> 'refused';

DELETE FROM raised
WHERE severity = 'doubtful' AND EXISTS (
    SELECT 1
    FROM line AS own
    JOIN line AS earlier ON earlier.entry_id = own.entry_id
    JOIN finding ON finding.line_id = earlier.line_id
    WHERE own.line_id = raised.line_id AND finding.rule = raised.name
        AND finding.column_heading = raised.column_heading
        AND finding.cell IS NOT DISTINCT FROM raised.cell AND finding.closed_by = 'confirmed'
);

CREATE OR REPLACE TEMP TABLE newly_found AS
SELECT
    (SELECT coalesce(max(finding.finding_id), 0) FROM finding)
        + row_number() OVER (ORDER BY line_id, rule_no) AS finding_id,
    line_id, severity, name AS rule, column_heading, cell, rule_values
FROM raised;

INSERT INTO finding BY NAME FROM newly_found;

INSERT INTO touched SELECT finding_id FROM newly_found;

INSERT INTO made SELECT finding_id FROM newly_found;
