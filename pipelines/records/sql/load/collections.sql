-- Rows of the Collections sheet: the attempt, its raw evaluation, what was made of it.
INSERT INTO collection
SELECT
    entry_id, entry_id, dog_id,
    to_moment(collected_on, collected_at, collected_on__text, collected_at__text),
    failed_reason, destination, notes
FROM accepted;

INSERT INTO evaluation
SELECT
    entry_id * 10, entry_id, dog_id, entry_id, NULL, 'raw', NULL, evaluator, appearance, volume_ml,
    concentration_m_per_ml, TRY_CAST(n_cells_counted AS INTEGER),
    CASE
        WHEN count_method IS NOT NULL THEN count_method
        WHEN n_cells_counted IS NOT NULL THEN 'chamber'
        WHEN concentration_m_per_ml IS NULL THEN 'not counted'
    END,
    total_motility_pct, progressive_motility_pct,
    parse_method(motility_method, n_motility_evaluated),
    TRY_CAST(n_motility_evaluated AS INTEGER), normal_morphology_pct,
    TRY_CAST(n_morphology_evaluated AS INTEGER), minutes_at_37
FROM accepted
WHERE failed_reason IS NULL;

INSERT INTO morphology
SELECT entry_id * 10, entry_id, unpivoted.part, unpivoted.abnormal_pct
FROM (
    SELECT entry_id, unnest([
        {'part': 'head', 'abnormal_pct': head_pct},
        {'part': 'midpiece', 'abnormal_pct': midpiece_pct},
        {'part': 'tail', 'abnormal_pct': tail_pct},
        {'part': 'proximal droplet', 'abnormal_pct': proximal_droplet_pct},
        {'part': 'distal droplet', 'abnormal_pct': distal_droplet_pct},
        {'part': 'detached head', 'abnormal_pct': detached_head_pct}
    ]) AS unpivoted
    FROM accepted
    WHERE failed_reason IS NULL AND coalesce(
        head_pct__text, midpiece_pct__text, tail_pct__text, proximal_droplet_pct__text,
        distal_droplet_pct__text, detached_head_pct__text
    ) IS NOT NULL
)
WHERE unpivoted.abnormal_pct IS NOT NULL;

INSERT INTO processing
SELECT
    entry_id, entry_id, entry_id, extender, centrifuge_g, centrifuge_min, supernatant_removed_ml,
    volume_after_ml
FROM accepted
WHERE coalesce(
    extender, centrifuge_g__text, centrifuge_min__text, supernatant_removed_ml__text,
    volume_after_ml__text
) IS NOT NULL;

INSERT INTO dose
SELECT entry_id, entry_id, entry_id, TRY_CAST(n_doses AS INTEGER), destination
FROM accepted
WHERE n_doses__text IS NOT NULL;
