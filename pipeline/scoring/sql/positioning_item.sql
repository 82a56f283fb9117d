-- Good and all checks of each umpire by item.
-- grain: one row per umpire and item
-- key: umpire_id, item
-- reads: facts.fct_positioning
SELECT umpire_id, item, count(*) AS checks, count(*) FILTER (good) AS good
FROM facts.fct_positioning
WHERE good IS NOT NULL
GROUP BY umpire_id, item
ORDER BY umpire_id, item
