"""The compiled rules against the rule files themselves, read here a second time without parser or diagram.

The conditions are turned into Python by three substitutions and evaluated on complete facts, one decision after
another. Whatever the compiled rules say of complete or missing facts must follow from that alone.
"""

from __future__ import annotations

import itertools
import random
import re
from pathlib import Path

import pytest
import yaml

import pipeline.rules
import schemas
from pipeline.rules.answer import columns_of, rule_case
from pipeline.rules.compile import whole_book
from pipeline.rules.model import RULING_FIELDS, Answer
from pipeline.rules.vocabulary import facts, recorded_facts
from pipeline.rulings.batch import COLUMNS, rule_table, ruling_row
from pipeline.store import Store

BOOK = whole_book()
"""Every point that a league may settle is a fact like any other here."""
FOLDER = Path(pipeline.rules.__file__).parent
BLANKS = {field.name: field.blank_value for field in schemas.table("plate_calls").fields}
NUMBERS = ("balls", "strikes", "outs")
REGIMES = list(range(len(BOOK.regimes)))
COMPLETE_ROWS = 2000
OPEN_ROWS = 500


def as_python(text):
    """Turn a condition into a Python expression: `=` becomes `==`, a list in round brackets a real list."""
    text = re.sub(r"\bin\s*\(([^()]*)\)", r"in [\1]", " ".join(text.split()))
    text = re.sub(r"(?<![<>!=])=(?!=)", "==", text)
    return compile(text.replace(".count", "_count"), "<rule>", "eval")


def holds(code, values):
    return eval(code, {"__builtins__": {}}, values)  # noqa: S307 - the text is from our own rule files


RULES = sorted(
    (yaml.safe_load(path.read_text(encoding="utf-8")) for path in FOLDER.glob("catalogue/*/*.yaml")),
    key=lambda raw: raw["id"],
)
DECISIONS = yaml.safe_load((FOLDER / "decisions.yaml").read_text(encoding="utf-8"))["decisions"]
WHEN = {raw["id"]: as_python(raw["when"]) for raw in RULES}
ASKED = {raw["name"]: as_python(raw["asked"]) for raw in DECISIONS if "asked" in raw}


def in_force(raw, regime):
    """Whether a rule belongs to the code on the first day of a regime (its last, for the one without)."""
    entry = raw["codes"].get(regime.code)
    if entry is None:
        return False
    if regime.first_day is None:
        return "from" not in entry
    return entry.get("from", regime.first_day) <= regime.first_day <= entry.get("until", regime.first_day)


def reading_of(regime):
    """The rules of a regime by decision, as plain data."""
    active = [raw for raw in RULES if in_force(raw, regime)]
    return [(decision, [raw for raw in active if raw["decision"] == decision["name"]]) for decision in DECISIONS]


READINGS = [reading_of(regime) for regime in BOOK.regimes]


def plain_ruling(reading, case):
    """State, ids of the rules that spoke, the seven parts, outs, and the count after, on complete facts."""
    values = {name: int(value) if name in NUMBERS else value for name, value in case.items()}
    spoken = []
    for decision, candidates in reading:
        name = decision["name"]
        values[name], values[f"{name}_count"] = "not_asked", "none"
        if name in ASKED and not holds(ASKED[name], values):
            continue
        met = {raw["id"] for raw in candidates if holds(WHEN[raw["id"]], values)}
        speaking = [raw for raw in candidates if raw["id"] in met and not met & set(raw.get("yields_to", ()))]
        if not speaking:
            assert "otherwise" in decision, (name, case)
            values[name] = decision["otherwise"]
            continue
        first = speaking[0]
        for other in speaking[1:]:
            assert name in ("standing", "coverage") or all(
                other.get(key) == first.get(key) for key in ("then", "ruling", "count", "sets_aside")
            )
        values[name], values[f"{name}_count"] = first["then"], first.get("count", "none")
        if first["then"] in ("contradiction", "not_covered"):
            return first["then"], (first["id"],), ("",) * len(RULING_FIELDS), 0, ("", "")
        spoken = [raw for raw in spoken if raw["decision"] not in first.get("sets_aside", ())] + [first]
    parts, count = dict.fromkeys(RULING_FIELDS, ""), "none"
    parts.update(runner_out="none", choice="none", instruct="none")
    for raw in spoken:
        parts.update(raw.get("ruling", {}))
        count = raw.get("count", count)
    after = ("", "")
    if parts["batter"] == "at_bat":
        balls, strikes = values["balls"] + (count == "ball"), values["strikes"]
        strikes += {"strike": 1, "two_strikes": 2, "foul": int(strikes < 2)}.get(count, 0)
        after = (str(balls), str(strikes))
    outs = (parts["batter"] == "out") + (parts["runner_out"] != "none")
    return "settled", tuple(raw["id"] for raw in spoken), tuple(parts.values()), outs, after


