-- Title:   Laboratory tests as the laboratory printed them
-- Grain:   lab_test_id
-- Reads:   lab_test, doubtful_entries, dog
-- Notes:   Result, unit and range are shown and never graded.
SELECT
    lab_test.lab_test_id,
    lab_test.dog_id,
    dog.call_name AS dog,
    lab_test.what,
    lab_test.sampled_on,
    lab_test.result,
    reading_text(lab_test.measured_value) AS value_text,
    lab_test.unit,
    lab_test.laboratory_range,
    lab_test.laboratory
FROM lab_test
JOIN dog USING (dog_id)
ANTI JOIN doubtful_entries ON doubtful_entries.entry_id = lab_test.entry_id
