-- Facts that the rulings on each evaluator's sheets asked for, those that left most open first.
-- grain: one row per evaluator and fact
-- key: evaluator_id, fact
-- reads: published.pub_evaluator_fact
SELECT
    evaluator_id, fact, title, allowed, asked, recorded, open_calls, settled_alone, undecided, topics, call_ids
FROM published.pub_evaluator_fact
ORDER BY evaluator_id, open_calls DESC, asked DESC, fact
