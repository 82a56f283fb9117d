-- Patterns of misruling that occurred, the commonest first.
-- grain: one row per pattern that occurred
-- key: pattern_id
-- reads: published.pub_pattern
SELECT
    pattern_id, precedence, kind, topic, title, says, true_where, codes, rule_refs, confidence, source, times,
    also_times, umpires, share, example_call_ids
FROM published.pub_pattern
WHERE times > 0
ORDER BY times DESC, precedence
