"""An explanation as text for a terminal: short paragraphs first, then the way to the ruling and what lies near."""

from __future__ import annotations

import datetime as dt
import textwrap
from collections.abc import Sequence

from pipeline.rules.answer import NONE_CALLED
from pipeline.rules.explanation import Explanation, Need, Ruling, ValueLeft, spoken_ruling
from pipeline.rules.explanation_called import Called, Span
from pipeline.rules.explanation_steps import PassedBy, Step
from pipeline.rules.explanation_words import fact_words, joined, part_words, plain, said
from pipeline.rules.model import RULING_FIELDS
from pipeline.rules.nearest import NearCase

WIDTH = 110
MOST_RULINGS = 4
"""Of the rulings that remain under one value of a missing fact, so many are told."""


def _wrapped(text: str, indent: int = 2, hang: int = 0) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=" " * indent, subsequent_indent=" " * (indent + hang), break_on_hyphens=False
    ) or [""]


def _table(rows: Sequence[tuple[str, str]], indent: int = 2) -> list[str]:
    """Two columns, the second wrapped."""
    if not rows:
        return []
    width = max(len(first) for first, _ in rows)
    lines = []
    for first, second in rows:
        start = f"{' ' * indent}{first:<{width}}  "
        lines += textwrap.wrap(
            second, WIDTH, initial_indent=start, subsequent_indent=" " * len(start), break_on_hyphens=False
        )
    return lines


def _ruling(explanation: Explanation) -> list[str]:
    titles = part_words()
    lines = [
        f"Ruling under {explanation.code} ({explanation.code_title}), rules of {explanation.day.isoformat()}: "
        f"{explanation.state}",
        "",
    ]
    lines += [f"  {titles[name].title:<15} {explanation.ruling[name] or '(not called)'}" for name in RULING_FIELDS]
    lines += [f"  {'Outs added':<15} {explanation.outs_added or '-'}"]
    if explanation.balls_after or explanation.strikes_after:
        lines += [f"  {'Count after':<15} {explanation.balls_after or '?'}-{explanation.strikes_after or '?'}"]
    return [*lines, ""]


def _measured(measured: tuple[float, float] | None) -> list[str]:
    if measured is None:
        return []
    margin, p_strike = measured
    side = "inside" if margin >= 0 else "beyond"
    return _wrapped(
        f"The ball's edge reached {abs(margin):.1f} in {side} the edge of the zone; "
        f"with this source's error the pitch was a strike with probability {p_strike:.2f}."
    )


def _asked(explanation: Explanation) -> list[str]:
    lines = []
    for rule in explanation.rules:
        note = f" ({rule.note})" if rule.note else ""
        lines.append(f"  {rule.rule_id}  {rule.reference} [{rule.confidence}]{note}")
        lines += _wrapped(rule.title, 8)
    lines.append(f"  How well these rules are known: {explanation.confidence} (the weakest of those used)")
    return lines


def _remains(value: ValueLeft) -> str:
    if not value.rulings:
        return "cannot be, with what was recorded"
    told = [ruling.words for ruling in value.rulings[:MOST_RULINGS]]
    more = len(value.rulings) - len(told)
    return " Or: ".join(told) + (f" Or one of {more} more." if more else "")


def _need(need: Need) -> list[str]:
    lines = _wrapped(", ".join(need.columns) or f"a point that the league settles: {need.title}", 2, 2)
    lines += _table([(plain(value.value), _remains(value)) for value in need.values], 4)
    return lines


def _case(case: NearCase, ruling: Ruling) -> str:
    changed = joined([fact_words()[change.fact].values[change.value] for change in case.changes])
    supposed = joined(said(case.supposed))
    parts = []
    if changed:
        parts.append(f"Had it been that {changed}")
    if supposed:
        parts.append(f"{'supposing' if changed else 'Supposing'} that {supposed}")
    return f"{', '.join(parts) or 'As it stands'}: {ruling.words}"


