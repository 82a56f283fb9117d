-- What the patterns explain.
-- grain: one row
-- key: misruled
-- reads: published.pub_pattern_total
SELECT misruled, explained, judged, share_explained, share_explained_by_rule
FROM published.pub_pattern_total
ORDER BY misruled
