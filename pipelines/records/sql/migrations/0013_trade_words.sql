-- The trade's words for columns, for stages of a sample, for a bitch that did not whelp, for a sheet
-- and for the rules; what is paid for is one of a list.
ALTER TABLE evaluation RENAME COLUMN observer TO evaluator;
ALTER TABLE evaluation RENAME COLUMN n_motility_judged TO n_motility_evaluated;
ALTER TABLE evaluation RENAME COLUMN n_morphology_checked TO n_morphology_evaluated;
ALTER TABLE processing RENAME COLUMN spin_g TO centrifuge_g;
ALTER TABLE processing RENAME COLUMN spin_min TO centrifuge_min;
ALTER TABLE processing RENAME COLUMN fluid_taken_off_ml TO supernatant_removed_ml;

-- The engine cannot rename a word of a type: the column holds texts while its type is made anew.
ALTER TABLE evaluation ALTER COLUMN stage TYPE VARCHAR;
DROP TYPE stage;
CREATE TYPE stage AS ENUM (
    'raw', 'after centrifugation', 'extended', 'retained', 'on arrival', 'after thaw'
);
ALTER TABLE evaluation ALTER COLUMN stage TYPE stage USING CASE stage
    WHEN 'after spin' THEN 'after centrifugation'
    WHEN 'kept back' THEN 'retained'
    ELSE stage
END;

ALTER TABLE line ALTER COLUMN sheet TYPE VARCHAR;
DROP TYPE sheet_name;
CREATE TYPE sheet_name AS ENUM (
    'dogs', 'collections', 'frozen', 'shipments', 'heats', 'breedings', 'health', 'prices',
    'intervals'
);
ALTER TABLE line ALTER COLUMN sheet TYPE sheet_name USING CASE sheet
    WHEN 'boxes' THEN 'shipments'
    ELSE sheet
END;
UPDATE source_file SET sheet = 'shipments' WHERE sheet = 'boxes';

CREATE TABLE old_litter AS FROM litter;
DROP TABLE litter;
CREATE TABLE litter (
    litter_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    breeding_id BIGINT NOT NULL,
    result VARCHAR NOT NULL CHECK (result IN ('whelped', 'missed', 'lost')),
    whelped_on DATE,
    n_born_alive INTEGER CHECK (n_born_alive >= 0),
    n_stillborn INTEGER CHECK (n_stillborn >= 0),
    n_alive_8_weeks INTEGER CHECK (n_alive_8_weeks >= 0)
);
INSERT INTO litter
SELECT * REPLACE (CASE result WHEN 'empty' THEN 'missed' ELSE result END AS result)
FROM old_litter;
DROP TABLE old_litter;

-- The result is cell 16 of a Breedings line. With the new word a line of an updated sheet is the same
-- line; one that has more cells than headings, which is refused, stays as it is.
UPDATE line
SET cells = CAST(to_json(list_transform(
    from_json(cells, '["VARCHAR"]'),
    lambda cell, place: CASE WHEN place = 16 THEN 'missed' ELSE cell END
)) AS VARCHAR)
WHERE sheet = 'breedings' AND lower(json_extract_string(cells, '$[15]')) = 'empty'
    AND json_array_length(cells) <= 23;

-- What is paid for was found by a part of its name; now it is a word of a list. What was typed instead
-- goes to the notes, by which two lines of one item are told apart, so that nothing is lost.
CREATE TEMP TABLE price_item AS
SELECT
    entry_id, item,
    CASE WHEN lower(what) = item THEN notes ELSE concat_ws('; ', what, notes) END AS notes,
    lower(what) <> item AS is_reworded
