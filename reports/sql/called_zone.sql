-- Called zones, in the order of the pages.
-- grain: one row per umpire and edge
-- key: umpire_id, edge
-- reads: published.pub_called_zone
SELECT
    umpire_id, edge, offset_in, low, high, sharpness_in, sharpness_low, sharpness_high,
    near_pitches, pitches, state
FROM published.pub_called_zone
ORDER BY umpire_id, list_position(['inside', 'outside', 'high', 'low'], edge)
