"""The proof by enumeration: it holds for the rules that ship, and it finds and names each fault put into them."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.errors import RuleDefinitionError
from pipeline.rules.compile import Regime, whole_book
from pipeline.rules.expression import parse
from pipeline.rules.invariants import invariants, read_invariants
from pipeline.rules.reading import decisions, rules
from pipeline.rules.vocabulary import facts
from pipeline.rulings.proof import chain, openness
from pipeline.rulings.proof.conditions_sql import condition_sql, holds, simplify
from pipeline.rulings.proof.domain import active_rules, blocks, make_domain, unlike_in_class, value_classes
from pipeline.rulings.proof.invariants import prove_invariant
from pipeline.rulings.proof.report import QUICK, prove, text
from pipeline.rulings.proof.tables import prove_tables
from pipeline.store import Store

BOOK = whole_book()
DAY = dt.date(2024, 4, 1)
HIGH_SCHOOL = next(regime for regime in BOOK.regimes if regime.code == "nfhs")


@pytest.fixture(scope="module")
def store():
    with Store() as opened:
        yield opened


@pytest.fixture(scope="module")
def quick():
    return prove(("nfhs",), QUICK)


def tables_of(store, catalogue):
    active = {one.id: one for one in catalogue.values() if "nfhs" in one.codes and one.codes["nfhs"].in_force(DAY)}
    return prove_tables(store, Regime("nfhs", None, tuple(active), 0), active)


def said(accounts):
    return [str(finding) for account in accounts for finding in account.findings]


# --- what ships -----------------------------------------------------------------------------------------------


def test_everything_holds_for_the_high_school_rules(quick):
    assert [str(finding) for finding in quick.findings] == []
    assert [table.decision for table in quick.tables] == [decision.name for decision in decisions()]
    assert "Everything holds." in text(quick)


def test_every_combination_of_facts_is_counted_once(quick):
    whole = math.prod(len(fact.values) for fact in facts().values())
    [(_, combinations, states, _)] = quick.spaces
    assert combinations == whole == sum(states.values())
    assert set(states) == {"settled", "contradiction", "not_covered"}


def test_every_invariant_speaks_of_something_and_both_ways_rule_many_cases(quick):
    spoken = {one.id: one.spoken_of for one in quick.invariants}
    assert set(spoken) == {one.id for one in invariants() if "nfhs" in one.codes}
    assert min(spoken.values()) > 10**12
    assert quick.chains[0].rows > 50_000
    assert quick.chains[0].rulings > 150
    assert quick.openness[0].still_open > 300


def test_a_small_table_counts_as_by_hand(quick):
    """Where the batter's stance is asked, it turns on one foot alone: of each two cases, one directs him."""
    table = next(one for one in quick.tables if one.decision == "stance")
    assert table.counts.asked == 2 * table.counts.by_rule["S201"] == 2 * table.counts.silent
    # Both values of the fact, each outcome of standing and of coverage (never asked, too), and of what comes before.
    assert table.counts.total % (2 * 2 * 3) == 0


@pytest.mark.slow
def test_everything_holds_for_the_other_codes():
    assert [str(finding) for finding in prove(("obr", "ncaa"), QUICK).findings] == []


def test_the_command_prints_the_account_and_refuses_an_unknown_code(tmp_path, monkeypatch, quick):
    from pipeline.rulings.proof import report

    monkeypatch.setattr(report, "prove", lambda codes, effort: quick)
    shown = CliRunner().invoke(app, ["prove", "--code", "nfhs", "--quick"])
    assert shown.exit_code == 0
    assert "Everything holds." in shown.stdout
    broken = replace(quick, findings=[report.Finding("decision tables", "nfhs", "X and Y differ", "outs = 1")])
    monkeypatch.setattr(report, "prove", lambda codes, effort: broken)
    target = tmp_path / "account.txt"
    assert CliRunner().invoke(app, ["prove", "--out", str(target)]).exit_code == 3
    assert "X and Y differ; for example outs = 1" in target.read_text(encoding="utf-8")
    assert CliRunner().invoke(app, ["prove", "--code", "youth"]).exit_code != 0


def test_a_domain_has_each_case_of_its_blocks_once_under_the_number_of_the_first(store):
    quiet = {name: [fact.values[0]] for name, fact in facts().items()}
    opened = [
        {**quiet, "outs": ["0", "1"], "on_first": ["yes", "no"]},
        {**quiet, "outs": ["1", "2"], "on_first": ["no", "yes"], "bat": ["legal", "altered"]},
        {**quiet, "outs": ["2"], "on_first": ["yes"]},
        {**quiet, "outs": ["0", "1", "2"], "on_second": ["yes", "no"]},
        {**quiet, "outs": ["0", "1", "2"], "on_second": ["yes", "no"]},
    ]
    expected: dict[tuple[str, ...], int] = {}
    number = 0
    for block in opened:
        # The first fact turns fastest.
        for values in itertools.product(*reversed([block[name] for name in facts()])):
            number += 1
            expected.setdefault(values[::-1], number)
    assert make_domain(store, opened, "blocks") == len(expected) < number
    rows = store.rows("SELECT * FROM blocks ORDER BY case_no")
    assert {tuple(map(str, row[1:])): row[0] for row in rows} == expected


