-- Evaluators, as scored.
-- grain: one row per evaluator
-- key: evaluator_id
-- reads: scores.evaluator
SELECT
    evaluator_id, name, level, calls, games, umpires, severity_points, severity_low, severity_high,
    drift_points_per_30_days, drift_low, drift_high, grades, agree, agree_rate, agree_low,
    agree_high, facts_recorded_share, other_code_suspect, other_code_calls,
    nullif(message, 'nothing stands out') AS message
FROM scores.evaluator
ORDER BY evaluator_id NULLS FIRST
