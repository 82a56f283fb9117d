"""Share the people's pages among processes: of a large season they are nearly all the work, and each stands alone.

A process of its own cannot open the season store while this one writes to it, so it reads the published tables from
Parquet files that are written for it and thrown away afterwards.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from pipeline.config import Policy
from pipeline.store import Store
from reports.book import SeasonBook
from reports.people import PeoplePages, Share, Written, everybody
from schemas import layer_tables

SHARE_FROM = 200_000
"""Calls from which processes of their own are worth the seconds that they take to start."""

MOST_WORKERS = 4
"""Each holds the page of every call in memory: some 250 MB for each million of calls."""


def usual_workers(calls: int) -> int:
    """Return how many processes share the pages of a season of so many calls."""
    if calls < SHARE_FROM:
        return 1
    found = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(found, MOST_WORKERS)


def write_people(policy: Policy, store: Store, book: SeasonBook, site: Path, packets: Path, workers: int) -> Written:
    """Write everybody's pages with so many processes; with one, in this one."""
    if workers <= 1:
        return _write_share(book, site, packets, everybody(book))
    with tempfile.TemporaryDirectory(prefix="platework-pages-") as scratch:
        tables = Path(scratch)
        for table in layer_tables("published"):
            target = str(tables / f"{table.name}.parquet").replace("'", "''")
            store.run(f"COPY published.{table.name} TO '{target}' (FORMAT parquet)")
        # A process that is forked from one with the engine's threads may hang: each starts afresh.
        with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn")) as pool:
            jobs = [pool.submit(_work, policy, tables, site, packets, share) for share in shares(book, workers)]
            parts = [job.result() for job in jobs]
    return Written(sum(part.pages for part in parts), sum(part.bytes for part in parts))


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


def _work(policy: Policy, tables: Path, site: Path, packets: Path, share: Share) -> Written:
    """Write a share from the published tables as Parquet files: what a process of its own does."""
    with Store() as store:
        for table in layer_tables("published"):
            source = str(tables / f"{table.name}.parquet").replace("'", "''")
            store.run(f"CREATE VIEW published.{table.name} AS SELECT * FROM read_parquet('{source}')")
        return _write_share(SeasonBook(policy, store), site, packets, share)


def _write_share(book: SeasonBook, site: Path, packets: Path, share: Share) -> Written:
    pages = PeoplePages(book, site, packets)
    with _kept_out_of_the_search_for_cycles():
        return pages.write(share)


@contextmanager
def _kept_out_of_the_search_for_cycles() -> Iterator[None]:
    """Spare the collector what stays: it would go through all of it again and again, and find nothing."""
    gc.collect()
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()
