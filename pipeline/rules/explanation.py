"""One case explained in full: what was seen, what the rules ask, what follows; the way to it, and what lies near.

The explanation is made from the rules and the recorded facts alone, so that pages and the command can share it.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.rules.answer import CaseRuling, columns_of, rule_case
from pipeline.rules.compile import Regime, RuleBook
from pipeline.rules.explanation_called import Called, Pattern, hold_against
from pipeline.rules.explanation_path import Facts, View
from pipeline.rules.explanation_steps import Step, steps
from pipeline.rules.explanation_words import fact_words, joined, plausibility, ruling_clauses, said, sentence
from pipeline.rules.misbeliefs import recognise
from pipeline.rules.model import CODE_TITLES, RULING_FIELDS, Answer
from pipeline.rules.nearest import NearCase, Weigh, nearest_cases, nearest_other_rulings, sound_answers
from pipeline.rules.options import PREFIX, settle
from pipeline.rules.vocabulary import facts

FORMAT = 1
"""The number of the document's form; it goes up when a key is renamed or taken away."""


@dataclass(frozen=True)
class Seen:
    """One recorded fact that bears on the ruling, and its clause; `quiet` where nothing was out of the way."""

    fact: str
    title: str
    value: str
    words: str
    quiet: bool


@dataclass(frozen=True)
class RuleUsed:
    """One rule that spoke: what it asks and where it stands."""

    rule_id: str
    title: str
    reference: str
    confidence: str
    note: str | None
    says: str


@dataclass(frozen=True)
class Ruling:
    """A ruling by part, the outs it adds, and the whole as one sentence."""

    parts: Mapping[str, str]
    outs_added: int
    words: str


@dataclass(frozen=True)
class ValueLeft:
    """One value of a missing fact, and the rulings that remain; none: the value contradicts what was recorded."""

    value: str
    words: str
    rulings: tuple[Ruling, ...]


@dataclass(frozen=True)
class Need:
    """One missing fact that decides: the columns it is read from (none: a league's point), what each value leaves."""

    fact: str
    title: str
    columns: tuple[str, ...]
    values: tuple[ValueLeft, ...]


@dataclass(frozen=True)
class Explanation:
    """All of it.

    `state`, `ruling`, counts, `because` and `confidence` are those of `CaseRuling`. `seen` are the recorded facts that
    the ruling rests on, `seen_beside` those for which other rules of the same topic did not speak. `path` has every
    decision in order, `needs` the missing facts of an open case, `nearest` the smallest changes that lead to another
    ruling (of a contradiction: to any).
    """

    format: int
    code: str
    code_title: str
    day: dt.date
    state: str
    ruling: Mapping[str, str]
    outs_added: str
    balls_after: str
    strikes_after: str
    because: str
    confidence: str
    seen: tuple[Seen, ...]
    seen_beside: tuple[Seen, ...]
    seen_words: str
    rules: tuple[RuleUsed, ...]
    follows_words: str
    path: tuple[Step, ...]
    needs: tuple[Need, ...]
    nearest: tuple[NearCase, ...]
    called: Called | None


def spoken_ruling(answer: Answer) -> Ruling:
    """An answer of the decision diagram as a ruling in words."""
    parts = dict(zip(RULING_FIELDS, answer.ruling, strict=True))
    return Ruling(parts, answer.outs_added, sentence(ruling_clauses(parts)) or "Nothing is called.")


def rulings_left(answers: Sequence[Answer]) -> tuple[Ruling, ...]:
    """The distinct settled rulings among some answers, in a fixed order."""
    distinct = {answer.spoken: answer for answer in answers if answer.state == "settled"}
    return tuple(spoken_ruling(distinct[key]) for key in sorted(distinct, key=str))


def _told(known: Facts, names: Collection[str]) -> tuple[Seen, ...]:
    """Some recorded facts in words, in the order in which a ruling asks them."""
    words = fact_words()
    found = []
    for name, fact in facts().items():
        value = known.get(name)
        if name in names and value is not None and not name.startswith(PREFIX):
            entry = words[name]
            found.append(Seen(name, fact.title, value, entry.values[value], value in entry.quiet))
    return tuple(found)


def _seen(view: View, ruling: CaseRuling, path: Sequence[Step]) -> tuple[tuple[Seen, ...], tuple[Seen, ...]]:
    """The recorded facts that the ruling rests on; and those for which rules of the same topic did not speak."""
    bearing: set[str] = set()
    for rule_id in ruling.rule_ids:
        bearing |= view.grounds(view.active[rule_id].when)
    beside: set[str] = set()
    for step in path:
        for passed in step.passed_by if step.rule_ids else ():
            if passed.same_topic and passed.why == "not_met":
                beside |= view.grounds(view.active[passed.rule_id].when)
    return _told(view.known, bearing), _told(view.known, beside - bearing)


def _seen_words(seen: Sequence[Seen], beside: Sequence[Seen], state: str) -> str:
    pairs = [(one.fact, one.value) for one in seen]
    loud = said(pairs, with_quiet=state == "contradiction") or said(pairs, with_quiet=True)
    text = sentence(loud) or "Nothing was recorded that bears on the ruling."
    also = joined(said([(one.fact, one.value) for one in beside]))
    return f"{text} It was also recorded that {also}." if also else text


def _weigh(at_issue: Collection[str]) -> Weigh:
    """How far-fetched a change is; facts that are not at issue come after those that are, the situation last."""

    def weigh(fact: str, given: str | None, value: str) -> int:
        return plausibility(fact, given, value) + (0 if given is None or fact in at_issue else 3)

    return weigh


