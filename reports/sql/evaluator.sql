-- Evaluators, in the order of the pages.
-- grain: one row per evaluator
-- key: evaluator_id
-- reads: published.pub_evaluator
SELECT
    evaluator_id, name, level, calls, games, umpires, severity_points, severity_low, severity_high,
    drift_points_per_30_days, drift_low, drift_high, grades, agree, agree_rate, agree_low,
    agree_high, facts_recorded_share, other_code_suspect, other_code_calls, message
FROM published.pub_evaluator
ORDER BY name, evaluator_id
