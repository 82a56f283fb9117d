-- How many mended rows came to what.
-- grain: one row per state
-- key: state
-- reads: published.pub_mend
SELECT state, count(*) AS mends
FROM published.pub_mend
GROUP BY state
ORDER BY state
