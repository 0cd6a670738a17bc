-- Tables as recorded, nothing calculated. The engine cannot rewrite a parent that a declared foreign
-- key points at, so references are kept by the loader and proved by checks.sql. The tables that
-- grow with every collection (line, collection, evaluation, processing, dose) carry no index: their
-- ids are made from one count inside the transaction, and checks.sql proves them unique.
-- The id of a domain row is the id of its entry, or entry × 10 + n where a line makes several rows.

CREATE TYPE reading_kind AS ENUM ('exact', 'rounded', 'below', 'above', 'between', 'word');

-- Ends of a rounded value lie half a step away from it; ends of a word are NULL. A reading without
-- sperm ("none seen") is the word with both ends zero.
CREATE TYPE reading AS STRUCT(kind reading_kind, low DOUBLE, high DOUBLE, "text" VARCHAR);
CREATE TYPE moment AS STRUCT(earliest TIMESTAMP, latest TIMESTAMP, "text" VARCHAR);

CREATE TABLE load (
    load_id BIGINT PRIMARY KEY,
    loaded_at TIMESTAMP NOT NULL,
    day DATE NOT NULL,
    day_order VARCHAR CHECK (day_order IN ('day-first', 'month-first'))
);

CREATE TABLE source_file (
    file_id BIGINT PRIMARY KEY,
    load_id BIGINT NOT NULL,
    name VARCHAR NOT NULL,
    sheet VARCHAR NOT NULL,
    sha256 VARCHAR NOT NULL,
    n_lines BIGINT NOT NULL
);

-- The order of the cells in line.cells.
CREATE TABLE sheet_column (
    sheet VARCHAR NOT NULL,
    position INTEGER NOT NULL,
    name VARCHAR NOT NULL,
    heading VARCHAR NOT NULL,
    PRIMARY KEY (sheet, position)
);

-- Every line ever loaded, whole. entry_id is what it is about (sheet, subject, day, mark) and stays
-- when the line is corrected. A refused line has no version; one about nothing known has no entry.
CREATE TABLE line (
    line_id BIGINT NOT NULL,
    entry_id BIGINT,
    version INTEGER,
    file_id BIGINT NOT NULL,
    line INTEGER NOT NULL,
    sheet VARCHAR NOT NULL,
    subject VARCHAR,
    day DATE,
    mark VARCHAR,
    cells VARCHAR NOT NULL USING COMPRESSION zstd,
    state VARCHAR NOT NULL CHECK (
        state IN ('current', 'superseded', 'refused', 'withdrawn', 'erased')
    )
);

CREATE TABLE finding (
    finding_id BIGINT PRIMARY KEY,
    line_id BIGINT NOT NULL,
    severity VARCHAR NOT NULL CHECK (severity IN ('refused', 'question')),
    rule VARCHAR NOT NULL,
    column_heading VARCHAR NOT NULL,
    cell VARCHAR,
    message VARCHAR NOT NULL,
    remedy VARCHAR NOT NULL,
    closed_by VARCHAR CHECK (closed_by IN ('corrected', 'confirmed', 'withdrawn', 'erased'))
);

-- What was erased on request: that it was, when and why; never what.
CREATE TABLE tombstone (
    entry_id BIGINT NOT NULL,
    erased_on DATE NOT NULL,
    reason VARCHAR NOT NULL,
    n_erased INTEGER NOT NULL
);

CREATE TABLE dog (
    dog_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    call_name VARCHAR NOT NULL,
    registered_name VARCHAR,
    sex VARCHAR NOT NULL CHECK (sex IN ('male', 'female')),
    born_on DATE,
    breed VARCHAR,
    adult_weight_kg DOUBLE CHECK (adult_weight_kg > 0),
    sire VARCHAR,
    dam VARCHAR,
    inbreeding_pct DOUBLE CHECK (inbreeding_pct BETWEEN 0 AND 100),
    owner VARCHAR,
    n_litters_before INTEGER,
    n_missed_before INTEGER,
    notes VARCHAR
);

