"""What is learnt from the bytes of a file in pieces is what the whole of them says."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest

from pipeline.ingest import files
from pipeline.ingest.files import Shape, decide_encoding, measure

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
