"""Where everything lies in the site, and in a packet, which knows only its own person's pages."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

from markupsafe import Markup

from reports.blocks import Cell, Inline, Link
from reports.book import Person, SeasonBook
from reports.named import NamesInText
from reports.naming import anchor, folder_names

WITHHELD = "(withheld: it names somebody else)"


@dataclass(frozen=True)
class Atlas:
    """Names and folders of all people, made once."""

    umpires: Mapping[str, str]
    evaluators: Mapping[str, str]
    umpire_folders: Mapping[str, str]
    evaluator_folders: Mapping[str, str]
    call_homes: Mapping[str, tuple[str, str]]
    rule_files: Mapping[str, str]
    topic_files: Mapping[str, str]
    misruling_codes: frozenset[str]

    @classmethod
    def of(cls, book: SeasonBook) -> Atlas:
        """Make the atlas of a season."""
        return cls(
            umpires=_names(book.umpires),
            evaluators=_names(book.evaluators),
            umpire_folders=folder_names(person.id for person in book.umpires),
            evaluator_folders=folder_names(person.id for person in book.evaluators),
            call_homes=book.call_homes,
            rule_files=folder_names(row["rule_id"] for row in book.rules),
            topic_files=folder_names(sorted({row["topic"] for row in (*book.rules, *book.rows("dimension"))})),
            misruling_codes=frozenset(row["misruling_code"] for row in book.misrulings),
        )

    @cached_property
    def kept(self) -> dict[tuple[object, ...], Markup]:
        """Pieces of pages that many calls share, by what they are made from: filled and read by the ledgers."""
        return {}

    @cached_property
    def people(self) -> NamesInText:
        """Finds any person's id or name, or a part of a name of four letters or more."""
        everybody = (*self.umpires.items(), *self.evaluators.items())
        return NamesInText(word for person_id, name in everybody for word in (person_id, *_words(name)))


def _names(people: list[Person]) -> dict[str, str]:
    return {person.id: person.name for person in people}


def pair_anchor(one: str, other: str) -> str:
    """Return the anchor of two umpires side by side, from the names of their folders."""
    return f"a={one}&b={other}"


class SiteLinks:
    """Links from a page of the site; `root` leads from that page to the top."""

    private = False

    def __init__(self, atlas: Atlas, root: str) -> None:
        self.atlas = atlas
        self.root = root
        self.place: tuple[object, ...] = (root,)
        """What the address of a rule depends on, so that pages with the same can share it."""

    def umpire(self, umpire_id: str) -> Link | str:
        """The umpire's name, leading to the dossier."""
        name = self.atlas.umpires.get(umpire_id, umpire_id)
        folder = self.atlas.umpire_folders.get(umpire_id)
        return Link(name, f"{self.root}umpires/{folder}/index.html") if folder else name

    def evaluator(self, evaluator_id: str) -> Link | str:
        """The evaluator's name, leading to the dossier."""
        name = self.atlas.evaluators.get(evaluator_id, evaluator_id)
        folder = self.atlas.evaluator_folders.get(evaluator_id)
        return Link(name, f"{self.root}evaluators/{folder}/index.html") if folder else name

    def evaluator_calls(self, evaluator_id: str) -> str | None:
        """The address of the list of an evaluator's calls."""
        folder = self.atlas.evaluator_folders.get(evaluator_id)
        return f"{self.root}evaluators/{folder}/calls.html" if folder else None

    def evaluator_part(self, evaluator_id: str, part: str) -> str | None:
        """The address of one part of an evaluator's page."""
        folder = self.atlas.evaluator_folders.get(evaluator_id)
        return f"{self.root}evaluators/{folder}/index.html#{part}" if folder else None

    def calls_of(self, umpire_id: str, part: str = "") -> str | None:
        """The address of an umpire's calls, or of one part of them."""
        folder = self.atlas.umpire_folders.get(umpire_id)
        return f"{self.root}umpires/{folder}/calls.html" + (f"#{part}" if part else "") if folder else None

    def compare(self, umpire_id: str, other_id: str) -> str | None:
        """The address of two umpires side by side."""
        one, other = (self.atlas.umpire_folders.get(person) for person in (umpire_id, other_id))
        return f"{self.root}compare.html#{pair_anchor(one, other)}" if one and other else None

    def call(self, call_id: str) -> Link | str:
        """The call's id, leading to its entry."""
        umpire_id, file = self.atlas.call_homes.get(call_id, ("", ""))
        folder = self.atlas.umpire_folders.get(umpire_id)
        if folder is None:
            return call_id
        return Link(call_id, f"{self.root}umpires/{folder}/{file}#{anchor('call', call_id)}")

    def rule(self, rule_id: str) -> Link | str:
        """The rule's id, leading to its page."""
        file = self.atlas.rule_files.get(rule_id)
        return Link(rule_id, f"{self.root}rules/{file}.html") if file else rule_id

    def topic(self, topic: str, text: str) -> Link | str:
        """Words that lead to the page of a topic of the rules, where it has one."""
        file = self.atlas.topic_files.get(topic)
        return Link(text, f"{self.root}topics/{file}.html") if file else text

    def misruling(self, code: str, title: str) -> Link | str:
        """The misruling in words, leading to its entry."""
        if code not in self.atlas.misruling_codes:
            return title
        return Link(title, f"{self.root}misrulings.html#{anchor('m', code)}")

    def sheet(self, path: str, sheet: str | None, line_no: int | None) -> str:
        """Where a row is written: file, sheet, line."""
        where = f"{path} [{sheet}]" if sheet else path
        return f"{where}, line {line_no}" if line_no is not None else where

    def free_text(self, text: str | None) -> str | None:
        """Text that somebody wrote, as it may be shown here."""
        return text


