-- Rows of the Dogs sheet.
INSERT INTO dog
SELECT
    entry_id, entry_id, call_name, registered_name, sex, born_on, breed, adult_weight_kg, sire, dam,
    inbreeding_pct, owner, TRY_CAST(n_litters_before AS INTEGER),
    TRY_CAST(n_missed_before AS INTEGER), notes, died_on
FROM accepted;

INSERT INTO dog_identifier
SELECT entry_id, entry_id, 'chip', chip FROM accepted WHERE chip IS NOT NULL
UNION ALL
SELECT entry_id, entry_id, 'registry', registry_number
FROM accepted
WHERE registry_number IS NOT NULL;
