"""Items of a quiz: plays and measures with lettered options, keys evenly spread."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from pipeline.rules.misbeliefs import Misbelief
from pipeline.rules.plays.difficulty import Grade
from pipeline.rules.plays.measures import TOPIC, Measure, figure
from pipeline.rules.plays.options import Ruling, Wrong, apart, option_states, option_text, said_parts
from pipeline.rules.plays.play import Play
from pipeline.rules.plays.situation import columns
from pipeline.rules.plays.stem import stems

LETTERS = "abcd"
MOST_OPTIONS = len(LETTERS)
MOST_PARTS = 2
"""At most so many options of one item are the right ruling with one part wrong."""


@dataclass(frozen=True)
class Option:
    """One option: text, what it states for a check of the key, and why it is wrong (blank: it is right)."""

    letter: str
    text: str
    states: str
    why: str
    misbelief: str = ""


@dataclass(frozen=True)
class Item:
    """One item, ready to be written down.

    `cells` are the fact columns of the quiz sheet, `signature` is what two items share that ask one question.
    `twin_of` names the item with which it stands side by side, and `lead` says what is different in it.
    """

    item_id: str
    code: str
    topic: str
    stem: str
    options: tuple[Option, ...]
    key: str
    because: str
    references: tuple[str, ...]
    confidence: str
    grade: Grade
    origin: str
    cells: Mapping[str, str] = field(default_factory=dict)
    quantity: str = ""
    twin_of: str = ""
    lead: str = ""
    signature: tuple[str, ...] = ()


@dataclass(frozen=True)
class Draft:
    """A chosen play or measure before it has letters: the right option first, then the wrong ones."""

    subject: Play | Measure
    grade: Grade
    wrong: tuple[Wrong, ...] = ()
    twin_of: int | None = None
    lead: str = ""

    @property
    def options(self) -> int:
        """How many options it has."""
        if isinstance(self.subject, Measure):
            return 1 + min(MOST_OPTIONS - 1, len(self.subject.false))
        return 1 + len(self.wrong)


def choose_wrong(play: Play, rng: random.Random, wanted: Sequence[Ruling] = ()) -> tuple[Wrong, ...]:
    """Choose at most three wrong rulings.

    First those that are `wanted` (the twin's ruling, say), then those that umpires of the season gave on this play,
    then rulings that follow from a rule, a date or a fact taken otherwise, last those with one part wrong.
    """
    drawn = list(play.wrong)
    rng.shuffle(drawn)

    def made(wrong: Wrong) -> bool:
        return any(
            all(wrong.ruling.parts.get(name) in ("", value) for name, value in ruled.items())
            for ruled in play.origin.made
        )

    drawn.sort(
        key=lambda wrong: (
            all(apart(wrong.ruling, ruling) for ruling in wanted),
            not made(wrong),
            wrong.misbelief.kind == "part",
        )
    )
    beliefs = [wrong for wrong in drawn if wrong.misbelief.kind != "part"]
    parts = [wrong for wrong in drawn if wrong.misbelief.kind == "part"][:MOST_PARTS]
    chosen = [wrong for wrong in drawn if wrong in beliefs or wrong in parts]
    return tuple(chosen[: MOST_OPTIONS - 1])


def spread_keys(sizes: Sequence[int], rng: random.Random) -> list[str]:
    """Return a key letter for each item: among the items with equally many options no letter leads by two."""
    places: dict[int, list[int]] = defaultdict(list)
    for place, size in enumerate(sizes):
        places[size].append(place)
    keys = [""] * len(sizes)
    for size in sorted(places):
        letters = list(LETTERS[:size])
        rng.shuffle(letters)
        drawn = [letters[i % size] for i in range(len(places[size]))]
        rng.shuffle(drawn)
        for place, letter in zip(places[size], drawn, strict=True):
            keys[place] = letter
    return keys


def _why(misbelief: Misbelief) -> str:
    """Why a wrong option is wrong: the belief behind it, and what is so."""
    if misbelief.kind in ("code", "day"):
        return f"{misbelief.title} {misbelief.says}"
    return f"The belief behind it: “{misbelief.title}” {misbelief.says}"


def _play_options(draft: Draft, play: Play, letters: Sequence[str]) -> tuple[Option, ...]:
    rulings = [play.ruling, *(wrong.ruling for wrong in draft.wrong)]
    said = said_parts(rulings)
    reasons = ["", *(_why(wrong.misbelief) for wrong in draft.wrong)]
    names = ["", *(wrong.misbelief.id for wrong in draft.wrong)]
    return tuple(
        Option(letter, option_text(ruling, said, play.known), option_states(ruling, said), why, name)
        for letter, ruling, why, name in zip(letters, rulings, reasons, names, strict=True)
    )


def _measure_options(measure: Measure, letters: Sequence[str], rng: random.Random) -> tuple[Option, ...]:
    unit = measure.dimension.unit
    false = rng.sample(measure.false, min(MOST_OPTIONS - 1, len(measure.false)))
    figures = [(measure.value, ""), *((wrong.value, wrong.says) for wrong in false)]
    return tuple(
        Option(letter, figure(value, unit), f"value={value:g}", why)
        for letter, (value, why) in zip(letters, figures, strict=True)
    )


def write_items(drafts: Sequence[Draft], prefix: str, rng: random.Random) -> tuple[Item, ...]:
    """Give every draft its id, its letters and its words, in order."""
    width = max(2, len(str(len(drafts))))
    ids = [f"{prefix}-{number:0{width}d}" for number in range(1, len(drafts) + 1)]
    keys = spread_keys([draft.options for draft in drafts], rng)
    made = []
    for item_id, key, draft in zip(ids, keys, drafts, strict=True):
        rest = [letter for letter in LETTERS[: draft.options] if letter != key]
        rng.shuffle(rest)
        letters = (key, *rest)
        subject = draft.subject
        twin_of = "" if draft.twin_of is None else ids[draft.twin_of]
        if isinstance(subject, Measure):
            made.append(
                Item(
                    item_id, subject.code, TOPIC, f"{stems().openings[subject.code]} {subject.asks}",
                    _in_order(_measure_options(subject, letters, rng)), key, subject.because,
                    (subject.dimension.reference,), subject.dimension.confidence[subject.code], draft.grade,
                    "Dimensions of the rules core.", quantity=subject.dimension.name, signature=subject.signature,
                )
            )  # fmt: skip
            continue
        made.append(
            Item(
                item_id, subject.code, subject.topic.replace("_", " "), subject.stem.text,
                _in_order(_play_options(draft, subject, letters)), key, subject.because, subject.references,
                subject.confidence, draft.grade, subject.origin.note,
                {**columns(subject.facts), **subject.stem.also}, "", twin_of, draft.lead, subject.signature,
            )
        )  # fmt: skip
    return tuple(made)


def _in_order(options: Sequence[Option]) -> tuple[Option, ...]:
    return tuple(sorted(options, key=lambda option: option.letter))
