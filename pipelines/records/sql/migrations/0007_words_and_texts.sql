-- Columns of few words keep them as numbers, which is less to write for every collection. The words of
-- a sheet's list are here too: a new one needs a migration.
CREATE TYPE sheet_name AS ENUM (
    'dogs', 'collections', 'frozen', 'boxes', 'heats', 'breedings', 'health', 'prices', 'intervals'
);
CREATE TYPE line_state AS ENUM ('current', 'superseded', 'refused', 'withdrawn', 'erased');
CREATE TYPE stage AS ENUM (
    'raw', 'after spin', 'extended', 'kept back', 'on arrival', 'after thaw'
);
CREATE TYPE appearance AS ENUM ('normal', 'blood', 'pus', 'urine', 'other');
CREATE TYPE count_method AS ENUM ('chamber', 'photometer', 'not counted');
CREATE TYPE motility_method AS ENUM ('counted', 'by eye');
CREATE TYPE failed_reason AS ENUM ('no erection', 'refused', 'nothing', 'stopped for pain');
CREATE TYPE destination AS ENUM (
    'own bitch', 'shipped', 'frozen', 'discarded', 'evaluation only'
);

ALTER TABLE line RENAME TO old_line;
CREATE TABLE line (
    line_id BIGINT NOT NULL,
    entry_id BIGINT,
    version INTEGER,
    file_id BIGINT NOT NULL,
    line INTEGER NOT NULL,
    sheet sheet_name NOT NULL,
    subject VARCHAR,
    day DATE,
    mark VARCHAR,
    cells VARCHAR NOT NULL USING COMPRESSION zstd,
    state line_state NOT NULL,
    settled_by BIGINT
);
INSERT INTO line FROM old_line;
DROP TABLE old_line;

ALTER TABLE collection RENAME TO old_collection;
CREATE TABLE collection (
    collection_id BIGINT NOT NULL,
    entry_id BIGINT NOT NULL,
    stud_id BIGINT NOT NULL,
    collected moment NOT NULL,
    failed_reason failed_reason,
    destination destination,
    notes VARCHAR
);
INSERT INTO collection FROM old_collection;
DROP TABLE old_collection;

ALTER TABLE evaluation RENAME TO old_evaluation;
CREATE TABLE evaluation (
    evaluation_id BIGINT NOT NULL,
    entry_id BIGINT NOT NULL,
    stud_id BIGINT NOT NULL,
    collection_id BIGINT,
    shipment_id BIGINT,
    stage stage NOT NULL,
    evaluated moment,
    observer VARCHAR,
    appearance appearance,
    volume_ml reading,
    concentration_m_per_ml reading,
    n_cells_counted INTEGER,
    count_method count_method,
    total_motility_pct reading,
    progressive_motility_pct reading,
    motility_method motility_method,
    n_motility_judged INTEGER,
    normal_morphology_pct reading,
    n_morphology_checked INTEGER,
    minutes_at_37 DOUBLE,
    CHECK (collection_id IS NOT NULL OR shipment_id IS NOT NULL)
);
INSERT INTO evaluation FROM old_evaluation;
DROP TABLE old_evaluation;

ALTER TABLE dose RENAME TO old_dose;
CREATE TABLE dose (
    dose_id BIGINT NOT NULL,
    entry_id BIGINT NOT NULL,
    collection_id BIGINT NOT NULL,
    n_doses INTEGER NOT NULL,
    destination destination
);
INSERT INTO dose FROM old_dose;
DROP TABLE old_dose;

-- The text of a measurement or a moment is kept from here on where it says more than its value does:
-- "> 20", "12.50", "5 Mar 2024". Rows of earlier versions keep it always; either way these give it.
CREATE MACRO plain_reading(r) AS CASE WHEN r.kind IN ('exact', 'rounded')
    THEN regexp_replace(CAST((r.low + r.high) / 2 AS VARCHAR), '\.0$', '') END;
CREATE MACRO reading_text(r) AS coalesce(r.text, plain_reading(r));
CREATE MACRO plain_moment(m) AS CASE
    WHEN m.earliest = m.latest THEN strftime(m.earliest, '%Y-%m-%d %H:%M')
    WHEN m.latest = m.earliest + INTERVAL '23:59:59'
        THEN strftime(m.earliest, '%Y-%m-%d')
END;
CREATE MACRO moment_text(m) AS coalesce(m.text, plain_moment(m));
