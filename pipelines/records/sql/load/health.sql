-- Rows of the Health sheet: examinations, laboratory tests as the laboratory printed them, events,
-- and what a veterinarian released a dog from.
INSERT INTO examination
SELECT
    entry_id, entry_id, dog_id, noted_on, lower(what), result, measured_value, unit, notes,
    veterinarian
FROM accepted
WHERE kind = 'examination';

INSERT INTO lab_test
SELECT
    entry_id, entry_id, dog_id, what, noted_on, result, measured_value, unit, laboratory_range,
    laboratory, notes, veterinarian
FROM accepted
WHERE kind = 'laboratory test';

INSERT INTO event
SELECT
    entry_id, entry_id, dog_id, lower(what), noted_on, until_on, drug_class, result, notes,
    veterinarian
FROM accepted
WHERE kind = 'event';

INSERT INTO veterinary_release
SELECT entry_id, entry_id, dog_id, noted_on, what, result, veterinarian, notes
FROM accepted
WHERE kind = 'release by veterinarian';
