-- Rows of the Heats sheet: the heat and its progesterone readings.
INSERT INTO cycle
SELECT entry_id, entry_id, dog_id, first_day, lh_surge_on, vet_ovulation_on, notes FROM accepted;

INSERT INTO hormone_test
SELECT
    entry_id * 10 + 1, entry_id, entry_id, 'progesterone',
    to_moment(
        progesterone_1_on, progesterone_1_at,
        concat_ws(' ', progesterone_1_on__text, progesterone_1_at__text)
    ),
    progesterone_1, progesterone_1_unit, progesterone_1_laboratory
FROM accepted
WHERE progesterone_1 IS NOT NULL
UNION ALL
SELECT
    entry_id * 10 + 2, entry_id, entry_id, 'progesterone',
    to_moment(
        progesterone_2_on, progesterone_2_at,
        concat_ws(' ', progesterone_2_on__text, progesterone_2_at__text)
    ),
    progesterone_2, progesterone_2_unit, progesterone_2_laboratory
FROM accepted
WHERE progesterone_2 IS NOT NULL
UNION ALL
SELECT
    entry_id * 10 + 3, entry_id, entry_id, 'progesterone',
    to_moment(
        progesterone_3_on, progesterone_3_at,
        concat_ws(' ', progesterone_3_on__text, progesterone_3_at__text)
    ),
    progesterone_3, progesterone_3_unit, progesterone_3_laboratory
FROM accepted
WHERE progesterone_3 IS NOT NULL
UNION ALL
SELECT
    entry_id * 10 + 4, entry_id, entry_id, 'progesterone',
    to_moment(
        progesterone_4_on, progesterone_4_at,
        concat_ws(' ', progesterone_4_on__text, progesterone_4_at__text)
    ),
    progesterone_4, progesterone_4_unit, progesterone_4_laboratory
FROM accepted
WHERE progesterone_4 IS NOT NULL
UNION ALL
SELECT
    entry_id * 10 + 5, entry_id, entry_id, 'progesterone',
    to_moment(
        progesterone_5_on, progesterone_5_at,
        concat_ws(' ', progesterone_5_on__text, progesterone_5_at__text)
    ),
    progesterone_5, progesterone_5_unit, progesterone_5_laboratory
FROM accepted
WHERE progesterone_5 IS NOT NULL
UNION ALL
SELECT
    entry_id * 10 + 6, entry_id, entry_id, 'progesterone',
    to_moment(
        progesterone_6_on, progesterone_6_at,
        concat_ws(' ', progesterone_6_on__text, progesterone_6_at__text)
    ),
    progesterone_6, progesterone_6_unit, progesterone_6_laboratory
FROM accepted
WHERE progesterone_6 IS NOT NULL;
