-- Every call, each evaluator's together, in the order of his sheets.
-- grain: one row per accepted call
-- key: call_id
-- reads: published.pub_call
SELECT
    evaluator_id, call_id, umpire_id, game_id, game_on, topic, verdict, evaluator_grade, evaluator_agrees,
    ruled_text, right_text, needs, line_no
FROM published.pub_call
-- A share of the people, from the first to the last; without bounds all of them.
WHERE ($first IS NULL OR evaluator_id >= $first) AND ($last IS NULL OR evaluator_id <= $last)
ORDER BY evaluator_id, path, sheet NULLS FIRST, line_no, call_id
