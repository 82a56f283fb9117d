-- Umpires whose plate calls come from one game alone: one day's form, one evaluator, one pair of pitchers.
-- Grain: one umpire. Key: finding_id.
-- Reads: counted_call (temporary), checked.games, checked.umpires, meta.file.
WITH seen AS (
    SELECT
        coalesce(counted.umpire_id, game.plate_umpire_id) AS umpire_id,
        count(DISTINCT counted.game_id) AS game_count,
        min(counted.game_id) AS game_id,
        CAST(sum(counted.call_count) AS BIGINT) AS call_count
    FROM counted_call AS counted
    JOIN checked.games AS game USING (game_id)
    GROUP BY coalesce(counted.umpire_id, game.plate_umpire_id)
    HAVING count(DISTINCT counted.game_id) = 1
)

SELECT
    'seen_once/' || umpire.umpire_id AS finding_id,
    'umpires' AS table_name,
    umpire.row_id,
    file.path,
    umpire.line_no,
    'umpire_id' AS column_name,
    umpire.umpire_id AS value,
    'umpire ' || umpire.umpire_id || ' was seen in one game only (' || seen.game_id || ', ' || seen.call_count
        || CASE WHEN seen.call_count = 1 THEN ' call)' ELSE ' calls)' END AS message,
    'send an evaluator to another game before a verdict is given' AS remedy,
    NULL AS person_id
FROM seen
JOIN checked.umpires AS umpire USING (umpire_id)
JOIN meta.file AS file USING (file_id)
