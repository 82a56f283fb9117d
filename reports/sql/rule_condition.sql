-- Conditions of rules, line by line.
-- grain: one row per line
-- key: rule_id, line_no
-- reads: published.pub_rule_condition
SELECT
    rule_id, line_no, depth, words
FROM published.pub_rule_condition
ORDER BY rule_id, line_no