def draw(rng):
    """Draw complete facts; mostly that nothing happened, so that every branch of the rules is met often."""
    case = {}
    for name, fact in facts().items():
        quiet = BLANKS.get(name)
        case[name] = quiet if quiet and rng.random() < 0.8 else rng.choice(fact.values)
    return case


def draw_open(position, rng):
    """Facts of which one to three are missing, mostly ones that the rules ask for in such a case."""
    case = draw(rng)
    asked = [name for name, _ in BOOK.forest.path(BOOK.regimes[position].root, case)[0]]
    gone = set(rng.sample(asked, min(len(asked), rng.choice((1, 1, 2)))))
    if rng.random() < 0.5:
        gone.add(rng.choice(list(case)))
    return {name: None if name in gone else value for name, value in case.items()}


def fillings(case):
    gone = [name for name, value in case.items() if value is None]
    for values in itertools.product(*(facts()[name].values for name in gone)):
        yield {**case, **dict(zip(gone, values, strict=True))}


@pytest.fixture(scope="module")
def drawn():
    """Rows of every regime by number: position of the regime, facts, and the ruling of the case alone."""
    rows = []
    for position in REGIMES:
        rng = random.Random(40 + position)
        cases = [draw(rng) for _ in range(COMPLETE_ROWS)] + [draw_open(position, rng) for _ in range(OPEN_ROWS)]
        rows += [(position, case, rule_case(BOOK, BOOK.regimes[position], case)) for case in cases]
    return rows


def complete(drawn, position=None):
    return [row for row in drawn if None not in row[1].values() and position in (None, row[0])]


def with_gaps(drawn, position=None):
    return [row for row in drawn if None in row[1].values() and position in (None, row[0])]


def possible(text):
    return set(text.split("|"))


def named(values):
    """The values of one part as they are written: no call has a name only beside another value."""
    found = set(values)
    return {value or "none_called" for value in found} if len(found) > 1 else found


@pytest.mark.parametrize("position", REGIMES)
def test_complete_facts_are_ruled_as_the_files_say_read_plainly(position, drawn):
    states, ids = set(), set()
    for _, case, ruling in complete(drawn, position):
        state, spoken, parts, outs, after = plain_ruling(READINGS[position], case)
        assert ruling.rule_ids == spoken, case
        assert ruling.state == {"not_covered": "open"}.get(state, state)
        assert tuple(ruling.ruling[name] for name in RULING_FIELDS) == parts
        assert ruling.outs_added == (str(outs) if state == "settled" else "")
        assert (ruling.balls_after, ruling.strikes_after) == after
        states.add(state)
        ids.update(spoken)
    assert states == {"settled", "contradiction", "not_covered"}
    assert len(ids) > 25  # the draw reaches many rules, so that agreement says something


