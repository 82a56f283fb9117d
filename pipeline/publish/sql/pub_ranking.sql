-- Rankings, as scored.
-- grain: one row per umpire, level and area (or overall)
-- key: level, area_or_overall, umpire_id
-- reads: scores.ranking
SELECT
    level, area_or_overall, rank, rank_low, rank_high, tie_group, umpire_id, name, adjusted_rate,
    low, high, raw_rate, p_ahead_of_next, linked_group
FROM scores.ranking
ORDER BY level NULLS FIRST, area_or_overall NULLS FIRST, umpire_id NULLS FIRST
