-- Worked cases, in the order of the pages.
-- grain: one row per case
-- key: rule_id, case_no
-- reads: published.pub_rule_case
SELECT
    rule_id, case_no, name, code, day, options, given, state, ruling, rule_state, source
FROM published.pub_rule_case
ORDER BY rule_id, case_no
