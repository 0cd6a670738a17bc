-- Lines that this load settled by one given as a correction are not taken again from an old sheet.
UPDATE line
SET settled_by = answer.by_line_id
FROM (
    SELECT settled.line_id, min(given.by_line_id) AS by_line_id
    FROM settled
    JOIN line AS old USING (line_id)
    JOIN (
        SELECT
            answering.line_id, sound.subject, sound.day, sound.mark,
            coalesce(numbered.line_id, matched.line_id) AS by_line_id
        FROM answering
        JOIN sound USING (n)
        LEFT JOIN numbered('lines') AS numbered USING (n)
        LEFT JOIN matched USING (n)
    ) AS given
        ON given.line_id = old.line_id
        OR (
            given.subject = old.subject
            AND given.day IS NOT DISTINCT FROM old.day
            AND given.mark = old.mark
        )
    GROUP BY settled.line_id
) AS answer
WHERE line.line_id = answer.line_id;
