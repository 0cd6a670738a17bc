-- A third kind of finding: a line that is kept and counts only once somebody has confirmed it. The day
-- of a dog's death, and the lines of one breeding that were written down as several.
CREATE TABLE new_finding AS FROM finding;
DROP TABLE finding;
CREATE TABLE finding (
    finding_id BIGINT PRIMARY KEY,
    line_id BIGINT NOT NULL,
    severity VARCHAR NOT NULL CHECK (severity IN ('refused', 'doubtful', 'question')),
    rule VARCHAR NOT NULL,
    column_heading VARCHAR NOT NULL,
    cell VARCHAR,
    message VARCHAR NOT NULL,
    remedy VARCHAR NOT NULL,
    closed_by VARCHAR CHECK (closed_by IN ('corrected', 'confirmed', 'withdrawn', 'erased')),
    rule_values VARCHAR
);
INSERT INTO finding FROM new_finding;
DROP TABLE new_finding;

ALTER TABLE dog ADD COLUMN died_on DATE;

-- entry_id is a further mating of the breeding that the line of into_entry_id began; it stays one when
-- either line is corrected.
CREATE TABLE joined_breeding (
    entry_id BIGINT PRIMARY KEY,
    into_entry_id BIGINT NOT NULL
);
