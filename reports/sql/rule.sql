-- Rules, in the order of the pages.
-- grain: one row per rule of the catalogue, in our own words, with its numbers in each code
-- key: rule_id
-- reads: published.pub_rule
SELECT
    rule_id, topic, title, says, codes, reference_nfhs, reference_obr, reference_ncaa, confidence,
    times_used
FROM published.pub_rule
ORDER BY topic, rule_id
