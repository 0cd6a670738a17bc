-- Title:   Every dog of the Dogs sheet
-- Grain:   dog_id
-- Reads:   dog, dog_identifier
-- Notes:   Sire and dam are names; an outside dog need not be in the sheet.
SELECT
    dog.dog_id,
    dog.call_name,
    dog.registered_name,
    dog.sex,
    dog.born_on,
    dog.breed,
    dog.adult_weight_kg,
    dog.inbreeding_pct,
    dog.owner,
    dog.sire,
    dog.dam,
    chip.identifier AS chip,
    dog.n_litters_before,
    dog.n_missed_before,
    dog.died_on
FROM dog
LEFT JOIN dog_identifier AS chip ON chip.dog_id = dog.dog_id AND chip.kind = 'chip'
