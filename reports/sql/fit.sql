-- Fits, in the order of the pages.
-- grain: one row per model
-- key: model
-- reads: published.pub_fit
SELECT
    model, observations, cells, umpires, evaluators, situations, games, intercept, sd_umpire,
    sd_evaluator, sd_situation, sd_game, log_likelihood, iterations, converged, outcome, message
FROM published.pub_fit
ORDER BY model
