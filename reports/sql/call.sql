-- Every call, each umpire's together, in the order in which they were made.
-- grain: one row per accepted call
-- key: call_id
-- reads: published.pub_call
SELECT
    call_id, game_id, game_on, game_level, umpire_id, evaluator_id, inning, outs, balls, strikes,
    area, topic, verdict, p_right, ruled_text, right_text, misruling_code, misruling_title,
    consequence, pattern_id, pattern_title, because, needs, state, rule_ids, rule_refs, confidence, evaluator_grade,
    evaluator_agrees, note, path, sheet, line_no, ball_x_in, ball_z_in, zone_low_in, zone_high_in,
    zone_margin_in, batter_side, ruled_pitch, right_pitch, other_code_note
FROM published.pub_call
-- A share of the people, from the first to the last; without bounds all of them.
WHERE ($first IS NULL OR umpire_id >= $first) AND ($last IS NULL OR umpire_id <= $last)
ORDER BY umpire_id, game_on NULLS LAST, game_id, path, sheet NULLS FIRST, line_no, call_id
