-- Which decision depends on which.
-- grain: one row per decision and one that depends on it
-- key: decision, feeds
-- reads: decision_feed_text (temporary, from the catalogue)
SELECT
    decision, feeds, in_asked, rules
FROM decision_feed_text
ORDER BY decision, feeds
