"""Copied sheets: what is found among likely pairs is what holding every pair against each other finds."""

import math
import random
from collections import Counter
from itertools import combinations

import pytest

from pipeline.checks.across import COPIED_ROWS, COPIED_SHARE
from pipeline.checks.cross_table import COPIED_AGAINST, sign_calls
from pipeline.store import Store
from pipeline.store.database import named_sql
from schemas import table

Row = tuple[int, float | None, float | None]
"""Balls, and the ball's place, which makes a row a measured one."""


def found(sheets: list[list[Row]]) -> set[tuple[str, int, int]]:
    """Return what the SELECT finds: the id, how many calls are the same, and of how many."""
    calls = [
        (place, f"C{place}", f"G{game}", f"E{game % 2}", *row)
        for place, (game, row) in enumerate(((game, row) for game, rows in enumerate(sheets) for row in rows), 2)
    ]
    columns = ", ".join(f'"{field.name}" {field.duckdb_type}' for field in table("plate_calls").fields)
    with Store() as store:
        store.run("CREATE TABLE meta.file (file_id INTEGER, path VARCHAR)")
        store.run("INSERT INTO meta.file VALUES (1, 'a.csv')")
        store.run(f"CREATE TABLE checked.plate_calls (row_id BIGINT, file_id INTEGER, line_no BIGINT, {columns})")
        names = ("row_id", "call_id", "game_id", "evaluator_id", "balls", "ball_x_in", "ball_z_in")
        kinds = ("BIGINT", "VARCHAR", "VARCHAR", "VARCHAR", "BIGINT", "DOUBLE", "DOUBLE")
        store.run(
            f"INSERT INTO checked.plate_calls (file_id, {', '.join(names)}) "
            f"SELECT 1, {', '.join(f'unnest(?::{kind}[])' for kind in kinds)}",
            [list(column) for column in zip(*calls, strict=True)],
        )
        sign_calls(store)
        rows = store.records(
            named_sql("pipeline.checks", "copied_sheets"),
            {"rows": COPIED_ROWS, "share": COPIED_SHARE, "most": COPIED_AGAINST},
        )
    told = [(row["finding_id"], row["message"].split(" of the ")) for row in rows]
    return {(name, int(same), int(rest.split(" calls")[0])) for name, (same, rest) in told}


def by_hand(sheets: list[list[Row]]) -> set[tuple[str, int, int]]:
    """Hold each pair of sheets against each other, as the words of the check say."""
    # A measured row is the same wherever it stands, another one only at its own place.
    marked = [[(row, None if row[1] is not None else place) for place, row in enumerate(rows)] for rows in sheets]
    large = [
        game for game, rows in enumerate(sheets) if len(rows) >= COPIED_ROWS and len(set(rows)) * 2 >= len(rows)
    ]
    pairs = set()
    for first, later in combinations(large, 2):
        same = sum(row in set(marked[first]) for row in marked[later])
        if same >= COPIED_SHARE * min(len(sheets[first]), len(sheets[later])):
            name = f"copied_sheets/G{first}/E{first % 2}/G{later}/E{later % 2}"
            pairs.add((name, same, len(sheets[later])))
    return pairs


def some_sheets(draw: random.Random) -> list[list[Row]]:
    """Return sheets of one season, most of them made from others: changed, cut short, lengthened, shuffled."""
    unmeasured, kinds = draw.choice([0, 0.1, 0.5, 0.9, 1]), draw.choice([4, 30, 200])

    def row() -> Row:
        if draw.random() < unmeasured:
            return draw.randrange(kinds), None, None
        return draw.randrange(3), draw.randrange(3 * kinds) / 8, draw.randrange(3 * kinds) / 8

    sheets: list[list[Row]] = []
    for _ in range(draw.randrange(3, 12)):
        if sheets and draw.random() < 0.6:
            changed = draw.choice([0, 0.1, 0.15, 0.2, 0.25])
            made = [row() if draw.random() < changed else old for old in draw.choice(sheets)]
            if draw.random() < 0.3:
                made = made[: draw.randrange(12, 80)]
            if draw.random() < 0.3:
                made += [row() for _ in range(draw.randrange(30))]
            if draw.random() < 0.2:
                draw.shuffle(made)
            sheets.append(made)
        else:
            sheets.append([row() for _ in range(draw.randrange(10, 60))])
    return sheets


def test_likely_pairs_give_what_all_pairs_give() -> None:
    kinds: Counter[bool] = Counter()
    for seed in range(40):
        sheets = some_sheets(random.Random(seed))
        expected = by_hand(sheets)
        assert found(sheets) == expected, f"seed {seed}"
        kinds[bool(expected)] += 1
    # The trial says something only where there are copies in some seasons and none in others.
    assert kinds[True] >= 10
    assert kinds[False] >= 5


@pytest.mark.parametrize("is_measured", [True, False])
def test_a_sheet_copied_more_often_than_is_compared_is_still_found_each_time(is_measured: bool) -> None:
    rows: list[Row] = [(place, place / 8 if is_measured else None, 30.0) for place in range(24)]
    copies = COPIED_AGAINST + 5
    names = {name.split("/")[3] for name, _, _ in found([rows] * copies)}
    assert names == {f"G{game}" for game in range(1, copies)}


def test_four_rows_in_five_are_the_least_that_makes_a_copy() -> None:
    rows: list[Row] = [(place, None, None) for place in range(COPIED_ROWS)]
    least = math.ceil(COPIED_SHARE * COPIED_ROWS)
    other: list[Row] = [(99, None, None)] * COPIED_ROWS
    # The changed rows are spread so that as few blocks of four as can be are left whole.
    for changed, expected in ((COPIED_ROWS - least, 1), (COPIED_ROWS - least + 1, 0)):
        spread = {place * 4 for place in range(changed)} if changed <= 4 else {0, 4, 8, 12, 16}
        copy = [other[place] if place in spread else row for place, row in enumerate(rows)]
        assert len(found([rows, copy])) == expected
