-- How many misruled calls read like one of the patterns, with and without those that are a matter of what was seen.
-- grain: one row
-- reads: scores.pattern_call
WITH counted AS (
    SELECT
        count(*) AS misruled,
        count(pattern_id) AS explained,
        count(*) FILTER (WHERE kind = 'judgement') AS judged
    FROM scores.pattern_call
)
SELECT
    misruled,
    explained,
    judged,
    round(explained / nullif(misruled, 0), 6) AS share_explained,
    -- Once judgements are left aside: what rules explain of what rules could.
    round((explained - judged) / nullif(misruled - judged, 0), 6) AS share_explained_by_rule
FROM counted
