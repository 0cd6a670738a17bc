-- Title:   Frozen stock and what is left of it
-- Grain:   frozen_lot_id
-- Reads:   frozen_lot, insemination, breeding, dog
-- Notes:   A breeding does not name its lot: straws leave the stud's oldest lot first.
WITH used AS (
    SELECT breeding.stud_id, sum(coalesce(insemination.n_straws, 0)) AS n_used
    FROM insemination
    JOIN breeding USING (breeding_id)
    WHERE breeding.semen_type = 'frozen'
    GROUP BY breeding.stud_id
),

stacked AS (
    SELECT
        frozen_lot.*,
        coalesce(sum(frozen_lot.n_straws) OVER (
            PARTITION BY frozen_lot.stud_id
            ORDER BY frozen_lot.frozen_on, frozen_lot.frozen_lot_id
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ), 0) AS n_straws_older
    FROM frozen_lot
)

SELECT
    stacked.frozen_lot_id,
    stacked.stud_id,
    dog.call_name AS stud,
    stacked.frozen_on,
    stacked.lot,
    stacked.n_straws,
    stacked.n_straws - least(
        greatest(coalesce(used.n_used, 0) - stacked.n_straws_older, 0), stacked.n_straws
    ) AS n_straws_left,
    stacked.motile_per_straw_m.low AS motile_per_straw_m,
    (stacked.post_thaw_progressive_motility_pct.low
        + stacked.post_thaw_progressive_motility_pct.high) / 2
        AS post_thaw_progressive_motility_pct,
    stacked.n_straws_per_dose,
    stacked.stored_at
FROM stacked
JOIN dog ON dog.dog_id = stacked.stud_id
LEFT JOIN used ON used.stud_id = stacked.stud_id
