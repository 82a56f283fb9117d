"""Lines of large sheets are read by several cores, and each has the number that it has in its file."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from pipeline.ingest import files
from pipeline.ingest.lines import number_lines
from pipeline.ingest.sheet import Sheet
from pipeline.store import Store

LINES = 1_000_000
"""The file is made larger than two of the engine's buffers of 32 MiB, so that cores share it."""

BLANKS = (77, 500_003, LINES + 1)
"""Numbers of lines that hold nothing."""


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("lines") / "large.csv"
    with path.open("w", newline="") as stream:
        stream.write("number,filling\n")
        stream.writelines(
            "\n" if number in BLANKS else f"{number},{'x' * (number * 7919 % 140)}\n"
            for number in range(2, LINES + 2)
        )
    assert path.stat().st_size > 2 * 32 * 1024 * 1024
    return path


def sheet_of(path: Path, **shape: Any) -> Sheet:
    """Stand in for a sheet: its shape is all that is looked at here."""
    measured = files.measure(path)
    return cast("Sheet", SimpleNamespace(shape=SimpleNamespace(**{**vars(measured), **shape})))


@pytest.mark.parametrize("threads", [1, 2, 4])
def test_each_line_has_its_number_however_many_cores_read(large: Path, threads: int) -> None:
    with Store() as store, store.transaction():
        store.run(f"SET threads = {threads}")
        assert number_lines(store, sheet_of(large), large)
        wrong = store.value(
            "SELECT count(*) FROM numbered_line "
            "WHERE coalesce(raw_text, '') <> '' AND CAST(split_part(raw_text, ',', 1) AS BIGINT) <> line_no"
        )
        blank = store.rows("SELECT line_no FROM numbered_line WHERE coalesce(raw_text, '') = '' ORDER BY line_no")
        span = store.rows("SELECT min(line_no), max(line_no), count(DISTINCT line_no) FROM numbered_line")
    assert (wrong, blank, span) == (0, [(number,) for number in BLANKS], [(2, LINES + 1, LINES)])


def test_lines_that_are_not_all_there_are_left_to_the_exact_reader(large: Path) -> None:
    with Store() as store, store.transaction():
        assert not number_lines(store, sheet_of(large, line_count=LINES + 2), large)
        assert not store.rows("SELECT 1 FROM duckdb_tables() WHERE table_name = 'read_line'")
