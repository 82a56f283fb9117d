-- Rules, in the order of the pages.
-- grain: one row per rule of the catalogue, in our own words, with its numbers in each code
-- key: rule_id
-- reads: published.pub_rule
SELECT
    rule_id, topic, title, says, codes, reference_nfhs, reference_obr, reference_ncaa, confidence,
    decision, outcome, brings, count_effect, condition, yields_to, comes_before, sets_aside,
    times_used, times_wrong
FROM published.pub_rule
ORDER BY topic, rule_id
