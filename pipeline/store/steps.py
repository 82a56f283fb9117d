"""What a step of the pipeline returns."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass, field

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class StepResult:
    """The account of one step: rows in, rows out, wall seconds, and counts worth telling."""

    name: str
    rows_in: int
    rows_out: int
    seconds: float = 0.0
    notes: dict[str, int] = field(default_factory=dict)


def timed_step(step: Callable[[], StepResult]) -> StepResult:
    """Run one step, log one line about it, and return its result with the seconds filled in."""
    start = time.perf_counter()
    done = step()
    seconds = time.perf_counter() - start
    notes = "".join(f", {label} {count:,}" for label, count in done.notes.items())
    log.info(
        "%-9s %9s rows in, %9s out, %6.2f s%s",
        done.name,
        f"{done.rows_in:,}",
        f"{done.rows_out:,}",
        seconds,
        notes,
    )
    return StepResult(done.name, done.rows_in, done.rows_out, seconds, done.notes)
