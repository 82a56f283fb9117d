-- Called zone on average, as scored.
-- grain: one row per edge
-- key: edge
-- reads: scores.called_zone_mean
SELECT
    edge, offset_in, low, high, spread_in, sharpness_in, sharpness_low, sharpness_high, near_pitches
FROM scores.called_zone_mean
ORDER BY edge
