-- Title:   What was refused or doubted, and why
-- Grain:   finding_id
-- Reads:   finding, line, source_file
-- Notes:   line is the physical line in the file as it was loaded. rule and rule_values tell a finding
--          in any language; message and remedy are the English of files before schema 12.
--          A refused line is kept and not used, a doubtful one counts once it is confirmed, a question
--          is about a line that counts.
SELECT
    finding.finding_id,
    finding.severity,
    finding.rule,
    source_file.name AS file,
    line.line,
    finding.column_heading,
    finding.cell AS "text",
    finding.message,
    finding.remedy,
    CAST(line.sheet AS VARCHAR) AS sheet,
    finding.closed_by IS NULL AS is_open,
    finding.closed_by,
    line.line_id,
    CAST(line.state AS VARCHAR) AS state,
    line.cells,
    finding.rule_values
FROM finding
JOIN line USING (line_id)
JOIN source_file USING (file_id)
