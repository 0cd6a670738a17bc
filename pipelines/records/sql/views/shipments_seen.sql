-- Title:   Every shipment sent, the doubtful lines too
-- Grain:   shipment_id
-- Reads:   shipment, dog, collection_days, evaluation, doubtful_entries
-- Notes:   Days late count from the promised day. Hours retained run from the collection to the
--          reading, middle to middle. The outcome is known once the shipment has arrived.
--          For cautions: a row with is_doubtful waits to be confirmed and is in no other view.
SELECT
    shipment.shipment_id,
    shipment.stud_id,
    dog.call_name AS stud,
    collection_days.collection_id,
    shipment.collected_on,
    coalesce(collection_days.collected_earliest, CAST(shipment.collected_on AS TIMESTAMP))
        AS collected_earliest,
    coalesce(collection_days.collected_latest, shipment.collected_on + TIME '23:59:59')
        AS collected_latest,
    shipment.carrier,
    shipment.extender,
    shipment.n_doses,
    shipment.dose_volume_ml,
    shipment.for_bitch,
    shipment.clinic,
    shipment.sent.earliest AS sent_earliest,
    shipment.sent.latest AS sent_latest,
    shipment.promised_on,
    shipment.arrived.earliest AS arrived_earliest,
    shipment.arrived.latest AS arrived_latest,
    date_diff('day', shipment.promised_on, CAST(shipment.arrived.earliest AS DATE)) AS n_days_late,
    middle(shipment.motile_dose_m) AS motile_dose_m,
    middle(arrival.progressive_motility_pct) AS arrival_progressive_motility_pct,
    middle(kept.progressive_motility_pct) AS retained_progressive_motility_pct,
    (
        epoch(kept.evaluated.earliest) + epoch(kept.evaluated.latest)
        - epoch(coalesce(
            collection_days.collected_earliest, CAST(shipment.collected_on AS TIMESTAMP)
        ))
        - epoch(coalesce(
            collection_days.collected_latest, shipment.collected_on + TIME '23:59:59'
        ))
    ) / 2 / 3600 AS retained_hours,
    shipment.arrived IS NOT NULL AS outcome_known,
    doubtful_entries.entry_id IS NOT NULL AS is_doubtful
FROM shipment
JOIN dog ON dog.dog_id = shipment.stud_id
LEFT JOIN collection_days
    ON collection_days.stud_id = shipment.stud_id
    AND collection_days.collected_on = shipment.collected_on
LEFT JOIN evaluation AS arrival
    ON arrival.shipment_id = shipment.shipment_id AND arrival.stage = 'on arrival'
LEFT JOIN evaluation AS kept
    ON kept.shipment_id = shipment.shipment_id AND kept.stage = 'retained'
LEFT JOIN doubtful_entries ON doubtful_entries.entry_id = shipment.entry_id
