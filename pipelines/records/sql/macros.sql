-- How a cell is read. Each macro gives NULL for text that is not of its kind: nothing is guessed.
-- They are applied once to each distinct text of a sheet (pipelines/records/database/loading.py).

CREATE TEMP MACRO month_day(t) AS CAST(try_strptime(
    regexp_replace(t, '[.,]', '', 'g'), ['%d %b %Y', '%d %B %Y', '%b %d %Y', '%B %d %Y']
) AS DATE);

-- A date that waits for the order of day and month: slash, dot and dash dates that do not begin
-- with the year.
CREATE TEMP MACRO is_unordered_day(t) AS regexp_full_match(t, '\d{1,2}[/.-]\d{1,2}[/.-]\d{4}');

CREATE TEMP MACRO parse_day(t, day_order) AS CASE
    WHEN regexp_full_match(t, '\d{4}[-/]\d{1,2}[-/]\d{1,2}([ T]00:00(:00(\.0+)?)?)?')
        THEN TRY_CAST(replace(regexp_extract(t, '^[\d/-]+'), '/', '-') AS DATE)
    WHEN is_unordered_day(t) AND day_order = 'day-first'
        THEN CAST(try_strptime(regexp_replace(t, '[/.]', '-', 'g'), '%d-%m-%Y') AS DATE)
    WHEN is_unordered_day(t) AND day_order = 'month-first'
        THEN CAST(try_strptime(regexp_replace(t, '[/.]', '-', 'g'), '%m-%d-%Y') AS DATE)
    WHEN regexp_full_match(t, '\d{1,2}\.? [A-Za-z]{3,9}\.?,? \d{4}|[A-Za-z]{3,9}\.? \d{1,2},? \d{4}')
        THEN month_day(t)
END;

CREATE TEMP MACRO parse_clock(t) AS CASE
    WHEN regexp_full_match(t, '\d{1,2}:\d{2}(:\d{2})?')
        THEN CAST(try_strptime(t, ['%H:%M', '%H:%M:%S']) AS TIME)
    WHEN regexp_full_match(t, '\d{1,2}:\d{2} ?[AaPp][Mm]')
        THEN CAST(try_strptime(replace(upper(t), ' ', ''), '%I:%M%p') AS TIME)
END;

-- A decimal point or a decimal comma; 1,234 is refused because it could be either.
CREATE TEMP MACRO parse_number(t) AS TRY_CAST(CASE
    WHEN regexp_full_match(t, '[-+]?\d+(\.\d+)?([eE][-+]?\d{1,2})?') THEN t
    WHEN regexp_full_match(t, '[-+]?(\d+,(\d{1,2}|\d{4,})|0,\d+)') THEN replace(t, ',', '.')
END AS DOUBLE);

CREATE TEMP MACRO is_word(t) AS lower(t) IN (
    'too many to count', 'none seen', 'not done', 'not counted', 'not read', 'unknown', '?'
);

CREATE TEMP MACRO make_reading(kind, low, high, t) AS CAST(
    {'kind': kind, 'low': low, 'high': high, 'text': t} AS reading
);

-- A measurement as it may be written: 12.5, > 20, < 0.2, ~70, 70-80, or a word of its own. "~70" is
-- taken as good to a tenth of itself: judgement (J).
CREATE TEMP MACRO parse_reading(t) AS list_transform(
    [{
        'plain': parse_number(t),
        'sign': left(t, 1),
        'signed': parse_number(regexp_extract(t, '^(?:>=?|<=?|[≥≤~≈]) ?(.+)$', 1)),
        'low': parse_number(regexp_extract(t, '^([\d.,]+) ?(?:-|–|to) ?[\d.,]+$', 1)),
        'high': parse_number(regexp_extract(t, '^[\d.,]+ ?(?:-|–|to) ?([\d.,]+)$', 1))
    }],
    lambda p: CASE
        WHEN p.plain IS NOT NULL THEN make_reading('exact', p.plain, p.plain, t)
        WHEN lower(t) = 'none seen' THEN make_reading('word', 0.0, 0.0, t)
        WHEN is_word(t) THEN make_reading('word', NULL, NULL, t)
        WHEN p.sign IN ('>', '≥') AND p.signed IS NOT NULL
            THEN make_reading('above', p.signed, CAST('inf' AS DOUBLE), t)
        WHEN p.sign IN ('<', '≤') AND p.signed IS NOT NULL
            THEN make_reading('below', 0.0, p.signed, t)
        WHEN p.sign IN ('~', '≈') AND p.signed IS NOT NULL
            THEN make_reading('rounded', 0.9 * p.signed, 1.1 * p.signed, t)
        WHEN p.low <= p.high THEN make_reading('between', p.low, p.high, t)
    END
)[1];

