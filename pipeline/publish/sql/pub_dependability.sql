-- How dependable the readings of each standard are.
-- grain: one row per target_level, area
-- key: target_level, area
-- reads: scores.dependability
SELECT
    target_level,
    area,
    umpires,
    cut,
    mean_rate,
    rate_low,
    rate_high,
    dependability,
    dependability_at_cut,
    accuracy,
    consistency,
    settled,
    looks,
    calls_per_look,
    risk,
    needed_1,
    needed_2,
    needed_4
FROM scores.dependability
ORDER BY target_level NULLS FIRST, area NULLS FIRST
