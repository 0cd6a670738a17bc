-- Which lines that count the staged lines of a sheet are about, and which of them are refused.
-- Reads the temporary relations identified, found, rule_row, staged_file and answering, the macros
-- this_sheet() and cells_of(); leaves the temporary relations doomed, repeated, sound, known, matched,
-- corrected and gone.
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
