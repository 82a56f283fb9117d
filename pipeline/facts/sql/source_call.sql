-- Grain: one accepted plate call. Key: call_id. Reads: checked.plate_calls, checked.games.
WITH calls AS (
  SELECT * FROM amended_call
), games AS (
  SELECT game_id, date AS game_on, level AS game_level, rule_code, plate_umpire_id FROM checked.games
)
SELECT calls.* EXCLUDE (umpire_id),
       coalesce(calls.umpire_id, games.plate_umpire_id) AS umpire_id,
       games.game_on, games.game_level, games.rule_code
FROM calls JOIN games USING (game_id)
