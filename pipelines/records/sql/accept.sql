-- What the staged lines of a sheet are: new, unchanged, changed, refused.
-- Reads the temporary relations identified, lines, found, rule_row, staged_file and answering, the
-- macros this_sheet(), this_load() and cells_of(); leaves the temporary relations apart, numbered,
-- sound, known, matched, corrected, gone, moved, refused, settled and outcome.
-- What is joined is small unless a sheet is loaded again: a new line stands in no other table.

CREATE OR REPLACE TEMP TABLE doomed AS
SELECT DISTINCT found.n
FROM found
JOIN rule_row USING (rule_no)
WHERE rule_row.severity = 'refused';

-- Lines of equal identity: with different cells they are refused together, else one stands for all.
-- A doomed line takes part when it says what it is about.
-- They are sought by a number made of the identity, which different ones may share, and then compared.
CREATE OR REPLACE TEMP TABLE alike AS
SELECT hash(subject, day, mark) AS number
FROM identified
GROUP BY ALL
HAVING count(*) > 1;

CREATE OR REPLACE TEMP TABLE twin AS
SELECT identified.n, identified.subject, identified.day, identified.mark
FROM identified
SEMI JOIN alike ON alike.number = hash(identified.subject, identified.day, identified.mark)
WHERE identified.subject IS NOT NULL
    AND (identified.day IS NOT NULL OR identified.n NOT IN (SELECT doomed.n FROM doomed))
QUALIFY count(*) OVER (PARTITION BY identified.subject, identified.day, identified.mark) > 1;

CREATE OR REPLACE TEMP TABLE conflicting AS
SELECT n
FROM twin
JOIN cells_of('twin') USING (n)
WINDOW identity AS (PARTITION BY subject, day, mark)
QUALIFY min(cells) OVER identity <> max(cells) OVER identity;

INSERT INTO found
SELECT conflicting.n, rule_row.rule_no
FROM conflicting
JOIN rule_row ON rule_row.name = 'two versions of one line';

INSERT INTO doomed FROM conflicting ANTI JOIN doomed USING (n);

CREATE OR REPLACE TEMP TABLE repeated AS
SELECT n
FROM twin
ANTI JOIN doomed USING (n)
QUALIFY row_number() OVER (PARTITION BY subject, day, mark ORDER BY n) > 1;

CREATE OR REPLACE TEMP VIEW sound AS
SELECT identified.n, identified.subject, identified.day, identified.mark
FROM identified
ANTI JOIN doomed USING (n)
ANTI JOIN repeated USING (n);

-- Lines that count now, with the file they came from.
CREATE OR REPLACE TEMP TABLE known AS
SELECT line.line_id, line.entry_id, line.version, line.subject, line.day, line.mark,
    source_file.name
FROM line
JOIN source_file USING (file_id)
WHERE line.sheet = this_sheet() AND line.state = 'current';

CREATE OR REPLACE TEMP TABLE matched AS
SELECT sound.n, known.line_id, known.entry_id, known.version, known.name
FROM sound
JOIN known
    ON sound.subject = known.subject
    AND sound.day IS NOT DISTINCT FROM known.day
    AND sound.mark = known.mark;

-- A file of this load is a new version of an earlier one of its name when it brings again at least
-- half of the lines that came from that one; only then does a line missing from it say something.
CREATE OR REPLACE TEMP TABLE renewed AS
SELECT staged_file.name
FROM (SELECT DISTINCT name FROM staged_file) AS staged_file
WHERE 2 * (SELECT count(*) FROM matched WHERE matched.name = staged_file.name)
    >= (SELECT count(*) FROM known WHERE known.name = staged_file.name);

-- A line given as the correction of a line that counts takes its place, whatever it is about now.
CREATE OR REPLACE TEMP TABLE replaced AS
SELECT sound.n, known.line_id, known.entry_id, known.version
FROM answering
JOIN sound USING (n)
JOIN known USING (line_id)
ANTI JOIN matched USING (n)
WHERE known.line_id NOT IN (SELECT matched.line_id FROM matched);

CREATE OR REPLACE TEMP TABLE gone AS
SELECT known.*
FROM known
ANTI JOIN matched USING (line_id)
ANTI JOIN replaced USING (line_id)
WHERE known.name IN (SELECT renewed.name FROM renewed);

