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
