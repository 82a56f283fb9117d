-- Who saw whom, the most calls first.
-- grain: one row per umpire and evaluator
-- key: umpire_id, evaluator_id
-- reads: published.pub_umpire_evaluator
SELECT umpire_id, evaluator_id, calls, games, first_on, last_on
FROM published.pub_umpire_evaluator
ORDER BY umpire_id, calls DESC, evaluator_id
