-- Rows of the Shipments sheet: the shipment, and what was read of its semen later.
INSERT INTO shipment
SELECT
    entry_id, entry_id, dog_id, collected_on,
    to_moment(sent_on, sent_at, sent_on__text, sent_at__text),
    carrier, extender, TRY_CAST(n_doses AS INTEGER), dose_volume_ml, motile_dose_m, for_bitch,
    clinic, promised_on,
    to_moment(arrived_on, arrived_at, arrived_on__text, arrived_at__text),
    notes
FROM accepted;

INSERT INTO evaluation (
    evaluation_id, entry_id, stud_id, shipment_id, stage, evaluated, progressive_motility_pct,
    motility_method, minutes_at_37
)
SELECT
    entry_id * 10 + 1, entry_id, dog_id, entry_id, 'on arrival',
    to_moment(arrived_on, arrived_at, arrived_on__text, arrived_at__text),
    arrival_pct, 'by eye', arrival_minutes
FROM accepted
WHERE arrival_pct IS NOT NULL
UNION ALL
SELECT
    entry_id * 10 + 2, entry_id, dog_id, entry_id, 'retained',
    to_moment(retained_on, retained_at, retained_on__text, retained_at__text),
    retained_pct, 'by eye', retained_minutes
FROM accepted
WHERE retained_pct IS NOT NULL;
