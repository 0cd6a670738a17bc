-- Rows of the Collections sheet: the attempt, its raw evaluation, what was made of it.
INSERT INTO collection
SELECT
    entry_id, entry_id, dog_id,
    to_moment(collected_on, collected_at, concat_ws(' ', collected_on__text, collected_at__text)),
    failed_reason, destination, notes
FROM accepted;

INSERT INTO evaluation
SELECT
    entry_id * 10, entry_id, dog_id,
    to_moment(collected_on, collected_at, concat_ws(' ', collected_on__text, collected_at__text)),
    'raw',
    to_moment(collected_on, collected_at, concat_ws(' ', collected_on__text, collected_at__text)),
    observer, appearance, volume_ml, concentration_m_per_ml, CAST(n_cells_counted AS INTEGER),
    coalesce(count_method, CASE
        WHEN n_cells_counted IS NOT NULL THEN 'chamber'
        WHEN concentration_m_per_ml IS NULL THEN 'not counted'
    END),
    total_motility_pct, progressive_motility_pct,
    coalesce(motility_method, CASE WHEN n_motility_judged IS NOT NULL THEN 'counted' ELSE 'by eye' END),
    CAST(n_motility_judged AS INTEGER), normal_morphology_pct,
    CAST(n_morphology_checked AS INTEGER), NULL
FROM accepted
WHERE failed_reason IS NULL;

INSERT INTO processing
SELECT entry_id, entry_id, entry_id, extender FROM accepted WHERE extender IS NOT NULL;

INSERT INTO dose
SELECT entry_id, entry_id, entry_id, CAST(n_doses AS INTEGER), destination
FROM accepted
WHERE n_doses IS NOT NULL;
