-- The distinct ways in which something was wrong, each to be given a name.
-- grain: one row per topic, component, ruled value, right value and stake
-- key: topic, component, ruled, right_value, stake
-- reads: scores.misruling_case
SELECT DISTINCT topic, component, ruled, right_value, stake
FROM scores.misruling_case
WHERE verdict = 'wrong'
ORDER BY topic, component, ruled, right_value, stake
