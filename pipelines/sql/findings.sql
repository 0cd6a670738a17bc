-- What the temporary table raised holds becomes findings, each touched by this load.
CREATE OR REPLACE TEMP TABLE newly_found AS
SELECT
    (SELECT coalesce(max(finding.finding_id), 0) FROM finding)
        + row_number() OVER (ORDER BY line_id, rule_no) AS finding_id,
    line_id, severity, name AS rule, column_heading, cell,
    column_heading || ' is ' || coalesce('"' || cell || '"', 'blank') || ', ' || wanted AS message,
    remedy, rule_values
FROM raised;

INSERT INTO finding BY NAME FROM newly_found;

INSERT INTO touched SELECT finding_id FROM newly_found;
