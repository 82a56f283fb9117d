-- Called zones, as scored.
-- grain: one row per umpire and edge
-- key: umpire_id, edge
-- reads: scores.called_zone
SELECT
    umpire_id, edge, offset_in, low, high, sharpness_in, sharpness_low, sharpness_high,
    near_pitches, pitches, state
FROM scores.called_zone
ORDER BY umpire_id, edge
