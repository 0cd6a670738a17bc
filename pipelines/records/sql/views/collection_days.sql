-- Title:   The collection that a stud and a day stand for
-- Grain:   stud_id, collected_on
-- Reads:   collection
-- Notes:   Shipments and breedings name their semen by its day. Of several samples of one day the
--          only one that was shipped is meant; else the day alone is known. Doubtful lines count
--          here: that he was collected is not what is doubted.
WITH candidate AS (
    SELECT
        stud_id,
        CAST(collected.earliest AS DATE) AS collected_on,
        collection_id,
        collected,
        count(*) OVER same_day AS n_that_day,
        destination IN ('shipped', 'frozen', 'own bitch') AS is_used,
        count(*) FILTER (destination IN ('shipped', 'frozen', 'own bitch')) OVER same_day AS n_used
    FROM collection
    WHERE failed_reason IS NULL
    WINDOW same_day AS (PARTITION BY stud_id, CAST(collected.earliest AS DATE))
)

SELECT
    stud_id,
    collected_on,
    max(collection_id) FILTER (n_that_day = 1 OR (is_used AND n_used = 1)) AS collection_id,
    coalesce(
        max(collected.earliest) FILTER (n_that_day = 1 OR (is_used AND n_used = 1)),
        CAST(collected_on AS TIMESTAMP)
    ) AS collected_earliest,
    coalesce(
        max(collected.latest) FILTER (n_that_day = 1 OR (is_used AND n_used = 1)),
        collected_on + TIME '23:59:59'
    ) AS collected_latest
FROM candidate
GROUP BY stud_id, collected_on
