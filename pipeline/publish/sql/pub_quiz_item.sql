-- Quiz items, as scored.
-- grain: one row per item
-- key: item_id
-- reads: scores.quiz_item
SELECT
    item_id, rule_code, topic, stem, key, key_verdict, right_options, because, responses, p,
    point_biserial, withheld, difficulty, difficulty_se, infit, outfit, most_chosen
FROM scores.quiz_item
ORDER BY item_id NULLS FIRST