@pytest.mark.parametrize("position", REGIMES)
def test_the_rulings_left_are_those_of_some_filling_and_no_others(position, drawn):
    opened = 0
    regime, forest = BOOK.regimes[position], BOOK.forest
    for _, case, ruling in with_gaps(drawn, position):
        found = {plain_ruling(READINGS[position], filled) for filled in fillings(case)}
        # As a set of whole rulings, by which parts go together …
        left = forest.restrict(regime.root, {name: value for name, value in case.items() if value is not None})
        ends = {one for one in forest.ends(left) if isinstance(one, Answer)}
        assert {(one.state, one.rule_ids, one.ruling, one.outs_added) for one in ends} == {one[:4] for one in found}
        # … and as written, part by part.
        sound = {one for one in found if one[0] != "contradiction"}
        settled = {one for one in sound if one[0] == "settled"}
        if not sound:
            assert ruling.state == "contradiction"
            continue
        for place, name in enumerate(RULING_FIELDS):
            assert possible(ruling.ruling[name]) == named({one[2][place] for one in settled} or {""}), case
        if settled:
            assert possible(ruling.outs_added) == {str(one[3]) for one in settled}
        one_ruling = len({(one[0], one[2], one[3]) for one in sound}) == 1
        assert ruling.state == ("settled" if one_ruling and settled else "open")
        opened += ruling.state == "open" and bool(settled)
    assert opened > OPEN_ROWS / 10


def test_the_count_after_an_open_turn_is_one_of_those_that_a_filling_leads_to(drawn):
    seen = 0
    for position, case, ruling in with_gaps(drawn):
        if ruling.state == "contradiction" or case["balls"] is None or case["strikes"] is None:
            continue
        settled = [
            one
            for one in (plain_ruling(READINGS[position], filled) for filled in fillings(case))
            if one[0] == "settled"
        ]
        going_on = {one[4] for one in settled if one[4][0]}
        if going_on and all(one[4][0] for one in settled):
            assert possible(ruling.balls_after) == {pair[0] for pair in going_on}
            assert possible(ruling.strikes_after) == {pair[1] for pair in going_on}
            seen += 1
        elif ruling.state == "open":
            assert ruling.balls_after == ruling.strikes_after == ""
    assert seen > 100


def test_what_an_open_ruling_asks_for_is_missing_and_settles_it(drawn):
    rng = random.Random(8)
    asked = 0
    for position, case, ruling in with_gaps(drawn):
        if not ruling.needs:
            continue
        gone = [name for name, value in case.items() if value is None]
        needed = [name for name in gone if set(columns_of((name,))) & set(ruling.needs)]
        assert set(ruling.needs) <= set(columns_of(gone))
        filled = {**case, **{name: rng.choice(facts()[name].values) for name in needed}}
        after = rule_case(BOOK, BOOK.regimes[position], filled)
        assert after.needs == (), (case, filled)
        asked += 1
    assert asked > 100


def test_a_further_fact_never_makes_more_rulings_possible(drawn):
    rng = random.Random(9)
    for position, case, ruling in with_gaps(drawn)[::3]:
        name = rng.choice([name for name, value in case.items() if value is None])
        narrower = rule_case(BOOK, BOOK.regimes[position], {**case, name: rng.choice(facts()[name].values)})
        if narrower.state == "contradiction" or not narrower.outs_added:
            continue
        for part in RULING_FIELDS:
            before = {value or "none_called" for value in possible(ruling.ruling[part])}
            assert {value or "none_called" for value in possible(narrower.ruling[part])} <= before


def test_the_batch_rules_every_row_as_the_case_alone(drawn):
    names = list(recorded_facts())
    alone = {}
    for number, (place, case, ruling) in enumerate(drawn):
        # A sheet carries no points of a league: here nobody has settled any.
        told = {name: value if name in names else None for name, value in case.items()}
        alone[str(number)] = ruling if told == case else rule_case(BOOK, BOOK.regimes[place], told)
    with Store() as store:
        columns = ", ".join(f"{name} {'BIGINT' if name in NUMBERS else 'VARCHAR'}" for name in names)
        store.run(f"CREATE TABLE facts.drawn_rows (call_id VARCHAR, rule_code VARCHAR, game_on DATE, {columns})")
        kinds = ["VARCHAR", "VARCHAR", "DATE", *("BIGINT" if name in NUMBERS else "VARCHAR" for name in names)]
        rows = [
            (str(number), BOOK.regimes[place].code, str(BOOK.regimes[place].first_day or "2000-01-01"), *map(case.get, names))
            for number, (place, case, _) in enumerate(drawn)
        ]
        # Column by column: one statement, where a row at a time would take seconds.
        select = ", ".join(f"unnest(?::VARCHAR[])::{kind}" for kind in kinds)
        store.run(f"INSERT INTO facts.drawn_rows SELECT {select}", [list(column) for column in zip(*rows, strict=True)])
        rule_table(store, "facts.drawn_rows", "rulings.drawn_rows", book=BOOK)
        batch = {row[0]: row[1:] for row in store.rows(f"SELECT call_id, {', '.join(COLUMNS)} FROM rulings.drawn_rows")}
    assert len(batch) == len(drawn)
    for number, ruling in alone.items():
        assert tuple(cell or "" for cell in batch[number]) == ruling_row(ruling), drawn[int(number)][1]