class PacketLinks(SiteLinks):
    """Links within the packet of one person: nobody else is named, and nothing leads out of it."""

    private = True

    def __init__(self, atlas: Atlas, root: str, own: Person, calls_here: Mapping[str, str], rules_page: str) -> None:
        """Make the links of the packet of `own`; `calls_here` names the page of each call that stands in it."""
        super().__init__(atlas, root)
        self.own = own
        self.calls_here = calls_here
        self.rules_page = rules_page
        self.place = ("packet", root, rules_page)
        self._mine = {own.id.casefold(), *_words(own.name)}

    def umpire(self, umpire_id: str) -> str:
        """Nobody: umpires are not named in a packet."""
        return ""

    def evaluator(self, evaluator_id: str) -> str:
        """Nobody: evaluators are not named in a packet."""
        return ""

    def compare(self, umpire_id: str, other_id: str) -> None:
        """Nowhere: a packet compares nobody."""

    def calls_of(self, umpire_id: str, part: str = "") -> str | None:
        """The address of the packet's calls."""
        return f"{self.root}calls.html" + (f"#{part}" if part else "")

    def call(self, call_id: str) -> Link | str:
        """The call's id, leading to its entry in the packet where it has one."""
        file = self.calls_here.get(call_id)
        return Link(call_id, f"{self.root}{file}#{anchor('call', call_id)}") if file else call_id

    def rule(self, rule_id: str) -> Link | str:
        """The rule's id, leading to its words in the packet."""
        if rule_id not in self.atlas.rule_files:
            return rule_id
        return Link(rule_id, f"{self.root}{self.rules_page}#{anchor('rule', rule_id)}")

    def topic(self, topic: str, text: str) -> str:
        """The words: a packet has no pages of rules."""
        return text

    def misruling(self, code: str, title: str) -> str:
        """The misruling in words."""
        return title

    def sheet(self, path: str, sheet: str | None, line_no: int | None) -> str:
        """Where a row is written; the file is not named, as its name may be somebody's."""
        return f"Line {line_no} of the evaluator's sheet"

    def free_text(self, text: str | None) -> str | None:
        """The text, unless it names somebody else."""
        return WITHHELD if text and not self.atlas.people.found(text) <= self._mine else text


def _words(name: str) -> set[str]:
    return {word.casefold() for word in re.findall(r"\w+", name) if len(word) > 3} | {name.casefold()}


def link_cell(target: Inline, sort: float | str | None = None) -> Cell:
    """Return a table cell for a link or a plain text."""
    if isinstance(target, Link):
        return Cell(target.text, href=target.href, sort=sort)
    return Cell(target, sort=sort)


def linked_cell(ids: str | None, link: Callable[[str], Inline]) -> Cell:
    """Return a table cell for ids joined by semicolons, each leading to its place where it has one here."""
    found = [link(one) for one in (ids or "").split(";") if one]
    plain = ", ".join(one for one in found if isinstance(one, str))
    return Cell(plain or ("" if found else "–"), links=tuple(one for one in found if isinstance(one, Link)))
