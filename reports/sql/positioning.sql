-- Working the slot, in the order of the pages.
-- grain: one row per umpire and item of positioning
-- key: umpire_id, item
-- reads: published.pub_positioning
SELECT
    umpire_id, item, checks, good, rate, low, high
FROM published.pub_positioning
ORDER BY umpire_id, item
