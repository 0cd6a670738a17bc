-- Title:   The last heat of each bitch in which she has not been bred
-- Grain:   cycle_id
-- Reads:   cycles, inseminations_seen
-- Notes:   A heat is over for this list once she was bred in it or a later one began; a doubtful
--          line of the Breedings sheet says that too.
SELECT cycles.*
FROM cycles
ANTI JOIN inseminations_seen USING (cycle_id)
QUALIFY first_day = max(first_day) OVER (PARTITION BY bitch_id)
    AND first_day >= (
        SELECT max(later.first_day) FROM cycles AS later WHERE later.bitch_id = cycles.bitch_id
    )
