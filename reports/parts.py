"""Long lists, parted into pages that stay quick to open and to print: calls by whole games, people by their number."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

LEDGER_CALLS = 200
"""Calls on one page of a ledger, which takes about a kilobyte for each."""

LIST_CALLS = 700
"""Calls on one page of a plain list, which takes about 300 bytes for each."""

WHOLE = "calls.html"
"""The page of a list that need not be parted, and the first page of one that is."""


def part_file(number: int) -> str:
    """Return the file of part `number`, from 1."""
    return f"calls-{number}.html"


def parted(games: Sequence[str], most: int) -> list[int]:
    """Return the part, from 1, of each call of a list that is given by the games of its calls; 0 where one page holds all.

    Calls of one game that stand together stay together; a game of more than `most` calls begins a part and fills
    as many as it needs.
    """
    if len(games) <= most:
        return [0] * len(games)
    found: list[int] = []
    part, filled = 1, 0
    for _, together in groupby(games):
        size = sum(1 for _ in together)
        if filled and filled + size > most:
            part, filled = part + 1, 0
        while size > most:
            found += [part] * most
            part, size = part + 1, size - most
        found += [part] * size
        filled += size
    return found


def part_files(games: Sequence[str], most: int) -> list[str]:
    """Return the file of each call of a list that is given by the games of its calls; see `parted`."""
    return [part_file(part) if part else WHOLE for part in parted(games, most)]


def in_parts(calls: Sequence[Mapping[str, Any]], most: int) -> Iterator[tuple[int, list[Mapping[str, Any]]]]:
    """Yield the number and calls of each part of a list; see `parted`."""
    numbers = parted([call["game_id"] for call in calls], most)
    for number, together in groupby(zip(numbers, calls, strict=True), key=lambda pair: pair[0]):
        yield number, [call for _, call in together]


def ledger_files(calls: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """Return the file of each call of one umpire's ledger, by its id; the calls are in the ledger's order."""
    files = part_files([call["game_id"] for call in calls], LEDGER_CALLS)
    return {call["call_id"]: file for call, file in zip(calls, files, strict=True)}


def row_parts(rows: int, most: int) -> list[range]:
    """Return the places, from 0, of the rows on each page of a list: `most` on each but the last."""
    return [range(start, min(start + most, rows)) for start in range(0, rows, most)]