CREATE TABLE dog_identifier (
    entry_id BIGINT NOT NULL,
    dog_id BIGINT NOT NULL,
    kind VARCHAR NOT NULL CHECK (kind IN ('chip', 'registry')),
    identifier VARCHAR NOT NULL,
    PRIMARY KEY (dog_id, kind)
);

CREATE TABLE collection (
    collection_id BIGINT NOT NULL,
    entry_id BIGINT NOT NULL,
    stud_id BIGINT NOT NULL,
    collected moment NOT NULL,
    failed_reason VARCHAR,
    destination VARCHAR,
    notes VARCHAR
);

-- A raw reading belongs to a collection; one of a box to a shipment. evaluated is NULL when the
-- sample was read at once.
CREATE TABLE evaluation (
    evaluation_id BIGINT NOT NULL,
    entry_id BIGINT NOT NULL,
    stud_id BIGINT NOT NULL,
    collection_id BIGINT,
    shipment_id BIGINT,
    stage VARCHAR NOT NULL CHECK (
        stage IN ('raw', 'after spin', 'extended', 'kept back', 'on arrival', 'after thaw')
    ),
    evaluated moment,
    observer VARCHAR,
    appearance VARCHAR,
    volume_ml reading,
    concentration_m_per_ml reading,
    n_cells_counted INTEGER,
    count_method VARCHAR,
    total_motility_pct reading,
    progressive_motility_pct reading,
    motility_method VARCHAR,
    n_motility_judged INTEGER,
    normal_morphology_pct reading,
    n_morphology_checked INTEGER,
    minutes_at_37 DOUBLE,
    CHECK (collection_id IS NOT NULL OR shipment_id IS NOT NULL)
);

CREATE TABLE morphology (
    evaluation_id BIGINT NOT NULL,
    entry_id BIGINT NOT NULL,
    part VARCHAR NOT NULL,
    abnormal_pct reading NOT NULL,
    PRIMARY KEY (evaluation_id, part)
);

CREATE TABLE processing (
    processing_id BIGINT NOT NULL,
    entry_id BIGINT NOT NULL,
    collection_id BIGINT NOT NULL,
    extender VARCHAR,
    spin_g DOUBLE,
    spin_min DOUBLE,
    fluid_taken_off_ml DOUBLE,
    volume_after_ml DOUBLE
);

CREATE TABLE dose (
    dose_id BIGINT NOT NULL,
    entry_id BIGINT NOT NULL,
    collection_id BIGINT NOT NULL,
    n_doses INTEGER NOT NULL,
    destination VARCHAR
);

CREATE TABLE frozen_lot (
    frozen_lot_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    stud_id BIGINT NOT NULL,
    frozen_on DATE NOT NULL,
    lot VARCHAR NOT NULL,
    n_straws INTEGER NOT NULL CHECK (n_straws >= 0),
    motile_per_straw_m reading,
    post_thaw_progressive_motility_pct reading,
    n_straws_per_dose INTEGER,
    stored_at VARCHAR,
    notes VARCHAR
);

CREATE TABLE shipment (
    shipment_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    stud_id BIGINT NOT NULL,
    collected_on DATE,
    sent moment NOT NULL,
    carrier VARCHAR,
    extender VARCHAR,
    n_doses INTEGER,
    dose_volume_ml DOUBLE,
    motile_dose_m reading,
    for_bitch VARCHAR,
    clinic VARCHAR,
    promised_on DATE,
    arrived moment,
    notes VARCHAR
);

CREATE TABLE cycle (
    cycle_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    bitch_id BIGINT NOT NULL,
    first_day DATE NOT NULL,
    lh_surge_on DATE,
    vet_ovulation_on DATE,
    notes VARCHAR
);

CREATE TABLE hormone_test (
    hormone_test_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    cycle_id BIGINT NOT NULL,
    hormone VARCHAR NOT NULL CHECK (hormone = 'progesterone'),
    sampled moment NOT NULL,
    result reading NOT NULL,
    unit VARCHAR CHECK (unit IN ('ng/mL', 'nmol/L')),
    laboratory VARCHAR
);

