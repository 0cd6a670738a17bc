-- Title:   Every reading of semen, and every attempt that gave none
-- Grain:   evaluation_id
-- Reads:   evaluation, collection, dog
-- Notes:   A failed attempt is a row with its reason and no measurement; its id is negative.
--          Rest counts whole days since the last attempt of the same stud on an earlier day that
--          gave a sample; an attempt that failed empties no reserve.
WITH attempts AS (
    SELECT
        collection.collection_id,
        collection.stud_id,
        CAST(collection.collected.earliest AS DATE) AS collected_on,
        max(CASE WHEN collection.failed_reason IS NULL
            THEN CAST(collection.collected.earliest AS DATE) END) OVER (
            PARTITION BY collection.stud_id
            ORDER BY CAST(collection.collected.earliest AS DATE)
            RANGE BETWEEN UNBOUNDED PRECEDING AND INTERVAL 1 DAY PRECEDING
        ) AS last_on
    FROM collection
),

readings AS (
    SELECT
        evaluation.evaluation_id,
        evaluation.stud_id,
        evaluation.collected,
        evaluation.stage,
        evaluation.evaluated,
        CAST(NULL AS VARCHAR) AS failed_reason,
        evaluation.appearance,
        evaluation.observer,
        evaluation.count_method,
        evaluation.motility_method,
        evaluation.volume_ml,
        evaluation.concentration_m_per_ml,
        evaluation.n_cells_counted,
        evaluation.total_motility_pct,
        evaluation.progressive_motility_pct,
        evaluation.n_motility_judged,
        evaluation.normal_morphology_pct,
        evaluation.n_morphology_checked,
        evaluation.minutes_at_37,
        CASE WHEN evaluation.stage = 'raw' THEN evaluation.entry_id END AS collection_id
    FROM evaluation
    UNION ALL BY NAME
    SELECT
        -collection.collection_id AS evaluation_id,
        collection.stud_id,
        collection.collected,
        'raw' AS stage,
        collection.collected AS evaluated,
        collection.failed_reason,
        collection.collection_id
    FROM collection
    WHERE collection.failed_reason IS NOT NULL
)

SELECT
    readings.evaluation_id,
    readings.collection_id,
    readings.stud_id,
    dog.call_name AS stud,
    readings.collected.earliest AS collected_earliest,
    readings.collected.latest AS collected_latest,
    readings.stage,
    readings.evaluated.earliest AS evaluated_earliest,
    readings.evaluated.latest AS evaluated_latest,
    readings.failed_reason,
    readings.appearance,
    readings.observer,
    readings.count_method,
    readings.motility_method,
    CASE WHEN isfinite(readings.volume_ml.high)
        THEN (readings.volume_ml.low + readings.volume_ml.high) / 2 END AS volume_ml,
    CASE WHEN isfinite(readings.concentration_m_per_ml.high)
        THEN (readings.concentration_m_per_ml.low + readings.concentration_m_per_ml.high) / 2
    END AS concentration_m_per_ml,
    readings.concentration_m_per_ml.low AS concentration_m_per_ml_low,
    readings.concentration_m_per_ml.high AS concentration_m_per_ml_high,
    readings.n_cells_counted,
    (readings.total_motility_pct.low + readings.total_motility_pct.high) / 2
        AS total_motility_pct,
    readings.total_motility_pct.low AS total_motility_pct_low,
    readings.total_motility_pct.high AS total_motility_pct_high,
    CASE WHEN readings.progressive_motility_pct.kind IN ('exact', 'rounded')
        AND TRY_CAST(readings.progressive_motility_pct.text AS DOUBLE) IS NOT NULL
        THEN TRY_CAST(readings.progressive_motility_pct.text AS DOUBLE)
        WHEN isfinite(readings.progressive_motility_pct.high)
        THEN (readings.progressive_motility_pct.low + readings.progressive_motility_pct.high) / 2
    END AS progressive_motility_pct,
    readings.progressive_motility_pct.low AS progressive_motility_pct_low,
    readings.progressive_motility_pct.high AS progressive_motility_pct_high,
    readings.n_motility_judged,
    CASE WHEN isfinite(readings.normal_morphology_pct.high)
        THEN (readings.normal_morphology_pct.low + readings.normal_morphology_pct.high) / 2
    END AS normal_morphology_pct,
    readings.n_morphology_checked,
    readings.minutes_at_37,
    date_diff('day', attempts.last_on, attempts.collected_on) AS sexual_rest_days,
    date_diff('day', dog.born_on, CAST(readings.collected.earliest AS DATE)) / 365.25
        AS stud_age_years,
    processing.extender
FROM readings
JOIN dog ON dog.dog_id = readings.stud_id
LEFT JOIN attempts ON attempts.collection_id = readings.collection_id
LEFT JOIN processing ON processing.collection_id = readings.collection_id