-- A new line corrects the mark of an older one: where they are the only ones of their subject and
-- day, and the older one is gone from its renewed file, or is the same dog with more or less known.
CREATE OR REPLACE TEMP TABLE corrected AS
SELECT n, line_id, entry_id, version FROM replaced
UNION ALL
SELECT fresh.n, older.line_id, older.entry_id, older.version
FROM (
    SELECT sound.*
    FROM sound
    ANTI JOIN matched USING (n)
    ANTI JOIN replaced USING (n)
    WHERE (SELECT count(*) FROM known) > 0
    QUALIFY count(*) OVER (PARTITION BY sound.subject, sound.day) = 1
) AS fresh
JOIN (
    SELECT known.*, gone.line_id IS NOT NULL AS is_gone
    FROM known
    ANTI JOIN matched USING (line_id)
    ANTI JOIN replaced USING (line_id)
    LEFT JOIN gone USING (line_id)
    QUALIFY count(*) OVER (PARTITION BY known.subject, known.day) = 1
) AS older
    ON fresh.subject = older.subject
    AND fresh.day IS NOT DISTINCT FROM older.day
    AND (
        older.is_gone OR (this_sheet() = 'dogs' AND is_compatible(fresh.mark, older.mark))
    );

-- An older line that a new one seems to have taken from its day: the new one says the same but for the
-- day, or is about a day near by while the older one is gone from its renewed file. A line that is gone
-- from a file of another name is not seen to be gone; it takes a load that brings again half of the
-- sheet, or a file of its name, the same cells and a day near by. Shipments of one way are much
-- alike and are packed one by one, so a shipment must be gone. An older line whose day was put back
-- asks the same of the line that had taken its place.
CREATE OR REPLACE TEMP TABLE moved AS
WITH fresh AS (
    SELECT sound.* FROM sound ANTI JOIN matched USING (n) ANTI JOIN corrected USING (n)
    UNION ALL
    SELECT sound.*
    FROM sound
    JOIN matched USING (n)
    JOIN finding ON finding.line_id = matched.line_id
    WHERE finding.rule = 'the same on another day' AND finding.closed_by IS NULL
),

older AS (
    SELECT
        known.*, gone.line_id IS NOT NULL AS is_gone,
        2 * (SELECT count(*) FROM matched) >= (SELECT count(*) FROM known)
            OR known.name IN (SELECT staged_file.name FROM staged_file) AS is_missed
    FROM known
    ANTI JOIN matched USING (line_id)
    ANTI JOIN corrected USING (line_id)
    LEFT JOIN gone USING (line_id)
),

pair AS (
    SELECT
        fresh.n, fresh.day, older.line_id, older.is_gone,
        abs(date_diff('day', fresh.day, older.day)) AS n_days,
        is_slip_of_day(fresh.day, older.day) AS is_near,
        without_day(lines.cells) AS cells,
        without_day(line.cells) AS older_cells
    FROM fresh
    JOIN older ON older.subject = fresh.subject AND older.day <> fresh.day
        AND older.mark = fresh.mark
        AND (older.is_gone OR older.is_missed AND is_slip_of_day(fresh.day, older.day))
    JOIN lines ON lines.n = fresh.n
    JOIN line ON line.line_id = older.line_id
)

SELECT
    pair.line_id, identified.n, strftime(pair.day, '%Y-%m-%d') AS day, identified.line,
    staged_file.name AS file
FROM pair
JOIN identified USING (n)
JOIN staged_file USING (file_no)
WHERE CASE
    WHEN pair.is_gone THEN pair.is_near OR pair.cells = pair.older_cells
    -- A few cells are the same on many a day; two heats of a bitch are never so near.
    ELSE pair.cells = pair.older_cells AND this_sheet() <> 'shipments' AND (
        this_sheet() = 'heats' OR len(list_filter(pair.cells, lambda cell: cell IS NOT NULL)) >= 4
    )
END
QUALIFY row_number() OVER (
        PARTITION BY pair.line_id ORDER BY pair.cells <> pair.older_cells, pair.n_days, pair.n
    ) = 1
    AND row_number() OVER (
        PARTITION BY pair.n ORDER BY pair.cells <> pair.older_cells, pair.n_days, pair.line_id
    ) = 1;

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
