"""Make a list of items: gather what can be asked, choose without repeats, spread over topics, pair twins."""

from __future__ import annotations

import datetime as dt
import hashlib
import random
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from pipeline.rules.compile import RuleBook
from pipeline.rules.plays.catalogue import drawn_count, topics, worked_situations
from pipeline.rules.plays.difficulty import GRADES, Grade, grade_measure, grade_play
from pipeline.rules.plays.items import Draft, Item, choose_wrong, write_items
from pipeline.rules.plays.measures import TOPIC, Measure, measures
from pipeline.rules.plays.play import Origin, Play, as_play
from pipeline.rules.plays.twins import twin_of

Situations = Iterable[tuple[Mapping[str, str], Origin]]
"""Deciding facts and where they come from."""

POOL = 12
"""So many plays for each wanted item are ample choice."""

Signatures = Collection[tuple[str, ...]]


@dataclass(frozen=True)
class Wish:
    """What is wanted: `number` items of `code` under the rules of `day`, drawn by `seed`.

    Empty `topics` and `difficulty` mean all. With `twins` every play that has a twin is followed by it.
    """

    code: str
    day: dt.date
    number: int
    topics: frozenset[str] = frozenset()
    difficulty: frozenset[str] = frozenset()
    seed: int = 1
    twins: bool = False


@dataclass(frozen=True)
class Made:
    """The items, and how many different questions there were to choose from."""

    items: tuple[Item, ...]
    pool: int


@dataclass(frozen=True)
class Candidate:
    """Something that can be asked, with its grade."""

    subject: Play | Measure
    grade: Grade

    @property
    def base(self) -> str:
        """What its variants share."""
        return self.subject.origin.base if isinstance(self.subject, Play) else self.subject.dimension.name

    @property
    def topic(self) -> str:
        """What it is about."""
        return self.subject.topic if isinstance(self.subject, Play) else TOPIC

    @property
    def ruled(self) -> tuple[object, ...]:
        """The ruling that is asked for, so that a list does not ask for one ruling over and over."""
        return self.subject.answer.spoken if isinstance(self.subject, Play) else self.subject.signature


def all_topics() -> tuple[str, ...]:
    """Every topic that items can be made of."""
    return tuple(sorted({*topics(), TOPIC}))


def _counted(season: Situations, seed: int) -> Iterator[tuple[dict[str, str], Origin]]:
    """A season's plays, with outs and count drawn where the sheet has none: they are drawn too on a worked case."""
    for number, (facts, origin) in enumerate(season):
        rng = random.Random(f"{seed}/{number}")  # noqa: S311 - a seeded draw, nothing secret
        yield {**drawn_count(rng), **facts}, origin


def _candidates(book: RuleBook, wish: Wish, situations: Situations, avoid: Signatures) -> Iterator[Candidate]:
    root = book.regime(wish.code, wish.day).root
    seen = set(avoid)
    for facts, origin in situations:
        play = as_play(book, wish.code, wish.day, facts, origin, seen)
        if play is None:
            continue
        seen.add(play.signature)
        yield Candidate(play, grade_play(book, root, play))


def gather(book: RuleBook, wish: Wish, season: Situations | None, avoid: Signatures) -> list[Candidate]:
    """Return what fits the wish, from the season where one is given, else from the catalogue, in a drawn order.

    It stops where there is ample choice: POOL candidates for each item that is wanted.
    """
    wanted = wish.topics or frozenset(all_topics())
    if season is None:
        situations: Situations = worked_situations(wanted - {TOPIC}, wish.seed)
    else:
        drawn = list(_counted(season, wish.seed))
        random.Random(f"season/{wish.seed}").shuffle(drawn)  # noqa: S311 - a seeded draw, nothing secret
        situations = drawn
    grades = wish.difficulty or frozenset(GRADES)
    found = []
    for candidate in _candidates(book, wish, situations, avoid):
        if candidate.topic in wanted and candidate.grade.name in grades:
            found.append(candidate)
        if len(found) == POOL * wish.number:
            break
    if TOPIC in wanted and (season is None or TOPIC in wish.topics):
        asked = [measure for measure in measures(wish.code) if measure.signature not in avoid]
        graded = [Candidate(measure, grade_measure(measure)) for measure in asked]
        found += [candidate for candidate in graded if candidate.grade.name in grades]
    return found


