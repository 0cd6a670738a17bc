-- A day that a records file knows of itself: the last one of records that end, as the demo's do.
CREATE TABLE file_day (
    which_day VARCHAR PRIMARY KEY,
    falls_on DATE NOT NULL
);
