-- Every item put to an umpire, with the answer given.
-- grain: one row per quiz, umpire and item
-- key: quiz_id, umpire_id, item_id
-- reads: checked.quiz_responses, checked.quiz_items, checked.umpires
SELECT
    r.quiz_id, r.umpire_id, u.name, r.item_id,
    lower(nullif(r.answer, '')) AS answer,
    coalesce(lower(r.answer) = lower(i.key), false) AS is_right
FROM checked.quiz_responses AS r
JOIN checked.quiz_items AS i USING (item_id)
JOIN checked.umpires AS u USING (umpire_id)
ORDER BY r.quiz_id, r.umpire_id, r.item_id
