-- Title:   Every reading of semen, the doubtful ones too
-- Grain:   evaluation_id
-- Reads:   evaluation, collection, shipment, collection_days, processing, doubtful_entries, dog
-- Notes:   A failed attempt is a row with its reason and no measurement; its id is negative.
--          Rest counts whole days since the stud's last earlier attempt that gave a sample; one that
--          failed empties no reserve. A percentage stays within 0 and 100 at both ends.
--          For cautions: a row with is_doubtful waits to be confirmed and is in no other view. Each of its
--          values is to be read as it stands, the worse reading. Rest counts from a doubtful attempt
--          too: that he was collected is not what is doubted.
WITH attempt AS (
    SELECT
        collection_id,
        max(CASE WHEN failed_reason IS NULL THEN CAST(collected.earliest AS DATE) END) OVER (
            PARTITION BY stud_id
            ORDER BY collected.earliest, collected.latest, collection_id
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ) AS last_on
    FROM collection
),

reading AS (
    SELECT
        evaluation.*,
        coalesce(collection.collected.earliest, collection_days.collected_earliest,
            CAST(shipment.collected_on AS TIMESTAMP)) AS collected_earliest,
        coalesce(collection.collected.latest, collection_days.collected_latest,
            shipment.collected_on + TIME '23:59:59') AS collected_latest,
        coalesce(evaluation.collection_id, collection_days.collection_id) AS of_collection_id,
        shipment.extender AS shipment_extender,
        CAST(NULL AS VARCHAR) AS failed_reason
    FROM evaluation
    LEFT JOIN collection USING (collection_id)
    LEFT JOIN shipment USING (shipment_id)
    LEFT JOIN collection_days
        ON collection_days.stud_id = shipment.stud_id
        AND collection_days.collected_on = shipment.collected_on
    UNION ALL BY NAME
    SELECT
        -collection_id AS evaluation_id,
        entry_id,
        stud_id,
        'raw' AS stage,
        collected.earliest AS collected_earliest,
        collected.latest AS collected_latest,
        collection_id AS of_collection_id,
        CAST(failed_reason AS VARCHAR) AS failed_reason
    FROM collection
    WHERE failed_reason IS NOT NULL
)

SELECT
    reading.evaluation_id,
    reading.of_collection_id AS collection_id,
    reading.shipment_id,
    reading.stud_id,
    dog.call_name AS stud,
    reading.collected_earliest,
    reading.collected_latest,
    CAST(reading.stage AS VARCHAR) AS stage,
    coalesce(reading.evaluated.earliest, reading.collected_earliest) AS evaluated_earliest,
    coalesce(reading.evaluated.latest, reading.collected_latest) AS evaluated_latest,
    reading.failed_reason,
    CAST(reading.appearance AS VARCHAR) AS appearance,
    reading.evaluator,
    CAST(reading.count_method AS VARCHAR) AS count_method,
    CAST(reading.motility_method AS VARCHAR) AS motility_method,
    middle(reading.volume_ml) AS volume_ml,
    middle(reading.concentration_m_per_ml) AS concentration_m_per_ml,
    reading.concentration_m_per_ml.low AS concentration_m_per_ml_low,
    reading.concentration_m_per_ml.high AS concentration_m_per_ml_high,
    reading.n_cells_counted,
    middle(reading.total_motility_pct) AS total_motility_pct,
    percent_end(reading.total_motility_pct.low) AS total_motility_pct_low,
    percent_end(reading.total_motility_pct.high) AS total_motility_pct_high,
    middle(reading.progressive_motility_pct) AS progressive_motility_pct,
    percent_end(reading.progressive_motility_pct.low) AS progressive_motility_pct_low,
    percent_end(reading.progressive_motility_pct.high) AS progressive_motility_pct_high,
    reading.n_motility_evaluated,
    middle(reading.normal_morphology_pct) AS normal_morphology_pct,
    reading.n_morphology_evaluated,
    reading.minutes_at_37,
    CASE WHEN reading.stage = 'raw'
        THEN date_diff('day', attempt.last_on, CAST(reading.collected_earliest AS DATE))
    END AS sexual_rest_days,
    date_diff('day', dog.born_on, CAST(reading.collected_earliest AS DATE)) / 365.25
        AS stud_age_years,
    coalesce(reading.shipment_extender, processing.extender) AS extender,
    doubtful_entries.entry_id IS NOT NULL AS is_doubtful
FROM reading
JOIN dog ON dog.dog_id = reading.stud_id
LEFT JOIN attempt ON attempt.collection_id = reading.of_collection_id
LEFT JOIN processing ON processing.collection_id = reading.of_collection_id
LEFT JOIN doubtful_entries ON doubtful_entries.entry_id = reading.entry_id
