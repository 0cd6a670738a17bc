-- Title:   Every breeding, the doubtful ones too
-- Grain:   breeding_id
-- Reads:   breeding, breeding_lines, inseminations_seen, pregnancy_check, litter, dog, evaluations
-- Notes:   pregnant is what the scan said; whelped is what was reported. A negative scan before day
--          24 after the last insemination is no negative. missed_before says whether the bitch had
--          missed before the records begin; shape is the stud's last raw reading within 90 days
--          before or on the day of the breeding. Pups of a heat with two sires have no sire here
--          (is_sire_certain). Of lines that somebody joined the first tells the scan and the outcome,
--          else the next one that has them. For cautions: a row with is_doubtful waits to be confirmed
--          and is in no other view.
WITH span AS (
    SELECT
        breeding_id,
        min(inseminated_earliest) AS bred_earliest,
        min(inseminated_latest) AS bred_latest,
        max(inseminated_latest) AS last_latest,
        count(*) AS n_inseminations,
        max(cycle_id) AS cycle_id,
        bool_or(is_doubtful) AS is_doubtful
    FROM inseminations_seen
    GROUP BY breeding_id
),

scanned AS (
    SELECT breeding_lines.breeding_id AS of_breeding_id, pregnancy_check.*
    FROM pregnancy_check
    JOIN breeding_lines USING (entry_id)
    QUALIFY row_number() OVER (
        PARTITION BY breeding_lines.breeding_id
        ORDER BY entry_id <> breeding_lines.breeding_id, entry_id
    ) = 1
),

reported AS (
    SELECT breeding_lines.breeding_id AS of_breeding_id, litter.*
    FROM litter
    JOIN breeding_lines USING (entry_id)
    QUALIFY row_number() OVER (
        PARTITION BY breeding_lines.breeding_id
        ORDER BY entry_id <> breeding_lines.breeding_id, entry_id
    ) = 1
),

shape AS (
    SELECT
        breeding.breeding_id,
        max_by(
            evaluations.normal_morphology_pct,
            (evaluations.collected_earliest, evaluations.evaluation_id)
        ) AS normal_morphology_pct
    FROM breeding
    JOIN span USING (breeding_id)
    JOIN evaluations
        ON evaluations.stud_id = breeding.stud_id
        AND evaluations.stage = 'raw'
        AND evaluations.normal_morphology_pct IS NOT NULL
        AND date_diff(
            'day', CAST(evaluations.collected_earliest AS DATE), CAST(span.bred_earliest AS DATE)
        ) BETWEEN 0 AND 90
    GROUP BY breeding.breeding_id
),

other_sire AS (
    SELECT DISTINCT breeding.breeding_id
    FROM breeding
    JOIN span USING (breeding_id)
    JOIN breeding AS other
        ON other.bitch_id = breeding.bitch_id AND other.stud_id <> breeding.stud_id
    JOIN span AS other_span ON other_span.breeding_id = other.breeding_id
    WHERE abs(date_diff(
        'day', CAST(span.bred_earliest AS DATE), CAST(other_span.bred_earliest AS DATE)
    )) <= 21
)

SELECT
    breeding.breeding_id,
    breeding.bitch_id,
    bitch.call_name AS bitch,
    breeding.stud_id,
    stud.call_name AS stud,
    bitch.breed,
    bitch.adult_weight_kg,
    breeding.semen_type,
    breeding.route,
    span.n_inseminations,
    span.bred_earliest,
    span.bred_latest,
    span.cycle_id,
    breeding.clinic,
    CAST(scanned.scanned_on AS TIMESTAMP) AS scanned_earliest,
    scanned.scanned_on,
    CASE
        WHEN scanned.finding = 'pregnant' THEN TRUE
        WHEN scanned.finding = 'not pregnant' AND coalesce(date_diff(
            'day', CAST(span.last_latest AS DATE), scanned.scanned_on
        ), 24) >= 24 THEN FALSE
    END AS pregnant,
    reported.result = 'whelped' AS whelped,
    reported.result IS NOT NULL AS outcome_known,
    reported.result,
    reported.whelped_on,
    reported.n_born_alive,
    reported.n_stillborn,
    reported.n_born_alive + coalesce(reported.n_stillborn, 0) AS litter_size,
    reported.n_alive_8_weeks,
    date_diff('day', bitch.born_on, CAST(span.bred_earliest AS DATE)) / 365.25 AS bitch_age_years,
    date_diff('day', stud.born_on, CAST(span.bred_earliest AS DATE)) / 365.25 AS stud_age_years,
    coalesce(bitch.n_missed_before, 0) > 0 AS missed_before,
    bitch.n_litters_before,
    bitch.inbreeding_pct,
    breeding.litter_inbreeding_pct,
    shape.normal_morphology_pct,
    other_sire.breeding_id IS NULL AS is_sire_certain,
    span.is_doubtful
FROM breeding
JOIN span USING (breeding_id)
JOIN dog AS bitch ON bitch.dog_id = breeding.bitch_id
JOIN dog AS stud ON stud.dog_id = breeding.stud_id
LEFT JOIN scanned ON scanned.of_breeding_id = breeding.breeding_id
LEFT JOIN reported ON reported.of_breeding_id = breeding.breeding_id
LEFT JOIN shape USING (breeding_id)
LEFT JOIN other_sire ON other_sire.breeding_id = breeding.breeding_id
