-- Title:   The last test or examination of each kind of each dog
-- Grain:   dog_id, what
-- Reads:   lab_test, examination, doubtful_entries, dog
-- Notes:   what is its name in lower case; a result that is still missing counts, since it was taken. A
--          doubtful line does not.
WITH taken AS (
    SELECT dog_id, lower(what) AS what, sampled_on
    FROM lab_test
    ANTI JOIN doubtful_entries USING (entry_id)
    UNION ALL
    SELECT dog_id, lower(what), examined_on
    FROM examination
    ANTI JOIN doubtful_entries USING (entry_id)
)

SELECT taken.dog_id, dog.call_name AS dog, taken.what, max(taken.sampled_on) AS sampled_on
FROM taken
JOIN dog USING (dog_id)
GROUP BY taken.dog_id, dog.call_name, taken.what
