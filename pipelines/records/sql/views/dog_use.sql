-- Title:   When each dog was last used, and when his semen was last read
-- Grain:   dog_id
-- Reads:   dog, evaluations, shipments, inseminations, cycles
-- Notes:   Used means collected, shipped, bred, or in heat. A failed attempt is a use and no reading.
WITH used AS (
    SELECT stud_id AS dog_id, CAST(collected_latest AS DATE) AS used_on FROM evaluations
    UNION ALL
    SELECT stud_id, CAST(sent_latest AS DATE) FROM shipments
    UNION ALL
    SELECT stud_id, CAST(inseminated_latest AS DATE) FROM inseminations
    UNION ALL
    SELECT bitch_id, CAST(inseminated_latest AS DATE) FROM inseminations
    UNION ALL
    SELECT bitch_id, first_day FROM cycles
),

reading AS (
    SELECT stud_id AS dog_id, max(CAST(collected_latest AS DATE)) AS evaluated_on
    FROM evaluations
    WHERE stage = 'raw' AND failed_reason IS NULL AND coalesce(
        concentration_m_per_ml, total_motility_pct, progressive_motility_pct, normal_morphology_pct
    ) IS NOT NULL
    GROUP BY stud_id
)

SELECT
    dog.dog_id, dog.call_name AS dog, dog.sex, max(used.used_on) AS last_used_on,
    any_value(reading.evaluated_on) AS last_evaluated_on
FROM dog
LEFT JOIN used USING (dog_id)
LEFT JOIN reading USING (dog_id)
GROUP BY dog.dog_id, dog.call_name, dog.sex
