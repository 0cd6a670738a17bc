-- Title:   What happened to a dog
-- Grain:   event_id
-- Reads:   event, doubtful_entries, dog
-- Notes:   kind is the owner's word for it, in lower case.
SELECT
    event.event_id,
    event.dog_id,
    dog.call_name AS dog,
    event.kind,
    event.started_on,
    event.until_on,
    event.drug_class,
    concat_ws('; ', event.result, event.notes) AS "text"
FROM event
JOIN dog USING (dog_id)
ANTI JOIN doubtful_entries ON doubtful_entries.entry_id = event.entry_id