FROM (
    SELECT *, CASE
        WHEN contains(lower(what), 'stud fee') THEN 'stud fee'
        WHEN contains(lower(what), 'progesterone') THEN 'progesterone test'
        WHEN contains(lower(what), 'scan') THEN 'scan'
        WHEN contains(lower(what), 'extender') THEN 'extender dose'
        WHEN contains(lower(what), 'transcervical') THEN 'transcervical insemination'
        WHEN contains(lower(what), 'vaginal') THEN 'vaginal insemination'
        WHEN contains(lower(what), 'frozen') THEN 'frozen dose'
        WHEN contains(lower(what), 'box') THEN 'shipment'
        WHEN contains(lower(what), 'collection') THEN 'collection'
        ELSE 'other'
    END AS item
    FROM price
);
UPDATE price
SET what = price_item.item, notes = price_item.notes
FROM price_item
WHERE price_item.entry_id = price.entry_id;
UPDATE line
SET
    subject = price_item.item,
    mark = line.mark || '|' || lower(coalesce(price_item.notes, '')),
    cells = CASE WHEN price_item.is_reworded THEN CAST(json_array(
        price_item.item, json_extract_string(line.cells, '$[1]'),
        json_extract_string(line.cells, '$[2]'), json_extract_string(line.cells, '$[3]'),
        json_extract_string(line.cells, '$[4]'), price_item.notes
    ) AS VARCHAR) ELSE line.cells END
FROM price_item
WHERE line.sheet = 'prices' AND line.state = 'current' AND line.entry_id = price_item.entry_id;
DROP TABLE price_item;

UPDATE finding SET rule = CASE rule
    WHEN 'forward judged above moving' THEN 'progressive perhaps above total motility'
    WHEN 'forward above moving' THEN 'progressive above total motility'
    WHEN 'kept back before collected' THEN 'retained sample before collected'
    WHEN 'read before arrival' THEN 'evaluated before arrival'
    WHEN 'more fluid than sample' THEN 'more supernatant than sample'
    WHEN 'empty with pups' THEN 'missed with pups'
    ELSE rule
END;

CREATE TEMP TABLE new_heading (old VARCHAR, new VARCHAR);
INSERT INTO new_heading VALUES
    ('Missed before', 'Missed heats before'),
    ('% moving', 'Total motility (%)'),
    ('% moving forward', 'Progressive motility (%)'),
    ('How judged', 'How motility was evaluated'),
    ('Sperm judged', 'Sperm evaluated for motility'),
    ('% normal', 'Normal morphology (%)'),
    ('Sperm checked for shape', 'Sperm evaluated for morphology'),
    ('Read by', 'Evaluator'),
    ('% abnormal heads', 'Abnormal heads (%)'),
    ('% abnormal midpieces', 'Abnormal midpieces (%)'),
    ('% abnormal tails', 'Abnormal tails (%)'),
    ('% proximal droplets', 'Proximal droplets (%)'),
    ('% distal droplets', 'Distal droplets (%)'),
    ('% detached heads', 'Detached heads (%)'),
    ('Spun at (g)', 'Centrifuged at (g)'),
    ('Spun for (min)', 'Centrifuged for (min)'),
    ('Fluid taken off (mL)', 'Supernatant removed (mL)'),
    ('M sperm per straw', 'Progressively motile per straw (M)'),
    ('% moving forward after thaw', 'Progressive motility after thaw (%)'),
    ('M forward per dose', 'Progressively motile per dose (M)'),
    ('% moving forward on arrival', 'Progressive motility on arrival (%)'),
    ('% moving forward kept back', 'Retained sample progressive motility (%)'),
    ('Kept back read on', 'Retained sample evaluated on'),
    ('Kept back read at', 'Retained sample evaluated at'),
    ('Minutes warmed kept back', 'Minutes warmed of retained sample');
UPDATE finding
SET
    column_heading = new_heading.new,
    message = new_heading.new || substr(message, length(new_heading.old) + 1)
FROM new_heading
WHERE new_heading.old = finding.column_heading;
DROP TABLE new_heading;

-- What is said of a result follows its cell; and what a waiting line is told to choose from.
UPDATE finding
SET cell = 'missed', message = replace(message, '"' || cell || '"', '"missed"')
FROM line
WHERE line.line_id = finding.line_id AND line.sheet = 'breedings'
    AND finding.column_heading = 'Result' AND lower(finding.cell) = 'empty';
UPDATE finding
SET
    message = replace(message, 'whelped, empty, lost', 'whelped, missed, lost'),
    rule_values = replace(rule_values, 'whelped, empty, lost', 'whelped, missed, lost')
WHERE rule = 'unknown word';
