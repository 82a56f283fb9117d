-- The questions of the order of decision.
-- grain: one row per decision
-- key: decision
-- reads: decision_text (temporary, from the catalogue)
SELECT
    decision, place, question, outcomes, asked, asked_words, otherwise, rules_nfhs, rules_obr,
    rules_ncaa
FROM decision_text
ORDER BY decision
