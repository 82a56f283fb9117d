-- The items of the quiz.
-- grain: one row per item
-- key: item_id
-- reads: checked.quiz_items
SELECT item_id, rule_code, topic, stem, key
FROM checked.quiz_items
ORDER BY item_id
