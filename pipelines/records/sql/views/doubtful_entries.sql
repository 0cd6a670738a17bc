-- Title:   Lines that count only once somebody has confirmed them
-- Grain:   entry_id
-- Reads:   finding, line
-- Notes:   A line is doubtful as long as one of its doubtful findings is open. Views that models, sums
--          and numbers are made of leave it out; the view of the same name with _seen holds it too,
--          with is_doubtful, for the cautions: they read each of its values as it was typed, which is
--          the worse reading, at once, so that no doubt hides a sample without sperm.
SELECT DISTINCT line.entry_id
FROM finding
JOIN line USING (line_id)
WHERE finding.severity = 'doubtful' AND finding.closed_by IS NULL AND line.state = 'current'
