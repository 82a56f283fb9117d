-- How the plate was worked in a game: shares of the checks that saw it, empty where none looked.
-- grain: one row per game with a check
-- key: game_id
-- reads: checked.positioning, checked.games
SELECT
    p.game_id,
    g.plate_umpire_id AS umpire_id,
    avg(CASE p.in_slot WHEN 'no' THEN 1.0 WHEN 'yes' THEN 0.0 END) AS out_of_slot,
    avg(CASE WHEN p.drift IS NOT NULL THEN (p.drift = 'toward_batter')::INTEGER END) AS drift_toward,
    avg(CASE WHEN p.drift IS NOT NULL THEN (p.drift = 'away_from_batter')::INTEGER END) AS drift_away,
    avg(CASE WHEN p.head_height IS NOT NULL THEN (p.head_height = 'low')::INTEGER END) AS head_low,
    avg(CASE WHEN p.head_height IS NOT NULL THEN (p.head_height = 'high')::INTEGER END) AS head_high
FROM checked.positioning AS p
JOIN checked.games AS g USING (game_id)
GROUP BY p.game_id, g.plate_umpire_id
ORDER BY p.game_id
