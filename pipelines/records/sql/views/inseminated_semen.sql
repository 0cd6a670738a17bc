-- Title:   Every mating and insemination with what is known of its semen
-- Grain:   insemination_id
-- Reads:   inseminations, insemination, insemination_shipments, shipment, evaluation, collection_days, processing, dose, frozen_lot, doubtful_entries
-- Notes:   Columns as of inseminations, and the semen's. Motility is the reading that is nearest to
--          the insemination: of the shipment on arrival, of its retained part, of the raw collection,
--          of the lot after thaw, of a retained part without a day; readings of one kind that disagree
--          are none. Hours to that reading run from the collection, middle to middle. is_dose_packed:
--          the dose is that of the shipment, as it was packed. Dose volume and extender are those of the
--          shipment, or of the extended collection over its doses. Days late: of its shipments, arrived
--          against promised; none where they disagree.
WITH made AS (
    SELECT
        inseminations.insemination_id,
        inseminations.stud_id,
        inseminations.semen_type,
        inseminations.lot,
        inseminations.inseminated_earliest,
        insemination.collected_on,
        insemination.motile_dose_m.low IS NULL AS is_dose_of_shipment
    FROM inseminations
    JOIN insemination USING (insemination_id)
    WHERE inseminations.semen_type <> 'natural'
),

sent AS (
    SELECT
        insemination_shipments.insemination_id,
        shipment.shipment_id,
        shipment.dose_volume_ml,
        shipment.extender,
        date_diff('day', shipment.promised_on, CAST(shipment.arrived.earliest AS DATE))
            AS n_days_late
    FROM insemination_shipments
    JOIN shipment USING (shipment_id)
),

collected AS (
    SELECT made.insemination_id, collection_days.*
    FROM made
    JOIN collection_days
        ON collection_days.stud_id = made.stud_id
        AND collection_days.collected_on = made.collected_on
    WHERE made.semen_type IN ('chilled', 'fresh')
),

packed AS (
    SELECT
        insemination_id,
        CASE WHEN count(DISTINCT dose_volume_ml) = 1 THEN any_value(dose_volume_ml) END
            AS dose_volume_ml,
        CASE WHEN count(DISTINCT extender) = 1 THEN any_value(extender) END AS extender,
        CASE WHEN count(DISTINCT n_days_late) = 1 THEN any_value(n_days_late) END AS n_days_late
    FROM sent
    GROUP BY insemination_id
),

extended AS (
    SELECT
        collected.insemination_id,
        any_value(processing.volume_after_ml / nullif(dose.n_doses, 0)) AS dose_volume_ml,
        any_value(processing.extender) AS extender
    FROM collected
    JOIN processing USING (collection_id)
    LEFT JOIN dose USING (collection_id)
    ANTI JOIN doubtful_entries ON doubtful_entries.entry_id = processing.entry_id
    GROUP BY collected.insemination_id
),

-- The lower the place, the nearer to the insemination.
motile AS (
    SELECT
        sent.insemination_id,
        CASE
            WHEN evaluation.stage = 'on arrival' THEN 1
            WHEN evaluation.evaluated IS NOT NULL THEN 2
            ELSE 5
        END AS place,
        CAST(evaluation.stage AS VARCHAR) AS stage,
        evaluation.progressive_motility_pct,
        evaluation.n_motility_evaluated,
        evaluation.evaluated
    FROM sent
    JOIN evaluation USING (shipment_id)
    WHERE evaluation.stage IN ('on arrival', 'retained')
    UNION ALL
    SELECT
        collected.insemination_id,
        3 AS place,
        CAST(evaluation.stage AS VARCHAR) AS stage,
        evaluation.progressive_motility_pct,
        evaluation.n_motility_evaluated,
        evaluation.evaluated
    FROM collected
    JOIN evaluation USING (collection_id)
    ANTI JOIN doubtful_entries ON doubtful_entries.entry_id = evaluation.entry_id
    WHERE evaluation.stage = 'raw'
    UNION ALL
    SELECT
        made.insemination_id,
        4 AS place,
        'after thaw' AS stage,
        frozen_lot.post_thaw_progressive_motility_pct AS progressive_motility_pct,
        NULL AS n_motility_evaluated,
        NULL AS evaluated
    FROM made
    JOIN frozen_lot
        ON frozen_lot.stud_id = made.stud_id
        AND (made.lot IS NULL OR frozen_lot.lot = made.lot)
        AND frozen_lot.frozen_on <= CAST(made.inseminated_earliest AS DATE)
    ANTI JOIN doubtful_entries ON doubtful_entries.entry_id = frozen_lot.entry_id
    WHERE made.semen_type = 'frozen'
),

nearest AS (
    SELECT
        insemination_id,
        any_value(stage) AS motility_read,
        any_value(progressive_motility_pct) AS progressive_motility_pct,
        any_value(n_motility_evaluated) AS n_motility_evaluated,
        any_value(evaluated) AS evaluated
    FROM motile
    WHERE progressive_motility_pct.low IS NOT NULL
    GROUP BY insemination_id, place
    HAVING count(DISTINCT progressive_motility_pct.low) = 1
    QUALIFY row_number() OVER (PARTITION BY insemination_id ORDER BY place) = 1
)

SELECT
    inseminations.*,
    coalesce(made.is_dose_of_shipment, FALSE)
        AND inseminations.semen_type IN ('chilled', 'fresh')
        AND inseminations.motile_dose_m IS NOT NULL AS is_dose_packed,
    nearest.motility_read,
    middle(nearest.progressive_motility_pct) AS progressive_motility_pct,
    nearest.n_motility_evaluated,
    CASE WHEN nearest.motility_read IN ('on arrival', 'retained') THEN (
        epoch(nearest.evaluated.earliest) + epoch(nearest.evaluated.latest)
        - epoch(inseminations.collected_earliest) - epoch(inseminations.collected_latest)
    ) / 2 / 3600 END AS motility_read_hours,
    coalesce(packed.dose_volume_ml, extended.dose_volume_ml) AS dose_volume_ml,
    coalesce(packed.extender, extended.extender) AS extender,
    packed.n_days_late
FROM inseminations
LEFT JOIN made USING (insemination_id)
LEFT JOIN nearest USING (insemination_id)
LEFT JOIN packed USING (insemination_id)
LEFT JOIN extended USING (insemination_id)
