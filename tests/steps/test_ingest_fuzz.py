"""Whatever is done to a file, each of its rows is accounted for, or the file is refused with a clear error.

Real sheets are cut short and mutated: bytes, cells, delimiters, quotation marks, line ends, encodings, headings. Each
file that is taken is then held against itself: its lines, read anew here, must each belong to just one record that
was accepted, set aside or replaced, or be a heading or blank.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from pathlib import Path

import pytest

from pipeline.checks.check import check_season
from pipeline.config import read_config
from pipeline.errors import FaultsError, PlateworkError
from pipeline.ingest import land
from pipeline.ingest.load import load_season
from pipeline.store import Store

SEASON = Path(__file__).parent.parent.parent / "demo_data" / "season"
TABLES = ("plate_calls", "games", "quiz_responses", "umpires", "ratings", "amendments", "positioning", "quiz_items")
ROWS, BATCH = 14, 100
ODD = ['"', '""', "'", ",", ";", "\t", "|", "\n", "\r\n", "\r", "\0", "\ufeff", "\u00a0", "\u2028", "\x0b", "\x0c", "\x1a",
       "\x85", "#", "EXAMPLE-1", "=1+1", "<b>", "../../x", "1e400", "NaN", "0x10", "é", "\U0001f600", " ", "x" * 5000,
       '"open', 'a "b" c', "31.12.2026", "12/31/2026", "-0", "9" * 40]  # fmt: skip


def originals():
    """The first rows of one real sheet of each table, and of two of plate calls, one of them wide."""
    found = []
    for path in sorted(SEASON.glob("*.csv")):
        table = next((name for name in TABLES if path.stem.startswith(name)), None)
        if table is None or (table == "plate_calls" and path.stem not in ("plate_calls_E01", "plate_calls_E04")):
            continue
        text = path.read_bytes().decode("utf-8-sig", "replace").replace("\ufffd", "?")
        lines = text.splitlines(keepends=True)[: ROWS + 1]
        if path.stem == "plate_calls_E01":
            # Narrow sheets are staged many times faster, and most of what can go wrong does not need the width.
            lines = [",".join(line.rstrip("\r\n").split(",")[:12]) + "\n" for line in lines]
        found.append((table, "".join(lines)))
    return found


def change_text(rng, text):
    """One mutation of the text of a sheet."""
    lines = text.splitlines(keepends=True) or [""]
    at = rng.randrange(len(lines))
    place = rng.randrange(len(text) + 1)
    match rng.randrange(11):
        case 0:
            return text[:place] + rng.choice(ODD) + text[place:]
        case 1:
            return text[:place] + text[place + rng.randrange(1, 40) :]
        case 2:
            return text.replace(",", rng.choice([";", "\t", "|", ", ", ",,"]), rng.choice([1, 5, -1]))
        case 3:
            return text.replace("\n", rng.choice(["\r\n", "\r", "\n\n", "\n \n", "\n,,,\n"]), rng.choice([1, 3, -1]))
        case 4:
            cells = lines[at].rstrip("\r\n").split(",")
            cells[rng.randrange(len(cells))] = rng.choice(ODD)
            return "".join([*lines[:at], ",".join(cells) + "\n", *lines[at + 1 :]])
        case 5:
            cells = lines[at].rstrip("\r\n").split(",")
            cells[rng.randrange(len(cells)) :] = []
            return "".join([*lines[:at], ",".join(cells) + "\n", *lines[at + 1 :]])
        case 6:
            return "".join([*lines[:at], lines[at], *lines[at:]])
        case 7:
            return "".join([*lines[:at], rng.choice(["\n", " \n", ",,\n", '""\n', '"\n', "a note\n"]), *lines[at:]])
        case 8:
            heading = lines[0].rstrip("\r\n").split(",")
            heading[rng.randrange(len(heading))] = rng.choice(["", "#mine", "Call ID", "what", *heading])
            return "".join([",".join(heading) + "\n", *lines[1:]])
        case 9:
            rng.shuffle(lines)
            return "".join(lines)
        case _:
            return re.sub(r"[^,\r\n]+", lambda cell: f'"{cell[0]}"' if rng.random() < 0.3 else cell[0], text)

def mend_of(rng, text, name):
    """The sheet as one of mended rows, each naming a row of the file `name`."""
    heading, *rows = text.splitlines(keepends=True)
    named = [f"{name},{rng.choice([line, line, rng.randrange(1, 20)])},{row}" for line, row in enumerate(rows, 2)]
    return "".join([f"#file,#line,{heading}", *named])


def mutated(rng, text):
    """Bytes of a sheet after a few mutations of text, encoding and bytes; most spare the headings."""
    heading, _, body = text.partition("\n")
    for _ in range(rng.choice([0, 1, 1, 1, 2, 3, 6])):
        body = change_text(rng, body)
    text = f"{heading}\n{body}"
    if rng.random() < 0.2:
        text = change_text(rng, text)
    encoding = rng.choice(["utf-8"] * 6 + ["utf-8-sig", "utf-16", "utf-16-le", "cp1252", "latin-1"])
    data = bytearray(text.encode(encoding, "replace"))
    for _ in range(rng.choice([0, 0, 0, 0, 1, 2, 8])):
        if data:
            data[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(data)


def write_season(folder):
    """A season that stands."""
    folder.mkdir()
    (folder / "policy.toml").write_text('[[levels]]\nid = "varsity"\n', encoding="utf-8")
    for name, text in {
        "umpires.csv": "umpire_id,name,level\nU01,A Person,varsity\n",
        "evaluators.csv": "evaluator_id,name\nE01,B Person\n",
        "games.csv": "game_id,date,level,rule_code,plate_umpire_id\nG0001,2026-04-01,varsity,nfhs,U01\n",
        "plate_calls.csv": "call_id,game_id,evaluator_id\nC1,G0001,E01\n",
    }.items():
        (folder / name).write_text(text, encoding="utf-8")


def write_batch(folder, rng, sheets):
    """A batch of mutated sheets."""
    earlier = {}
    for number in range(BATCH):
        table, text = rng.choice(sheets)
        if table in earlier and rng.random() < 0.15:
            text = mend_of(rng, text, earlier[table])
        elif rng.random() < 0.5:
            earlier[table] = f"{table}_f{number}.csv"
        (folder / f"{table}_f{number}.csv").write_bytes(mutated(rng, text))


def load_what_stands(season, out, store, counts):
    """Load the season, taking out the files that are refused; each refusal says where, what, and what to do."""
    for _ in range(BATCH):
        try:
            load_season(read_config(season, out), store)
        except FaultsError as error:
            faults = error.faults
        else:
            return
        assert all(fault.message and fault.hint for fault in faults)
        refused = {str(fault.where.path) for fault in faults}
        for name in refused:
            assert "_f" in name, f"a sheet of the season itself was refused: {faults}"
            (season / name).unlink()
        counts["refused"] += len(refused)
    pytest.fail("the refusals do not end")


def lines_of(path, encoding):
    """Physical lines of a file, read anew, without their ends."""
    text = path.read_bytes().decode(encoding)
    text = text.removeprefix("\ufeff")
    lines = re.split("\r\n|\n|\r", text)
    return lines[:-1] if lines[-1] == "" else lines


def account(season, store, counts):
    """Hold every loaded file against itself; add up what came of its rows."""
    for record in store.records("SELECT * FROM meta.file WHERE table_name IS NOT NULL ORDER BY file_id"):
        file_id, path, table = record["file_id"], record["path"], record["table_name"]
        lines = lines_of(season / path, record["encoding"])
        here = {"id": file_id}
        accepted = {row[0] for row in store.rows(f"SELECT line_no FROM staged.{table} WHERE file_id = $id", here)}
        rejected = [row[0] for row in store.rows("SELECT line_no FROM meta.reject WHERE file_id = $id", here)]
        replaced = [row[0] for row in store.rows("SELECT line_no FROM meta.replaced WHERE file_id = $id", here)]
        every = [*accepted, *rejected, *replaced]
        assert len(every) == len(set(every)) == record["rows_in"], path
        texts = dict(
            store.rows(
                f"SELECT line_no, raw_text FROM raw.{table} WHERE file_id = $id "
                "UNION SELECT line_no, raw_text FROM meta.reject WHERE file_id = $id "
                "UNION SELECT line_no, raw_text FROM meta.mend WHERE file_id = $id "
                "UNION SELECT original_line_no, original_text FROM meta.mend WHERE original_path = $path "
                "AND state = 'applied'",
                {**here, "path": path},
            )
        )
        covered: Counter[int] = Counter()
        for line_no in every:
            inner = re.split("\r\n|\n|\r", texts[line_no])
            assert inner == lines[line_no - 1 : line_no - 1 + len(inner)], (path, line_no)
            covered.update(range(line_no, line_no + len(inner)))
        assert not covered or max(covered.values()) == 1, path
        first = next(number for number, line in enumerate(lines, 1) if line.strip(" \t\r\n,;|"))
        heading = set(range(first, first + record["header_lines"]))
        for number, line in enumerate(lines, 1):
            if number not in covered and number not in heading:
                # A row is blank where nothing stands in its columns; remarks and the example row are no rows.
                bare = re.sub(r"[\s,;|\"\ufeff\x1c-\x1f\x85\u2028\u2029]", "", line)
                remarked = "#" in "".join(lines[first - 1 : first - 1 + record["header_lines"]])
                if not bare or remarked or "EXAMPLE-" in line.upper():
                    counts["blank lines"] += 1
                else:
                    counts["lost"] += 1
                    print(f"lost: line {number} of {path}: {line!r}")  # noqa: T201  what to look at
        if "_f" in path:
            counts["taken"] += 1
            counts["rows in"] += record["rows_in"]
            counts["accepted"] += len(accepted)
            counts["quarantined"] += len(rejected)
            counts["replaced"] += len(replaced)


def fuzz(tmp_path, seed, batches, *, checked):
    """Mutate `batches` seasons from a seed; return the counts."""
    rng = random.Random(seed)
    sheets = originals()
    counts: Counter[str] = Counter()
    for batch in range(batches):
        season = tmp_path / f"season_{batch}"
        write_season(season)
        write_batch(season, rng, sheets)
        counts["files"] += BATCH
        with Store() as store:
            store.run("SET threads = 1")
            load_what_stands(season, tmp_path / "out", store, counts)
            account(season, store, counts)
            if checked(batch):
                check_season(read_config(season, tmp_path / "out"), store)
                assert store.value(
                    "SELECT sum(rows_in - rows_replaced) FROM meta.file WHERE table_name IS NOT NULL"
                ) == store.value("SELECT count(*) FROM meta.reject") + sum(
                    store.value(f"SELECT count(*) FROM checked.{name}")
                    for (name,) in store.rows("SELECT DISTINCT table_name FROM meta.file WHERE table_name IS NOT NULL")
                )
                counts["files checked too"] += store.value("SELECT count(*) FROM meta.file")
    assert counts["files"] == counts["taken"] + counts["refused"]
    assert counts["rows in"] == counts["accepted"] + counts["quarantined"] + counts["replaced"]
    counts["lost"] += 0
    print("\n" + ", ".join(f"{name} {count:,}" for name, count in counts.items()))  # noqa: T201  the account
    return counts


def test_no_row_of_a_mutated_file_is_lost(tmp_path):
    counts = fuzz(tmp_path, 20260401, 3, checked=lambda batch: batch == 0)
    assert counts["lost"] == 0
    # The harness itself must reach every outcome, or it would show nothing.
    assert min(counts[name] for name in ("taken", "refused", "accepted", "quarantined", "replaced")) > 0


@pytest.mark.slow
def test_no_row_of_thousands_of_mutated_files_is_lost(tmp_path):
    counts = fuzz(tmp_path, 20260402, 20, checked=lambda batch: batch % 10 == 0)
    assert counts["lost"] == 0
    assert counts["files"] == 2000


def test_a_reader_that_drops_a_row_is_found_out(tmp_path, monkeypatch):
    # The books of such a reader add up by themselves; only the file itself shows what is missing.
    every = land._records

    def all_but_the_last(sheet):
        yield from list(every(sheet))[:-1]

    monkeypatch.setattr(land, "_records", all_but_the_last)
    monkeypatch.setitem(globals(), "BATCH", 25)
    assert fuzz(tmp_path, 20260403, 1, checked=lambda batch: False)["lost"] > 0


def test_every_refusal_is_an_error_of_ours(tmp_path):
    # One file alone, so that nothing else can be blamed.
    rng = random.Random(7)
    for number in range(40):
        season = tmp_path / f"one_{number}"
        write_season(season)
        (season / "plate_calls_f0.csv").write_bytes(rng.randbytes(rng.randrange(400)))
        with Store() as store:
            told = "plate_calls_f0.csv"
            try:
                load_season(read_config(season, tmp_path / "out"), store)
            except PlateworkError as error:
                told = str(error)
        assert "plate_calls_f0.csv" in told
