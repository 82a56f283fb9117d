"""The sentences of board, rankings, what-if and side-by-side pages, on rows written by hand."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from pipeline.config import Level, Policy
from reports.blocks import Link
from reports.figures.place_chart import place_chart, place_words
from reports.links import Atlas, PacketLinks, SiteLinks, pair_anchor
from reports.pages.compare import _evaluators_of_both
from reports.pages.rankings import _first_place, _groups_told
from reports.pages.standards import _told, _unmoved, _who

LEVEL = Level("low", "varsity", {"pitches": 0.9, "quiz": 0.5})
BOOK = SimpleNamespace(policy=Policy("S", "A", None, None, (LEVEL,), interval=0.9))
THIN = "\u202f"


def ranked(*rows):
    """Rows of a ranking from (name, lowest place, highest place, group)."""
    return [
        {"name": name, "rank": k, "rank_low": low, "rank_high": high, "tie_group": group}
        for k, (name, low, high, group) in enumerate(rows, 1)
    ]


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (ranked(("Ada", 1, 1, 1), ("Bo", 2, 3, 2), ("Cy", 2, 3, 2)),
         "Ada is the only one of these 3 whose range holds the first place."),
        (ranked(("Ada", 1, 2, 1), ("Bo", 1, 3, 1), ("Cy", 2, 3, 2)),
         "The first place may truly belong to any of 2 of these 3 umpires."),
        (ranked(("Ada", 1, 2, 1), ("Bo", 1, 2, 1)), "Any of these 2 umpires may truly be first."),
    ],
)  # fmt: skip
def test_the_sentence_on_the_first_place_counts_whose_range_holds_it(rows, said):
    assert _first_place(rows) == said


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (ranked(("Ada", 1, 1, 1)), "Ada is alone in this list."),
        (ranked(("Ada", 1, 2, 1), ("Bo", 1, 2, 1)),
         f"With 90{THIN}% sureness the evidence tells none of these 2 umpires from the first of the list."),
        (ranked(("Ada", 1, 1, 1), ("Bo", 2, 3, 2), ("Cy", 2, 3, 2)),
         f"With 90{THIN}% sureness the evidence makes 2 groups of these 3 umpires; Ada stands alone at the top."),
        (ranked(("Ada", 1, 2, 1), ("Bo", 1, 2, 1), ("Cy", 3, 3, 2)),
         f"With 90{THIN}% sureness the evidence makes 2 groups of these 3 umpires; the first 2 share a group."),
    ],
)  # fmt: skip
def test_the_sentence_on_groups_says_who_leads(rows, said):
    assert _groups_told(BOOK, rows) == said


def test_a_place_that_is_certain_is_one_number():
    assert [place_words(row) for row in ranked(("Ada", 1, 1, 1), ("Bo", 2, 4, 2))] == ["1", "2 to 4"]


def test_the_chart_of_places_begins_at_one_and_ends_at_the_last():
    chart = place_chart(ranked(*((f"P{k}", max(1, k - 2), min(20, k + 3), 1) for k in range(1, 21))))
    assert (chart.x_low, chart.x_high) == (1.0, 20.0)
    # Twenty places in steps of two, after the first.
    assert [text for _, text in chart.ticks] == ["1", "2", "4", "6", "8", "10", "12", "14", "16", "18", "20"]
    assert chart.values[0] == "1 to 4"


def test_a_list_of_one_place_still_has_an_axis():
    chart = place_chart(ranked(("Ada", 1, 1, 1)))
    assert chart.x_low < chart.x_high


def shift(area, by, ready, moved):
    return {"area": area, "shift": by, "ready": ready, "moved": moved}


def test_the_title_of_a_level_says_what_a_point_on_every_cut_does():
    people = [{"verdict": "ready"}, {"verdict": "not_yet"}, {"verdict": "more_looks"}]
    shifts = [shift("all", -0.01, 2, 1), shift("all", 0.01, 0, 1), shift("pitches", 0.01, 3, 0)]
    assert _told(LEVEL, people, shifts) == (
        "Varsity: 1 of 3 ready by the policy's cuts, 2 with every cut a point lower, 0 with every cut a point higher"
    )
    assert _told(LEVEL, people, []) == "Varsity: 1 of 3 ready by the policy's cuts"


def test_cuts_that_move_nobody_are_named_in_one_sentence():
    shifts = [shift("all", 0.01, 1, 1), shift("pitches", 0.01, 1, 1), shift("quiz", -0.01, 1, 0), shift("quiz", 0.01, 1, 0)]
    (block,) = _unmoved(LEVEL, shifts)
    assert block.parts == ["By a point or two, no reading hangs on the cut by itself for: rules quiz."]
    assert _unmoved(LEVEL, [shift("pitches", 0.01, 1, 1)]) == []


def test_of_many_who_move_six_are_named_and_the_rest_counted():
    people = [Link(f"P{k}", f"p{k}.html") for k in range(8)]
    cell = _who(people)
    assert [one.text for one in cell.parts if isinstance(one, Link)] == ["P0", "P1", "P2", "P3", "P4", "P5"]
    assert cell.parts[-1] == " and 2 more"
    assert _who([]).text == "nobody"


ATLAS = Atlas(
    umpires={"U 1": "Ada", "U2": "Bo"}, evaluators={"E1": "Vi", "E2": "Wim"},
    umpire_folders={"U 1": "U-1-abc", "U2": "U2"}, evaluator_folders={"E1": "E1", "E2": "E2"},
    call_homes={}, rule_files={}, topic_files={}, misruling_codes=frozenset(),
)  # fmt: skip


def test_two_umpires_are_addressed_by_their_folders_and_a_packet_compares_nobody():
    assert SiteLinks(ATLAS, "../../").compare("U 1", "U2") == "../../compare.html#a=U-1-abc&b=U2"
    assert SiteLinks(ATLAS, "").compare("U 1", "nobody") is None
    assert pair_anchor("x", "y") == "a=x&b=y"
    assert PacketLinks(ATLAS, "", SimpleNamespace(id="U2", name="Bo"), {}, "calls.html").compare("U 1", "U2") is None


def test_evaluators_of_both_are_named_and_where_there_is_none_it_is_said():
    links = SiteLinks(ATLAS, "")
    first, second = [{"evaluator_id": "E1"}, {"evaluator_id": "E2"}], [{"evaluator_id": "E2"}]
    assert [one.text for one in _evaluators_of_both(links, first, second).parts if isinstance(one, Link)] == ["Wim"]
    assert _evaluators_of_both(links, first[:1], second).text == "none: linked through others"
