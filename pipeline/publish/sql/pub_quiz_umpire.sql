-- Quiz results, as scored.
-- grain: one row per umpire and quiz
-- key: umpire_id, quiz_id
-- reads: scores.quiz_umpire
SELECT
    umpire_id, name, quiz_id, items, answered, right_answers, percent, low, high, measure, measure_se
FROM scores.quiz_umpire
ORDER BY umpire_id NULLS FIRST, quiz_id NULLS FIRST
