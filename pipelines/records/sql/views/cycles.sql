-- Title:   Every heat
-- Grain:   cycle_id
-- Reads:   cycle, doubtful_entries, dog
-- Notes:   Day 0 of a heat is its first day of bleeding. Without the doubtful
--          lines.
SELECT
    cycle.cycle_id, cycle.bitch_id, dog.call_name AS bitch, cycle.first_day, cycle.lh_surge_on,
    cycle.vet_ovulation_on
FROM cycle
JOIN dog ON dog.dog_id = cycle.bitch_id
ANTI JOIN doubtful_entries ON doubtful_entries.entry_id = cycle.entry_id
