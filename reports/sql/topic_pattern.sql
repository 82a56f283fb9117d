-- Every pattern of misruling, the commonest of each topic first.
-- grain: one row per pattern
-- key: pattern_id
-- reads: published.pub_pattern
SELECT pattern_id, topic, title, true_where, times, umpires, share
FROM published.pub_pattern
ORDER BY topic, times DESC, precedence
