-- Title:   Every box sent
-- Grain:   shipment_id
-- Reads:   shipment, dog, evaluation
-- Notes:   Days late count from the promised day.
SELECT
    shipment.shipment_id,
    shipment.stud_id,
    dog.call_name AS stud,
    shipment.collected_on,
    shipment.carrier,
    shipment.extender,
    shipment.n_doses,
    shipment.for_bitch,
    shipment.clinic,
    shipment.sent.earliest AS sent_earliest,
    shipment.sent.latest AS sent_latest,
    shipment.promised_on,
    shipment.arrived.earliest AS arrived_earliest,
    shipment.arrived.latest AS arrived_latest,
    date_diff('day', shipment.promised_on, CAST(shipment.arrived.earliest AS DATE)) AS n_days_late,
    shipment.motile_dose_m.low AS motile_dose_m,
    (arrival.progressive_motility_pct.low + arrival.progressive_motility_pct.high) / 2
        AS arrival_progressive_motility_pct,
    (kept.progressive_motility_pct.low + kept.progressive_motility_pct.high) / 2
        AS kept_back_progressive_motility_pct,
    shipment.arrived IS NOT NULL AS outcome_known
FROM shipment
JOIN dog ON dog.dog_id = shipment.stud_id
LEFT JOIN evaluation AS arrival
    ON arrival.entry_id = shipment.entry_id AND arrival.stage = 'on arrival'
LEFT JOIN evaluation AS kept
    ON kept.entry_id = shipment.entry_id AND kept.stage = 'kept back'
