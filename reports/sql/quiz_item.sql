-- Quiz items, in the order of the pages.
-- grain: one row per item
-- key: item_id
-- reads: published.pub_quiz_item
SELECT
    item_id, rule_code, topic, stem, key, key_verdict, right_options, because, responses, p,
    point_biserial, withheld, difficulty, difficulty_se, infit, outfit, most_chosen
FROM published.pub_quiz_item
ORDER BY item_id
