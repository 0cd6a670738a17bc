-- Who examined, and a veterinarian's release: it ends a stop, and names the tests it rests on.
ALTER TABLE examination ADD COLUMN veterinarian VARCHAR;
ALTER TABLE lab_test ADD COLUMN veterinarian VARCHAR;
ALTER TABLE event ADD COLUMN veterinarian VARCHAR;

CREATE TABLE veterinary_release (
    release_id BIGINT PRIMARY KEY,
    entry_id BIGINT NOT NULL,
    dog_id BIGINT NOT NULL,
    released_on DATE NOT NULL,
    what VARCHAR NOT NULL,
    result VARCHAR,
    veterinarian VARCHAR NOT NULL,
    notes VARCHAR
);
