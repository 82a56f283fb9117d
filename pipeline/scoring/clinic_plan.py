"""Choose subjects and people for the clinic sessions: greedy, by one stated rule, the same each time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.scoring.design import Floats

Places = NDArray[np.int64]


@dataclass(frozen=True)
class Session:
    """One session: places of its subjects in the order of choice, of its people, and who is taught what.

    `people` come in the order of what they gain, most first. `taught` holds for each subject those who gain by it here:
    not those who were taught it in an earlier session, or have no need.
    """

    subjects: tuple[int, ...]
    people: tuple[int, ...]
    taught: Mapping[int, Places]


def plan_sessions(gains: Floats, sessions: int, seats: int, subjects: int, sessions_a_person: int) -> list[Session]:
    """Return the sessions, the one of greatest gain first.

    The first subject of a session is the one that gains most with its seats filled by those who gain most by it. Each
    further subject is the one that adds most, the seats filled anew each time. Then the people are fixed, what they
    are taught gains nothing in a later session, and the next session is chosen. It ends when nothing is left to gain.
    Ties go to the subject and the person that come first.

    Parameters
    ----------
    gains
        What teaching a subject to an umpire gains; shape (umpires, subjects). 0: he need not be taught.
    sessions, seats, subjects, sessions_a_person
        At most so many sessions, people in each, subjects in each, and sessions for one person.
    """
    left = gains.copy()
    times = np.zeros(len(left), dtype=np.int64)
    plan: list[Session] = []
    while len(plan) < sessions:
        left[times >= sessions_a_person] = 0
        chosen: list[int] = []
        value = 0.0
        so_far = np.zeros(len(left))
        while len(chosen) < min(subjects, left.shape[1]):
            totals = np.array(
                [-1.0 if k in chosen else _filled(so_far + left[:, k], seats) for k in range(left.shape[1])]
            )
            best = int(totals.argmax())
            if totals[best] <= value:
                break
            chosen.append(best)
            value = float(totals[best])
            so_far = so_far + left[:, best]
        if not chosen:
            break
        people = _most(so_far, seats)
        taught = {k: people[left[people, k] > 0] for k in chosen}
        plan.append(Session(tuple(chosen), tuple(people.tolist()), taught))
        left[np.ix_(people, np.array(chosen))] = 0
        times[people] += 1
    return plan


def _filled(gains: Floats, seats: int) -> float:
    """What the seats gain when those sit there who gain most."""
    most = gains if len(gains) <= seats else np.partition(gains, len(gains) - seats)[-seats:]
    # Sorted, so that equal sums are equal in the last digit too.
    return float(np.sort(most).sum())


def _most(gains: Floats, seats: int) -> Places:
    """Return the places of those who gain most, at most `seats`; nobody who gains nothing."""
    order = np.lexsort((np.arange(len(gains)), -gains))[:seats]
    return order[gains[order] > 0].astype(np.int64)
