"""Workbooks made to harm: measured before they are read, refused with a remedy, in bounded memory and time."""

from __future__ import annotations

import io
import time
import tracemalloc
import zipfile
from pathlib import Path

import pytest
import xlsxwriter

from pipeline.errors import InputError
from pipeline.ingest import bounds
from pipeline.ingest.bounds import refuse_oversize
from pipeline.ingest.workbook import open_sheets, sheet_rows

HEAD = b'<?xml version="1.0" encoding="UTF-8"?>\n'
MAIN = b'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
MEGABYTE = 1 << 20
SECONDS = 20
"""Far more than is needed; a bomb that goes off takes minutes or all memory."""


def workbook(path: Path, rows: list[list[str]] = ((("a", "b"), ("1", "2")))) -> Path:
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("umpires")
        for number, row in enumerate(rows):
            for place, text in enumerate(row):
                sheet.write_string(number, place, text)
    return path


def with_part(path: Path, name: str, content: bytes) -> Path:
    """Write a workbook of which one part is replaced."""
    whole = io.BytesIO(workbook(path).read_bytes())
    with zipfile.ZipFile(whole) as book, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for part in book.infolist():
            if part.filename != name:
                made.writestr(part.filename, book.read(part))
        made.writestr(name, content)
    return path


def with_sheet(path: Path, rows: bytes) -> Path:
    content = HEAD + b"<worksheet " + MAIN + b"><sheetData>" + rows + b"</sheetData></worksheet>"
    return with_part(path, "xl/worksheets/sheet1.xml", content)


def refusal(path: Path, *, traced: bool = True) -> str:
    """Return what is said, within bounded time and memory; following the memory takes most of the time."""
    if traced:
        tracemalloc.start()
    start = time.process_time()
    try:
        with pytest.raises(InputError) as caught:
            open_sheets(path, "season/bomb.xlsx")
        peak = tracemalloc.get_traced_memory()[1] if traced else 0
    finally:
        tracemalloc.stop()
    assert time.process_time() - start < SECONDS
    assert peak < 64 * MEGABYTE
    assert str(caught.value).startswith("season/bomb.xlsx: ")
    assert "CSV (UTF-8)" in str(caught.value)
    assert caught.value.exit_code == 2
    return str(caught.value)


@pytest.fixture
def low_bound(monkeypatch) -> None:
    """Bring the bound on unpacked bytes down, so that a test need not make a gigabyte."""
    monkeypatch.setattr(bounds, "UNPACKED_BYTES", 40 * MEGABYTE)


def test_a_workbook_of_usual_size_is_read(tmp_path: Path) -> None:
    sheets = open_sheets(workbook(tmp_path / "umpires.xlsx"), "umpires.xlsx")
    assert list(sheet_rows(sheets["umpires"])) == [(1, ["a", "b"]), (2, ["1", "2"])]


def test_a_workbook_of_20_000_rows_and_20_columns_is_within_all_bounds(tmp_path: Path) -> None:
    row = b"".join(b'<c r="%c%%d" t="inlineStr"><is><t>some text</t></is></c>' % (65 + place) for place in range(20))
    rows = b"".join(b'<row r="%d">' % n + row % ((n,) * 20) + b"</row>" for n in range(1, 20_001))
    path = with_sheet(tmp_path / "long.xlsx", rows)
    refuse_oversize(path, "long.xlsx")


@pytest.mark.usefixtures("low_bound")
def test_a_part_that_unpacks_a_thousandfold_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = with_part(tmp_path / "bomb.xlsx", "xl/media/image1.png", bytes(60 * MEGABYTE))
    assert path.stat().st_size < MEGABYTE
    assert "unpacks to more than 40 MiB" in refusal(path)


@pytest.mark.usefixtures("low_bound")
def test_a_length_that_lies_does_not_help(tmp_path: Path) -> None:
    """The list of packed files claims 10 bytes; the reader of values would unpack them all."""
    path = with_sheet(tmp_path / "bomb.xlsx", b"<row><c><v>1</v></c></row>" * (2 * MEGABYTE))
    content = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as book:
        length = book.getinfo("xl/worksheets/sheet1.xml").file_size
    claimed = length.to_bytes(4, "little")
    assert content.count(claimed) >= 1
    path.write_bytes(content.replace(claimed, (10).to_bytes(4, "little")))
    assert "unpacks to more than 40 MiB" in refusal(path, traced=False)


@pytest.mark.usefixtures("low_bound")
def test_many_parts_that_are_each_small_are_counted_together(tmp_path: Path) -> None:
    path = workbook(tmp_path / "bomb.xlsx")
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as book:
        for number in range(60):
            book.writestr(f"xl/worksheets/sheet{number + 2}.xml", bytes(MEGABYTE).replace(b"\0", b" "))
    assert "unpacks to more than" in refusal(path)


def test_a_workbook_of_too_many_parts_is_refused(tmp_path: Path) -> None:
    path = workbook(tmp_path / "bomb.xlsx")
    with zipfile.ZipFile(path, "a") as book:
        for number in range(bounds.PARTS + 1):
            book.writestr(f"x/{number}", b"")
    assert "packed files" in refusal(path)


