-- Standards, as scored.
-- grain: one row per umpire and standard of the level he is judged for
-- key: umpire_id, area
-- reads: scores.standard
SELECT
    umpire_id, target_level, area, area_title, cut, estimate, low, high, probability, calls, holds,
    looks_needed
FROM scores.standard
ORDER BY umpire_id NULLS FIRST, area NULLS FIRST
