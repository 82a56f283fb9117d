-- Taken pitches in the air with a measured place and a batter's side, called ball or strike.
-- grain: one row per call
-- key: call_id
-- reads: facts.fct_call
SELECT
    call_id, umpire_id, game_id, rule_code, ball_x_in, ball_z_in, zone_low_in, zone_high_in,
    coalesce(location_source, 'eye') AS location_source, batter_side, pitcher_hand, arm_slot,
    ruled_pitch = 'strike' AS strike
FROM facts.fct_call
WHERE topic IN ('pitch', 'third_strike') AND coalesce(swing, 'none') = 'none' AND coalesce(bounced, 'no') = 'no'
    AND ruled_pitch IN ('ball', 'strike') AND batter_side IS NOT NULL AND umpire_id IS NOT NULL
    AND ball_x_in IS NOT NULL AND ball_z_in IS NOT NULL AND zone_low_in < zone_high_in
ORDER BY call_id
