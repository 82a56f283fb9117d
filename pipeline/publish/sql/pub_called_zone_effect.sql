-- What moves the called zone, as scored.
-- grain: one row per circumstance and edge
-- key: circumstance, edge
-- reads: scores.called_zone_effect
SELECT
    circumstance, kind, edge, shift_in, low, high, pitches_with, pitches_without, games_with,
    games_without, state
FROM scores.called_zone_effect
ORDER BY circumstance, edge
