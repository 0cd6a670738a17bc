-- Title:   Every shipment sent, and what was read of its semen later
-- Grain:   shipment_id
-- Reads:   shipments_seen
-- Notes:   Without the doubtful lines; cautions read shipments_seen. Columns as there.
SELECT * EXCLUDE (is_doubtful)
FROM shipments_seen
WHERE NOT is_doubtful
