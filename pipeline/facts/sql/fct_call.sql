-- Grain: one graded call (or one case of a case list). Key: call_id. Reads: source_call, parameter, error_sd.
-- Missing facts stay NULL; what nothing happened is `none`. Adds what the rules and the scores are made from.
WITH source AS (
  SELECT source_call.*, parameter.ball_radius_in, parameter.plate_half_width_in,
         coalesce(location_source, 'eye') AS source_of_location
  FROM source_call LEFT JOIN parameter USING (rule_code)
), measured AS (
  SELECT *,
         ball_x_in IS NOT NULL AND ball_z_in IS NOT NULL AND zone_low_in IS NOT NULL AND zone_high_in IS NOT NULL AS is_measured,
         greatest(abs(ball_x_in) - plate_half_width_in, 0) AS beside_in,
         greatest(zone_low_in - ball_z_in, ball_z_in - zone_high_in, 0) AS above_or_below_in,
         least(plate_half_width_in - abs(ball_x_in), ball_z_in - zone_low_in, zone_high_in - ball_z_in) AS depth_in
  FROM source
), placed AS (
  -- Any part of the ball over any part of the zone: the centre within one radius of the rectangle.
  SELECT *,
         CASE WHEN NOT is_measured THEN NULL
              WHEN depth_in >= 0 THEN ball_radius_in + depth_in
              ELSE ball_radius_in - sqrt(beside_in * beside_in + above_or_below_in * above_or_below_in) END AS zone_margin_in
  FROM measured
), judged AS (
  SELECT *,
         CASE WHEN is_measured THEN CASE WHEN zone_margin_in >= 0 THEN 'in_zone' ELSE 'out_of_zone' END
              WHEN location IN ('in_zone', 'out_of_zone') THEN location END AS zone,
         CASE WHEN is_measured THEN 'measured' WHEN location IS NOT NULL THEN 'eye' END AS zone_basis,
         CASE WHEN is_measured THEN
           (normal_cdf((plate_half_width_in + ball_radius_in - ball_x_in) / sd_in)
            - normal_cdf((-plate_half_width_in - ball_radius_in - ball_x_in) / sd_in))
           * (normal_cdf((zone_high_in + ball_radius_in - ball_z_in) / sd_in)
              - normal_cdf((zone_low_in - ball_radius_in - ball_z_in) / sd_in)) END AS p_strike
  FROM placed LEFT JOIN error_sd USING (source_of_location)
), decided AS (
  SELECT * EXCLUDE (could_avoid, moment, bounced, swing),
         -- Delay, changing boxes and a walk on request are acts before the pitch, whatever the sheet says of the moment.
         CASE WHEN batter_act IN ('delay', 'switched_box') OR walk_request = 'coach'
                OR (walk_request = 'catcher' AND rule_code = 'nfhs') THEN 'before_pitch' ELSE moment END AS moment,
         -- A ball that slipped and rolled over the foul line is a pitch that bounced.
         CASE WHEN pitch_legality = 'dropped_crossed_line' THEN 'yes' ELSE bounced END AS bounced,
         -- The partner's answer settles a checked swing.
         CASE WHEN swing = 'checked' AND swing_appeal = 'partner_swing' THEN 'full' ELSE swing END AS swing,
         -- High school, common practice, no source: a batter who freezes on a breaking pitch has not let it hit him.
         CASE WHEN could_avoid IS NULL AND rule_code = 'nfhs' AND avoidance = 'froze' AND pitch_kind = 'breaking'
              THEN 'no' ELSE could_avoid END AS could_avoid,
         -- High school, common practice, no source: judged by where the pitch was, or would have been, at the plate.
         CASE WHEN location_at_touch = 'in_zone' THEN 'yes' WHEN location_at_touch IS NOT NULL THEN 'no'
              WHEN zone = 'out_of_zone' THEN 'no'
              WHEN rule_code = 'nfhs' AND zone = 'in_zone' THEN 'yes' END AS touch_in_zone,
         CASE WHEN location_at_touch = 'in_batters_box' THEN 'yes' WHEN location_at_touch IS NOT NULL THEN 'no'
              END AS touch_in_box,
         CASE WHEN stance_front = 'past_line' OR stance_back = 'past_line' THEN 'yes'
              -- A stance that nobody wrote down matters only where the row tells of nothing else.
              WHEN moment = 'pitch' OR batter_act <> 'none' OR walk_request <> 'none' OR bat <> 'legal' OR helmet <> 'proper'
                OR catcher_act <> 'none' OR umpire_act <> 'none' OR pitch_legality <> 'legal' THEN 'no'
              WHEN stance_front IS NOT NULL AND stance_back IS NOT NULL THEN 'no' END AS stance_fault,
         CASE WHEN batter_side = 'right' THEN ball_x_in WHEN batter_side = 'left' THEN -ball_x_in END AS toward_outside_in
  FROM judged
), named AS (
  SELECT *,
         CASE
           WHEN batter_act = 'switched_box' THEN 'changing_boxes'
           WHEN batter_act IN ('delay', 'left_box_both_feet', 'left_box_one_foot') THEN 'delay'
           WHEN walk_request <> 'none' THEN 'intentional_walk'
           WHEN bat <> 'legal' THEN 'bat'
           WHEN pitch_legality <> 'legal' OR pitch_delivered = 'no' THEN 'illegal_pitch'
           WHEN catcher_act <> 'none' THEN 'catcher_interference'
           WHEN helmet <> 'proper' THEN 'equipment'
           WHEN moment = 'before_pitch' THEN 'stance'
           WHEN umpire_act <> 'none' THEN 'umpire_interference'
           WHEN pitch_touched IN ('lodged', 'runner', 'out_of_play') THEN 'lodged_or_runner_touched'
           WHEN swing_appeal <> 'none' THEN 'check_swing'
           WHEN batter_act IN ('hindered_catcher', 'follow_through') THEN 'batter_interference'
           WHEN touched <> 'none' AND (contact = 'none' OR first_touch = 'body') THEN 'hit_batter'
           WHEN contact <> 'none' AND (contact_front IN ('part_out', 'all_out', 'airborne') OR contact_back IN ('part_out', 'all_out', 'airborne')
                OR contact_knee = 'all_out' OR plate_touch = 'yes') THEN 'illegal_hit'
           WHEN contact = 'foul_tip' THEN 'foul_tip'
           WHEN contact <> 'none' THEN 'batted_ball'
           -- A taken pitch stays a matter of ball or strike, unless it was a strike that got away.
           WHEN strikes = 2 AND (swing IN ('full', 'bunt') OR (pitch_caught = 'no' AND bounced = 'no' AND zone = 'in_zone'))
             THEN 'third_strike'
           WHEN swing IN ('full', 'bunt') THEN 'swing'
           ELSE 'pitch' END AS topic,
         CASE WHEN batter_side = pitcher_hand THEN 'same_hand' WHEN batter_side IS NOT NULL AND pitcher_hand IS NOT NULL THEN 'opposite_hand' END AS matchup,
         CASE WHEN NOT is_measured THEN NULL
              WHEN greatest(abs(ball_x_in) - plate_half_width_in, -999) >= greatest(zone_low_in - ball_z_in, ball_z_in - zone_high_in)
                THEN CASE WHEN toward_outside_in IS NULL THEN 'side' WHEN toward_outside_in >= 0 THEN 'outside' ELSE 'inside' END
              WHEN zone_low_in - ball_z_in >= ball_z_in - zone_high_in THEN 'low' ELSE 'high' END AS nearest_edge
  FROM decided
), final AS (
  SELECT *,
         CASE topic WHEN 'pitch' THEN 'pitches' WHEN 'hit_batter' THEN 'hit_batter'
              WHEN 'stance' THEN 'batters_box' WHEN 'illegal_hit' THEN 'batters_box'
              WHEN 'delay' THEN 'batters_box' WHEN 'changing_boxes' THEN 'batters_box' ELSE 'other_rulings' END AS area,
         CASE
           WHEN topic = 'pitch' AND bounced = 'yes' THEN 'pitch/bounced'
           WHEN topic = 'pitch' AND is_measured THEN concat('pitch/', nearest_edge, '/',
             CASE WHEN zone_margin_in >= 3 THEN 'well_in' WHEN zone_margin_in >= 0 THEN 'just_in'
                  WHEN zone_margin_in > -3 THEN 'just_off' ELSE 'well_off' END,
             CASE WHEN arm_slot IN ('sidearm', 'submarine') THEN coalesce('/low_slot_' || matchup, '') ELSE '' END)
           WHEN topic = 'pitch' THEN 'pitch/eye/' || coalesce(location, 'unknown')
           WHEN topic = 'hit_batter' THEN 'hit_batter/' || CASE WHEN swing IN ('full', 'bunt') THEN 'swing'
             WHEN touch_in_zone = 'yes' THEN 'in_zone' ELSE coalesce(avoidance, 'unknown') END
           WHEN topic = 'illegal_hit' THEN 'illegal_hit/' || CASE WHEN contact_front = 'all_out' OR contact_back = 'all_out' OR contact_knee = 'all_out' THEN 'out'
             WHEN plate_touch = 'yes' THEN 'plate' WHEN contact_front = 'airborne' OR contact_back = 'airborne' THEN 'airborne' ELSE 'line' END
           WHEN topic = 'third_strike' THEN 'third_strike/' || CASE WHEN pitch_caught = 'yes' AND bounced = 'no' THEN 'caught' ELSE 'not_caught' END
           WHEN topic = 'foul_tip' THEN 'foul_tip/' || tip_first_touched
           ELSE topic END AS stratum
  FROM named
)
SELECT * EXCLUDE (beside_in, above_or_below_in, depth_in, is_measured, toward_outside_in, sd_in, ball_radius_in, plate_half_width_in, source_of_location)
FROM final
