-- How a cell is read. Each macro gives NULL for text that is not of its kind: a reading is never
-- guessed. Slash and dot dates need the order of day and month (parameter day_order).

CREATE OR REPLACE TEMP MACRO parse_day(t, day_order) AS CASE
    WHEN regexp_full_match(t, '\d{4}-\d{1,2}-\d{1,2}( 00:00(:00)?)?')
        THEN TRY_CAST(left(t, 10) AS DATE)
    WHEN regexp_full_match(t, '\d{1,2}\.? [A-Za-z]{3,9},? \d{4}')
        THEN CAST(try_strptime(
            regexp_replace(t, '[.,]', '', 'g'), ['%d %b %Y', '%d %B %Y']
        ) AS DATE)
    WHEN regexp_full_match(t, '\d{1,2}[/.]\d{1,2}[/.]\d{4}') AND day_order = 'day-first'
        THEN CAST(try_strptime(t, ['%d/%m/%Y', '%d.%m.%Y']) AS DATE)
    WHEN regexp_full_match(t, '\d{1,2}[/.]\d{1,2}[/.]\d{4}') AND day_order = 'month-first'
        THEN CAST(try_strptime(t, ['%m/%d/%Y', '%m.%d.%Y']) AS DATE)
END;

CREATE OR REPLACE TEMP MACRO parse_clock(t) AS CASE
    WHEN regexp_full_match(t, '\d{1,2}:\d{2}(:\d{2})?') THEN TRY_CAST(lpad(t, 5, '0') AS TIME)
END;

-- A decimal point or a decimal comma; 1,234 is refused because it could be either.
CREATE OR REPLACE TEMP MACRO parse_number(t) AS CASE
    WHEN regexp_full_match(t, '[-+]?\d+(\.\d+)?') THEN TRY_CAST(t AS DOUBLE)
    WHEN regexp_full_match(t, '[-+]?\d+,(\d{1,2}|\d{4,})')
        THEN TRY_CAST(replace(t, ',', '.') AS DOUBLE)
END;

-- Words that are records of their own: no number, and not a gap either.
CREATE OR REPLACE TEMP MACRO is_word(t) AS lower(t) IN (
    'too many to count', 'none seen', 'not done', 'not counted', 'unknown', '?', 'not read'
);

CREATE OR REPLACE TEMP MACRO parse_reading(t) AS CASE
    WHEN parse_number(t) IS NOT NULL
        THEN {'kind': 'exact', 'low': parse_number(t), 'high': parse_number(t), 'text': t}
    WHEN lower(t) = 'none seen' THEN {'kind': 'word', 'low': 0.0, 'high': 0.0, 'text': t}
    WHEN is_word(t) THEN {'kind': 'word', 'low': NULL, 'high': NULL, 'text': t}
    WHEN regexp_full_match(t, '[>≥] ?[^>≥ ]+') AND parse_number(ltrim(t, '>≥ ')) IS NOT NULL
        THEN {'kind': 'above', 'low': parse_number(ltrim(t, '>≥ ')), 'high': 'inf'::DOUBLE, 'text': t}
    WHEN regexp_full_match(t, '[<≤] ?[^<≤ ]+') AND parse_number(ltrim(t, '<≤ ')) IS NOT NULL
        THEN {'kind': 'below', 'low': 0.0, 'high': parse_number(ltrim(t, '<≤ ')), 'text': t}
    WHEN regexp_full_match(t, '[~≈] ?[^~≈ ]+') AND parse_number(ltrim(t, '~≈ ')) IS NOT NULL
        THEN {'kind': 'rounded', 'low': 0.9 * parse_number(ltrim(t, '~≈ ')),
              'high': 1.1 * parse_number(ltrim(t, '~≈ ')), 'text': t}
    WHEN regexp_full_match(t, '\d+([.,]\d+)? ?[-–] ?\d+([.,]\d+)?')
        AND parse_number(regexp_extract(t, '^([\d.,]+)', 1))
            <= parse_number(regexp_extract(t, '([\d.,]+)$', 1))
        THEN {'kind': 'between', 'low': parse_number(regexp_extract(t, '^([\d.,]+)', 1)),
              'high': parse_number(regexp_extract(t, '([\d.,]+)$', 1)), 'text': t}
END;

-- A motility judged by eye stands for the step it was rounded to: tens, fives or single points.
CREATE OR REPLACE TEMP MACRO half_step(v) AS
    CASE WHEN v % 10 = 0 THEN 5.0 WHEN v % 5 = 0 THEN 2.5 ELSE 0.5 END;

CREATE OR REPLACE TEMP MACRO parse_by_eye(t, method) AS CASE
    WHEN parse_number(t) IS NULL OR coalesce(method, 'by eye') <> 'by eye' THEN parse_reading(t)
    WHEN parse_number(t) NOT BETWEEN 0 AND 100 THEN parse_reading(t)
    ELSE {
        'kind': 'rounded',
        'low': greatest(parse_number(t) - half_step(parse_number(t)), 0.0),
        'high': least(parse_number(t) + half_step(parse_number(t)), 100.0),
        'text': t
    }
END;

-- A moment is an interval: a bare date is the whole day.
CREATE OR REPLACE TEMP MACRO to_moment(d, c, t) AS CASE
    WHEN d IS NULL THEN NULL
    WHEN c IS NULL THEN {
        'earliest': CAST(d AS TIMESTAMP), 'latest': d + TIME '23:59:59', 'text': t
    }
    ELSE {'earliest': d + c, 'latest': d + c, 'text': t}
END;