@pytest.mark.parametrize(
    "rows",
    [
        b'<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>',
        b"<row r='1'><c r='A1'><v>1</v></c></row><row r='1048576'><c r='XFD1048576'><v>1</v></c></row>",
        b'<row r="1"><c r="XFD1"><v>1</v></c></row><row r="1048576"><c><v>1</v></c></row>',
        b'<row r="1">' + b"<c><v>1</v></c>" * 10_000 + b"</row>" + b"<row><c><v>1</v></c></row>" * 10_000,
    ],
    ids=["two far cells", "single quotation marks", "a far row without references", "one wide row, many narrow"],
)
def test_few_cells_that_span_a_vast_rectangle_are_refused(tmp_path: Path, rows: bytes) -> None:
    path = with_sheet(tmp_path / "bomb.xlsx", rows)
    assert path.stat().st_size < MEGABYTE
    assert "span more than 20,000,000 places" in refusal(path)


def test_rows_and_cells_that_hold_nothing_do_not_count_against_a_sheet(tmp_path: Path) -> None:
    """Some programs write a million rows that only have a look."""
    path = with_sheet(
        tmp_path / "umpires.xlsx",
        b'<row r="1"><c r="A1"><v>1</v></c><c r="XFD1" s="1"/></row>' + b'<row r="9" s="1"/><row r="1048576" s="1" />',
    )
    sheets = open_sheets(path, "umpires.xlsx")
    assert next(sheet_rows(sheets["umpires"])) == (1, ["1"])


def test_one_long_text_that_a_million_cells_share_is_refused(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(bounds, "TEXT_BYTES", 100 * MEGABYTE)
    path = with_sheet(
        tmp_path / "bomb.xlsx",
        b"".join(b'<row r="%d"><c r="A%d" t="s"><v>1</v></c></row>' % (n, n) for n in range(1, 30_001)),
    )
    texts = HEAD + b"<sst " + MAIN + b"><si><t>a</t></si><si><t>" + b"x" * 5_000 + b"</t></si></sst>"
    with zipfile.ZipFile(path) as book:
        sheet = book.read("xl/worksheets/sheet1.xml")
    path = with_part(path, "xl/sharedStrings.xml", texts)
    with zipfile.ZipFile(path) as book:
        parts = {name: book.read(name) for name in book.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in {**parts, "xl/worksheets/sheet1.xml": sheet}.items():
            made.writestr(name, content)
    # 30,000 cells of 5,000 letters each are 143 MiB.
    assert "100 MiB of text" in refusal(path)


ENTITIES = b'<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>'


@pytest.mark.parametrize("part", ["xl/workbook.xml", "xl/_rels/workbook.xml.rels", "xl/worksheets/sheet1.xml"])
def test_entities_are_refused_and_never_expanded(tmp_path: Path, part: str) -> None:
    whole = workbook(tmp_path / "bomb.xlsx")
    with zipfile.ZipFile(whole) as book:
        content = book.read(part)
    end = content.index(b"?>") + 2
    assert "declares a document type" in refusal(with_part(whole, part, content[:end] + ENTITIES + content[end:]))


def test_markup_in_another_encoding_is_refused_since_it_could_hide_anything(tmp_path: Path) -> None:
    sheet = '<?xml version="1.0" encoding="UTF-16"?><worksheet/>'.encode("utf-16")
    assert "not in UTF-8" in refusal(with_part(tmp_path / "bomb.xlsx", "xl/worksheets/sheet1.xml", sheet))


@pytest.mark.parametrize("length", [0, 1, 30, 500, 2000])
def test_a_workbook_that_broke_off_is_told_as_such(tmp_path: Path, length: int) -> None:
    path = workbook(tmp_path / "bomb.xlsx")
    path.write_bytes(path.read_bytes()[:length])
    assert "not a workbook that can be read" in refusal(path)


def test_a_zip_that_is_no_workbook_is_told_as_such(tmp_path: Path) -> None:
    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w") as book:
        book.writestr("../../evil", b"x")
    assert "not a workbook that can be read" in refusal(path)
    assert [item.name for item in tmp_path.iterdir()] == ["bomb.xlsx"]


@pytest.mark.parametrize("cut", range(1, 60, 7))
def test_what_is_counted_does_not_depend_on_where_the_chunks_end(cut: int) -> None:
    text = (
        b'<row r="3"><c r="B3" t="s"><v>0</v></c><c r="D3" t="s"><v>1</v></c></row><row r="7"><c r="A7"><v>5</v></c></row>'
        b"<si><t>abc</t></si><si><t>de</t></si>"
    )
    whole, parts = (bounds._Measured("x", with_shared=True) for _ in range(2))
    whole.look(text, is_markup=True)
    for start in range(0, len(text), cut):
        parts.look(text[start : start + cut], is_markup=True)
    for measured in (whole, parts):
        measured.end_part()
    assert whole.places == parts.places == 7 * 4
    assert whole.lengths == parts.lengths
    # Where a chunk ends between a cell and its value, what it shows is not counted: one cell in a megabyte.
    assert whole.shared == {0: 1, 1: 1}
    assert whole.lengths[1] == len(b"<si><t>de</t></si>")
