-- How many read how with the cuts moved.
-- grain: one row per level, area (or 'all') and shift
-- key: target_level, area, shift
-- reads: published.pub_standard_shift
SELECT target_level, area, shift, ready, more_looks, not_yet, moved
FROM published.pub_standard_shift
ORDER BY target_level, area, shift
