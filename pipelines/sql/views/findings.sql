-- Title:   What was refused or doubted, and why
-- Grain:   finding_id
-- Reads:   finding, line, source_file
-- Notes:   line is the physical line in the file as it was loaded.
SELECT
    finding.finding_id,
    line.sheet,
    source_file.name AS file,
    line.line,
    finding.severity,
    finding.rule,
    finding.column_heading,
    finding.cell,
    finding.message,
    finding.remedy,
    line.cells,
    finding.is_open
FROM finding
JOIN line USING (line_id)
JOIN source_file USING (file_id)
