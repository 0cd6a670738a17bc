-- Title:   Every mating and insemination, the doubtful ones too
-- Grain:   insemination_id
-- Reads:   insemination, breeding, breeding_lines, cycles, collection_days, insemination_shipments, shipment, frozen_lot, doubtful_entries
-- Notes:   The heat of a breeding is the bitch's last one that began 0 to 30 days before its first
--          insemination. A dose that the breeding does not state is taken, for chilled semen, from
--          the shipment of that collection to that bitch (or, without a name on it, to that
--          clinic); for frozen semen it is the straws times the sperm per straw of the lot, or of
--          the stud's lots where they agree. Lines that somebody joined are one breeding; a mating
--          that two of its lines name is there once. For cautions: a row with is_doubtful waits to
--          be confirmed and is in no other view.
WITH told AS (
    SELECT
        insemination.*, breeding_lines.breeding_id AS of_breeding_id,
        breeding_lines.is_line_doubtful,
        count(*) OVER breeding > count(*) OVER line AS is_of_several
    FROM insemination
    JOIN breeding_lines USING (entry_id)
    WINDOW
        breeding AS (PARTITION BY breeding_lines.breeding_id),
        line AS (PARTITION BY insemination.entry_id)
),

-- What several lines of one breeding say of the same hours is told by the first of them.
repeated AS (
    SELECT DISTINCT later.insemination_id
    FROM told AS later
    JOIN told AS former
        ON former.of_breeding_id = later.of_breeding_id
        AND former.insemination_id < later.insemination_id
        AND former.inseminated.earliest <= later.inseminated.latest
        AND later.inseminated.earliest <= former.inseminated.latest
    WHERE later.is_of_several AND former.entry_id <> later.entry_id
),

made AS (
    SELECT
        told.* EXCLUDE (n_in_breeding, is_of_several, is_line_doubtful),
        CAST(row_number() OVER (
            PARTITION BY of_breeding_id ORDER BY inseminated.earliest, insemination_id
        ) AS INTEGER) AS n_in_breeding,
        bool_or(is_line_doubtful) OVER (PARTITION BY of_breeding_id) AS is_doubtful
    FROM told
    ANTI JOIN repeated USING (insemination_id)
),

heat AS (
    SELECT made.of_breeding_id, max_by(cycles.cycle_id, cycles.first_day) AS cycle_id
    FROM made
    JOIN breeding USING (breeding_id)
    JOIN cycles
        ON cycles.bitch_id = breeding.bitch_id
        AND date_diff('day', cycles.first_day, CAST(made.inseminated.earliest AS DATE))
            BETWEEN 0 AND 30
    WHERE made.n_in_breeding = 1
    GROUP BY made.of_breeding_id
),

-- A shipment says nothing where two of the same collection disagree.
shipped AS (
    SELECT
        insemination_shipments.insemination_id,
        any_value(shipment.motile_dose_m) AS motile_dose_m
    FROM insemination_shipments
    JOIN shipment USING (shipment_id)
    WHERE shipment.motile_dose_m.low IS NOT NULL
    GROUP BY insemination_shipments.insemination_id
    HAVING count(DISTINCT shipment.motile_dose_m.low) = 1
),

straws AS (
    SELECT
        made.insemination_id,
        any_value(frozen_lot.motile_per_straw_m) AS motile_per_straw_m
    FROM made
    JOIN breeding USING (breeding_id)
    JOIN frozen_lot
        ON frozen_lot.stud_id = breeding.stud_id
        AND (made.lot IS NULL OR frozen_lot.lot = made.lot)
        AND frozen_lot.frozen_on <= CAST(made.inseminated.earliest AS DATE)
    ANTI JOIN doubtful_entries ON doubtful_entries.entry_id = frozen_lot.entry_id
    WHERE breeding.semen_type = 'frozen' AND frozen_lot.motile_per_straw_m.low IS NOT NULL
    GROUP BY made.insemination_id
    HAVING count(DISTINCT frozen_lot.motile_per_straw_m.low) = 1
),

dosed AS (
    SELECT
        made.*,
        CASE
            WHEN made.motile_dose_m.low IS NOT NULL THEN made.motile_dose_m
            WHEN shipped.motile_dose_m IS NOT NULL THEN shipped.motile_dose_m
            WHEN straws.motile_per_straw_m IS NOT NULL THEN CAST({
                'kind': straws.motile_per_straw_m.kind,
                'low': made.n_straws * straws.motile_per_straw_m.low,
                'high': made.n_straws * straws.motile_per_straw_m.high,
                'text': NULL
            } AS reading)
        END AS dose
    FROM made
    LEFT JOIN shipped USING (insemination_id)
    LEFT JOIN straws USING (insemination_id)
)

SELECT
    dosed.insemination_id,
    dosed.of_breeding_id AS breeding_id,
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
    dosed.lot,
    dosed.is_doubtful
FROM dosed
JOIN breeding USING (breeding_id)
LEFT JOIN heat USING (of_breeding_id)
LEFT JOIN collection_days
    ON collection_days.stud_id = breeding.stud_id
    AND collection_days.collected_on = dosed.collected_on
