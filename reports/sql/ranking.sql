-- Rankings, in the order of the pages.
-- grain: one row per umpire, level and area (or overall)
-- key: level, area_or_overall, umpire_id
-- reads: published.pub_ranking
SELECT
    level, area_or_overall, rank, rank_low, rank_high, tie_group, umpire_id, name, adjusted_rate,
    low, high, raw_rate, p_ahead_of_next, linked_group
FROM published.pub_ranking
ORDER BY level, area_or_overall, linked_group NULLS FIRST, rank, umpire_id
