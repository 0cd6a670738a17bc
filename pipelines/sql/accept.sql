-- From staged lines to entries: which lines are new, unchanged, changed, refused.
-- Reads the temporary relations lines, verbatim, identified, found, rule_row, staged_file and
-- answering and the macros this_sheet() and this_load(); leaves the temporary tables standing, numbered, raised and
-- outcome.

CREATE OR REPLACE TEMP TABLE doomed AS
SELECT DISTINCT found.n
FROM found
JOIN rule_row USING (rule_no)
WHERE rule_row.severity = 'refused';

-- Lines of equal identity: with different cells they are refused together, else one stands for all.
-- A doomed line takes part when it says what it is about.
CREATE OR REPLACE TEMP TABLE twin AS
SELECT identified.n, identified.subject, identified.day, identified.mark, verbatim.cells
FROM identified
JOIN (
    SELECT subject, day, mark
    FROM identified
    GROUP BY ALL
    HAVING count(*) > 1
) AS shared
    ON identified.subject = shared.subject
    AND identified.day IS NOT DISTINCT FROM shared.day
    AND identified.mark = shared.mark
JOIN verbatim USING (n)
WHERE identified.day IS NOT NULL OR identified.n NOT IN (SELECT doomed.n FROM doomed);

CREATE OR REPLACE TEMP TABLE conflicting AS
SELECT n
FROM twin
WINDOW identity AS (PARTITION BY subject, day, mark)
QUALIFY min(cells) OVER identity <> max(cells) OVER identity;

INSERT INTO found
SELECT conflicting.n, rule_row.rule_no
FROM conflicting
JOIN rule_row ON rule_row.name = 'two versions of one line';

INSERT INTO doomed FROM conflicting ANTI JOIN doomed USING (n);

CREATE OR REPLACE TEMP TABLE sound AS
SELECT identified.n, identified.subject, identified.day, identified.mark
FROM identified
ANTI JOIN doomed USING (n)
WHERE n NOT IN (
    SELECT n
    FROM twin
    QUALIFY row_number() OVER (PARTITION BY subject, day, mark ORDER BY n) > 1
);

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

CREATE OR REPLACE TEMP TABLE standing AS
SELECT matched.n, matched.entry_id, matched.version + 1 AS version, matched.line_id AS old_line_id,
    CASE WHEN line.cells = verbatim.cells THEN 'unchanged' ELSE 'changed' END AS standing
FROM matched
JOIN line USING (line_id)
JOIN verbatim USING (n)
UNION ALL
SELECT n, entry_id, version + 1, line_id, 'changed' FROM corrected
UNION ALL
SELECT
    sound.n,
    -- Ids come from one count; what is left out of it (refused lines) leaves gaps.
    (SELECT coalesce(max(line.entry_id), 0) FROM line) + 1 + sound.n
        - (SELECT min(identified.n) FROM identified),
    1, NULL, 'new'
FROM sound
ANTI JOIN matched USING (n)
ANTI JOIN corrected USING (n);

-- A refused line that is kept already, word for word, is not kept again.
CREATE OR REPLACE TEMP TABLE refused AS
SELECT doomed.n, verbatim.cells, kept.line_id AS kept_line_id, kept.line_id IS NULL
    AND row_number() OVER (PARTITION BY verbatim.cells ORDER BY doomed.n) = 1 AS is_new
FROM doomed
JOIN verbatim USING (n)
LEFT JOIN (
    SELECT cells, min(line_id) AS line_id
    FROM line
    WHERE sheet = this_sheet() AND state = 'refused'
    GROUP BY cells
) AS kept ON kept.cells = verbatim.cells;

CREATE OR REPLACE TEMP TABLE numbered AS
SELECT
    n, (SELECT coalesce(max(line.line_id), 0) FROM line) + 1 + n
        - (SELECT min(identified.n) FROM identified) AS line_id,
    entry_id, version, 'current' AS state
FROM standing
WHERE standing <> 'unchanged'
UNION ALL
SELECT
    refused.n, (SELECT coalesce(max(line.line_id), 0) FROM line) + 1 + refused.n
        - (SELECT min(identified.n) FROM identified),
    known.entry_id, NULL, 'refused'
FROM refused
JOIN identified USING (n)
LEFT JOIN known
    ON known.subject = identified.subject
    AND known.day IS NOT DISTINCT FROM identified.day
    AND known.mark = identified.mark
WHERE refused.is_new;

-- What is settled by this load: replaced lines, and refused ones whose matter came in sound or that
-- are gone from their renewed file.
CREATE OR REPLACE TEMP TABLE settled AS
SELECT old_line_id AS line_id FROM standing WHERE standing = 'changed'
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

INSERT INTO source_file
SELECT staged_file.file_id, this_load(), staged_file.name, this_sheet(), staged_file.sha256,
    staged_file.n_lines
FROM staged_file
WHERE staged_file.file_no IN (
    SELECT lines.file_no FROM lines JOIN numbered USING (n)
);

INSERT INTO line
SELECT
    numbered.line_id, numbered.entry_id, numbered.version, staged_file.file_id, lines.line,
    this_sheet(), identified.subject, identified.day, identified.mark, verbatim.cells,
    numbered.state, NULL
FROM numbered
JOIN lines USING (n)
JOIN verbatim USING (n)
JOIN identified USING (n)
JOIN staged_file USING (file_no);

-- A new line of a dog and day of which another line is on record, and not in this load.
INSERT INTO found
SELECT standing.n, rule_row.rule_no
FROM standing
JOIN sound USING (n)
SEMI JOIN (FROM known ANTI JOIN matched USING (line_id) ANTI JOIN corrected USING (line_id))
    AS other ON other.subject = sound.subject AND other.day = sound.day
JOIN rule_row ON rule_row.name = 'another line of that day'
WHERE standing.standing = 'new';

CREATE OR REPLACE TEMP TABLE raised AS
SELECT numbered.line_id, numbered.state, rule_row.*, verbatim.cells ->> (rule_row.position - 1)
    AS cell
FROM found
JOIN rule_row USING (rule_no)
JOIN numbered USING (n)
JOIN verbatim USING (n)
UNION ALL
SELECT gone.line_id, 'current', rule_row.*, line.cells ->> (rule_row.position - 1)
FROM gone
ANTI JOIN corrected USING (line_id)
JOIN line USING (line_id)
JOIN rule_row ON rule_row.name = 'gone from its file'
WHERE NOT EXISTS (
    SELECT 1 FROM finding
    WHERE finding.line_id = gone.line_id AND finding.rule = 'gone from its file'
);

UPDATE finding
SET closed_by = 'corrected'
WHERE rule = 'gone from its file' AND closed_by IS NULL
    AND line_id IN (SELECT line_id FROM matched);

-- Findings about refused lines that came again unchanged are still open.
INSERT INTO touched
SELECT finding_id
FROM finding
WHERE closed_by IS NULL
    AND line_id IN (SELECT kept_line_id FROM refused WHERE kept_line_id IS NOT NULL);

CREATE OR REPLACE TEMP TABLE outcome AS
SELECT
    count(*) FILTER (WHERE standing = 'new') AS n_new,
    (SELECT count(*) FROM identified) - (SELECT count(*) FROM doomed)
        - count(*) FILTER (WHERE standing <> 'unchanged') AS n_unchanged,
    count(*) FILTER (WHERE standing = 'changed') AS n_changed,
    (SELECT count(*) FROM doomed) AS n_refused,
    (SELECT count(*) FROM raised WHERE severity = 'question') AS n_questions
FROM standing;
