-- Title:   Every heat
-- Grain:   cycle_id
-- Reads:   cycle, dog
-- Notes:   Day 0 of a heat is its first day of bleeding.
SELECT
    cycle.cycle_id, cycle.bitch_id, dog.call_name AS bitch, cycle.first_day, cycle.lh_surge_on,
    cycle.vet_ovulation_on
FROM cycle
JOIN dog ON dog.dog_id = cycle.bitch_id
