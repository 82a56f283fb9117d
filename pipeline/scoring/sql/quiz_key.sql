-- What the rules say of each item's key.
-- grain: one row per item about a case or a measurement
-- key: item_id
-- reads: rulings.quiz_key
SELECT item_id, verdict, right_options, because
FROM rulings.quiz_key
ORDER BY item_id
