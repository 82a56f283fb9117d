-- What the patterns explain, as scored.
-- grain: one row
-- key: misruled
-- reads: scores.pattern_total
SELECT misruled, explained, judged, share_explained, share_explained_by_rule
FROM scores.pattern_total
ORDER BY misruled
