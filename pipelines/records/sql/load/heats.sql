-- Rows of the Heats sheet: the heat and its progesterone readings.
INSERT INTO cycle
SELECT entry_id, entry_id, dog_id, first_day, lh_surge_on, vet_ovulation_on, notes FROM accepted;

INSERT INTO hormone_test
SELECT
    entry_id * 10 + reading.n, entry_id, entry_id, 'progesterone', reading.sampled, reading.result,
    reading.unit, reading.laboratory
FROM (
    SELECT entry_id, unnest([
        {
            'n': 1,
            'sampled': to_moment(
                progesterone_1_on, progesterone_1_at, progesterone_1_on__text,
                progesterone_1_at__text
            ),
            'result': progesterone_1,
            'unit': progesterone_1_unit,
            'laboratory': progesterone_1_laboratory
        },
        {
            'n': 2,
            'sampled': to_moment(
                progesterone_2_on, progesterone_2_at, progesterone_2_on__text,
                progesterone_2_at__text
            ),
            'result': progesterone_2,
            'unit': progesterone_2_unit,
            'laboratory': progesterone_2_laboratory
        },
        {
            'n': 3,
            'sampled': to_moment(
                progesterone_3_on, progesterone_3_at, progesterone_3_on__text,
                progesterone_3_at__text
            ),
            'result': progesterone_3,
            'unit': progesterone_3_unit,
            'laboratory': progesterone_3_laboratory
        },
        {
            'n': 4,
            'sampled': to_moment(
                progesterone_4_on, progesterone_4_at, progesterone_4_on__text,
                progesterone_4_at__text
            ),
            'result': progesterone_4,
            'unit': progesterone_4_unit,
            'laboratory': progesterone_4_laboratory
        },
        {
            'n': 5,
            'sampled': to_moment(
                progesterone_5_on, progesterone_5_at, progesterone_5_on__text,
                progesterone_5_at__text
            ),
            'result': progesterone_5,
            'unit': progesterone_5_unit,
            'laboratory': progesterone_5_laboratory
        },
        {
            'n': 6,
            'sampled': to_moment(
                progesterone_6_on, progesterone_6_at, progesterone_6_on__text,
                progesterone_6_at__text
            ),
            'result': progesterone_6,
            'unit': progesterone_6_unit,
            'laboratory': progesterone_6_laboratory
        }
    ]) AS reading
    FROM accepted
)
WHERE reading.result IS NOT NULL;
