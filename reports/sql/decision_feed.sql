-- What feeds which question.
-- grain: one row per decision and one that depends on it
-- key: decision, feeds
-- reads: published.pub_decision_feed
SELECT
    decision, feeds, in_asked, rules
FROM published.pub_decision_feed
ORDER BY decision, feeds
