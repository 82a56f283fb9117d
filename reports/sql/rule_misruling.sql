-- Misrulings by rule, the commonest first.
-- grain: one row per rule and misruling
-- key: rule_id, misruling_code
-- reads: published.pub_rule_misruling
SELECT
    rule_id, misruling_code, title, times, example_call_ids
FROM published.pub_rule_misruling
ORDER BY rule_id, times DESC, misruling_code
