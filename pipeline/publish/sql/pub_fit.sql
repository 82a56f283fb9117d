-- Fits, as scored.
-- grain: one row per model
-- key: model
-- reads: scores.fit
SELECT
    model, observations, cells, umpires, evaluators, situations, games, intercept, sd_umpire,
    sd_evaluator, sd_situation, sd_game, log_likelihood, iterations, converged, outcome, message
FROM scores.fit
ORDER BY model NULLS FIRST
