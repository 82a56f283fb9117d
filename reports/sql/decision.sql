-- The order of decision.
-- grain: one row per decision
-- key: decision
-- reads: published.pub_decision
SELECT
    decision, place, question, outcomes, asked, asked_words, otherwise, rules_nfhs, rules_obr,
    rules_ncaa
FROM published.pub_decision
ORDER BY place