def _near(cases: Sequence[NearCase]) -> list[str]:
    lines = []
    for case in cases:
        lines += _wrapped(_case(case, spoken_ruling(case.answer)), 2, 2)
    return lines


def _days(span: Span) -> str:
    def day(value: dt.date | None) -> str:
        return value.isoformat() if value else ""

    if span.first_day is None and span.last_day is None:
        return "on every day"
    if span.first_day is None:
        return f"up to {day(span.last_day)}"
    return f"from {day(span.first_day)}" + (f" to {day(span.last_day)}" if span.last_day else " on")


def _called(called: Called, code_title: str) -> list[str]:
    titles = part_words()
    rows = [
        (f"{titles[part.part].title}: {plain(part.called or NONE_CALLED)}", part.words) for part in called.parts
    ]
    lines = ["You called", *_table(rows)]
    if called.verdict == "wrong":
        for pattern in called.patterns:
            lines += _wrapped(f"It fits a known pattern, {pattern.pattern_id}: {pattern.title}", 2, 2)
            lines += _wrapped(pattern.says, 4)
    if called.verdict in ("wrong", "open"):
        lines += ["", "Where that call would be right"]
        lines += _near(called.nearest) or ["  In no case of this code."]
        for span in called.codes:
            lines.append(f"  For the same facts under {span.code} ({span.code_title}).")
        for span in called.days:
            lines.append(f"  For the same facts under {span.code} ({code_title}) {_days(span)}.")
        if not called.codes:
            lines.append("  For the same facts under no other code.")
        if not called.days:
            lines.append("  For the same facts on no other day under this code.")
    return [*lines, ""]


def _passed_by(passed: PassedBy) -> list[str]:
    return _wrapped(f"passed by {passed.rule_id} ({passed.reference}): {passed.words}", 6, 2)


def _step(number: int, step: Step, show_all: bool) -> list[str]:
    by = f" ({joined(step.rule_ids, 'or')})" if step.rule_ids else " (no rule spoke)"
    outcome = f"not asked: {step.words}" if step.state == "not_asked" else f"{step.words}{by}"
    if step.set_aside_by:
        outcome += f"; set aside by {step.set_aside_by}"
    lines = _wrapped(f"{number}. {step.question} {outcome}", 2, 3)
    shown = [p for p in step.passed_by if show_all or p.same_topic or p.why == "gave_way"]
    for passed in shown:
        lines += _passed_by(passed)
    rest = len(step.passed_by) - len(shown)
    if rest:
        also = "more" if shown else "of other topics"
        lines.append(f"      {rest} {'rule' if rest == 1 else 'rules'} {also} passed by (--all names them)")
    return lines


def explanation_text(
    explanation: Explanation, measured: tuple[float, float] | None = None, *, show_all: bool = False
) -> str:
    """Return the whole explanation as text.

    Parameters
    ----------
    measured
        Margin to the edge of the zone in inches (negative: beyond it), and the probability of a strike.
    show_all
        Also name the rules of other topics that were passed by.
    """
    lines = _ruling(explanation)
    lines += ["What was seen", *_wrapped(explanation.seen_words), *_measured(measured), ""]
    lines += ["What the rules ask", *_asked(explanation), ""]
    lines += ["What follows", *_wrapped(explanation.follows_words), "", "Because", *_wrapped(explanation.because), ""]
    if explanation.called is not None:
        lines += _called(explanation.called, explanation.code_title)
    if explanation.needs:
        lines += ["Would settle it"]
        for need in explanation.needs:
            lines += _need(need)
        lines += [""]
    if explanation.nearest:
        title = "What would go together" if explanation.state == "contradiction" else "The nearest other ruling"
        lines += [title, *_near(explanation.nearest), ""]
    lines += ["The way to the ruling"]
    for number, step in enumerate(explanation.path, 1):
        lines += _step(number, step, show_all)
    return "\n".join(lines)
