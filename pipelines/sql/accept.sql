-- From typed lines to entries: what is new, unchanged, changed, refused.
-- Reads the temporary tables typed and found; leaves accepted (new and changed lines with their
-- entry_id) and outcome (the counts).

-- The same line twice in one load is one line; the same key with different cells is refused.
INSERT INTO found
SELECT
    line_id, 'refused', 'two versions of one line', 'Notes', NULL,
    'Two lines of this load are about the same thing and differ',
    'Keep the right one; to enter a second one on that day, fill in its time.'
FROM typed
WHERE key IN (
    SELECT key FROM typed
    WHERE line_id NOT IN (SELECT line_id FROM found WHERE severity = 'refused')
    GROUP BY key
    HAVING count(DISTINCT cells) > 1
);

CREATE OR REPLACE TEMP TABLE sound AS
SELECT *
FROM typed
WHERE line_id NOT IN (SELECT line_id FROM found WHERE severity = 'refused')
QUALIFY row_number() OVER (PARTITION BY key ORDER BY line_id) = 1;

-- A refused line that is already kept word for word is not kept again.
CREATE OR REPLACE TEMP TABLE newly_refused AS
SELECT typed.line_id, typed.file_id, typed.line, typed.cells
FROM typed
WHERE line_id IN (SELECT line_id FROM found WHERE severity = 'refused')
    AND NOT EXISTS (
        SELECT 1 FROM line
        WHERE line.sheet = $sheet AND line.state = 'refused' AND line.cells = typed.cells
    )
QUALIFY row_number() OVER (PARTITION BY cells ORDER BY line_id) = 1;

CREATE OR REPLACE TEMP TABLE compared AS
SELECT
    sound.line_id,
    entry.entry_id AS known_entry_id,
    CASE
        WHEN entry.entry_id IS NULL THEN 'new'
        WHEN line.cells = sound.cells THEN 'unchanged'
        ELSE 'changed'
    END AS standing
FROM sound
LEFT JOIN entry ON entry.sheet = $sheet AND entry.key = sound.key
LEFT JOIN line ON line.entry_id = entry.entry_id AND line.state = 'current';

CREATE OR REPLACE TEMP TABLE accepted AS
SELECT
    coalesce(
        compared.known_entry_id,
        (SELECT coalesce(max(entry.entry_id), 0) FROM entry) + row_number() OVER (
            PARTITION BY compared.known_entry_id IS NULL
            ORDER BY sound.line_id
        )
    ) AS entry_id,
    sound.*
FROM sound
JOIN compared USING (line_id)
WHERE compared.standing <> 'unchanged';

UPDATE line
SET state = 'superseded'
WHERE state = 'current' AND entry_id IN (SELECT entry_id FROM accepted);

INSERT INTO entry
SELECT entry_id, $sheet, key
FROM accepted
WHERE entry_id NOT IN (SELECT entry_id FROM entry);

INSERT INTO line
SELECT line_id, entry_id, file_id, line, $sheet, cells, 'current' FROM accepted
UNION ALL
SELECT line_id, NULL, file_id, line, $sheet, cells, 'refused' FROM newly_refused;

-- A finding stays open until the line it is about is superseded.
UPDATE finding
SET is_open = FALSE
WHERE line_id IN (SELECT line_id FROM line WHERE state = 'superseded');

INSERT INTO finding
SELECT
    (SELECT coalesce(max(finding.finding_id), 0) FROM finding)
        + row_number() OVER (ORDER BY line_id, column_heading, rule),
    line_id, severity, rule, column_heading, cell, message, remedy, TRUE
FROM found
WHERE line_id IN (SELECT line_id FROM newly_refused)
    OR line_id IN (SELECT line_id FROM accepted);

CREATE OR REPLACE TEMP TABLE outcome AS
SELECT
    (SELECT count(*) FROM compared WHERE standing = 'new') AS n_new,
    (SELECT count(*) FROM compared WHERE standing = 'unchanged') AS n_unchanged,
    (SELECT count(*) FROM compared WHERE standing = 'changed') AS n_changed,
    (SELECT count(DISTINCT line_id) FROM found WHERE severity = 'refused') AS n_refused,
    (
        SELECT count(*) FROM found
        WHERE severity = 'question' AND line_id IN (SELECT line_id FROM accepted)
    ) AS n_questions;
