-- Title:   What became of the breedings, counted from the scan to eight weeks
-- Grain:   scan, outcome
-- Reads:   breedings
-- Notes:   scan is pregnant, not pregnant or unknown (not scanned, unclear, or too early to be a no);
--          outcome is whelped, no litter (empty, lost) or unknown (not reported). Pups are counted
--          over the litters whose size was recorded, and again over those counted at eight weeks.
WITH told AS (
    SELECT
        CASE
            WHEN pregnant THEN 'pregnant' WHEN NOT pregnant THEN 'not pregnant' ELSE 'unknown'
        END AS scan,
        CASE
            WHEN whelped THEN 'whelped' WHEN NOT whelped THEN 'no litter' ELSE 'unknown'
        END AS outcome,
        n_born_alive,
        coalesce(n_stillborn, 0) AS n_stillborn,
        n_alive_8_weeks
    FROM breedings
)

SELECT
    scan,
    outcome,
    count(*) AS n_breedings,
    count(n_born_alive) AS n_litters_counted,
    coalesce(sum(n_born_alive), 0) AS n_born_alive,
    coalesce(sum(n_stillborn) FILTER (n_born_alive IS NOT NULL), 0) AS n_stillborn,
    coalesce(sum(n_born_alive) FILTER (n_alive_8_weeks IS NOT NULL), 0) AS n_followed,
    coalesce(sum(n_alive_8_weeks), 0) AS n_alive_8_weeks
FROM told
GROUP BY scan, outcome