def _rules(book: RuleBook, ruling: CaseRuling, code: str) -> tuple[RuleUsed, ...]:
    found = []
    for rule_id in ruling.rule_ids:
        rule = book.rules[rule_id]
        if rule.says:
            entry = rule.codes[code]
            found.append(RuleUsed(rule_id, rule.title, entry.reference, entry.confidence, entry.note, rule.says))
    return tuple(found)


def _needs(book: RuleBook, regime: Regime, known: Facts) -> tuple[Need, ...]:
    """Each missing fact of which one value leaves other rulings than another does, with what each value leaves.

    Where no fact does so alone, each that matters together with others. (`answer.rule_case` names the same facts.)
    """
    words = fact_words()
    recorded = {name: value for name, value in known.items() if value is not None}
    asked = book.forest.asked(book.forest.restrict(regime.root, recorded))
    found, together = [], []
    for name, fact in facts().items():
        if name not in asked:
            continue
        left = [sound_answers(book.forest, regime.root, {**known, name: value}) for value in fact.values]
        need = Need(
            name,
            fact.title,
            () if name.startswith(PREFIX) else columns_of((name,)),
            tuple(
                ValueLeft(value, words[name].values[value], rulings_left(rest))
                for value, rest in zip(fact.values, left, strict=True)
            ),
        )
        sets = [frozenset(answer.spoken for answer in rest) for rest in left]
        if len({one for one in sets if one}) > 1:
            found.append(need)
        else:
            together.append(need)
    return tuple(found or together)


def _count_words(ruling: CaseRuling) -> str:
    if not ruling.balls_after and not ruling.strikes_after:
        return ""
    return f" The count is then {ruling.balls_after or '?'} and {ruling.strikes_after or '?'}."


def _follows(ruling: CaseRuling, answers: Sequence[Answer], needs: Sequence[Need]) -> str:
    if ruling.state == "contradiction":
        return "The recorded facts cannot stand together, so no ruling is given."
    if ruling.state == "settled":
        return (sentence(ruling_clauses(ruling.ruling)) or "Nothing is called.") + _count_words(ruling)
    left = rulings_left(answers)
    if not left:
        return "No ruling is given, and nothing is graded."
    nouns = joined([fact_words()[need.fact].noun for need in needs])
    several = " Or: ".join(one.words for one in left)
    return f"What was not recorded decides it ({nouns}). {several}"


def explain(
    book: RuleBook,
    code: str,
    day: dt.date,
    known: Facts,
    ruled: Mapping[str, str | None] | None = None,
    *,
    known_under: Mapping[str, Facts] | None = None,
    settled: Sequence[tuple[str, str]] | None = None,
) -> Explanation:
    """Explain one case from its deciding facts.

    Parameters
    ----------
    known
        Deciding facts by name; None or absent: not recorded.
    ruled
        What the umpire called, by part (see `explanation_called.hold_against`).
    known_under
        By other code, the facts as that code reads the same sheet.
    settled
        The points that the league of `book` has settled, as `options.settle` gives them (None: the defaults).

    Raises
    ------
    KeyError
        The code is unknown.
    """
    points = settle({}) if settled is None else settled
    given: dict[str, str | None] = {PREFIX + name: value for name, value in points}
    given |= {name: value for name, value in known.items() if name in facts() and value is not None}
    regime = book.regime(code, day)
    ruling = rule_case(book, regime, given)
    answers = sound_answers(book.forest, regime.root, given)
    view = View(book, regime, given, answers)
    needs = _needs(book, regime, given) if ruling.state == "open" and ruling.needs else ()
    path = steps(view, ruling.rule_ids)
    seen, beside = _seen(view, ruling, path)
    weigh = _weigh({one.fact for one in (*seen, *beside) if not one.quiet})
    near: tuple[NearCase, ...] = ()
    if ruling.state == "settled":
        near = nearest_other_rulings(book.forest, regime.root, given, answers[0].spoken, weigh)
    elif ruling.state == "contradiction":
        near = nearest_cases(book.forest, regime.root, given, lambda _: True, weigh)
    called = hold_against(book, code, day, given, ruled, known_under, weigh) if ruled else None
    if called is not None and ruled is not None and called.verdict == "wrong":
        called = dataclasses.replace(called, patterns=_patterns(book, code, day, given, ruled))
    return Explanation(
        format=FORMAT,
        code=code,
        code_title=CODE_TITLES[code],
        day=day,
        state=ruling.state,
        ruling=ruling.ruling,
        outs_added=ruling.outs_added,
        balls_after=ruling.balls_after,
        strikes_after=ruling.strikes_after,
        because=ruling.because,
        confidence=ruling.confidence,
        seen=seen,
        seen_beside=beside,
        seen_words=_seen_words(seen, beside, ruling.state),
        rules=_rules(book, ruling, code),
        follows_words=_follows(ruling, answers, needs),
        path=path,
        needs=needs,
        nearest=near,
        called=called,
    )


def _patterns(
    book: RuleBook, code: str, day: dt.date, known: Facts, ruled: Mapping[str, str | None]
) -> tuple[Pattern, ...]:
    return tuple(
        Pattern(found.id, found.title, found.says, found.true_where)
        for found in recognise(book, code, day, known, ruled)
    )


def document(value: Any) -> Any:
    """An explanation, or a part of one, as plain lists and mappings; a day as ISO text, an answer as its ruling."""
    if isinstance(value, Answer):
        return document(spoken_ruling(value)) | {"rule_ids": list(value.rule_ids)}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: document(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {key: document(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [document(item) for item in value]
    return value.isoformat() if isinstance(value, dt.date) else value
