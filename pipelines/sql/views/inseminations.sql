-- Title:   Every mating and insemination, with its heat, its dose and its semen
-- Grain:   insemination_id
-- Reads:   insemination, breeding, cycle, collection_days, shipment, frozen_lot, dog
-- Notes:   The heat of a breeding is the bitch's last one that began 0 to 30 days before its first
--          insemination. A dose that the breeding does not state is taken, for chilled semen, from
--          the box of that collection to that bitch (or, without a name on it, to that clinic); for
--          frozen semen it is the straws times the sperm per straw of the lot, or of the stud's lots
--          where they agree.
WITH heat AS (
    SELECT breeding.breeding_id, max_by(cycle.cycle_id, cycle.first_day) AS cycle_id
    FROM breeding
    JOIN insemination
        ON insemination.breeding_id = breeding.breeding_id AND insemination.n_in_breeding = 1
    JOIN cycle
        ON cycle.bitch_id = breeding.bitch_id
        AND date_diff('day', cycle.first_day, CAST(insemination.inseminated.earliest AS DATE))
            BETWEEN 0 AND 30
    GROUP BY breeding.breeding_id
),

-- A box says nothing where two of the same collection disagree.
boxed AS (
    SELECT
        insemination.insemination_id,
        any_value(shipment.motile_dose_m) AS motile_dose_m
    FROM insemination
    JOIN breeding USING (breeding_id)
    JOIN dog AS bitch ON bitch.dog_id = breeding.bitch_id
    JOIN shipment
        ON shipment.stud_id = breeding.stud_id
        AND shipment.collected_on = insemination.collected_on
        AND (
            lower(shipment.for_bitch) IN (lower(bitch.call_name), lower(bitch.registered_name))
            OR (shipment.for_bitch IS NULL AND lower(shipment.clinic) = lower(breeding.clinic))
        )
    WHERE breeding.semen_type IN ('chilled', 'fresh') AND shipment.motile_dose_m.low IS NOT NULL
    GROUP BY insemination.insemination_id
    HAVING count(DISTINCT shipment.motile_dose_m.low) = 1
),

straws AS (
    SELECT
        insemination.insemination_id,
        any_value(frozen_lot.motile_per_straw_m) AS motile_per_straw_m
    FROM insemination
    JOIN breeding USING (breeding_id)
    JOIN frozen_lot
        ON frozen_lot.stud_id = breeding.stud_id
        AND (insemination.lot IS NULL OR frozen_lot.lot = insemination.lot)
        AND frozen_lot.frozen_on <= CAST(insemination.inseminated.earliest AS DATE)
    WHERE breeding.semen_type = 'frozen' AND frozen_lot.motile_per_straw_m.low IS NOT NULL
    GROUP BY insemination.insemination_id
    HAVING count(DISTINCT frozen_lot.motile_per_straw_m.low) = 1
),

dosed AS (
    SELECT
        insemination.*,
        CASE
            WHEN insemination.motile_dose_m.low IS NOT NULL THEN insemination.motile_dose_m
            WHEN boxed.motile_dose_m IS NOT NULL THEN boxed.motile_dose_m
            WHEN straws.motile_per_straw_m IS NOT NULL THEN CAST({
                'kind': straws.motile_per_straw_m.kind,
                'low': insemination.n_straws * straws.motile_per_straw_m.low,
                'high': insemination.n_straws * straws.motile_per_straw_m.high,
                'text': NULL
            } AS reading)
        END AS dose
    FROM insemination
    LEFT JOIN boxed USING (insemination_id)
    LEFT JOIN straws USING (insemination_id)
)

SELECT
    dosed.insemination_id,
    dosed.breeding_id,
    breeding.bitch_id,
    breeding.stud_id,
    heat.cycle_id,
    dosed.n_in_breeding,
    breeding.semen_type,
    breeding.route,
    breeding.clinic,
    dosed.inseminated.earliest AS inseminated_earliest,
    dosed.inseminated.latest AS inseminated_latest,
    middle(dosed.dose) AS motile_dose_m,
    dosed.dose.low AS motile_dose_m_low,
    dosed.dose.high AS motile_dose_m_high,
    CASE WHEN breeding.semen_type IN ('fresh', 'chilled') THEN coalesce(
        collection_days.collected_earliest, CAST(dosed.collected_on AS TIMESTAMP)
    ) END AS collected_earliest,
    CASE WHEN breeding.semen_type IN ('fresh', 'chilled') THEN coalesce(
        collection_days.collected_latest, dosed.collected_on + TIME '23:59:59'
    ) END AS collected_latest,
    dosed.n_straws,
    dosed.lot
FROM dosed
JOIN breeding USING (breeding_id)
LEFT JOIN heat USING (breeding_id)
LEFT JOIN collection_days
    ON collection_days.stud_id = breeding.stud_id
    AND collection_days.collected_on = dosed.collected_on
