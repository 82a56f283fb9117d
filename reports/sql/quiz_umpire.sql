-- Quiz results, in the order of the pages.
-- grain: one row per umpire and quiz
-- key: umpire_id, quiz_id
-- reads: published.pub_quiz_umpire
SELECT
    umpire_id, name, quiz_id, items, answered, right_answers, percent, low, high, measure, measure_se
FROM published.pub_quiz_umpire
ORDER BY quiz_id, name NULLS LAST, umpire_id
