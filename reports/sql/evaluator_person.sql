-- Every evaluator of whom anything is published, with the name where one is.
-- grain: one row per evaluator
-- key: evaluator_id
-- reads: published.pub_evaluator, pub_evaluator_misgrade, pub_finding, pub_call
WITH named AS (
    SELECT evaluator_id, name FROM published.pub_evaluator
    UNION ALL SELECT evaluator_id, NULL FROM published.pub_evaluator_misgrade
    UNION ALL SELECT evaluator_id, NULL FROM published.pub_finding WHERE evaluator_id IS NOT NULL
    UNION ALL SELECT evaluator_id, NULL FROM published.pub_call
)
SELECT evaluator_id, coalesce(max(name), evaluator_id) AS name
FROM named
GROUP BY evaluator_id
ORDER BY evaluator_id
