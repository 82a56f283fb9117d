-- The conditions of the rules in words.
-- grain: one row per line of a condition
-- key: rule_id, line_no
-- reads: rule_condition_text (temporary, from the catalogue)
SELECT
    rule_id, line_no, depth, words
FROM rule_condition_text
ORDER BY rule_id, line_no
