-- Title:   Every insemination or mating, with its dose and its heat
-- Grain:   insemination_id
-- Reads:   insemination, breeding, cycle, shipment, frozen_lot
-- Notes:   The heat is the last one that began at most 40 days before. A chilled dose that the
--          breeding does not state is taken from the box of the same collection day; a frozen one
--          from straws × sperm per straw of the stud's lots, when all his lots agree.
WITH lots AS (
    SELECT
        stud_id,
        CASE WHEN count(DISTINCT motile_per_straw_m.low) = 1
            THEN any_value(motile_per_straw_m.low) END AS motile_per_straw_m
    FROM frozen_lot
    GROUP BY stud_id
),

boxes AS (
    SELECT
        stud_id,
        collected_on,
        lower(clinic) AS clinic,
        any_value(motile_dose_m) AS motile_dose_m
    FROM shipment
    WHERE motile_dose_m IS NOT NULL
    GROUP BY ALL
    HAVING count(DISTINCT motile_dose_m.low) = 1
)

SELECT
    insemination.insemination_id,
    insemination.breeding_id,
    breeding.bitch_id,
    breeding.stud_id,
    CASE WHEN cycle.first_day >= CAST(insemination.inseminated.earliest AS DATE) - 40
        THEN cycle.cycle_id END AS cycle_id,
    insemination.n_in_breeding,
    breeding.semen_type,
    breeding.route,
    breeding.clinic,
    insemination.inseminated.earliest AS inseminated_earliest,
    insemination.inseminated.latest AS inseminated_latest,
    CASE WHEN coalesce(insemination.motile_dose_m, boxes.motile_dose_m).kind IN ('exact', 'rounded', 'between')
        THEN (coalesce(insemination.motile_dose_m, boxes.motile_dose_m).low
            + coalesce(insemination.motile_dose_m, boxes.motile_dose_m).high) / 2
        WHEN insemination.motile_dose_m IS NULL AND breeding.semen_type = 'frozen'
        THEN insemination.n_straws * lots.motile_per_straw_m
    END AS motile_dose_m,
    CASE WHEN breeding.semen_type IN ('chilled', 'fresh')
        THEN CAST(insemination.collected_on AS TIMESTAMP) END AS collected_earliest,
    CASE WHEN breeding.semen_type IN ('chilled', 'fresh')
        THEN insemination.collected_on + TIME '23:59:59' END AS collected_latest,
    insemination.n_straws
FROM insemination
JOIN breeding USING (breeding_id)
LEFT JOIN lots ON lots.stud_id = breeding.stud_id
LEFT JOIN boxes
    ON boxes.stud_id = breeding.stud_id
    AND boxes.collected_on = insemination.collected_on
    AND boxes.clinic IS NOT DISTINCT FROM lower(breeding.clinic)
ASOF LEFT JOIN cycle
    ON cycle.bitch_id = breeding.bitch_id
    AND cycle.first_day <= CAST(insemination.inseminated.earliest AS DATE)
