-- Title:   Frozen stock and what is left of it
-- Grain:   frozen_lot_id
-- Reads:   frozen_lot, inseminations, doubtful_entries, dog
-- Notes:   A breeding that names its lot takes its straws from there; one that does not takes them
--          from the stud's oldest straws. No lot falls below zero.
--          Doubtful lines neither stock straws nor take any.
WITH used AS (
    SELECT stud_id, lot, sum(n_straws) AS n_used
    FROM inseminations
    WHERE semen_type = 'frozen'
    GROUP BY stud_id, lot
),

named AS (
    SELECT
        frozen_lot.*,
        greatest(frozen_lot.n_straws - coalesce(used.n_used, 0), 0) AS n_unnamed
    FROM frozen_lot
    LEFT JOIN used ON used.stud_id = frozen_lot.stud_id AND used.lot = frozen_lot.lot
    ANTI JOIN doubtful_entries ON doubtful_entries.entry_id = frozen_lot.entry_id
),

stacked AS (
    SELECT
        named.*,
        coalesce(sum(n_unnamed) OVER (
            PARTITION BY stud_id
            ORDER BY frozen_on, frozen_lot_id
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ), 0) AS n_older
    FROM named
)

SELECT
    stacked.frozen_lot_id,
    stacked.stud_id,
    dog.call_name AS stud,
    stacked.frozen_on,
    stacked.lot,
    stacked.n_straws,
    CAST(stacked.n_unnamed - least(
        greatest(coalesce(used.n_used, 0) - stacked.n_older, 0), stacked.n_unnamed
    ) AS INTEGER) AS n_straws_left,
    middle(stacked.motile_per_straw_m) AS motile_per_straw_m,
    middle(stacked.post_thaw_progressive_motility_pct) AS post_thaw_progressive_motility_pct,
    stacked.n_straws_per_dose,
    stacked.stored_at
FROM stacked
JOIN dog ON dog.dog_id = stacked.stud_id
LEFT JOIN used ON used.stud_id = stacked.stud_id AND used.lot IS NULL
