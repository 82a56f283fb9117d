"""The people's pages are the same whether one process writes them or several share them."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from pipeline.config import RunConfig
from pipeline.store import Store
from reports.book import SeasonBook
from reports.build import build_site
from reports.shares import SHARE_FROM, shares, usual_workers

_SPEC = importlib.util.spec_from_file_location("shared_sample", Path(__file__).with_name("sample_season.py"))
sample_season = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(sample_season)


def files(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_two_processes_leave_the_same_bytes_and_count_the_same_pages_as_one(tmp_path):
    counted = []
    with Store() as store:
        sample_season.fill(store)
        for workers in (1, 2):
            config = RunConfig(season=tmp_path, out=tmp_path / str(workers), policy=sample_season.POLICY)
            result = build_site(config, store, workers=workers)
            counted.append((result.rows_out, result.notes))
    one, two = files(tmp_path / "1"), files(tmp_path / "2")
    assert one.keys() == two.keys()
    assert [str(name) for name in one if one[name] != two[name]] == []
    assert counted[0] == counted[1]


def test_a_fault_in_a_process_is_told_and_leaves_the_former_pages(tmp_path):
    with Store() as store:
        sample_season.fill(store)
        config = RunConfig(season=tmp_path, out=tmp_path / "out", policy=sample_season.POLICY)
        build_site(config, store)
        before = files(tmp_path / "out")
        # A mark that no page has words for.
        store.run("UPDATE published.pub_call SET confidence = 'unheard of' WHERE umpire_id = 'U1'")
        with pytest.raises(KeyError, match="unheard of"):
            build_site(config, store, workers=2)
        assert files(tmp_path / "out") == before


@pytest.mark.parametrize("number", [1, 2, 3, 20])
def test_everybody_is_in_one_share_and_shares_follow_each_other(number):
    with Store() as store:
        sample_season.fill(store)
        book = SeasonBook(sample_season.POLICY, store)
        found = shares(book, number)
        assert len(found) == number
        assert [one for share in found for one in share.umpires] == [one.id for one in book.umpires]
        assert [one for share in found for one in share.evaluators] == [one.id for one in book.evaluators]


def test_shares_have_about_as_many_calls():
    # Seven umpires have four calls each and one has none: halves of four people, give or take one.
    with Store() as store:
        sample_season.fill(store)
        one, two = shares(SeasonBook(sample_season.POLICY, store), 2)
    assert abs(len(one.umpires) - len(two.umpires)) <= 1


def test_a_small_season_is_written_by_one_process():
    assert usual_workers(SHARE_FROM - 1, 0) == 1
    assert usual_workers(SHARE_FROM, 0) >= 1


def test_people_count_as_well_as_calls():
    assert usual_workers(0, SHARE_FROM // 40) == usual_workers(SHARE_FROM, 0)
