"""Lists of cases and quizzes that are ruled without a season: the commands rulings, explain and quiz-check."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from pipeline.config import Measurement, read_policy
from pipeline.errors import DisagreementError, InputError, Where
from pipeline.facts.build import make_calls
from pipeline.formulas import safe_row
from pipeline.ingest.cases import land_cases
from pipeline.item_lists import item_cases
from pipeline.rules.compile import RuleBook, rule_book
from pipeline.rules.dimensions import zone_measures
from pipeline.rules.model import CODES
from pipeline.rules.options import settle
from pipeline.rulings.batch import rule_table, today
from pipeline.rulings.explain import as_json, as_text, call_explanation, read_call, write_rulings
from pipeline.rulings.quiz_key import check_items
from pipeline.store import Store, write_bytes


def _league(policy: Path | None) -> RuleBook:
    """The rules as the league of a policy plays them; without one, by their own words."""
    return rule_book() if policy is None else rule_book(settle(read_policy(policy).rule_options, Where(policy)))


def _ruled_cases(store: Store, cases: Path, book: RuleBook) -> list[str]:
    names = land_cases(store, cases, today())
    make_calls(store, "facts.case_call", zone_measures(), Measurement())
    rule_table(store, "facts.case_call", "rulings.case_ruling", book=book)
    return names


def rule_cases(cases: Path, out: Path | None = None, policy: Path | None = None) -> str:
    """Rule each row of a case list; return the list with its rulings as CSV text, and write it to `out` if given.

    `policy` is a policy file whose `[rule_options]` settle the points that the rules leave to the league.
    """
    book = _league(policy)
    with Store() as store:
        names = _ruled_cases(store, cases, book)
        return write_rulings(store, names, out)


def explain_case(
    cases: Path,
    case_id: str,
    *,
    called: str | None = None,
    as_document: bool = False,
    show_all: bool = False,
    policy: Path | None = None,
) -> str:
    """Explain one case of a list, found by `case_id` or `call_id`, or by its line number where it has neither.

    Parameters
    ----------
    called
        What the umpire called, as `part=value` pairs joined by `;`; without it, what the row's ruled columns say.
    as_document
        Return JSON instead of text.
    show_all
        In the text, also name the rules of other topics that were passed by.
    policy
        As for `rule_cases`.

    Raises
    ------
    InputError
        The list has no such case, or `called` names something unknown.
    """
    call = None if called is None else read_call(called)
    options = {} if policy is None else read_policy(policy).rule_options
    settled = settle(options, None if policy is None else Where(policy))
    with Store() as store:
        names = land_cases(store, cases, today())
        column = next((name for name in ("case_id", "call_id") if name in names), None)
        chosen = f'"in_{column}"' if column else "CAST(line_no AS VARCHAR)"
        line = store.value(f"SELECT line_no FROM raw.case_row WHERE trim({chosen}) = ?", [case_id])
        if line is None:
            raise InputError(
                f"the list has no case {case_id!r}",
                where=Where(cases),
                hint=f"give a value of its column {column}" if column else "give a line number: 2 is the first case",
            )
        # The same sheet under every code, since a code may read a blank or a measure in its own way.
        store.run("DELETE FROM source_call WHERE call_id <> ?", [str(line)])
        under = {code: f"{line} {code}" for code in CODES}
        for code, other in under.items():
            store.run(
                "INSERT INTO source_call SELECT * REPLACE ($other AS call_id, $code AS rule_code) FROM source_call "
                "WHERE call_id = $line",
                {"other": other, "code": code, "line": str(line)},
            )
        make_calls(store, "facts.case_call", zone_measures(), Measurement())
        found = call_explanation(store, "facts.case_call", str(line), call, under, settled)
    if found is None:
        raise DisagreementError(f"line {line} of the list has no facts")
    return as_json(*found) if as_document else as_text(*found, show_all=show_all)


def check_quiz(items: Path, out: Path | None = None, policy: Path | None = None) -> tuple[str, bool]:
    """Check the keys of a quiz sheet; return the verdicts as CSV text, and whether every checked key is confirmed.

    `policy` as for `rule_cases`.
    """
    book = _league(policy)
    with Store() as store:
        item_cases(store, items)
        rule_table(store, "facts.item_case", "rulings.item_ruling", book=book)
        checks = check_items(store, "item", "rulings.item_ruling")
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["item_id", "verdict", "right_options", "because"])
    writer.writerows(
        safe_row((check.item_id, check.verdict, ";".join(check.right_options), check.because)) for check in checks
    )
    text = stream.getvalue()
    if out is not None:
        write_bytes(out, text.encode())
    return text, all(check.verdict == "confirmed" for check in checks)
