-- Grain: one positioning check and item. Key: check_id, item. Reads: checked.positioning, checked.games.
WITH source AS (
  SELECT positioning.*, games.plate_umpire_id AS umpire_id, games.date AS game_on
  FROM checked.positioning JOIN checked.games USING (game_id)
), items AS (
  SELECT check_id, game_id, umpire_id, evaluator_id, game_on, 'in_slot' AS item, in_slot = 'yes' AS good FROM source
  UNION ALL SELECT check_id, game_id, umpire_id, evaluator_id, game_on, 'head_height', head_height = 'top_of_zone' FROM source
  UNION ALL SELECT check_id, game_id, umpire_id, evaluator_id, game_on, 'drift', drift = 'none' FROM source
  -- A view that is blocked is worked well by going up, never away from the batter (common practice, no source).
  UNION ALL SELECT check_id, game_id, umpire_id, evaluator_id, game_on, 'view_handled',
                   CASE WHEN view_blocked = 'yes' THEN adjusted = 'up' WHEN view_blocked = 'no' THEN TRUE END FROM source
  UNION ALL SELECT check_id, game_id, umpire_id, evaluator_id, game_on, 'set_at_release', set_at_release = 'yes' FROM source
  UNION ALL SELECT check_id, game_id, umpire_id, evaluator_id, game_on, 'gap_defended', gap_defended = 'yes' FROM source
)
SELECT check_id, game_id, umpire_id, evaluator_id, game_on, item, good FROM items WHERE good IS NOT NULL
ORDER BY check_id, item
