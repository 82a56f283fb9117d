"""What is learnt from the bytes of a file in pieces is what the whole of them says."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest

from pipeline.config import Policy, RunConfig
from pipeline.ingest import files
from pipeline.ingest.files import Shape, decide_encoding, measure
from pipeline.ingest.load import load_season
from pipeline.store import Store

PIECES = {
    "text": [b"a", b"b,", "é".encode(), "→".encode(), "𝄞".encode(), b"\n"],
    "broken": [b"a", b"\n", "é".encode(), b"\xc3", b"\xe2\x86", b"\x9d"],
    "lines": [b"a", b"\r", b"\n", b"\r\n", b'"', b"\0"],
}


@pytest.fixture(params=[1, 2, 3, 7])
def chunk(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    monkeypatch.setattr(files, "CHUNK", request.param)
    return int(request.param)


def whole(data: bytes) -> str | None:
    for encoding in ("utf-8", "cp1252"):
        try:
            data.decode(encoding)
        except UnicodeDecodeError:
            continue
        return encoding
    return None


@pytest.mark.parametrize("kind", ["text", "broken"])
def test_the_encoding_is_that_of_the_whole_however_its_characters_are_parted(
    tmp_path: Path, chunk: int, kind: str
) -> None:
    draw, path, seen = random.Random(chunk), tmp_path / "a.csv", set()
    for _ in range(150):
        data = b"ab" + b"".join(draw.choices(PIECES[kind], k=draw.randrange(1, 9)))
        path.write_bytes(data)
        expected = whole(data)
        seen.add(expected)
        if expected is None:
            with pytest.raises(files.InputError, match="not a text file"):
                decide_encoding(path, "a.csv")
        else:
            assert decide_encoding(path, "a.csv")[0] == expected
    assert seen == ({"utf-8"} if kind == "text" else {"utf-8", "cp1252", None})


def test_lines_and_marks_are_counted_the_same_however_the_bytes_are_parted(tmp_path: Path, chunk: int) -> None:
    draw, path = random.Random(chunk), tmp_path / "a.csv"
    for _ in range(300):
        data = b"".join(
            draw.choices(PIECES["lines"], weights=[4, draw.choice([0, 2]), 2, 2, 1, 1], k=draw.randrange(9))
        )
        path.write_bytes(data)
        endings = re.findall(rb"\r\n|\r|\n", data)
        kinds = set(endings)
        newline = "\n" if kinds <= {b"\n"} else "\r\n" if kinds == {b"\r\n"} else None
        lines = len(endings) + (not data.endswith((b"\r", b"\n")) and data != b"")
        assert measure(path) == Shape(lines, newline, b"\0" in data, b'"' in data)


def test_lines_of_a_file_that_several_cores_read_keep_their_numbers(tmp_path: Path) -> None:
    season, lines = tmp_path / "season", 60_000
    season.mkdir()
    (season / "umpires.csv").write_text("umpire_id,name,level\nU1,One,varsity\n")
    (season / "games.csv").write_text("game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-18,varsity,nfhs,U1\n")
    with (season / "plate_calls.csv").open("w") as stream:
        stream.write("call_id,game_id,evaluator_id,note\n")
        # 30 MB: the engine reads it in several pieces. Every thousandth line has a note that is not plain, every
        # ten-thousandth is blank.
        for line in range(2, lines):
            mark = "é" if line % 1000 == 0 else "e"
            stream.write(f"C{line},G1,E1,{mark * 500}\n" if line % 10_000 else "\n")
    with Store() as store:
        load_season(RunConfig(season, tmp_path / "out", Policy("T", "", None, None, ())), store)
        for rows in ("raw.plate_calls", "staged.plate_calls"):
            # 59,998 lines, 5 of them blank (10,000, 20,000, … 50,000).
            assert store.rows(f"SELECT count(*), count(*) FILTER (call_id = 'C' || line_no) FROM {rows}") == [
                (59_993, 59_993)
            ]
