-- The season in one row, in the order of the pages.
-- grain: What was handed in, what was accepted and what came of it
-- key: title
-- reads: published.pub_season
SELECT
    title, association, first_day, last_day, rule_codes, umpires, evaluators, games, calls_in,
    calls_accepted, calls_quarantined, calls_right, calls_wrong, calls_edge, calls_open,
    calls_not_graded, findings, generated_by, interval
FROM published.pub_season
ORDER BY title
