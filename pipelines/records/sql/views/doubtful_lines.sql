-- Title:   Doubtful lines by the dogs that they are about
-- Grain:   entry_id, dog_id
-- Reads:   doubtful_entries, line, collection, shipment, frozen_lot, cycle, breeding, examination, lab_test, event, veterinary_release, dog
-- Notes:   Says how many lines a page leaves out. A breeding is about its bitch and its stud.
WITH about AS (
    SELECT entry_id, stud_id AS dog_id FROM collection
    UNION ALL
    SELECT entry_id, stud_id FROM shipment
    UNION ALL
    SELECT entry_id, stud_id FROM frozen_lot
    UNION ALL
    SELECT entry_id, bitch_id FROM cycle
    UNION ALL
    SELECT entry_id, bitch_id FROM breeding
    UNION ALL
    SELECT entry_id, stud_id FROM breeding
    UNION ALL
    SELECT entry_id, dog_id FROM examination
    UNION ALL
    SELECT entry_id, dog_id FROM lab_test
    UNION ALL
    SELECT entry_id, dog_id FROM event
    UNION ALL
    SELECT entry_id, dog_id FROM veterinary_release
)

SELECT about.entry_id, about.dog_id, dog.call_name AS dog, CAST(line.sheet AS VARCHAR) AS sheet
FROM about
SEMI JOIN doubtful_entries USING (entry_id)
JOIN line ON line.entry_id = about.entry_id AND line.state = 'current'
JOIN dog USING (dog_id)
