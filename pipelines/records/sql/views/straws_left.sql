-- Title:   Frozen straws left of each stud
-- Grain:   stud_id
-- Reads:   frozen_lots
-- Notes:   Straws per dose are the most that one of his lots needs.
SELECT
    stud_id, stud, CAST(sum(n_straws_left) AS INTEGER) AS n_straws_left,
    max(n_straws_per_dose) FILTER (n_straws_left > 0) AS n_straws_per_dose
FROM frozen_lots
GROUP BY stud_id, stud