CREATE TABLE breeding (
    breeding_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    bitch_id BIGINT NOT NULL,
    stud_id BIGINT NOT NULL,
    semen_type VARCHAR NOT NULL CHECK (semen_type IN ('natural', 'fresh', 'chilled', 'frozen')),
    route VARCHAR NOT NULL CHECK (route IN ('natural', 'vaginal', 'transcervical', 'surgical')),
    clinic VARCHAR,
    notes VARCHAR
);

CREATE TABLE insemination (
    insemination_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    breeding_id BIGINT NOT NULL,
    n_in_breeding INTEGER NOT NULL,
    inseminated moment NOT NULL,
    collected_on DATE,
    motile_dose_m reading,
    n_straws INTEGER,
    lot VARCHAR
);

CREATE TABLE pregnancy_check (
    pregnancy_check_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    breeding_id BIGINT NOT NULL,
    scanned_on DATE,
    finding VARCHAR NOT NULL CHECK (finding IN ('pregnant', 'not pregnant', 'unclear')),
    n_pups_on_scan INTEGER
);

-- An empty bitch is a row; a breeding without a row was not reported.
CREATE TABLE litter (
    litter_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    breeding_id BIGINT NOT NULL,
    result VARCHAR NOT NULL CHECK (result IN ('whelped', 'empty', 'lost')),
    whelped_on DATE,
    n_born_alive INTEGER CHECK (n_born_alive >= 0),
    n_stillborn INTEGER CHECK (n_stillborn >= 0),
    n_alive_8_weeks INTEGER CHECK (n_alive_8_weeks >= 0)
);

CREATE TABLE examination (
    examination_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    dog_id BIGINT NOT NULL,
    examined_on DATE NOT NULL,
    what VARCHAR NOT NULL,
    finding VARCHAR,
    measured_value reading,
    unit VARCHAR,
    notes VARCHAR
);

CREATE TABLE lab_test (
    lab_test_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    dog_id BIGINT NOT NULL,
    what VARCHAR NOT NULL,
    sampled_on DATE NOT NULL,
    result VARCHAR,
    measured_value reading,
    unit VARCHAR,
    laboratory_range VARCHAR,
    laboratory VARCHAR,
    notes VARCHAR
);

CREATE TABLE event (
    event_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    dog_id BIGINT NOT NULL,
    kind VARCHAR NOT NULL,
    started_on DATE NOT NULL,
    until_on DATE,
    drug_class VARCHAR,
    result VARCHAR,
    notes VARCHAR
);

CREATE TABLE price (
    price_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    what VARCHAR NOT NULL,
    price DOUBLE NOT NULL,
    currency VARCHAR NOT NULL,
    valid_from DATE,
    valid_until DATE,
    notes VARCHAR
);

-- A kept posterior; its draws are little-endian 64-bit floats.
CREATE TABLE fit (
    fit_id BIGINT PRIMARY KEY,
    model VARCHAR NOT NULL,
    fitted_at TIMESTAMP NOT NULL,
    seed BIGINT NOT NULL,
    data_fingerprint VARCHAR NOT NULL,
    model_fingerprint VARCHAR NOT NULL,
    priors_fingerprint VARCHAR NOT NULL,
    versions VARCHAR NOT NULL,
    diagnostics VARCHAR NOT NULL,
    seconds DOUBLE NOT NULL
);

CREATE TABLE fit_draws (
    fit_id BIGINT NOT NULL,
    parameter VARCHAR NOT NULL,
    shape VARCHAR NOT NULL,
    draws BLOB NOT NULL,
    PRIMARY KEY (fit_id, parameter)
);

-- The value of a reading where both ends are known; a word has none.
CREATE MACRO middle(r) AS
    CASE WHEN r.kind <> 'word' AND isfinite(r.high) THEN (r.low + r.high) / 2 END;

-- An end of a percentage, held within 0 and 100; one that is not known stays so.
CREATE MACRO percent_end(v) AS CASE WHEN v IS NOT NULL THEN greatest(0, least(100, v)) END;
