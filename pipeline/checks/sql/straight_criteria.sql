-- Evaluators who gave, in each of many games, one and the same score to all criteria of the game, though the games
-- differ: the criteria were not looked at one by one. Those whose every score is the same are told as that.
-- Grain: one evaluator. Key: finding_id. Games with fewer than three criteria are not counted.
-- Reads: checked.ratings, checked.evaluators, meta.file. Parameter: $games (least number of games).
WITH games AS (
    SELECT
        evaluator_id,
        game_id,
        min(score / scale_max) AS share,
        count(DISTINCT score / scale_max) AS shares
    FROM checked.ratings
    GROUP BY evaluator_id, game_id
    HAVING count(DISTINCT criterion) >= 3
),

straight AS (
    SELECT evaluator_id, count(*) AS game_count
    FROM games
    GROUP BY evaluator_id
    HAVING count(*) >= $games AND max(shares) = 1 AND count(DISTINCT share) > 1
)

SELECT
    'straight_criteria/' || evaluator.evaluator_id AS finding_id,
    'evaluators' AS table_name,
    evaluator.row_id,
    file.path,
    evaluator.line_no,
    'criterion' AS column_name,
    CAST(straight.game_count AS VARCHAR) AS value,
    'evaluator ' || evaluator.evaluator_id || ' gave all criteria of a game the same score, in each of '
        || straight.game_count || ' games' AS message,
    'talk it over; such scores tell of the game as a whole, not of its criteria' AS remedy,
    evaluator.evaluator_id AS person_id
FROM straight
JOIN checked.evaluators AS evaluator USING (evaluator_id)
JOIN meta.file AS file USING (file_id)
