"""What the pages' tools fetch holds the same draws as the season's results: counted here without a browser."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.store import Store
from reports.data_scripts import data_address, data_name, packed_script, unpacked_script


@pytest.fixture(scope="module")
def store(outcome):
    with Store(outcome.store_path, read_only=True) as opened:
        yield opened


@pytest.fixture(scope="module")
def trials(outcome):
    return {level: unpacked(outcome, "trial", level) for level in ("varsity", "tournament")}


def unpacked(outcome, tool, level):
    path = outcome.config.out / "site" / data_address(data_name(tool, level))
    header, body = unpacked_script(path.read_bytes())
    return header, np.frombuffer(body, dtype=np.uint8)


def test_header_and_bytes_come_back_as_they_were_and_the_same_each_time():
    header = {"name": '</script>"\u2028é', "n": 1, "share": 0.945}
    script = packed_script("trial-x", header, [b"\x00\x01", b"\xff"])
    assert unpacked_script(script) == (header, b"\x00\x01\xff")
    assert script == packed_script("trial-x", header, [b"\x00\x01\xff"])
    assert script.startswith(b'(self.plateworkData ??= {})["trial-x"] = "')
    assert b"<" not in script


def test_the_bytes_of_a_level_give_the_chance_of_everybody_judged_for_it(store, trials):
    for level, (header, body) in trials.items():
        drawn = [area for area in header["areas"] if area["drawn"]]
        reached = body.reshape(len(drawn), len(header["people"]), header["draws"])
        asked = [(k, area["stops"].index(area["policy"]) + 1) for k, area in enumerate(drawn) if area["policy"] is not None]
        met = np.logical_and.reduce([reached[k] >= place for k, place in asked])
        published = dict(store.rows("SELECT umpire_id, probability FROM published.pub_readiness WHERE target_level = ?", [level]))
        counted = {one["id"]: float(share) for one, share in zip(header["people"], met.mean(axis=1), strict=True)}
        # Published chances are rounded to six decimals.
        assert counted == {umpire: pytest.approx(chance, abs=5.1e-7) for umpire, chance in published.items()}


def test_the_places_of_a_level_give_the_chance_of_all_neighbours(store, outcome):
    pairs = 0
    for level in ("sub_varsity", "varsity", "tournament"):
        header, body = unpacked(outcome, "compare", level)
        overall, keys = header["areas"][0], [one["id"] for one in header["people"]]
        assert (overall["id"], overall["bytes"]) == ("overall", 1)
        places = body[: overall["draws"] * len(keys)].reshape(len(keys), overall["draws"])
        ranked = store.rows(
            "SELECT umpire_id, p_ahead_of_next, linked_group FROM published.pub_ranking "
            "WHERE level = ? AND area_or_overall = 'overall' ORDER BY linked_group, rank",
            [level],
        )
        assert [umpire for umpire, *_ in ranked] == keys
        for k, (_, chance, _) in enumerate(ranked):
            if chance is not None:
                assert float(np.mean(places[k] < places[k + 1])) == pytest.approx(chance, abs=5.1e-7)
                pairs += 1
    assert pairs > 40


def test_readings_counted_by_level_are_those_of_everybody(store):
    counted = store.rows(
        "SELECT target_level, ready + more_looks + not_yet, moved FROM published.pub_standard_shift WHERE area = 'all' AND shift < -0.015"
    )
    people = dict(
        store.rows("SELECT target_level, count(*) FROM published.pub_readiness WHERE probability IS NOT NULL GROUP BY ALL")
    )
    assert {level: number for level, number, _ in counted} == people
    assert any(moved for *_, moved in counted)


def test_who_saw_whom_adds_up_to_everybodys_calls(store):
    differing = store.value(
        """SELECT count(*) FROM published.pub_readiness AS r LEFT JOIN (
            SELECT umpire_id, sum(calls) AS calls, count(*) AS evaluators FROM published.pub_umpire_evaluator GROUP BY umpire_id
        ) AS s USING (umpire_id) WHERE r.calls <> coalesce(s.calls, 0) OR r.evaluators <> coalesce(s.evaluators, 0)"""
    )
    assert differing == 0


def test_pages_and_data_of_the_demo_season_stay_small(outcome):
    """300 KB is what a page may take; the data of a level are fetched when its part comes into sight."""
    site = outcome.config.out / "site"
    for name in ("index.html", "standards.html", "rankings.html", "compare.html"):
        assert (site / name).stat().st_size < 300_000, name
    for path in sorted((site / "assets" / "data").iterdir()):
        # 28 umpires x 6 areas x 4,000 bytes are 672,000; packed and in base64 they take about as much again.
        assert path.stat().st_size < 800_000, path.name
