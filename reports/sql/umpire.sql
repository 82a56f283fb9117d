-- Every umpire of whom anything is published, with the name where one is.
-- grain: one row per umpire
-- key: umpire_id
-- reads: published.pub_readiness, pub_ranking, pub_quiz_umpire, pub_umpire_rate, pub_positioning, pub_call
WITH named AS (
    SELECT umpire_id, name FROM published.pub_readiness
    UNION ALL SELECT umpire_id, name FROM published.pub_ranking
    UNION ALL SELECT umpire_id, name FROM published.pub_quiz_umpire
    UNION ALL SELECT umpire_id, NULL FROM published.pub_umpire_rate
    UNION ALL SELECT umpire_id, NULL FROM published.pub_positioning
    UNION ALL SELECT umpire_id, NULL FROM published.pub_call
)
SELECT umpire_id, coalesce(max(name), umpire_id) AS name
FROM named
GROUP BY umpire_id
ORDER BY umpire_id
