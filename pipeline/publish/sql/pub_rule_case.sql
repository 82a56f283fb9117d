-- The worked cases of the rules.
-- grain: one row per case
-- key: rule_id, case_no
-- reads: rule_case_text (temporary, from the catalogue)
SELECT
    rule_id, case_no, name, code, day, options, given, state, ruling, rule_state, source
FROM rule_case_text
ORDER BY rule_id, case_no