# --- faults put in --------------------------------------------------------------------------------------------


def test_a_rule_taken_out_leaves_a_gap_that_is_named(store):
    found = said(tables_of(store, {key: rule for key, rule in rules().items() if key != "P503"}))
    assert len(found) == 1
    assert "judgement: no rule answers" in found[0]
    assert "zone = out_of_zone" in found[0]


def test_an_order_taken_away_leaves_a_conflict_that_is_named(store):
    loose = {**rules(), "H404": replace(rules()["H404"], yields_to=())}
    found = said(tables_of(store, loose))
    assert any("H404 answer differently without a declared order" in one for one in found)


def test_a_rule_that_can_never_speak_is_named():
    never = replace(
        rules()["S201"], id="S999", name="never", when=parse("stance_fault = 'yes' and stance_fault = 'no'")
    )
    found = [str(one) for one in prove(("nfhs",), QUICK, {**rules(), "S999": never}).findings]
    assert any("S999 (never) never speaks in its table" in one for one in found)


BROKEN = """
invariants:
  - id: N01
    says: Nobody is ever out.
    reference: from memory
    confidence: memory
    where: ruling.state = 'settled'
    holds: ruling.batter != 'out'
"""


def test_an_invariant_that_is_violated_is_found_on_the_diagrams_and_in_sql(store):
    [false] = read_invariants(BROKEN)
    on_diagrams = prove_invariant(BOOK, HIGH_SCHOOL, false)
    outs = sum(
        times
        for one, times in BOOK.forest.count(HIGH_SCHOOL.root).items()
        if one.state == "settled" and one.ruling[2] == "out"
    )
    assert on_diagrams.broken == outs > 0
    assert "N01 does not hold" in str(on_diagrams.finding)
    groups = value_classes(active_rules(BOOK, HIGH_SCHOOL))
    rows = make_domain(store, list(blocks(BOOK, HIGH_SCHOOL, 50, groups)), "domain")
    account = chain.prove_chain(store, BOOK, HIGH_SCHOOL, "domain", [false], rows)
    assert account.violations["N01"] > 0
    assert any("N01 does not hold" in str(one) for one in account.findings)


def test_a_diagram_that_rules_otherwise_than_the_rules_is_found(store):
    other = replace(HIGH_SCHOOL, root=next(one.root for one in BOOK.regimes if one.code == "obr"))
    swapped = replace(BOOK, regimes=(other,))
    groups = value_classes(active_rules(BOOK, HIGH_SCHOOL))
    rows = make_domain(store, list(blocks(BOOK, HIGH_SCHOOL, 20, groups)), "domain")
    account = chain.prove_chain(store, swapped, other, "domain", [], rows)
    assert any("come out differently" in one.says for one in account.findings)
    assert unlike_in_class(swapped, other, groups)


def test_an_open_ruling_that_leaves_something_out_is_found(store, monkeypatch):
    honest = openness.rule_case

    def narrower(book, regime, known):
        listed = honest(book, regime, known)
        return replace(listed, ruling={name: value.split("|")[0] for name, value in listed.ruling.items()})

    monkeypatch.setattr(openness, "rule_case", narrower)
    found = openness.prove_openness(store, BOOK, HIGH_SCHOOL, 30, 200)
    assert any("where the fillings lead to" in one.says for one in found.findings)


# --- reader and translator ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("says:", "tells:", "unknown keys: tells"),
        ("    reference: from memory\n", "", "lacks: reference"),
        ("N01", "X1", "is not N and two digits"),
        ("ruling.batter", "ruling.umpire", "neither a fact nor a part of a ruling"),
        ("'out'", "'asleep'", "never is 'asleep'"),
        ("confidence: memory", "confidence: sure", "unknown confidence"),
    ],
)
def test_a_mistake_among_the_invariants_is_refused_with_its_name(old, new, message):
    with pytest.raises(RuleDefinitionError, match=message):
        read_invariants(BROKEN.replace(old, new))


def test_conditions_become_sql_that_says_the_same(store):
    condition = parse("(outs <= 1 and not on_first = 'yes') or bat in ('illegal', 'altered')")
    for outs in "012":
        for on_first in ("yes", "no"):
            for bat in facts()["bat"].values:
                case = {"outs": outs, "on_first": on_first, "bat": bat}
                expected = (int(outs) <= 1 and on_first != "yes") or bat != "legal"
                told = store.value(
                    f"SELECT {condition_sql(condition)} FROM (SELECT ?::UTINYINT AS outs, ? AS on_first, ? AS bat)",
                    list(case.values()),
                )
                assert told == expected == holds(condition, case)
    assert simplify(condition, {"bat": "illegal"}) is True
    assert simplify(condition, {"bat": "legal", "outs": "2"}) is False
