"""Long lists of calls are parted into pages of whole games, and every link still finds its call."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from reports.parts import in_parts, part_files, parted


def test_a_list_that_fits_one_page_is_not_parted():
    assert parted(["a", "a", "b"], 3) == [0, 0, 0]
    assert part_files(["a"], 3) == ["calls.html"]
    assert parted([], 3) == []


def test_games_stay_whole_and_fill_a_page_before_the_next_begins():
    # a 2, b 1 fill the first page of three; c 2 does not fit beside them.
    assert parted(["a", "a", "b", "c", "c"], 3) == [1, 1, 1, 2, 2]
    assert part_files(["a", "a", "b", "c", "c"], 3)[-1] == "calls-2.html"


def test_a_game_longer_than_a_page_begins_one_and_goes_on():
    # b has 5: it does not fit beside a, fills part 2 with three, and its last two leave room for c in part 3.
    assert parted(["a", *"bbbbb", "c"], 3) == [1, 2, 2, 2, 3, 3, 3]


def test_a_game_that_fills_its_page_exactly_leaves_no_empty_page():
    assert parted([*"aaa", *"bbb", "c"], 3) == [1, 1, 1, 2, 2, 2, 3]
    assert parted([*"aaaaaa", "c"], 3) == [1, 1, 1, 2, 2, 2, 3]


@given(st.lists(st.integers(1, 9), max_size=12), st.integers(1, 6))
def test_no_page_is_overfull_no_call_is_lost_and_parts_follow_each_other(sizes, most):
    games = [f"g{place}" for place, size in enumerate(sizes) for _ in range(size)]
    numbers = parted(games, most)
    assert len(numbers) == len(games)
    assert numbers == sorted(numbers)
    if len(games) > most:
        assert sorted(set(numbers)) == list(range(1, max(numbers) + 1))
        for number in set(numbers):
            inside = [game for game, one in zip(games, numbers, strict=True) if one == number]
            assert len(inside) <= most
        for place, size in enumerate(sizes):
            if size <= most:
                assert len({one for game, one in zip(games, numbers, strict=True) if game == f"g{place}"}) <= 1
    else:
        assert set(numbers) <= {0}


def test_the_parts_hold_the_rows_in_their_order():
    calls = [{"game_id": game, "n": n} for n, game in enumerate("aabcc")]
    assert [(number, [row["n"] for row in rows]) for number, rows in in_parts(calls, 3)] == [
        (1, [0, 1, 2]),
        (2, [3, 4]),
    ]
