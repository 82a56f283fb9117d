-- The last digits that an evaluator wrote down for the place of the ball. Places that a device tracked are its own.
-- `decimals` is the least number of decimals, 0 to 2, that writes 95 of 100 values exactly.
-- grain: one row per evaluator and column with a value
-- key: evaluator_id, column_name
-- reads: checked.plate_calls
WITH place AS (
    SELECT evaluator_id, unnest([
        {'column_name': 'ball_x_in', 'value': ball_x_in},
        {'column_name': 'ball_z_in', 'value': ball_z_in}
    ]) AS part
    FROM checked.plate_calls
    WHERE coalesce(location_source, 'eye') <> 'tracked'
),
written AS (
    SELECT evaluator_id, part.column_name AS column_name, abs(part.value) AS value
    FROM place
    WHERE part.value IS NOT NULL
),
precise AS (
    SELECT
        evaluator_id,
        column_name,
        CASE
            WHEN avg(CAST(round(value, 0) = value AS INTEGER)) >= 0.95 THEN 0
            WHEN avg(CAST(round(value, 1) = value AS INTEGER)) >= 0.95 THEN 1
            ELSE 2
        END AS decimals
    FROM written
    GROUP BY evaluator_id, column_name
),
digits AS (
    SELECT
        evaluator_id,
        column_name,
        decimals,
        CAST(round(value * power(10, decimals)) AS BIGINT) % 10 AS digit
    FROM written
    JOIN precise USING (evaluator_id, column_name)
)
SELECT
    evaluator_id,
    column_name,
    decimals,
    list_transform(range(10), lambda wanted: len(list_filter(list(digit), lambda one: one = wanted))) AS times
FROM digits
GROUP BY evaluator_id, column_name, decimals
ORDER BY evaluator_id, column_name
