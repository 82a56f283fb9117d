"""What a run leaves depends on the sheets of today alone, not on what was loaded into that folder before."""

from __future__ import annotations

import json

import pytest

from pipeline.run import run_season
from pipeline.store import Store
from schemas.remarks import fingerprint

BAD = "C2,G1,E1,0,nought,out_of_zone,ball,"
SHEETS = {
    "umpires.csv": "umpire_id,name,level\nU1,A Person,low\nU2,C Person,low\n",
    "evaluators.csv": "evaluator_id,name\nE1,B Person\n",
    "games.csv": (
        "game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-01,low,nfhs,U1\nG2,2026-04-02,low,nfhs,U2\n"
    ),
    "plate_calls.csv": (
        "call_id,game_id,evaluator_id,balls,strikes,location,ruled_pitch,grade\n"
        f"C1,G1,E1,0,0,in_zone,ball,right\n{BAD}\nC3,G1,E1,1,1,out_of_zone,ball,\nC4,G2,E1,0,0,in_zone,strike,right\n"
    ),
}
MEND = (
    "#file,#line,#was,call_id,game_id,evaluator_id,balls,strikes,location,ruled_pitch,grade\n"
    f"plate_calls.csv,3,{fingerprint(BAD)},C2,G1,E1,0,0,out_of_zone,ball,\n"
)


def left(folder):
    """Every result of a run, with the times of the manifest taken out.

    The store and the copy of its history beside it remember the past, and are no results.
    """
    found = {}
    for path in sorted(folder.rglob("*")):
        past = path.name.startswith("season.duckdb") or path.is_relative_to(folder / "history")
        if path.is_file() and not past:
            content = path.read_bytes()
            if path.name == "manifest.json":
                document = json.loads(content)
                del document["times"]
                content = json.dumps(document).encode()
            found[path.relative_to(folder).as_posix()] = content
    return found


@pytest.mark.slow
def test_a_folder_with_a_past_and_a_fresh_one_get_the_same_bytes(tmp_path):
    season = tmp_path / "season"
    season.mkdir()
    for name, text in SHEETS.items():
        (season / name).write_text(text, encoding="utf-8", newline="")
    (season / "policy.toml").write_text(
        '[scoring]\ndraws = 200\n[[levels]]\nid = "low"\n[levels.standards]\npitches = 0.5\n', encoding="utf-8"
    )
    (season / "plate_calls_late.csv").write_text(
        SHEETS["plate_calls.csv"].replace("\nC", "\nL"), encoding="utf-8", newline=""
    )
    old = tmp_path / "old"
    run_season(season, old)
    # A sheet is withdrawn, another one is newer, a row is mended.
    (season / "withdrawn").mkdir()
    (season / "plate_calls_late.csv").rename(season / "withdrawn" / "plate_calls_late.csv")
    (season / "games.csv").write_text(SHEETS["games.csv"].replace("04-02", "04-03"), encoding="utf-8", newline="")
    (season / "plate_calls-mend.csv").write_text(MEND, encoding="utf-8", newline="")
    outcome = run_season(season, old)
    run_season(season, tmp_path / "fresh")
    with_past, fresh = left(old), left(tmp_path / "fresh")
    assert with_past.keys() == fresh.keys()
    assert (old / "history" / "load_run.parquet").is_file()
    assert [name for name, content in fresh.items() if with_past[name] != content] == []
    assert (outcome.rows_in, outcome.accepted, outcome.quarantined, outcome.replaced) == (10, 9, 0, 1)
    manifest = json.loads((old / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["mends"] == {"applied": 1}
    assert manifest["withdrawn"] == ["withdrawn/plate_calls_late.csv"]
    with Store(outcome.store_path, read_only=True) as store:
        assert store.value("SELECT count(*) FROM meta.load_run") == 2
