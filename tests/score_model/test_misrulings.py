"""Names of misrulings, and how they are counted."""

from __future__ import annotations

import pytest

from pipeline.scoring.misrulings import exceeded, level_rows, misruling_rows, name_misruling


@pytest.mark.parametrize(
    ("case", "code", "title", "consequence"),
    [
        (
            ("pitch", "pitch", "ball", "strike"),
            "pitch.called_ball_on_strike",
            "Strike called a ball",
            "count",
        ),
        (
            ("pitch", "pitch", "ball", "strike", "strike_three"),
            "pitch.ball_on_strike_three",
            "Strike three called a ball",
            "out",
        ),
        (
            ("pitch", "pitch", "strike", "ball", "strike_three"),
            "pitch.strike_three_on_ball",
            "Ball called strike three",
            "out",
        ),
        (
            ("pitch", "pitch", "strike", "ball", "ball_four"),
            "pitch.strike_on_ball_four",
            "Ball four called a strike",
            "base",
        ),
        (
            ("hit_batter", "batter", "first_base", "at_bat"),
            "hit_batter.batter.first_base_for_at_bat",
            "Hit batter: ruled batter to first base, right: batter stays at bat",
            "base",
        ),
        (
            ("illegal_hit", "batter", "batter_runner", "out"),
            "illegal_hit.batter.batter_runner_for_out",
            "Illegal hit: ruled batter becomes a runner, right: batter out",
            "out",
        ),
        (
            ("bat", "instruct", "none", "warn|restrict_coach"),
            "bat.instruct.none_for_warn_or_restrict_coach",
            "Bat: ruled nothing further, right: warn or restrict the coach",
            "safety",
        ),
        (
            ("foul_tip", "ball_status", "dead", "live"),
            "foul_tip.ball_status.dead_for_live",
            "Foul tip: ruled ball dead, right: ball live",
            "base",
        ),
        (("stance", "instruct", "warn", "direct_batter"), None, None, "count"),
        (("bat", "instruct", "none", "warn"), None, None, "safety"),
        (("batter_interference", "runner_out", "none", "home"), None, None, "out"),
    ],
)
def test_a_wrong_part_of_a_call_has_a_plain_name(
    case: tuple[str, ...], code: str | None, title: str | None, consequence: str
) -> None:
    name = name_misruling(*case)
    assert name.consequence == consequence
    if code is not None:
        assert (name.code, name.title) == (code, title)


def test_on_a_taken_pitch_ball_or_strike_names_the_call_and_elsewhere_the_batters_fate_does() -> None:
    pitch, walk = (
        name_misruling("pitch", "pitch", "ball", "strike"),
        name_misruling("pitch", "batter", "first_base", "at_bat"),
    )
    assert pitch.place < walk.place
    hit, dead = (
        name_misruling("hit_batter", "batter", "out", "at_bat"),
        name_misruling("hit_batter", "pitch", "ball", "strike"),
    )
    assert hit.place < dead.place


NAMES = [
    {"misruling_code": "m", "title": "M", "topic": "pitch", "consequence": "base", "right_value": "strike"},
    {"misruling_code": "n", "title": "N", "topic": "pitch", "consequence": "count", "right_value": "strike"},
]
TIMES = [
    {"umpire_id": "U1", "misruling_code": "m", "times": 2},
    {"umpire_id": "U2", "misruling_code": "m", "times": 1},
    {"umpire_id": "U1", "misruling_code": "n", "times": 1},
]
CHANCES = [{"umpire_id": u, "misruling_code": c, "chances": 5} for u in ("U1", "U2", "U3") for c in ("m", "n")]


def test_misrulings_are_ordered_by_what_a_clinic_could_save() -> None:
    examples = [
        {"misruling_code": "m", "call_id": f"C{i}", "topic": "pitch", "because": text, "rule_refs": "nfhs 2; nfhs 1"}
        for i, text in enumerate(["b", "a", "b", None, "c", "c"])
    ]
    weights = {"count": 1.0, "base": 3.0}
    first, second = misruling_rows(NAMES, TIMES, CHANCES, examples, weights, {"pitch": "pitches"}, 0.9)
    assert (first["misruling_code"], first["times"], first["umpires"], first["chances"]) == ("m", 3, 2, 15)
    assert first["rate"] == 0.2
    assert first["umpire_share"] == pytest.approx(2 / 3)
    assert first["clinic_score"] == pytest.approx(3 * 3 * 2 / 3)
    assert first["explanation"] == "b"
    assert first["rule_refs"] == "nfhs 1; nfhs 2"
    assert first["example_call_ids"] == "C0;C1;C2;C3;C4"
    assert second["clinic_score"] == pytest.approx(1 / 3)
    assert second["explanation"] is None


def test_a_name_that_serves_two_topics_is_placed_by_the_commoner_one() -> None:
    names = [*NAMES, {**NAMES[0], "topic": "third_strike"}]
    examples = [
        {"misruling_code": "m", "call_id": call, "topic": topic, "because": None, "rule_refs": None}
        for call, topic in (("C1", "pitch"), ("C2", "third_strike"), ("C3", "pitch"))
    ]
    weights = {"count": 1.0, "base": 3.0}
    areas = {"pitch": "pitches", "third_strike": "other_rulings"}
    first, _ = misruling_rows(names, TIMES, CHANCES, examples, weights, areas, 0.9)
    assert (first["topic"], first["area"]) == ("pitch", "pitches")


def test_levels_that_had_the_chance_stand_in_the_table_also_with_none_made() -> None:
    rows = level_rows(TIMES, CHANCES, {"U1": "a", "U2": "a", "U3": "b"})
    assert [(row["level"], row["misruling_code"], row["times"], row["chances"]) for row in rows] == [
        ("a", "m", 3, 10),
        ("a", "n", 1, 10),
        ("b", "m", 0, 5),
        ("b", "n", 0, 5),
    ]


def test_a_limit_is_exceeded_only_above_it_and_only_where_one_is_set() -> None:
    assert exceeded({"safety": 0, "out": 2}, {"safety": 1, "out": 2, "count": 50}) == [("safety", 1, 0)]
