"""The first page of an umpire's packet: a letter of what was seen, three strengths, three things to work on, and what next."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Inline, Ledger, Link, Page, Paragraph, Points, Section
from reports.book import Person, Row
from reports.clinic_words import subject
from reports.links import SiteLinks
from reports.pages.plays import chosen_plays, play_entry
from reports.slot_words import SLOT_CAUTION, SLOT_DRILLS
from reports.words import (
    AREAS,
    READINGS,
    SLOT_ITEMS,
    count,
    interval,
    percent,
    plural,
    point_range,
    points,
)

PLAYS = (2, 1, 1)
"""Plays told in full under the first, second and third point: a letter is two sheets of paper at most."""
_SLOT = {
    "in_slot": "being in the slot",
    "head_height": "the height of the head",
    "drift": "keeping the head still",
    "view_handled": "keeping the view",
    "set_at_release": "being set at release",
    "gap_defended": "keeping the gap between plate and box",
}
_ORDINALS = ("First", "Second", "Third")


def umpire_letter(
    person: Person,
    ready: Row | None,
    standards: Sequence[Row],
    named: Sequence[Row],
    calls: Sequence[Row],
    links: SiteLinks,
    season: str,
) -> Page:
    """Make `index.html` of an umpire's packet.

    Parameters
    ----------
    named
        Rows of `letter_point` of this umpire.
    calls
        All his calls, from which the plays are taken.
    """
    if calls:
        sections = [
            _strengths([row for row in named if row["side"] == "strength"], ready),
            _work([row for row in named if row["side"] == "work"], standards, calls, links),
            _next(ready, standards),
            _sure(ready),
            _appeal(),
        ]
    else:
        sections = [_next(ready, standards), _appeal()]
    return Page(
        path="index.html",
        title=f"Your plate work in {season}",
        lead=_lead(person, ready, calls),
        sections=sections,
        nav="index.html",
    )


def _lead(person: Person, ready: Row | None, calls: Sequence[Row]) -> list[Inline]:
    if not calls:
        return [f"Dear {person.name}, no call of yours was seen and accepted this season, so there is nothing to tell you yet."]
    games = len({call["game_id"] for call in calls})
    seen_by = len({call["evaluator_id"] for call in calls})
    parts: list[Inline] = [
        f"Dear {person.name}, thank you for your season. {plural(games, 'game')} of yours "
        f"{'was' if games == 1 else 'were'} watched by {plural(seen_by, 'evaluator')}, who wrote down {plural(len(calls), 'call')}. "
    ]
    if ready is not None:
        parts.append(f"You work {ready['level_title']}; this letter holds your work against the standards of {ready['target_title']}. ")
    parts += [
        "It is yours alone and names nobody else. ",
        Link("The figures", "figures.html"),
        " and ",
        Link("every call", "calls.html"),
        " are behind it.",
    ]
    return parts


def _strengths(rows: Sequence[Row], ready: Row | None) -> Section:
    title = "What went well"
    if not rows:
        text = (
            "Too little was seen to name a strength, and we would rather say so than invent one."
            if ready is None or not ready["evidence_ok"]
            else "No part of your plate work stands above its standard for certain yet. What follows says where the way there is shortest."
        )
        return Section("strengths", title, [Paragraph([text])])
    return Section("strengths", title, [Points([_strength(row) for row in rows])])


def _strength(row: Row) -> list[Inline]:
    if row["kind"] == "growth":
        return [
            f"You grew: {AREAS[row['subject']].lower()}, {points(row['rate'])} points from the first game to the last "
            f"({point_range(row['low'], row['high'])})."
        ]
    if row["kind"] == "slot":
        told = (
            f"{SLOT_ITEMS[row['subject']]}: {count(row['good'])} of {plural(row['cases'], 'check')} "
            f"({percent(row['rate'], 0)}, {interval(row['low'], row['high'])}; all umpires {percent(row['compared'], 0)})."
        )
        return [told if row["is_certain"] else f"{told} Not certain, but it points upwards."]
    cut = f"the standard asks for {percent(row['compared'])}"
    told = f"{AREAS[row['subject']]}: {percent(row['rate'])} ({interval(row['low'], row['high'])}); {cut}"
    return [f"{told}. You meet it." if row["is_certain"] else f"{told}. You likelier meet it than not; it is not settled."]


def _work(rows: Sequence[Row], standards: Sequence[Row], calls: Sequence[Row], links: SiteLinks) -> Section:
    title = "What to work on"
    if not rows:
        return Section("work", title, [Paragraph(["Nothing among the calls seen asks for work. Keep doing what you do."])])
    blocks: list[Block] = []
    for place, row in enumerate(rows):
        ordinal = _ORDINALS[min(place, len(_ORDINALS) - 1)]
        if row["kind"] == "topic":
            blocks += _topic(ordinal, place, row, standards, calls, links)
        elif row["kind"] == "slot":
            blocks += _slot(ordinal, row)
            if not any(one["kind"] == "slot" for one in rows[:place]):
                blocks.append(Paragraph([SLOT_CAUTION], tone="caution"))
        else:
            blocks.append(Paragraph([_quiz(ordinal, row)]))
    margin = [
        "The rulings that cost most come first. A play is told from the facts on the sheet; if they are not what happened, "
        "the facts want mending, not you. Drills are common practice, no source."
    ]
    return Section("work", title, blocks, margin=margin)


def _topic(
    ordinal: str, place: int, row: Row, standards: Sequence[Row], calls: Sequence[Row], links: SiteLinks
) -> list[Block]:
    wrong = [call for call in calls if call["verdict"] == "wrong" and call["topic"] == row["subject"]]
    seen = sum(call["topic"] == row["subject"] and call["verdict"] in ("wrong", "right") for call in calls)
    area = wrong[0]["area"] if wrong else None
    met = any(one["area"] == area and one["holds"] == "met" for one in standards)
    told = (
        f"{ordinal}: {subject(row['subject']).lower()}. {count(len(wrong))} of {plural(seen, 'graded call')} "
        f"{'was' if len(wrong) == 1 else 'were'} ruled otherwise than the rules have it."
    )
    if met:
        told += " You meet the standard of this area even so."
    entries = [play_entry(f"play-{place + 1}-{n}", call, links) for n, call in enumerate(chosen_plays(wrong, PLAYS[min(place, 2)]), 1)]
    return [Paragraph([told]), Ledger(f"plays-{place + 1}", "Your own plays", entries)]


def _slot(ordinal: str, row: Row) -> list[Block]:
    told = (
        f"{ordinal}: {_SLOT[row['subject']]}. {count(row['good'])} of {plural(row['cases'], 'check')} "
        f"{'was' if row['good'] == 1 else 'were'} as it should be ({percent(row['rate'], 0)}, {interval(row['low'], row['high'])}; all umpires "
        f"{percent(row['compared'], 0)})."
    )
    if not row["is_certain"]:
        told += " That may be chance; it is worth a look."
    return [Paragraph([told]), Points([[f"A drill: {_lowered(SLOT_DRILLS[row['subject']])}"]])]


def _lowered(text: str) -> str:
    return text[0].lower() + text[1:]


def _quiz(ordinal: str, row: Row) -> str:
    settled = "below the standard" if row["is_certain"] else "not settled"
    return (
        f"{ordinal}: the rules quiz. {percent(row['rate'])} ({interval(row['low'], row['high'])}), and the standard asks for "
        f"{percent(row['compared'])}: {settled}. Read the rules behind your own plays first; the quiz asks about such plays."
    )


def _next(ready: Row | None, standards: Sequence[Row]) -> Section:
    title = "What would make you ready"
    if ready is None:
        return Section("next", title, [Paragraph(["The policy names no level above your work, so no standard applies. The committee will tell you more."])])
    word = READINGS[ready["verdict"]][0].lower()
    blocks: list[Block] = []
    if ready["verdict"] == "ready":
        told = f"On this evidence you are ready for {ready['target_title']}. The committee decides, and may weigh what no figure holds."
    elif ready["probability"] is None:
        told = f"There is nothing to judge by yet for {ready['target_title']}."
    else:
        told = f"For {ready['target_title']} the evidence reads: {word}. The chance that you meet every standard at once is {percent(ready['probability'], 0)}."
    blocks.append(Paragraph([told]))
    missing = [_standard(row) for row in standards if row["holds"] in ("short", "unsure", "no_evidence")]
    if missing and ready["verdict"] != "ready":
        blocks.append(Points(missing, title="Standards still open"))
    looks = _looks(ready)
    if looks:
        blocks.append(Paragraph([looks]))
    return Section("next", title, blocks)


def _standard(row: Row) -> list[Inline]:
    if row["holds"] == "no_evidence" or row["estimate"] is None:
        return [f"{row['area_title']}: nothing was seen."]
    gap = row["cut"] - row["estimate"]
    where = (
        f"{points(gap).lstrip('+')} points below the {percent(row['cut'])} that are asked"
        if gap > 0
        else f"at the {percent(row['cut'])} that are asked, but not surely so"
    )
    return [f"{row['area_title']}: {percent(row['estimate'])} ({interval(row['low'], row['high'])}), {where}."]


def _looks(ready: Row) -> str:
    if ready["verdict"] != "more_looks":
        return ""
    wanted = [
        plural(ready[column], one, many)
        for column, one, many in (
            ("games_needed", "more game", "more games"),
            ("looks_needed", "more call", "more calls"),
            ("evaluators_needed", "evaluator who has not seen you yet", "evaluators who have not seen you yet"),
            ("quiz_answers_needed", "more quiz answer", "more quiz answers"),
        )
        if ready[column]
    ]
    if not wanted:
        return "Further looks alone would not settle it soon; what is named above helps more."
    areas = [AREAS.get(area, area).lower() for area in (ready["looks_areas"] or "").split(";") if area]
    what = f" What is open: {', '.join(areas)}." if areas else ""
    return f"About {', '.join(wanted)} would settle the reading if your work stays as it is.{what} Ask for those looks: it is not you who is lacking there, but the evidence."


def _sure(ready: Row | None) -> Section:
    thin = ready is not None and not ready["evidence_ok"]
    texts = [
        "A range after a figure says where the truth may lie. Severity of whoever watched, difficulty of what you met, and luck are taken out as far as the season allows. Pitches too close for the measurement, and calls with a fact missing, count neither for nor against you.",
        "The figures say nothing of how you handle people, of your hustle, or of games nobody watched. The committee decides, and hears you first.",
    ]
    if thin:
        texts.insert(0, "What was seen of you is less than the policy asks for. Read everything here with that in mind.")
    return Section("sure", "How sure this is", [Points([[text] for text in texts])])


def _appeal() -> Section:
    text = (
        "If a call is written down otherwise than it happened, send the coordinator its id, which fact was otherwise, and how you "
        "know. If that is upheld, the call is ruled anew, every figure follows, and the sheet as it came stays readable. If a rule is "
        "told wrongly here, name it: the rule books decide."
    )
    return Section("appeal", "If you see it otherwise", [Paragraph([text])])
