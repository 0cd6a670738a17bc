-- What the owner decides about a line, what was erased, and how often this kennel repeats a test.

-- A line settled by another one that was given as its correction, or withdrawn, is not taken again
-- when its old sheet is loaded once more.
ALTER TABLE line ADD COLUMN settled_by BIGINT;

CREATE TABLE decision (
    decision_id BIGINT PRIMARY KEY,
    line_id BIGINT NOT NULL,
    finding_id BIGINT,
    decision VARCHAR NOT NULL CHECK (decision IN ('confirmed', 'withdrawn')),
    decided_on DATE NOT NULL,
    reason VARCHAR
);

-- Nothing wrote tombstones before this version; one now stands for each line that was touched.
DROP TABLE tombstone;
CREATE TABLE tombstone (
    erasure_id INTEGER NOT NULL,
    line_id BIGINT NOT NULL,
    erased_on DATE NOT NULL,
    reason VARCHAR NOT NULL,
    n_erased INTEGER NOT NULL,
    PRIMARY KEY (erasure_id, line_id)
);

CREATE TABLE repeat_interval (
    interval_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    what VARCHAR NOT NULL,
    repeat_days INTEGER NOT NULL CHECK (repeat_days > 0),
    notes VARCHAR
);
