-- The lines that accept.sql lets in or refuses, written down, and what is raised about them.
-- Reads what accept.sql left, once the lines that bring nothing new are out of the staged ones;
-- leaves the temporary table raised.

INSERT INTO source_file
SELECT staged_file.file_id, this_load(), staged_file.name, this_sheet(), staged_file.sha256,
    staged_file.n_lines
FROM staged_file
WHERE staged_file.file_no IN (SELECT file_no FROM numbered('lines'));

INSERT INTO line
SELECT
    numbered.line_id, numbered.entry_id, numbered.version, staged_file.file_id, numbered.line,
    this_sheet(), numbered.subject, numbered.day, numbered.mark, numbered.cells, numbered.state, NULL
FROM numbered('identified') AS numbered
JOIN staged_file USING (file_no);

-- A new line of a dog and day of which another line is on record, and not in this load.
INSERT INTO found
SELECT numbered.n, rule_row.rule_no
FROM numbered('identified') AS numbered
SEMI JOIN (FROM known ANTI JOIN matched USING (line_id) ANTI JOIN corrected USING (line_id))
    AS other ON other.subject = numbered.subject AND other.day = numbered.day
JOIN rule_row ON rule_row.name = 'another line of that day'
WHERE numbered.version = 1;

CREATE OR REPLACE TEMP TABLE raised AS
SELECT numbered.line_id, numbered.state, rule_row.*, listed.cells ->> (rule_row.position - 1) AS cell
FROM found
JOIN rule_row USING (rule_no)
JOIN numbered('identified') AS numbered USING (n)
JOIN cells_of('found') AS listed USING (n)
UNION ALL
SELECT gone.line_id, 'current', rule_row.*, line.cells ->> (rule_row.position - 1)
FROM gone
ANTI JOIN corrected USING (line_id)
ANTI JOIN moved USING (line_id)
JOIN line USING (line_id)
JOIN rule_row ON rule_row.name = 'gone from its file'
WHERE NOT EXISTS (
    SELECT 1 FROM finding
    WHERE finding.line_id = gone.line_id
        AND finding.rule IN ('gone from its file', 'the same on another day')
)
UNION ALL
SELECT
    moved.line_id, 'current',
    rule_row.* REPLACE (
        replace(replace(replace(
            rule_row.rule_values, '@day@', moved.day), '@line@', CAST(moved.line AS VARCHAR)),
            '@file@', CAST(to_json(moved.file) AS VARCHAR)[2:-2]) AS rule_values
    ),
    line.cells ->> (rule_row.position - 1)
FROM moved
JOIN line USING (line_id)
JOIN rule_row ON rule_row.name = 'the same on another day'
WHERE NOT EXISTS (
    SELECT 1 FROM finding
    WHERE finding.line_id = moved.line_id AND finding.rule = 'the same on another day'
        AND (finding.closed_by IS NULL OR finding.closed_by = 'confirmed')
);

-- A line that was refused before, and is refused for another reason now: the dog that it names has come
-- in meanwhile, or another rule speaks.
CREATE OR REPLACE TEMP TABLE refused_again AS
SELECT
    refused.kept_line_id AS line_id, CAST('refused' AS line_state) AS state, rule_row.*,
    refused.cells ->> (rule_row.position - 1) AS cell
FROM refused
JOIN found USING (n)
JOIN rule_row USING (rule_no)
WHERE refused.kept_line_id IS NOT NULL AND rule_row.severity = 'refused';

INSERT INTO raised
SELECT DISTINCT again.*
FROM refused_again AS again
WHERE NOT EXISTS (
    SELECT 1 FROM finding
    WHERE finding.line_id = again.line_id AND finding.rule = again.name
        AND finding.column_heading = again.column_heading AND finding.closed_by IS NULL
);

UPDATE finding
SET closed_by = 'corrected'
WHERE closed_by IS NULL
    AND line_id IN (SELECT line_id FROM refused_again)
    AND NOT EXISTS (
        SELECT 1 FROM refused_again AS again
        WHERE again.line_id = finding.line_id AND again.name = finding.rule
            AND again.column_heading = finding.column_heading
    );

UPDATE finding
SET closed_by = 'corrected'
WHERE rule IN ('gone from its file', 'the same on another day') AND closed_by IS NULL
    AND line_id IN (SELECT line_id FROM matched);

-- Findings about refused lines that came again unchanged are still open.
INSERT INTO touched
SELECT finding_id
FROM finding
WHERE closed_by IS NULL
    AND line_id IN (SELECT kept_line_id FROM refused WHERE kept_line_id IS NOT NULL);
