-- Title:   Every line of the Health sheet, as the cautions read it
-- Grain:   entry_id, version
-- Reads:   examination, lab_test, event, veterinary_release, doubtful_entries, dog, line, finding
-- Notes:   An earlier version of a line stays (is_superseded) until a person has confirmed the one
--          that took its place, and a doubtful line is here too: it alarms and lifts nothing.
--          is_confirmed says that a question about the line was answered.
WITH noted AS (
    SELECT
        entry_id, dog_id, 'examination' AS kind, examined_on AS noted_on, CAST(NULL AS DATE)
            AS until_on, what, finding AS result, reading_text(measured_value) AS value_text,
        CAST(NULL AS VARCHAR) AS drug_class, veterinarian, notes
    FROM examination
    UNION ALL
    SELECT
        entry_id, dog_id, 'laboratory test', sampled_on, NULL, what, result,
        reading_text(measured_value), NULL, veterinarian, notes
    FROM lab_test
    UNION ALL
    SELECT
        entry_id, dog_id, 'event', started_on, until_on, what_kind, result, NULL, drug_class,
        veterinarian, notes
    FROM (SELECT *, kind AS what_kind FROM event)
    UNION ALL
    SELECT
        entry_id, dog_id, 'release by veterinarian', released_on, NULL, what, result, NULL, NULL,
        veterinarian, notes
    FROM veterinary_release
),

kept AS (
    SELECT
        noted.*,
        line.version,
        EXISTS (
            SELECT 1 FROM finding
            WHERE finding.line_id = line.line_id AND finding.closed_by = 'confirmed'
                AND finding.severity = 'question'
        ) AS is_confirmed
    FROM noted
    LEFT JOIN line
        ON line.sheet = 'health' AND line.state = 'current' AND line.entry_id = noted.entry_id
),

earlier AS (
    SELECT
        kept.entry_id, kept.dog_id,
        json_extract_string(line.cells, '$[2]') AS kind,
        line.day AS noted_on,
        json_extract_string(line.cells, '$[3]') AS what,
        json_extract_string(line.cells, '$[4]') AS result,
        json_extract_string(line.cells, '$[5]') AS value_text,
        line.version
    FROM kept
    JOIN line
        ON line.sheet = 'health' AND line.state = 'superseded' AND line.version IS NOT NULL
        AND line.entry_id = kept.entry_id
    WHERE NOT kept.is_confirmed
)

SELECT
    health.entry_id, health.version, health.dog_id, dog.call_name AS dog, health.kind,
    health.noted_on, health.until_on, health.what, health.result, health.value_text,
    health.drug_class, health.veterinarian, health.notes, health.is_confirmed, health.is_superseded,
    doubtful_entries.entry_id IS NOT NULL AS is_doubtful
FROM (
    SELECT *, FALSE AS is_superseded FROM kept
    UNION ALL BY NAME
    SELECT
        *, CAST(NULL AS DATE) AS until_on, CAST(NULL AS VARCHAR) AS drug_class,
        CAST(NULL AS VARCHAR) AS veterinarian, CAST(NULL AS VARCHAR) AS notes,
        FALSE AS is_confirmed, TRUE AS is_superseded
    FROM earlier
    WHERE noted_on IS NOT NULL
) AS health
JOIN dog USING (dog_id)
LEFT JOIN doubtful_entries ON doubtful_entries.entry_id = health.entry_id
