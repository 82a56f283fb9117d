-- Misrulings, in the order of the pages.
-- grain: one row per misruling that occurred
-- key: misruling_code
-- reads: published.pub_misruling
SELECT
    misruling_code, title, topic, area, consequence, consequence_weight, times, umpires, chances,
    rate, rate_low, rate_high, umpire_share, clinic_score, explanation, rule_refs, example_call_ids
FROM published.pub_misruling
ORDER BY clinic_score DESC, misruling_code