-- Unless said, sperm that were numbered were counted, and others judged by eye.
CREATE TEMP MACRO parse_method(method, n_evaluated) AS coalesce(
    lower(method), CASE WHEN n_evaluated IS NULL THEN 'by eye' ELSE 'counted' END
);

-- A motility judged by eye stands for the step it was rounded to: tens, fives or single points.
CREATE TEMP MACRO half_step(v) AS
    CASE WHEN v % 10 = 0 THEN 5.0 WHEN v % 5 = 0 THEN 2.5 ELSE 0.5 END;

CREATE TEMP MACRO judged_by_eye(r) AS CASE
    WHEN r.kind = 'exact'
        THEN make_reading('rounded', r.low - half_step(r.low), r.low + half_step(r.low), r.text)
    ELSE r
END;

-- A reading without the text that plain_reading() gives anyway.
CREATE TEMP MACRO without_plain_text(r) AS CASE
    WHEN r.text = plain_reading(r) THEN make_reading(r.kind, r.low, r.high, NULL) ELSE r
END;

-- A moment is an interval: a bare date is the whole day. Its text is kept where it is written in
-- another way than plain_moment() gives it.
CREATE TEMP MACRO to_moment(d, c, d_text, c_text) AS CASE WHEN d IS NOT NULL THEN CAST({
    'earliest': d + coalesce(c, TIME '00:00:00'),
    'latest': d + coalesce(c, TIME '23:59:59'),
    'text': CASE WHEN d_text IS DISTINCT FROM CAST(d AS VARCHAR)
            OR c_text IS DISTINCT FROM left(CAST(c AS VARCHAR), 5)
        THEN concat_ws(' ', d_text, c_text) END
} AS moment) END;

-- The ends of a reading that were measured: of "> 20" the 20, of a value judged by eye the value.
CREATE TEMP MACRO largest_measured(r) AS CASE
    WHEN isinf(r.high) THEN r.low WHEN r.kind = 'rounded' THEN (r.low + r.high) / 2 ELSE r.high END;
CREATE TEMP MACRO smallest_measured(r) AS CASE
    WHEN r.kind = 'below' THEN r.high WHEN r.kind = 'rounded' THEN (r.low + r.high) / 2
    ELSE r.low END;

-- Whether two marks can be the same one, a blank part being unknown.
CREATE TEMP MACRO is_compatible(a, b) AS len(list_filter(
    list_zip(string_split(a, '|'), string_split(b, '|')),
    lambda part: part[1] <> part[2] AND part[1] <> '' AND part[2] <> ''
)) = 0;

-- What a workbook of lines to correct calls a kept line; the letter keeps a spreadsheet from reading
-- a number.
CREATE TEMP MACRO line_digest(of_sheet, of_cells) AS
    'L' || left(sha256(CAST(of_sheet AS VARCHAR) || chr(31) || of_cells), 16);

-- Whether one day may be a slip of the other: not more than a month away, day and month the other way
-- round, or in another year: judgement (J).
CREATE TEMP MACRO is_slip_of_day(a, b) AS abs(date_diff('day', a, b)) <= 31
    OR year(a) = year(b) AND month(a) = day(b) AND day(a) = month(b)
    OR year(a) <> year(b) AND month(a) = month(b) AND day(a) = day(b);
