"""The letter to an umpire: what it says for much, for little, and for nothing seen; and which points it names."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import duckdb
import pytest

from pipeline.store.database import named_sql
from reports.book import Person
from reports.pages.letter import umpire_letter
from reports.pages.plays import chosen_plays
from reports.slot_words import SLOT_DRILLS
from reports.words import SLOT_ITEMS

PERSON = Person("U1", "Ada Quill")
LINKS = SimpleNamespace(call=str, rule=str, free_text=lambda text: text, private=True)


def _call(number: int, **given: object) -> dict[str, object]:
    call = {
        "call_id": f"C{number:03}", "game_id": "G1", "game_on": dt.date(2026, 4, number % 28 + 1), "evaluator_id": "E1",
        "area": "pitches", "topic": "pitch", "verdict": "right", "misruling_code": None, "misruling_title": None,
        "consequence": None, "ruled_text": "strike", "right_text": "strike", "because": None, "rule_ids": "P502",
        "pattern_id": None, "pattern_title": None,
    }  # fmt: skip
    return call | given


def _wrong(number: int, code: str, consequence: str, **given: object) -> dict[str, object]:
    return _call(number, verdict="wrong", misruling_code=code, misruling_title=code.title(), consequence=consequence, **given)


def _ready(**given: object) -> dict[str, object]:
    row = {
        "level_title": "Varsity", "target_title": "Tournament", "verdict": "more_looks", "probability": 0.4,
        "evidence_ok": True, "games_needed": 2, "looks_needed": 120, "evaluators_needed": 1, "quiz_answers_needed": None,
        "looks_areas": "pitches",
    }  # fmt: skip
    return row | given


def _standard(**given: object) -> dict[str, object]:
    row = {
        "area": "pitches", "area_title": "Balls and strikes", "cut": 0.945, "estimate": 0.92, "low": 0.9, "high": 0.94,
        "holds": "short",
    }  # fmt: skip
    return row | given


def _point(**given: object) -> dict[str, object]:
    row = {
        "side": "work", "place": 1, "kind": "topic", "subject": "pitch", "cases": 2, "good": None, "rate": None, "low": None,
        "high": None, "compared": None, "is_certain": True,
    }  # fmt: skip
    return row | given


def _words(page: object) -> str:
    """All that stands on a page, in whatever block."""
    return repr(page).replace("\\u202f", " ")


def _letter(named, calls, ready=None, standards=()):
    return umpire_letter(PERSON, ready, standards, named, calls, LINKS, "Season 2026")


def test_nothing_seen_is_said_and_nothing_is_invented() -> None:
    page = _letter([], [])
    assert "nothing to tell you yet" in _words(page)
    assert [section.id for section in page.sections] == ["next", "appeal"]


def test_a_topic_comes_with_own_plays_and_the_right_ruling() -> None:
    calls = [_wrong(1, "ball on strike", "count", right_text="strike two", because="It touched the zone."), _call(2)]
    text = _words(_letter([_point(cases=1)], calls, _ready()))
    assert "1 of 2 graded calls was ruled otherwise" in text
    assert "Strike two." in text
    assert "It touched the zone." in text
    assert "C001" in text
    assert "C002" not in text


def test_a_standard_that_is_met_is_said_beside_its_misrulings() -> None:
    calls = [_wrong(1, "a", "count")]
    told = "You meet the standard of this area even so."
    assert told in _words(_letter([_point()], calls, _ready(), [_standard(holds="met")]))
    assert told not in _words(_letter([_point()], calls, _ready(), [_standard()]))


def test_plays_show_each_misruling_once_before_any_twice_and_the_costliest_first() -> None:
    calls = [_wrong(1, "a", "count"), _wrong(5, "a", "count"), _wrong(2, "b", "out"), _wrong(3, "c", "base")]
    assert [call["call_id"] for call in chosen_plays(calls, 2)] == ["C002", "C003"]
    assert [call["call_id"] for call in chosen_plays(calls[:2], 2)] == ["C005", "C001"]


def test_slot_work_comes_with_its_drill_and_a_caution() -> None:
    point = _point(kind="slot", subject="head_height", cases=12, good=5, rate=5 / 12, low=0.2, high=0.65, compared=0.8)
    text = _words(_letter([point], [_call(1)], _ready()))
    assert "the height of the head. 5 of 12 checks were as it should be" in text
    assert SLOT_DRILLS["head_height"][1:60] in text
    assert "medical advice" in text
    assert "That may be chance" not in text
    assert "That may be chance" in _words(_letter([point | {"is_certain": False}], [_call(1)], _ready()))


def test_every_part_of_the_slot_work_has_a_drill() -> None:
    assert SLOT_DRILLS.keys() == SLOT_ITEMS.keys()


def test_what_would_make_ready_names_the_gap_and_the_looks() -> None:
    text = _words(_letter([], [_call(1)], _ready(), [_standard()]))
    assert "2.5 points below the 94.5 % that are asked" in text
    assert "2 more games, 120 more calls, 1 evaluator who has not seen you yet" in text
    ready = _words(_letter([], [_call(1)], _ready(verdict="ready", probability=0.9), [_standard(holds="met")]))
    assert "you are ready for Tournament. The committee decides" in ready
    assert "Standards still open" not in ready


def test_thin_evidence_is_said_before_anything_is_concluded() -> None:
    text = _words(_letter([], [_call(1)], _ready(evidence_ok=False)))
    assert "Too little was seen to name a strength" in text
    assert "less than the policy asks for" in text


@pytest.fixture
def scores():
    connection = duckdb.connect()
    connection.execute(
        """CREATE SCHEMA scores;
        CREATE TABLE scores.standard (umpire_id VARCHAR, area VARCHAR, cut DOUBLE, estimate DOUBLE, low DOUBLE,
            high DOUBLE, probability DOUBLE, calls BIGINT, holds VARCHAR);
        CREATE TABLE scores.positioning (umpire_id VARCHAR, item VARCHAR, checks BIGINT, good BIGINT, rate DOUBLE,
            low DOUBLE, high DOUBLE);
        CREATE TABLE scores.growth (umpire_id VARCHAR, area VARCHAR, games BIGINT, change DOUBLE, change_low DOUBLE,
            change_high DOUBLE);
        CREATE TABLE scores.umpire_misruling (umpire_id VARCHAR, misruling_code VARCHAR, times BIGINT);
        CREATE TABLE scores.misruling (misruling_code VARCHAR, topic VARCHAR, area VARCHAR, consequence_weight DOUBLE);
        INSERT INTO scores.misruling VALUES ('p', 'pitch', 'pitches', 1), ('h', 'hit_batter', 'hit_batter', 3),
            ('i', 'illegal_hit', 'batters_box', 5);"""
    )
    return connection


def _points(scores, side: str) -> list[tuple[str, str, bool]]:
    rows = scores.execute(named_sql("pipeline.scoring", "letter_point"), {"fewest": 10, "most": 3}).fetchall()
    return [(row[3], row[4], row[11]) for row in rows if row[1] == side]


def test_a_standard_that_is_short_or_hardly_seen_is_never_a_strength(scores) -> None:
    scores.execute(
        """INSERT INTO scores.standard VALUES
        ('U1', 'pitches', .9, .95, .93, .97, .99, 300, 'met'),
        ('U1', 'hit_batter', .5, .9, .6, .99, .99, 9, 'met'),
        ('U1', 'positioning', .8, .7, .6, .75, .01, 60, 'short'),
        ('U1', 'quiz', .4, .45, .35, .55, .8, 40, 'unsure')"""
    )
    assert _points(scores, "strength") == [("area", "pitches", True), ("area", "quiz", False)]


def test_what_costs_most_where_the_standard_is_not_met_is_worked_on_first(scores) -> None:
    # Illegal hits cost 5 x 2 = 10, pitches 1 x 8 = 8, hit batters 3 x 1 = 3; only the standard of hit batters is not met.
    scores.execute(
        """INSERT INTO scores.umpire_misruling VALUES ('U1', 'i', 2), ('U1', 'p', 8), ('U1', 'h', 1);
        INSERT INTO scores.standard VALUES
        ('U1', 'pitches', .9, .95, .93, .97, .99, 300, 'met'),
        ('U1', 'batters_box', .5, .9, .6, .99, .99, 20, 'met'),
        ('U1', 'hit_batter', .5, .4, .3, .6, .2, 20, 'unsure')"""
    )
    assert [subject for _, subject, _ in _points(scores, "work")] == ["hit_batter", "illegal_hit", "pitch"]


def test_slot_work_is_held_against_all_umpires(scores) -> None:
    # The season's shares: head 30 of 60 = .5, slot 45 of 60 = .75.
    scores.execute(
        """INSERT INTO scores.positioning VALUES
        ('U1', 'head_height', 30, 25, .833, .70, .92), ('U1', 'in_slot', 30, 15, .5, .36, .64),
        ('U2', 'head_height', 30, 5, .167, .08, .30), ('U2', 'in_slot', 30, 30, 1, .92, 1)"""
    )
    assert _points(scores, "strength") == [("slot", "head_height", True), ("slot", "in_slot", True)]
    assert _points(scores, "work") == [("slot", "in_slot", True), ("slot", "head_height", True)]