def test_a_dead_ball_lets_nobody_advance_but_by_award_or_penalty(drawn):
    """NFHS 5-1-1, OBR 5.06(c), NCAA 6-4: an award and whom it forces, a balk, a pitch that lodged or got away."""
    dead = 0
    for _, case, ruling in drawn:
        if ruling.state == "settled" and ruling.ruling["ball_status"] == "dead":
            runners = ruling.ruling["runners"]
            assert runners in ("return", "forced", "forced_and_stealing", "advance_one")
            assert ruling.ruling["batter"] != "batter_runner"
            if runners == "forced":
                assert ruling.ruling["batter"] == "first_base"
            elif runners != "return":
                assert (
                    case["pitch_legality"] != "legal"
                    or case["pitch_touched"] in ("lodged", "runner", "out_of_play")
                    or case["catcher_act"] in ("hindered_batter", "took_pitch_away")
                ), case
            dead += 1
    assert dead > 100


def test_a_batter_who_is_out_adds_an_out(drawn):
    outs = 0
    for _, _, ruling in drawn:
        if ruling.ruling["batter"] == "out":
            assert int(min(possible(ruling.outs_added))) >= 1
            outs += 1
        elif ruling.outs_added and "out" not in possible(ruling.ruling["batter"]):
            assert (ruling.outs_added == "0") == (ruling.ruling["runner_out"] == "none")
    assert outs > 100


def test_a_turn_at_bat_that_goes_on_stays_within_three_balls_and_two_strikes(drawn):
    going_on = 0
    for position, case, ruling in complete(drawn):
        if ruling.state == "settled" and ruling.ruling["batter"] == "at_bat":
            balls, strikes = map(int, plain_ruling(READINGS[position], case)[4])
            assert int(case["balls"]) <= balls <= 3
            assert int(case["strikes"]) <= strikes <= 2
            going_on += 1
        else:
            assert ruling.balls_after == ruling.strikes_after == ""
    assert going_on > 300


def test_a_pitch_that_touches_the_batter_before_the_bat_kills_the_ball(drawn):
    """NFHS 5-1-1a, OBR 5.06(c)(1), NCAA 6-4-c, even if he swings."""
    touched = 0
    for _, case, ruling in complete(drawn):
        first = case["touched"] != "none" and (case["contact"] == "none" or case["first_touch"] == "body")
        if first and case["moment"] == "pitch" and case["bat"] == "legal" and ruling.state == "settled":
            assert ruling.ruling["ball_status"] == "dead"
            touched += 1
    assert touched > 100


def test_an_illegal_hit_is_one_out_and_everybody_goes_back(drawn):
    """NFHS 7-3-2 Penalty, OBR 6.03(a)(1) and 5.06(c)(4), NCAA 7-10-a: a foot wholly outside when bat meets ball."""
    hits = 0
    for _, case, ruling in complete(drawn):
        bat_first = case["contact"] != "none" and (case["touched"] == "none" or case["first_touch"] == "bat")
        outside = "all_out" in (case["contact_front"], case["contact_back"])
        plain = case["pitch_legality"] == case["bat"] == "legal" and case["catcher_act"] == "none"
        if bat_first and outside and plain and ruling.state == "settled" and case["time_granted"] == "no":
            assert {name: ruling.ruling[name] for name in ("ball_status", "batter", "runners")} == {
                "ball_status": "dead",
                "batter": "out",
                "runners": "return",
            }
            assert ruling.outs_added == "1"
            hits += 1
    assert hits > 30
