-- Title:   Which breeding each line of the Breedings sheet belongs to
-- Grain:   entry_id
-- Reads:   breeding, insemination, litter, joined_breeding, doubtful_entries
-- Notes:   A line is a breeding of its own unless somebody has joined it to another one of the same
--          bitch and stud. The join falls where the two no longer belong together: their matings lie
--          more than 21 days apart, and they do not name the same whelping.
WITH mated AS (
    SELECT
        breeding.entry_id, breeding.bitch_id, breeding.stud_id,
        CAST(insemination.inseminated.earliest AS DATE) AS bred_on, litter.result,
        litter.whelped_on, litter.n_born_alive, litter.n_stillborn
    FROM breeding
    JOIN insemination
        ON insemination.breeding_id = breeding.breeding_id AND insemination.n_in_breeding = 1
    LEFT JOIN litter ON litter.breeding_id = breeding.breeding_id
),

joined AS (
    SELECT joined_breeding.entry_id, joined_breeding.into_entry_id
    FROM joined_breeding
    JOIN mated AS own ON own.entry_id = joined_breeding.entry_id
    LEFT JOIN mated AS root ON root.entry_id = joined_breeding.into_entry_id
    WHERE root.entry_id IS NULL
        OR abs(date_diff('day', root.bred_on, own.bred_on)) <= 21
        OR root.whelped_on = own.whelped_on
)

SELECT
    mated.*,
    first_value(mated.entry_id) OVER (
        PARTITION BY mated.bitch_id, mated.stud_id, coalesce(joined.into_entry_id, mated.entry_id)
        ORDER BY joined.entry_id IS NOT NULL, mated.entry_id
    ) AS breeding_id,
    doubtful_entries.entry_id IS NOT NULL AS is_line_doubtful
FROM mated
LEFT JOIN joined ON joined.entry_id = mated.entry_id
LEFT JOIN doubtful_entries ON doubtful_entries.entry_id = mated.entry_id
