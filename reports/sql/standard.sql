-- Standards, in the order of the pages.
-- grain: one row per umpire and standard of the level he is judged for
-- key: umpire_id, area
-- reads: published.pub_standard
SELECT
    umpire_id, target_level, area, area_title, cut, estimate, low, high, probability, calls, holds,
    looks_needed
FROM published.pub_standard
ORDER BY umpire_id, area
