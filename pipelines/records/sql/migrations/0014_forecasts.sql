-- Every chance of a litter that was stated, as it was stated. Rows are only ever added; what a later
-- version comes to know of a forecast is worked out by the view. question_id holds together what one
-- question was answered with; load_id is the last load that the answer can have known. The digest is
-- of the row and of the digest before it; asked_by is no part of it, so that a name can be erased.
CREATE TABLE forecast (
    forecast_id BIGINT PRIMARY KEY,
    question_id BIGINT NOT NULL,
    stated_at TIMESTAMP NOT NULL,
    asked_by VARCHAR,
    stated_by VARCHAR NOT NULL CHECK (stated_by IN ('model', 'person')),
    command VARCHAR NOT NULL CHECK (command IN ('compare', 'schedule', 'ship', 'replay')),
    stud_id BIGINT NOT NULL,
    stud VARCHAR NOT NULL,
    bitch_id BIGINT NOT NULL,
    bitch VARCHAR NOT NULL,
    semen_type VARCHAR NOT NULL,
    route VARCHAR NOT NULL,
    n_inseminations INTEGER NOT NULL,
    planned_at TIMESTAMP NOT NULL,
    litter_prob DOUBLE NOT NULL CHECK (litter_prob > 0 AND litter_prob < 1),
    litter_prob_median DOUBLE,
    litter_prob_lower DOUBLE,
    litter_prob_upper DOUBLE,
    published_litter_prob DOUBLE CHECK (published_litter_prob > 0 AND published_litter_prob < 1),
    records_weight DOUBLE,
    n_draws INTEGER,
    model_fingerprint VARCHAR,
    priors_fingerprint VARCHAR,
    versions VARCHAR,
    records_fingerprint VARCHAR NOT NULL,
    n_current_lines BIGINT NOT NULL,
    load_id BIGINT NOT NULL,
    digest VARCHAR NOT NULL
);

-- How many forecasts there are and the digest of the last one, so that none is taken off the end; one
-- row from the first forecast on.
CREATE TABLE forecast_count (
    n_forecasts BIGINT NOT NULL,
    last_digest VARCHAR NOT NULL
);

-- A name that was taken out of a forecast: that it was, when and why; never what.
CREATE TABLE erased_forecast (
    erasure_id INTEGER NOT NULL,
    forecast_id BIGINT NOT NULL,
    erased_on DATE NOT NULL,
    reason VARCHAR NOT NULL,
    PRIMARY KEY (erasure_id, forecast_id)
);
