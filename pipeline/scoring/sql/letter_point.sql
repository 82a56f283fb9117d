-- What an umpire's letter names as strengths and as things to work on, in order.
-- Strengths: only what the figures carry. Two standards that are met, the surest first; then a part of the slot work whose
-- whole interval lies above the season's share; then growth whose whole interval is above nothing; then further ones
-- of these. Where fewer than three are certain, what is likelier than not follows and is marked as not certain:
-- standards likelier met than not, and parts of the slot work at or above the season's share.
-- Work: the topic whose misrulings cost most (times by consequence weight), topics of standards that are not met
-- before others; then the part of the slot work that lies furthest below the season's share with its whole interval;
-- then the next topic; then a part of the slot work that lies below that share without being certain; then the quiz
-- where it is short or not settled; then further ones. Three of each at most.
-- A standard that is short is never a strength. A topic of a standard that is met may be work.
-- grain: one row per umpire, side and place
-- key: umpire_id, side, place
-- reads: scores.standard, scores.positioning, scores.growth, scores.umpire_misruling, scores.misruling
WITH slot_share AS (
    SELECT item, sum(good) / sum(checks) AS share
    FROM scores.positioning
    GROUP BY item
),
slot AS (
    SELECT p.umpire_id, p.item, p.checks, p.good, p.rate, p.low, p.high, s.share
    FROM scores.positioning AS p
    JOIN slot_share AS s ON s.item = p.item
    WHERE p.checks >= $fewest
),
met AS (
    SELECT
        umpire_id, 'strength' AS side, 'area' AS kind, area AS subject,
        calls AS cases, CAST(NULL AS BIGINT) AS good, estimate AS rate, low, high, cut AS compared,
        holds = 'met' AS is_certain, (estimate - cut) / greatest(high - low, 1e-9) AS weight
    FROM scores.standard
    WHERE (holds = 'met' OR (holds = 'unsure' AND probability > 0.5)) AND calls >= $fewest
),
slot_good AS (
    SELECT
        umpire_id, 'strength' AS side, 'slot' AS kind, item AS subject,
        checks AS cases, good, rate, low, high, share AS compared, low > share AS is_certain, low - share AS weight
    FROM slot
    WHERE rate >= share
),
grown AS (
    SELECT
        umpire_id, 'strength' AS side, 'growth' AS kind, area AS subject,
        games AS cases, CAST(NULL AS BIGINT) AS good, change AS rate, change_low AS low, change_high AS high,
        CAST(NULL AS DOUBLE) AS compared, TRUE AS is_certain, change_low AS weight
    FROM scores.growth
    WHERE change_low > 0
),
topic_cost AS (
    SELECT
        u.umpire_id, 'work' AS side, 'topic' AS kind, m.topic AS subject,
        CAST(sum(u.times) AS BIGINT) AS cases, CAST(NULL AS BIGINT) AS good, CAST(NULL AS DOUBLE) AS rate,
        CAST(NULL AS DOUBLE) AS low, CAST(NULL AS DOUBLE) AS high, CAST(NULL AS DOUBLE) AS compared,
        TRUE AS is_certain,
        sum(u.times * m.consequence_weight)
        + CASE WHEN any_value(s.holds) IS DISTINCT FROM 'met' THEN 1e6 ELSE 0 END AS weight
    FROM scores.umpire_misruling AS u
    JOIN scores.misruling AS m ON m.misruling_code = u.misruling_code
    LEFT JOIN scores.standard AS s ON s.umpire_id = u.umpire_id AND s.area = m.area
    GROUP BY u.umpire_id, m.topic
),
slot_weak AS (
    SELECT
        umpire_id, 'work' AS side, 'slot' AS kind, item AS subject,
        checks AS cases, good, rate, low, high, share AS compared,
        high < share AS is_certain, share - rate AS weight
    FROM slot
    WHERE rate < share
),
quiz_weak AS (
    SELECT
        umpire_id, 'work' AS side, 'area' AS kind, area AS subject,
        calls AS cases, CAST(NULL AS BIGINT) AS good, estimate AS rate, low, high, cut AS compared,
        holds = 'short' AS is_certain, cut - estimate AS weight
    FROM scores.standard
    WHERE area = 'quiz' AND holds IN ('short', 'unsure') AND calls > 0
),
candidate AS (
    SELECT * FROM met
    UNION ALL SELECT * FROM slot_good
    UNION ALL SELECT * FROM grown
    UNION ALL SELECT * FROM topic_cost
    UNION ALL SELECT * FROM slot_weak
    UNION ALL SELECT * FROM quiz_weak
),
ordered AS (
    SELECT
        *,
        row_number() OVER (PARTITION BY umpire_id, side, kind, is_certain ORDER BY weight DESC, subject) AS nth
    FROM candidate
),
turned AS (
    SELECT
        *,
        CASE WHEN side = 'strength' AND NOT is_certain THEN 1000 ELSE 0 END
        + CASE
            WHEN side = 'strength' AND kind = 'area' THEN CASE WHEN nth <= 2 THEN nth ELSE 2 + 3 * (nth - 2) END
            WHEN side = 'strength' AND kind = 'slot' THEN 3 * nth
            WHEN side = 'strength' AND kind = 'growth' THEN 1 + 3 * nth
            WHEN kind = 'topic' THEN 1 + 3 * (nth - 1)
            WHEN kind = 'slot' THEN CASE WHEN is_certain THEN 2 + 4 * (nth - 1) ELSE 3.5 + 4 * (nth - 1) END
            ELSE 4.5
        END AS turn
    FROM ordered
),
placed AS (
    SELECT
        *,
        row_number() OVER (PARTITION BY umpire_id, side ORDER BY turn, kind, subject) AS place
    FROM turned
)
SELECT
    umpire_id,
    side,
    place,
    kind,
    subject,
    cases,
    good,
    round(rate, 6) AS rate,
    round(low, 6) AS low,
    round(high, 6) AS high,
    round(compared, 6) AS compared,
    is_certain
FROM placed
WHERE place <= $most
ORDER BY umpire_id, side, place
