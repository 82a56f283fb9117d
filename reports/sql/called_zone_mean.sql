-- Called zone on average, in the order of the pages.
-- grain: one row per edge
-- key: edge
-- reads: published.pub_called_zone_mean
SELECT
    edge, offset_in, low, high, spread_in, sharpness_in, sharpness_low, sharpness_high, near_pitches
FROM published.pub_called_zone_mean
ORDER BY list_position(['inside', 'outside', 'high', 'low'], edge)
