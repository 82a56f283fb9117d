"""Names are found in texts as one pattern of all of them would find them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.named import NamesInText


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("Told by Ann Berg.", {"ann berg"}),
        ("told by ANN BERG", {"ann berg"}),
        ("Berg said so", {"berg"}),
        ("Bergmann said so", set()),
        ("E-7 and E7", {"e-7"}),
        ("E-77", set()),
        ("a note (x) here", {"(x)"}),
        ("a note y(x) here", set()),
        ("", set()),
    ],
)
def test_the_longest_name_at_a_place_is_found_and_no_part_of_a_word(text, found):
    assert NamesInText(["Ann Berg", "Berg", "E-7", "(x)", " "]).found(text) == found


letters = st.text(alphabet="ab -.", min_size=1, max_size=5)


@given(st.lists(letters.map(lambda rest: f"a{rest}"), max_size=6), st.text(alphabet="abAB -.", max_size=40))
def test_it_agrees_with_one_pattern_of_all_names(names, text):
    longest_first = sorted({name.casefold() for name in names}, key=lambda name: (-len(name), name))
    pattern = r"(?<!\w)(?:" + "|".join(map(re.escape, longest_first)) + r")(?!\w)" if names else "(?!)"
    by_pattern = {found.casefold() for found in re.findall(pattern, text, re.IGNORECASE)}
    assert NamesInText(names).found(text) == by_pattern
