-- What a kennel says once and the bench remembers: the radius of its rotor, the dose it aims at.
-- The name is a quantity of the vocabulary, the value in its unit.
CREATE TABLE setting (
    quantity VARCHAR PRIMARY KEY,
    setting_value DOUBLE NOT NULL
);
