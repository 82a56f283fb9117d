"""What a scenario is: the facts on the sheet, the right ruling under each code, and the usual mistakes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from demo_data.book import Event, Ruling, Situation, either


def anything(now: Situation) -> bool:
    """Return that every situation will do."""
    return True


@dataclass(frozen=True)
class Scenario:
    """One kind of event at the plate.

    Attributes
    ----------
    right
        For each code under which it is used: the event, or for facts left out the events still possible.
    wrongs
        Rulings that umpires make here by mistake (for each code those that differ from the right one count).
    noted
        Parts of the ruling that evaluators note for it.
    choices
        Facts that do not change the ruling, with values to draw from.
    fits
        The situations in which it can happen.
    reference
        Where the books say so; "practice" where it is common practice without a source.
    difficulty
        Added to the logit of being right; negative is harder.
    """

    name: str
    area: str
    story: str
    facts: Mapping[str, str]
    right: Mapping[str, Event | tuple[Event, ...]]
    wrongs: tuple[Event, ...]
    noted: tuple[str, ...]
    reference: str
    choices: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    fits: Callable[[Situation], bool] = anything
    weight: float = 1.0
    difficulty: float = 0.0
    in_quiz: bool = True

    def ruling(self, code: str, now: Situation) -> Ruling:
        """Return the right ruling under a code, with every value still possible."""
        right = self.right[code]
        return either(now, right) if isinstance(right, tuple) else right(now)


def all_codes(event: Event) -> dict[str, Event | tuple[Event, ...]]:
    """Return one event for every code."""
    return {"nfhs": event, "obr": event, "ncaa": event}
