-- By which names a dog is found: its call name, else its registered name, else chip or registry number.
-- A name of several dogs finds none of them.
CREATE OR REPLACE TEMP TABLE dog_name AS
WITH every AS (
    SELECT lower(call_name) AS name, 1 AS choice, dog_id FROM dog
    UNION ALL
    SELECT lower(registered_name), 2, dog_id FROM dog WHERE registered_name IS NOT NULL
    UNION ALL
    SELECT lower(identifier), 3, dog_id FROM dog_identifier
),

best AS (
    SELECT *
    FROM every
    QUALIFY choice = min(choice) OVER (PARTITION BY name)
),

counted AS (
    SELECT name, count(DISTINCT dog_id) AS n_dogs, min(dog_id) AS dog_id
    FROM best
    GROUP BY name
)

SELECT
    counted.name AS cell, counted.n_dogs, CASE WHEN counted.n_dogs = 1 THEN dog.dog_id END AS dog_id,
    dog.sex, dog.born_on, dog.died_on, FALSE AS is_refused
FROM counted
JOIN dog USING (dog_id)
UNION ALL
-- A dog whose own line waits to be corrected is on the sheet, and cannot be referred to yet.
SELECT DISTINCT refused.name, 0, NULL, NULL, NULL, NULL, TRUE
FROM (
    -- Call name, registered name, chip and registry number, in the order of the sheet's cells.
    SELECT lower(unnest([cells ->> 0, cells ->> 1, cells ->> 6, cells ->> 7])) AS name
    FROM line
    WHERE sheet = 'dogs' AND state = 'refused'
) AS refused
ANTI JOIN counted USING (name)
WHERE refused.name IS NOT NULL;
