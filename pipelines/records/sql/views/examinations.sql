-- Title:   What was found when a dog was examined
-- Grain:   examination_id
-- Reads:   examination, doubtful_entries, dog
-- Notes:   Finding and measure are shown as they were written down, and never graded.
SELECT
    examination.examination_id,
    examination.dog_id,
    dog.call_name AS dog,
    examination.examined_on,
    examination.what,
    examination.finding,
    reading_text(examination.measured_value) AS value_text,
    examination.unit,
    examination.notes AS "text"
FROM examination
JOIN dog USING (dog_id)
ANTI JOIN doubtful_entries ON doubtful_entries.entry_id = examination.entry_id
