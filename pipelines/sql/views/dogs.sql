-- Title:   Every dog of the Dogs sheet
-- Grain:   dog_id
-- Reads:   dog
-- Notes:   Sire and dam are names; an outside dog need not be in the sheet.
SELECT
    dog_id, call_name, registered_name, sex, born_on, breed, adult_weight_kg, inbreeding_pct,
    owner, sire, dam, n_litters_before, n_missed_before
FROM dog
