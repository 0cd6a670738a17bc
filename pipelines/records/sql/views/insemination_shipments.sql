-- Title:   Which shipments brought the semen of an insemination
-- Grain:   insemination_id, shipment_id
-- Reads:   insemination, breeding, dog, shipment, doubtful_entries
-- Notes:   Those of the same collection to that bitch, by either of her names, or, without a name on
--          it, to that clinic. A doubtful shipment brings nothing.
SELECT insemination.insemination_id, shipment.shipment_id
FROM insemination
JOIN breeding USING (breeding_id)
JOIN dog AS bitch ON bitch.dog_id = breeding.bitch_id
JOIN shipment
    ON shipment.stud_id = breeding.stud_id
    AND shipment.collected_on = insemination.collected_on
    AND (
        lower(shipment.for_bitch) IN (lower(bitch.call_name), lower(bitch.registered_name))
        OR (shipment.for_bitch IS NULL AND lower(shipment.clinic) = lower(breeding.clinic))
    )
ANTI JOIN doubtful_entries ON doubtful_entries.entry_id = shipment.entry_id
WHERE breeding.semen_type IN ('chilled', 'fresh')
