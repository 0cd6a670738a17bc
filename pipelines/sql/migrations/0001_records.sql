-- Tables as recorded, nothing calculated. References between tables are kept by the loader and
-- proved by a test: this engine cannot rewrite a parent that a declared foreign key points at.
-- An id is made by the loader: a domain row's id is the id of its entry, or entry × 10 + n where
-- one line makes several rows.

CREATE TYPE reading AS STRUCT(kind VARCHAR, low DOUBLE, high DOUBLE, "text" VARCHAR);
CREATE TYPE moment AS STRUCT(earliest TIMESTAMP, latest TIMESTAMP, "text" VARCHAR);

CREATE TABLE source_file (
    file_id BIGINT PRIMARY KEY,
    name VARCHAR NOT NULL,
    sheet VARCHAR NOT NULL,
    sha256 VARCHAR NOT NULL,
    loaded_on DATE NOT NULL
);

-- What a line is about, for ever: sheet and key. Its versions are lines.
CREATE TABLE entry (
    entry_id BIGINT PRIMARY KEY,
    sheet VARCHAR NOT NULL,
    key VARCHAR NOT NULL
);

CREATE TABLE line (
    line_id BIGINT PRIMARY KEY,
    entry_id BIGINT,
    file_id BIGINT NOT NULL,
    line INTEGER NOT NULL,
    sheet VARCHAR NOT NULL,
    cells VARCHAR NOT NULL,
    state VARCHAR NOT NULL CHECK (state IN ('current', 'superseded', 'refused'))
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
    is_open BOOLEAN NOT NULL
);

CREATE TABLE dog (
    dog_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    call_name VARCHAR NOT NULL,
    registered_name VARCHAR,
    sex VARCHAR NOT NULL CHECK (sex IN ('male', 'female')),
    born_on DATE,
    breed VARCHAR,
    adult_weight_kg DOUBLE,
    sire VARCHAR,
    dam VARCHAR,
    inbreeding_pct DOUBLE,
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
    collection_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    stud_id BIGINT NOT NULL,
    collected moment NOT NULL,
    failed_reason VARCHAR,
    destination VARCHAR,
    notes VARCHAR
);

CREATE TABLE evaluation (
    evaluation_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    stud_id BIGINT NOT NULL,
    collected moment,
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
    minutes_at_37 DOUBLE
);

CREATE TABLE morphology (
    entry_id BIGINT NOT NULL,
    evaluation_id BIGINT NOT NULL,
    part VARCHAR NOT NULL,
    abnormal_pct reading NOT NULL,
    PRIMARY KEY (evaluation_id, part)
);

CREATE TABLE processing (
    processing_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    collection_id BIGINT NOT NULL,
    extender VARCHAR
);

CREATE TABLE dose (
    dose_id BIGINT PRIMARY KEY,
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
    n_straws INTEGER NOT NULL,
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
    hormone VARCHAR NOT NULL,
    sampled moment NOT NULL,
    result reading NOT NULL,
    unit VARCHAR,
    laboratory VARCHAR
);

CREATE TABLE breeding (
    breeding_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    bitch_id BIGINT NOT NULL,
    stud_id BIGINT NOT NULL,
    semen_type VARCHAR NOT NULL,
    route VARCHAR NOT NULL,
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
    n_straws INTEGER
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
    n_born_alive INTEGER,
    n_stillborn INTEGER,
    n_alive_8_weeks INTEGER
);

CREATE TABLE examination (
    examination_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    dog_id BIGINT NOT NULL,
    examined_on DATE NOT NULL,
    what VARCHAR NOT NULL,
    finding VARCHAR,
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
    laboratory VARCHAR
);

CREATE TABLE event (
    event_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    dog_id BIGINT NOT NULL,
    kind VARCHAR NOT NULL,
    started_on DATE NOT NULL,
    until_on DATE,
    drug_class VARCHAR,
    notes VARCHAR
);

CREATE TABLE price (
    price_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    what VARCHAR NOT NULL,
    price DOUBLE NOT NULL,
    currency VARCHAR NOT NULL,
    valid_from DATE,
    valid_until DATE
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
