-- What the staged lines of a sheet are: new, unchanged, changed, refused; and what that settles.
-- Reads what accept.sql left, and lines, answering, this_sheet() and cells_of(); leaves the temporary
-- relations refused, apart, outcome, numbered and settled.

-- A refused line that is kept already, word for word, is not kept again.
CREATE OR REPLACE TEMP TABLE refused AS
SELECT doomed.n, listed.cells, kept.line_id AS kept_line_id, kept.line_id IS NULL
    AND row_number() OVER (PARTITION BY listed.cells ORDER BY doomed.n) = 1 AS is_new
FROM doomed
JOIN cells_of('doomed') AS listed USING (n)
LEFT JOIN (
    SELECT cells, min(line_id) AS line_id
    FROM line
    WHERE sheet = this_sheet() AND state = 'refused'
    GROUP BY cells
) AS kept ON kept.cells = listed.cells;

-- The lines that are not simply new.
CREATE OR REPLACE TEMP TABLE apart AS
SELECT matched.n, matched.entry_id, matched.version + 1 AS version, matched.line_id AS old_line_id,
    CASE WHEN line.cells = lines.cells THEN 'unchanged' ELSE 'changed' END AS standing
FROM matched
JOIN line USING (line_id)
JOIN lines USING (n)
UNION ALL
SELECT n, entry_id, version + 1, line_id, 'changed' FROM corrected
UNION ALL
SELECT n, NULL, NULL, NULL, 'repeated' FROM repeated
UNION ALL
SELECT
    refused.n, known.entry_id, NULL, NULL,
    CASE WHEN refused.is_new THEN 'refused' ELSE 'refused before' END
FROM refused
JOIN identified USING (n)
LEFT JOIN known
    ON known.subject = identified.subject
    AND known.day IS NOT DISTINCT FROM identified.day
    AND known.mark = identified.mark;

CREATE OR REPLACE TEMP TABLE outcome AS
SELECT
    -- The sound lines are those neither doomed nor repeated.
    (SELECT count(*) FROM lines) - (SELECT count(*) FROM doomed) - (SELECT count(*) FROM repeated)
        - count(*) FILTER (WHERE standing IN ('unchanged', 'changed')) AS n_new,
    count(*) FILTER (WHERE standing IN ('unchanged', 'repeated')) AS n_unchanged,
    count(*) FILTER (WHERE standing = 'changed') AS n_changed,
    count(*) FILTER (WHERE standing IN ('refused', 'refused before')) AS n_refused
FROM apart;

-- Ids come from one count; the lines that are left out of it (unchanged ones) leave gaps.
SET VARIABLE before_first_line_id =
    (SELECT coalesce(max(line_id), 0) + 1 FROM line) - (SELECT min(n) FROM lines);
SET VARIABLE before_first_entry_id =
    (SELECT coalesce(max(entry_id), 0) + 1 FROM line) - (SELECT min(n) FROM lines);

-- The lines to write, of a relation that has them all, with their ids.
CREATE OR REPLACE TEMP MACRO numbered(relation) AS TABLE
SELECT
    lines.*,
    getvariable('before_first_line_id') + lines.n AS line_id,
    CASE WHEN apart.n IS NULL THEN getvariable('before_first_entry_id') + lines.n
        ELSE apart.entry_id END AS entry_id,
    CASE WHEN apart.n IS NULL THEN 1 ELSE apart.version END AS version,
    CASE WHEN apart.standing = 'refused' THEN CAST('refused' AS line_state)
        ELSE CAST('current' AS line_state) END AS state
FROM query_table(relation) AS lines
LEFT JOIN apart ON apart.n = lines.n
WHERE apart.n IS NULL OR apart.standing IN ('changed', 'refused');

-- What is settled by this load: replaced lines, and refused ones whose matter came in sound or that
-- are gone from their renewed file.
CREATE OR REPLACE TEMP TABLE settled AS
SELECT old_line_id AS line_id FROM apart WHERE standing = 'changed'
UNION
SELECT answering.line_id
FROM answering
JOIN line USING (line_id)
JOIN sound USING (n)
WHERE line.state = 'refused'
UNION
SELECT line.line_id
FROM line
JOIN source_file USING (file_id)
WHERE line.sheet = this_sheet() AND line.state = 'refused'
    AND line.line_id NOT IN (SELECT kept_line_id FROM refused WHERE kept_line_id IS NOT NULL)
    AND (
        source_file.name IN (SELECT renewed.name FROM renewed)
        OR EXISTS (
            SELECT 1 FROM sound
            WHERE sound.subject = line.subject
                AND sound.day IS NOT DISTINCT FROM line.day
                AND sound.mark = line.mark
        )
    );

UPDATE line SET state = 'superseded' WHERE line_id IN (SELECT line_id FROM settled);

UPDATE finding
SET closed_by = 'corrected'
WHERE closed_by IS NULL AND line_id IN (SELECT line_id FROM settled);