class _Choice:
    """The items chosen so far, and what they have used up."""

    def __init__(self, book: RuleBook, wish: Wish, avoid: Signatures, rng: random.Random) -> None:
        self.book = book
        self.wish = wish
        self.rng = rng
        self.asked: set[tuple[str, ...]] = set(avoid)
        self.stories: set[tuple[object, ...]] = set()
        self.used: Counter[object] = Counter()
        self.drafts: list[Draft] = []

    def is_new(self, subject: Play | Measure) -> bool:
        if subject.signature in self.asked:
            return False
        return isinstance(subject, Measure) or subject.same_story not in self.stories

    def note(self, subject: Play | Measure) -> None:
        self.asked.add(subject.signature)
        if isinstance(subject, Play):
            self.stories.add(subject.same_story)

    def wear(self, candidate: Candidate) -> tuple[int, int, int]:
        """How much a candidate repeats of what has been chosen: topic, ruling, base."""
        topic, ruled, base = ("topic", candidate.topic), ("ruled", candidate.ruled), ("base", candidate.base)
        return self.used[base], self.used[topic], self.used[ruled]

    def take(self, candidate: Candidate) -> None:
        subject = candidate.subject
        for key in (("topic", candidate.topic), ("ruled", candidate.ruled), ("base", candidate.base)):
            self.used[key] += 1
        self.note(subject)
        if isinstance(subject, Measure):
            self.drafts.append(Draft(subject, candidate.grade))
            return
        twin = self.twin(subject) if self.wish.twins and len(self.drafts) + 1 < self.wish.number else None
        wanted = (twin[0].ruling,) if twin else ()
        self.drafts.append(Draft(subject, candidate.grade, choose_wrong(subject, self.rng, wanted)))
        if twin:
            play, lead = twin
            self.note(play)
            grade = grade_play(self.book, self.book.regime(play.code, self.wish.day).root, play)
            wrong = choose_wrong(play, self.rng, (subject.ruling,))
            self.drafts.append(Draft(play, grade, wrong, len(self.drafts) - 1, lead))

    def twin(self, play: Play) -> tuple[Play, str] | None:
        found = twin_of(self.book, self.wish.day, play)
        return found if found and self.is_new(found[0]) else None


def make_items(book: RuleBook, wish: Wish, season: Situations | None = None, avoid: Signatures = ()) -> Made:
    """Make the items of a wish; fewer than wanted where there is no more that is different.

    No two items share their deciding facts, or tell one story with one ruling; none repeats a signature of `avoid`.
    The list runs over bases, topics and rulings as evenly as it can.
    """
    rng = random.Random(f"choice/{wish.seed}")  # noqa: S311 - a seeded draw, nothing secret
    pool = gather(book, wish, season, avoid)
    rng.shuffle(pool)
    choice = _Choice(book, wish, avoid, rng)
    left = list(pool)
    while len(choice.drafts) < wish.number:
        left = [candidate for candidate in left if choice.is_new(candidate.subject)]
        if not left:
            break
        choice.take(min(left, key=choice.wear))
    return Made(write_items(choice.drafts, _prefix(choice.drafts), rng), len(pool))


def _prefix(drafts: Sequence[Draft]) -> str:
    """An id of the list, so that two lists can stand in one sheet: the same items give the same id."""
    text = "\n".join("/".join(draft.subject.signature) for draft in drafts)
    return f"C{hashlib.sha256(text.encode()).hexdigest()[:4].upper()}"
