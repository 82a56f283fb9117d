"""Share the people's pages among processes: of a large season they are nearly all the work, and each stands alone.

A process of its own cannot open the season store while this one writes to it, so it reads the published tables from
Parquet files that are written for it and thrown away afterwards.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from pipeline.config import Policy
from pipeline.store import Store
from reports.book import SeasonBook
from reports.people import PeoplePages, Share, Written, everybody
from schemas import layer_tables

SHARE_FROM = 60_000
"""Calls, and forty for each person, from which processes of their own are worth the seconds that they take to start."""

MOST_WORKERS = 4
"""Each holds the page of every call in memory: some 250 MB for each million of calls."""

_SHARES_EACH = 8
"""Shares for each process: whoever is done takes the next, so that none is waited for long."""


def usual_workers(calls: int, people: int) -> int:
    """Return how many processes share the pages of a season of so many calls and people."""
    if calls + 40 * people < SHARE_FROM:
        return 1
    found = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(found, MOST_WORKERS)


@contextmanager
def people_at_work(
    policy: Policy, store: Store, book: SeasonBook, site: Path, packets: Path, workers: int
) -> Iterator[Callable[[], Written]]:
    """Have everybody's pages written by so many processes while this one goes on; with one, in this one when asked.

    What is yielded waits for the pages and returns how many they are.
    """
    if workers <= 1:
        yield lambda: _write_here(book, site, packets)
        return
    with tempfile.TemporaryDirectory(prefix="platework-pages-") as scratch:
        tables = Path(scratch)
        for table in layer_tables("published"):
            target = str(tables / f"{table.name}.parquet").replace("'", "''")
            store.run(f"COPY published.{table.name} TO '{target}' (FORMAT parquet)")
        # A process that is forked from one with the engine's threads may hang: each starts afresh.
        afresh = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(workers, afresh, _open_book, (policy, tables, site, packets)) as pool:
            jobs = [pool.submit(_work, share) for share in shares(book, workers * _SHARES_EACH)]
            try:
                yield lambda: sum((job.result() for job in jobs), Written())
            finally:
                pool.shutdown(cancel_futures=True)


def shares(book: SeasonBook, number: int) -> list[Share]:
    """Return the people in so many shares of about as many calls, each of people who follow each other."""
    sizes: dict[str, int] = {}
    writers: dict[str, int] = {}
    for umpire, evaluator, calls in book.tuples("call_count"):
        sizes[umpire] = sizes.get(umpire, 0) + calls
        writers[evaluator] = writers.get(evaluator, 0) + calls
    umpires = _parted([one.id for one in book.umpires], sizes, number)
    evaluators = _parted([one.id for one in book.evaluators], writers, number)
    return [Share(one, other) for one, other in zip(umpires, evaluators, strict=True)]


def _parted(ids: Sequence[str], sizes: Mapping[str, int], number: int) -> list[list[str]]:
    """Return ids in `number` runs; a person counts as his calls and one page more."""
    total = sum(sizes.get(one, 0) + 1 for one in ids)
    found: list[list[str]] = [[] for _ in range(number)]
    before = 0
    for one in ids:
        found[min(number * before // (total or 1), number - 1)].append(one)
        before += sizes.get(one, 0) + 1
    return found


_at_work: PeoplePages | None = None
"""In a process of its own: the season's book, opened once for all its shares."""


def _open_book(policy: Policy, tables: Path, site: Path, packets: Path) -> None:
    """Open the published tables that stand in Parquet files: what a process of its own does first."""
    global _at_work
    store = Store()
    for table in layer_tables("published"):
        source = str(tables / f"{table.name}.parquet").replace("'", "''")
        store.run(f"CREATE VIEW published.{table.name} AS SELECT * FROM read_parquet('{source}')")
    _at_work = PeoplePages(SeasonBook(policy, store), site, packets)
    _keep_out_of_the_search_for_cycles()


def _work(share: Share) -> Written:
    if _at_work is None:
        raise AssertionError("a share came before the book")
    return _at_work.write(share)


def _write_here(book: SeasonBook, site: Path, packets: Path) -> Written:
    pages = PeoplePages(book, site, packets)
    _keep_out_of_the_search_for_cycles()
    try:
        return pages.write(everybody(book))
    finally:
        gc.unfreeze()


def _keep_out_of_the_search_for_cycles() -> None:
    """Spare the collector what stays: it would go through all of it again and again, and find nothing."""
    gc.collect()
    gc.freeze()
