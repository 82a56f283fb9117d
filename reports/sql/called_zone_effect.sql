-- What moves the called zone, in the order of the pages.
-- grain: one row per circumstance and edge
-- key: circumstance, edge
-- reads: published.pub_called_zone_effect
SELECT
    circumstance, kind, edge, shift_in, low, high, pitches_with, pitches_without, games_with,
    games_without, state
FROM published.pub_called_zone_effect
ORDER BY kind, circumstance, list_position(['inside', 'outside', 'high', 'low'], edge)
