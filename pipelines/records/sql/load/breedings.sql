-- Rows of the Breedings sheet: the breeding, its inseminations, its scan and its outcome.
-- Pups or a day of whelping without a result mean that she whelped.
INSERT INTO breeding
SELECT
    entry_id, entry_id, dog_id, stud_id, semen_type,
    coalesce(route, CASE semen_type WHEN 'natural' THEN 'natural' ELSE 'vaginal' END),
    clinic, notes, litter_inbreeding_pct
FROM accepted;

INSERT INTO insemination
SELECT
    entry_id * 10 + 1, entry_id, entry_id, 1,
    to_moment(bred_on, bred_at, bred_on__text, bred_at__text),
    collected_on, motile_dose_m, TRY_CAST(n_straws AS INTEGER), lot
FROM accepted
UNION ALL
SELECT
    entry_id * 10 + 2, entry_id, entry_id, 2,
    to_moment(second_on, second_at, second_on__text, second_at__text),
    collected_on, motile_dose_m, TRY_CAST(n_straws AS INTEGER), lot
FROM accepted
WHERE second_on IS NOT NULL;

INSERT INTO pregnancy_check
SELECT entry_id, entry_id, entry_id, scanned_on, scan, TRY_CAST(n_pups_on_scan AS INTEGER)
FROM accepted
WHERE scan IS NOT NULL;

INSERT INTO litter
SELECT
    entry_id, entry_id, entry_id, coalesce(result, 'whelped'), whelped_on,
    TRY_CAST(n_born_alive AS INTEGER), TRY_CAST(n_stillborn AS INTEGER),
    TRY_CAST(n_alive_8_weeks AS INTEGER)
FROM accepted
WHERE result IS NOT NULL OR whelped_on IS NOT NULL OR n_born_alive > 0 OR n_stillborn > 0;
