-- Facts that somebody must write down, in the order of the sheet.
-- grain: one row per fact
-- key: fact
-- reads: published.pub_fact
SELECT
    fact, place, title, allowed, calls, filled, asked, recorded, recorded_share, open_calls, settled_alone,
    undecided, call_ids
FROM published.pub_fact
ORDER BY place
