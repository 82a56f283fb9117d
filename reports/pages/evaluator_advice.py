"""What an evaluator's letter says of habits on the sheet, and what it advises: every sentence from a published row."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Inline, Paragraph, Points
from reports.book import Row
from reports.links import SiteLinks
from reports.pages.evaluator_health import COLUMNS, LETTER_CAUTION
from reports.pages.evaluator_sheet import Sheets
from reports.pages.evaluators import is_apart
from reports.words import CODES, count, number, percent, plural, topic

_FACTS = 2
_TOPICS = 2
_ENOUGH_TOPIC = 3


def habits(health: Sequence[Row], links: SiteLinks) -> list[Block]:
    """Return what stands out on the sheets, in careful words, and how late they were; else that nothing does."""
    # Lateness has a sentence of its own, whether it stands out or not.
    found = [_habit(row, links) for row in health if row["stands_out"] and row["measure"] != "days_late"]
    blocks: list[Block] = []
    if found:
        blocks += [
            Paragraph(["Held beside the middle of all evaluators, this is worth a thought:"]),
            Points(found),
            Paragraph([LETTER_CAUTION], tone="caution"),
        ]
    else:
        blocks.append(
            Paragraph(["Nothing about digits, repeats, or the shares of right and wrong stands out from what is usual."])
        )
    return [*blocks, Paragraph([_lateness(health)])]


def _beside(row: Row) -> str:
    middle = f"; the middle of all evaluators is {percent(row['median'])}" if row["median"] is not None else ""
    return f"{count(row['found'])} of {count(row['cases'])} ({percent(row['value'])}{middle})"


def _habit(row: Row, links: SiteLinks) -> list[Inline]:
    told = {
        "contradictions": "Calls whose facts cannot stand together: {0}. One of the two facts is a slip of the pen, and while both stand nobody is graded.",
        "wrong_grades": "Grades against the rules: {0}. The section above has them.",
        "graded_right": "Grades that say right: {0}. Perhaps you saw better umpires; perhaps a doubtful call goes down as right. Not sure is an answer too.",
        "wrong_passed": "Rulings that the rules call wrong and that were graded right: {0}. A busy moment, a view from the side, or a rule learnt elsewhere would each explain it.",
        "repeated_rows": "Measured rows that repeat another row exactly: {0}. Two pitches seldom agree in every figure; were rows copied to save time?",
    }.get(row["measure"])
    if row["measure"] == "last_digit":
        text = (
            f"{COLUMNS.get(row['part'], row['part'])}: {_share(row)} of {count(row['cases'])} figures end in 0 or 5, which chance alone "
            "would hardly bring. Rounding to the half inch does that, and is honest; the nearest tenth would say more."
        )
    else:
        text = (told or "{0}.").format(_beside(row))
    parts: list[Inline] = [text]
    calls = [links.call(call) for call in (row["call_ids"] or "").split(";") if call]
    for place, call in enumerate(calls):
        parts += [" For example " if not place else ", ", call]
    return [*parts, "."] if calls else parts


def _share(row: Row) -> str:
    return percent(row["value"], 0)


def _lateness(health: Sequence[Row]) -> str:
    for row in health:
        if row["measure"] == "days_late" and not row["part"]:
            value = row["value"]
            digits = 0 if value == int(value) else 1
            days = f"{number(value, digits)} {'day' if value == 1 else 'days'}"
            if row["stands_out"]:
                told = f"Half of your calls were written down {days} after the game or later"
            elif value:
                told = f"Half of your calls or more were written down within {days} of the game"
            else:
                told = "Half of your calls or more were written down on the day of the game"
            if row["found"]:
                return f"{told}; {count(row['found'])} of {count(row['cases'])} more than a week after it."
            return f"{told}; none more than a week after it."
    return "Your sheets do not say on which day a call was written down (recorded on), so nothing can be said of lateness."


def advice(sheets: Sheets, links: SiteLinks) -> list[list[Inline]]:
    """Return what to do next time: facts to write, rules to read again, habits to change; thanks where there is nothing."""
    found: list[list[Inline]] = []
    for fact in [row for row in sheets.facts if row["open_calls"]][:_FACTS]:
        write = f" ({fact['allowed']})" if fact["allowed"] else ""
        settled = fact["settled_alone"] or fact["open_calls"]
        found.append([f"Write down: {fact['title'].lower()}{write}. It would have helped to settle {plural(settled, 'call')}."])
    row = sheets.row
    suspect = row["other_code_suspect"] if row is not None else None
    if row is not None and suspect:
        found.append(
            [f"Grade by the code of the game: {plural(row['other_code_calls'], 'of your grades fits', 'of your grades fit')} "
             f"{CODES.get(suspect, suspect)} rather than the code played under."]
        )  # fmt: skip
    found += _rules_to_read(sheets.health, links)
    by_measure = {one["measure"]: one for one in sheets.health if not one["part"]}
    if (late := by_measure.get("days_late")) and late["found"]:
        found.append(["Write the calls down within the week, while you still see them."])
    if not late:
        found.append(["Fill in recorded on, the day on which you write: a sheet from memory reads otherwise than one from the stands."])
    if (repeated := by_measure.get("repeated_rows")) and repeated["stands_out"]:
        found.append(["Measure each pitch anew; leave a figure blank rather than copy one."])
    if row is not None and is_apart(row["severity_low"], row["severity_high"]):
        found.append(["Sit beside another evaluator for one game: two sheets on the same pitches show where two eyes differ."])
    return found or [["Go on as you did: nothing on these sheets asks for a change."]]


def _rules_to_read(health: Sequence[Row], links: SiteLinks) -> list[list[Inline]]:
    rows = [row for row in health if row["measure"] == "wrong_grades" and row["part"] and row["found"] >= _ENOUGH_TOPIC]
    found = []
    for row in sorted(rows, key=lambda row: (-row["found"], row["part"]))[:_TOPICS]:
        parts: list[Inline] = [f"Look again at the rules on {topic(row['part'])}, against which {count(row['found'])} grades stand"]
        for place, rule in enumerate(one for one in (row["rule_ids"] or "").split(";") if one):
            parts += [": " if not place else ", ", links.rule(rule)]
        found.append([*parts, "."])
    return found


