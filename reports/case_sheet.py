"""Sheets of case plays: in Markdown, and as pages to print, with and without the answers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from markupsafe import Markup, escape

from reports.templating import environment

Show = Literal["all", "questions", "answers"]
"""What a sheet shows: questions each with its answer, questions alone, or answers alone."""

_TITLES = {"all": "Case plays", "questions": "Case plays: questions", "answers": "Case plays: answers"}


@dataclass(frozen=True)
class SheetOption:
    """One option; `why` says why it is wrong (blank: it is right)."""

    letter: str
    text: str
    why: str = ""


@dataclass(frozen=True)
class SheetItem:
    """One item as it is printed. `pair` is shared by items that stand side by side; `lead` says what is different."""

    item_id: str
    topic: str
    stem: str
    options: Sequence[SheetOption]
    key: str
    because: str
    references: str
    confidence: str
    grade: str
    origin: str
    pair: str
    lead: str = ""

    @property
    def right(self) -> str:
        """The text of the right option."""
        return next(option.text for option in self.options if option.letter == self.key)


@dataclass(frozen=True)
class Sheet:
    """A list of items with what is said above it, and below it for the trainer."""

    subtitle: str
    items: Sequence[SheetItem]
    notes: Sequence[str]

    @property
    def groups(self) -> list[list[SheetItem]]:
        """The items, twins together."""
        return [list(group) for _, group in groupby(self.items, key=lambda item: item.pair)]


_JOINED = re.compile(r"\S*\d-\d\S*")
"""A count or the number of a rule: not to be broken at its hyphen."""


def kept_together(text: str) -> Markup:
    """Return escaped text in which counts and numbers of rules stay on one line."""
    made = Markup("")
    place = 0
    for found in _JOINED.finditer(text):
        made += escape(text[place : found.start()]) + Markup('<span class="kept">{}</span>').format(found[0])
        place = found.end()
    return made + escape(text[place:])


def _plain(text: str) -> str:
    """A text that Markdown takes as it stands."""
    for mark in "\\`*_[]<>#|":
        text = text.replace(mark, f"\\{mark}")
    return text


def _answer_lines(item: SheetItem) -> list[str]:
    lines = [f"**{item.key.upper()}** {_plain(item.right)}", "", _plain(item.because), ""]
    lines += [
        f"* {option.letter.upper()} is wrong. {_plain(option.why)}" for option in item.options if option.letter != item.key
    ]
    lines += [
        "",
        _plain(f"{item.references} [{item.confidence}]. Topic: {item.topic}. Difficulty: {item.grade}. {item.origin}"),
    ]
    return lines


def markdown(sheet: Sheet, show: Show = "all") -> str:
    """Return a sheet as Markdown."""
    lines = [f"# {_TITLES[show]}", "", _plain(sheet.subtitle), ""]
    for item in sheet.items:
        lines += [f"## {_plain(item.item_id)}", ""]
        if item.lead and show != "answers":
            lines += [f"*Twin of {_plain(item.pair)}. Same play, but: {_plain(item.lead)}*", ""]
        if show != "answers":
            lines += [_plain(item.stem), ""]
            lines += [f"* **{option.letter.upper()}** {_plain(option.text)}" for option in item.options]
            lines.append("")
        if show != "questions":
            lines += [*_answer_lines(item), ""]
    if show != "questions":
        lines += ["## How to read this", "", *(line for note in sheet.notes for line in (_plain(note), ""))]
    return "\n".join(lines).rstrip("\n") + "\n"


def page(sheet: Sheet, show: Show = "all") -> str:
    """Return a sheet as one HTML page that needs nothing else and prints on A4 or Letter paper."""
    return environment().get_template("case_sheet.html.j2").render(
        sheet=sheet, show=show, title=_TITLES[show], kept=kept_together
    )
