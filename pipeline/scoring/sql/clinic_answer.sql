-- Answers of each umpire to quiz items about a case, by the case's topic; an item left out counts as not right.
-- grain: one row per umpire and topic that was asked about
-- key: umpire_id, topic
-- reads: checked.quiz_responses, checked.quiz_items, facts.item_case
-- parameters: $withheld (items whose key the rules refuse)
SELECT
    r.umpire_id, c.topic,
    count(*) AS answers,
    count(*) FILTER (lower(r.answer) = lower(i.key)) AS right_answers
FROM checked.quiz_responses AS r
JOIN checked.quiz_items AS i USING (item_id)
JOIN facts.item_case AS c ON c.call_id = r.item_id
WHERE r.item_id NOT IN (SELECT unnest(CAST($withheld AS VARCHAR[])))
GROUP BY r.umpire_id, c.topic
ORDER BY r.umpire_id, c.topic
