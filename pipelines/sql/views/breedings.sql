-- Title:   Every breeding with its outcome as far as it is known
-- Grain:   breeding_id
-- Reads:   breeding, inseminations, pregnancy_check, litter, dog, evaluations
-- Notes:   pregnant is what the scan said; whelped is what was reported. An early negative scan
--          (before day 24 after the first insemination) is no negative. Shape is the stud's last raw
--          reading within 90 days before the breeding.
WITH firsts AS (
    SELECT
        breeding_id,
        min(inseminated_earliest) AS bred_earliest,
        min(inseminated_latest) AS bred_latest,
        count(*) AS n_inseminations,
        arg_min(cycle_id, inseminated_earliest) AS cycle_id
    FROM inseminations
    GROUP BY breeding_id
),

shapes AS (
    SELECT stud_id, collected_earliest, normal_morphology_pct
    FROM evaluations
    WHERE stage = 'raw' AND normal_morphology_pct IS NOT NULL
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
    firsts.n_inseminations,
    firsts.bred_earliest,
    firsts.bred_latest,
    firsts.cycle_id,
    breeding.clinic,
    pregnancy_check.scanned_on,
    CASE
        WHEN pregnancy_check.finding = 'pregnant' THEN TRUE
        WHEN pregnancy_check.finding = 'not pregnant'
            AND date_diff('day', CAST(firsts.bred_earliest AS DATE), pregnancy_check.scanned_on)
            >= 24 THEN FALSE
    END AS pregnant,
    CASE WHEN litter.result IS NOT NULL THEN litter.result = 'whelped' END AS whelped,
    litter.result IS NOT NULL AS outcome_known,
    litter.result,
    litter.whelped_on,
    litter.n_born_alive,
    litter.n_stillborn,
    litter.n_born_alive + coalesce(litter.n_stillborn, 0) AS litter_size,
    litter.n_alive_8_weeks,
    date_diff('day', bitch.born_on, CAST(firsts.bred_earliest AS DATE)) / 365.25
        AS bitch_age_years,
    date_diff('day', stud.born_on, CAST(firsts.bred_earliest AS DATE)) / 365.25 AS stud_age_years,
    coalesce(bitch.n_missed_before, 0) > 0 AS missed_before,
    bitch.n_litters_before,
    bitch.inbreeding_pct,
    CASE WHEN shapes.collected_earliest >= firsts.bred_earliest - INTERVAL 90 DAY
        THEN shapes.normal_morphology_pct END AS normal_morphology_pct
FROM breeding
JOIN firsts USING (breeding_id)
JOIN dog AS bitch ON bitch.dog_id = breeding.bitch_id
JOIN dog AS stud ON stud.dog_id = breeding.stud_id
LEFT JOIN pregnancy_check USING (breeding_id)
LEFT JOIN litter USING (breeding_id)
ASOF LEFT JOIN shapes
    ON shapes.stud_id = breeding.stud_id
    AND shapes.collected_earliest <= firsts.bred_latest
