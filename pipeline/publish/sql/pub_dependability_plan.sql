-- What other amounts of watching would bring.
-- grain: one row per target_level, area, games, evaluators
-- key: target_level, area, games, evaluators
-- reads: scores.dependability_plan
SELECT
    target_level,
    area,
    games,
    evaluators,
    dependability,
    accuracy,
    consistency,
    settled
FROM scores.dependability_plan
ORDER BY target_level NULLS FIRST, area NULLS FIRST, games NULLS FIRST, evaluators NULLS FIRST
