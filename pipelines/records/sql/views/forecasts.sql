-- Title:   Every chance of a litter that was stated, and the breeding that it was about
-- Grain:   forecast_id
-- Reads:   forecast, dog, breedings, breeding_lines, line, source_file, load, decision, finding
-- Notes:   A forecast is about the breeding of the same bitch and stud whose first mating lies at most
--          21 days from the planned one, which is one heat. It could count (is_in_time) where it was
--          stated before that mating (on its day where no hour is written) and before any line of the
--          breeding was loaded, whatever the clock said. Of those for the semen type and the route that
--          were used the last question counts, and within it the number of inseminations nearest to
--          what was done: one of the model's and one of people's for a breeding, whoever asked, since
--          two chances of one litter are no two results. The others stay and say why in standing. whelped is NULL where two studs were used in the heat. known_on is
--          the day of the load that first brought the breeding's result, later corrections apart, or
--          the later one on which somebody confirmed a doubtful line; a load never counts as earlier
--          than one before it (known_load_id). Withdrawn is what names the same bitch and stud in the
--          heat. Nothing here is stored: a forecast never changes.
WITH entered AS (
    SELECT breeding_lines.breeding_id, min(source_file.load_id) AS load_id
    FROM breeding_lines
    JOIN line ON line.entry_id = breeding_lines.entry_id
    JOIN source_file ON source_file.file_id = line.file_id
    GROUP BY breeding_lines.breeding_id
),

load_days AS (
    SELECT load_id, max(day) OVER (ORDER BY load_id) AS day FROM load
),

-- Cells of the Breedings sheet: result, whelped on, born alive, stillborn; as its load reads them.
brought AS (
    SELECT breeding_lines.breeding_id, min(source_file.load_id) AS load_id
    FROM breeding_lines
    JOIN line ON line.entry_id = breeding_lines.entry_id AND line.version IS NOT NULL
    JOIN source_file ON source_file.file_id = line.file_id
    WHERE line.sheet = 'breedings' AND (
        coalesce(json_extract_string(line.cells, '$[15]'), '') <> ''
        OR coalesce(json_extract_string(line.cells, '$[16]'), '') <> ''
        OR TRY_CAST(json_extract_string(line.cells, '$[17]') AS DOUBLE) > 0
        OR TRY_CAST(json_extract_string(line.cells, '$[18]') AS DOUBLE) > 0
    )
    GROUP BY breeding_lines.breeding_id
),

confirmed AS (
    SELECT breeding_lines.breeding_id, max(decision.decided_on) AS day
    FROM breeding_lines
    JOIN line ON line.entry_id = breeding_lines.entry_id AND line.state = 'current'
    JOIN decision ON decision.line_id = line.line_id AND decision.decision = 'confirmed'
    JOIN finding ON finding.finding_id = decision.finding_id AND finding.severity = 'doubtful'
    GROUP BY breeding_lines.breeding_id
),

matched AS (
    SELECT
        forecast.*,
        breedings.breeding_id,
        breedings.bred_earliest,
        breedings.bred_latest,
        breedings.n_inseminations AS n_done,
        breedings.outcome_known,
        CASE WHEN breedings.is_sire_certain THEN breedings.whelped END AS whelped,
        breedings.is_sire_certain,
        breedings.semen_type = forecast.semen_type AND breedings.route = forecast.route
            AS is_way_used,
        forecast.stated_at <= breedings.bred_latest AND forecast.load_id < entered.load_id
            AS is_in_time
    FROM forecast
    LEFT JOIN breedings
        ON breedings.bitch_id = forecast.bitch_id
        AND breedings.stud_id = forecast.stud_id
        AND abs(date_diff(
            'day', CAST(forecast.planned_at AS DATE), CAST(breedings.bred_earliest AS DATE)
        )) <= 21
    LEFT JOIN entered ON entered.breeding_id = breedings.breeding_id
    QUALIFY row_number() OVER (
        PARTITION BY forecast.forecast_id
        ORDER BY
            is_way_used DESC NULLS LAST, is_in_time DESC NULLS LAST,
            abs(date_diff('minute', forecast.planned_at, breedings.bred_earliest)),
            breedings.breeding_id
    ) = 1
),

ranked AS (
    SELECT
        *,
        row_number() OVER (
            PARTITION BY breeding_id, is_way_used AND is_in_time, stated_by
            ORDER BY question_id DESC, abs(n_inseminations - least(n_done, 2)), forecast_id DESC
        ) AS n_from_last
    FROM matched
),

-- Lines of the Breedings sheet that somebody took out; their subject is the bitch, their mark the stud.
taken_out AS (
    SELECT DISTINCT ranked.forecast_id
    FROM ranked
    JOIN line
        ON line.sheet = 'breedings'
        AND line.state = 'withdrawn'
        AND line.subject = CAST(ranked.bitch_id AS VARCHAR)
        AND line.mark = CAST(ranked.stud_id AS VARCHAR)
        AND abs(date_diff('day', CAST(ranked.planned_at AS DATE), line.day)) <= 21
    WHERE ranked.breeding_id IS NULL
)

SELECT
    ranked.forecast_id,
    ranked.question_id,
    ranked.stated_at,
    ranked.asked_by,
    ranked.stated_by,
    ranked.command,
    coalesce(male.call_name, ranked.stud) AS stud,
    coalesce(female.call_name, ranked.bitch) AS bitch,
    ranked.semen_type,
    ranked.route,
    ranked.n_inseminations,
    ranked.planned_at,
    ranked.litter_prob,
    ranked.litter_prob_median,
    ranked.litter_prob_lower,
    ranked.litter_prob_upper,
    ranked.published_litter_prob,
    ranked.records_weight,
    ranked.model_fingerprint,
    ranked.breeding_id,
    ranked.bred_earliest,
    ranked.outcome_known,
    ranked.whelped,
    ranked.is_sire_certain,
    CASE WHEN ranked.outcome_known THEN greatest(load_days.day, confirmed.day) END AS known_on,
    CASE WHEN ranked.outcome_known THEN brought.load_id END AS known_load_id,
    coalesce(ranked.is_way_used AND ranked.is_in_time AND ranked.n_from_last = 1, FALSE) AS counts,
    CASE
        WHEN taken_out.forecast_id IS NOT NULL THEN 'withdrawn'
        WHEN ranked.breeding_id IS NULL THEN 'no breeding'
        WHEN NOT ranked.is_way_used THEN 'another way'
        WHEN NOT ranked.is_in_time THEN 'too late'
        WHEN ranked.n_from_last > 1 THEN 'an earlier one'
        ELSE 'counts'
    END AS standing
FROM ranked
LEFT JOIN brought ON brought.breeding_id = ranked.breeding_id
LEFT JOIN load_days ON load_days.load_id = brought.load_id
LEFT JOIN confirmed ON confirmed.breeding_id = ranked.breeding_id
LEFT JOIN taken_out ON taken_out.forecast_id = ranked.forecast_id
LEFT JOIN dog AS male ON male.dog_id = ranked.stud_id
LEFT JOIN dog AS female ON female.dog_id = ranked.bitch_id
