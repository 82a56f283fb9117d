-- What each umpire's misrulings cost.
-- grain: one row per umpire and consequence class that occurred
-- key: umpire_id, consequence
-- reads: published.pub_umpire_consequence
SELECT umpire_id, consequence, times
FROM published.pub_umpire_consequence
ORDER BY umpire_id, consequence
