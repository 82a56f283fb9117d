-- Working the slot, as scored.
-- grain: one row per umpire and item of positioning
-- key: umpire_id, item
-- reads: scores.positioning
SELECT
    umpire_id, item, checks, good, rate, low, high
FROM scores.positioning
ORDER BY umpire_id NULLS FIRST, item NULLS FIRST
