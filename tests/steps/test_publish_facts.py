"""What is published of facts left out, kinds of findings, rows set aside and amendments, counted by hand."""

from __future__ import annotations

import datetime as dt

import pytest

from pipeline.publish.declared import publish_table
from pipeline.publish.fact_text import drop_fact_text, make_fact_text
from pipeline.publish.mend_text import drop_mend_text, make_mend_text
from pipeline.store import Store
from pipeline.store.database import named_sql
from schemas import layer_tables, table


@pytest.fixture
def store():
    with Store() as made:
        yield made


def published(store, name):
    publish_table(store, table(name, "published"), named_sql("pipeline.publish", name))
    return store.records(f"SELECT * FROM published.{name}")


def open_calls(store):
    """Four open calls of two evaluators, and one that is settled though a fact is missing for its details."""
    store.run("CREATE TABLE facts.fct_call (call_id VARCHAR, evaluator_id VARCHAR, topic VARCHAR)")
    store.run("CREATE TABLE rulings.ruling (call_id VARCHAR, needs VARCHAR)")
    store.run("CREATE TABLE scores.call_grade (call_id VARCHAR, verdict VARCHAR, right_text VARCHAR)")
    store.run(
        "CREATE TABLE scores.evaluator_health (evaluator_id VARCHAR, measure VARCHAR, part VARCHAR, cases BIGINT, found BIGINT)"
    )
    place, foot = "ball or strike; ball live", "in play or none called; ball dead or live"
    for call, evaluator, topic, needs, verdict, text in (
        ("C1", "E1", "pitch", "location", "open", place),
        ("C2", "E1", "pitch", "location", "open", place),
        ("C3", "E1", "batted_ball", "contact_front;contact_back", "open", foot),
        ("C4", "E2", "hit_batter", "location", "open", "strike or no pitch"),
        ("C5", "E2", "pitch", "pitch_caught", "right", "strike; ball live"),
    ):
        store.run("INSERT INTO facts.fct_call VALUES (?, ?, ?)", [call, evaluator, topic])
        store.run("INSERT INTO rulings.ruling VALUES (?, ?)", [call, needs])
        store.run("INSERT INTO scores.call_grade VALUES (?, ?, ?)", [call, verdict, text])
    for evaluator, part, cases, found in (
        ("E1", "", 30, 26), ("E1", "location", 20, 18), ("E1", "contact_front", 5, 4), ("E1", "contact_back", 5, 4),
        ("E2", "location", 10, 9), ("E2", "pitch_caught", 3, 2),
    ):  # fmt: skip
        store.run(
            "INSERT INTO scores.evaluator_health VALUES (?, 'facts_recorded', ?, ?, ?)", [evaluator, part, cases, found]
        )
    store.run("INSERT INTO scores.evaluator_health VALUES ('E1', 'wrong_grades', 'pitch', 9, 9)")
    store.run("CREATE TABLE checked.plate_calls (call_id VARCHAR, location VARCHAR, pitch_caught VARCHAR, balls BIGINT)")
    store.run("INSERT INTO checked.plate_calls VALUES ('C1', NULL, 'yes', 0), ('C5', 'edge', NULL, 3)")
    make_fact_text(store)


def test_what_a_blank_left_open_is_counted_by_fact_and_evaluator(store):
    open_calls(store)
    rows = {(row["evaluator_id"], row["fact"]): row for row in published(store, "pub_evaluator_fact")}
    place = rows["E1", "location"]
    assert (place["asked"], place["recorded"], place["open_calls"], place["settled_alone"]) == (20, 18, 2, 2)
    assert (place["undecided"], place["topics"], place["call_ids"]) == ("ball or strike", "pitch", "C1;C2")
    foot = rows["E1", "contact_back"]
    assert (foot["open_calls"], foot["settled_alone"]) == (1, 0)
    assert foot["undecided"] == "in play or none called; ball dead or live"
    # A call that is settled all the same is not open for the fact that it lacks.
    caught = rows["E2", "pitch_caught"]
    assert (caught["asked"], caught["recorded"], caught["open_calls"], caught["call_ids"]) == (3, 2, 0, None)
    assert len(rows) == 5
    drop_fact_text(store)
    assert store.value("SELECT count(*) FROM duckdb_tables() WHERE table_name = 'fact_text'") == 0


def test_the_season_s_facts_are_the_sums_of_the_evaluators_and_tell_how_often_a_column_is_filled_in(store):
    open_calls(store)
    rows = {row["fact"]: row for row in published(store, "pub_fact")}
    place = rows["location"]
    assert (place["calls"], place["filled"], place["asked"], place["recorded"]) == (2, 1, 30, 27)
    assert place["recorded_share"] == pytest.approx(0.9)
    assert (place["open_calls"], place["settled_alone"], place["call_ids"]) == (3, 3, "C1;C2;C4")
    assert place["title"] == "Place of the pitch, measured or by eye"
    assert (rows["balls"]["filled"], rows["balls"]["asked"], rows["balls"]["recorded_share"]) == (2, 0, None)
    # A blank of these is read as a value, so that it is never missing.
    assert not {"swing", "moment", "on_first", "bat"} & set(rows)
    assert not {"ruled_pitch", "grade", "note", "call_id"} & set(rows)


def finding_tables(store):
    columns = "kind VARCHAR, severity VARCHAR, path VARCHAR, person_id VARCHAR, remedy VARCHAR"
    store.run(f"CREATE TABLE meta.finding ({columns})")
    store.run(f"CREATE TABLE meta.ruling_finding ({columns})")
    store.run("CREATE TABLE meta.check_result (check_id VARCHAR, kind VARCHAR, title VARCHAR)")


def test_findings_are_counted_by_kind_with_the_remedy_that_stands_most_often(store):
    finding_tables(store)
    store.run("INSERT INTO meta.check_result VALUES ('across.odd', 'across', 'Nothing is odd'), ('t.x.range', 'range', 'X')")
    for path, person, remedy in (("a.csv", "E1", "mend it"), ("a.csv", "E2", "mend it"), ("b.csv", None, "look")):
        store.run("INSERT INTO meta.finding VALUES ('odd', 'warn', ?, ?, ?)", [path, person, remedy])
    store.run("INSERT INTO meta.ruling_finding VALUES ('seen', 'note', NULL, NULL, NULL)")
    odd, seen = published(store, "pub_finding_kind")
    assert (odd["title"], odd["findings"], odd["files"], odd["evaluators"]) == ("Nothing is odd", 3, 2, 2)
    assert odd["remedy"] == "mend it"
    assert (seen["kind"], seen["findings"], seen["files"], seen["title"], seen["remedy"]) == ("seen", 1, 0, None, None)


def test_rows_set_aside_are_counted_by_sheet_column_and_step_with_the_first_as_the_example(store):
    store.run(
        "CREATE TABLE meta.reject (path VARCHAR, line_no BIGINT, table_name VARCHAR, column_name VARCHAR, stage VARCHAR, "
        "reason VARCHAR, remedy VARCHAR)"
    )
    for path, line, column, stage, reason in (
        ("b.csv", 3, "balls", "check", "'4' is too many"),
        ("a.csv", 9, "balls", "check", "'5' is too many"),
        ("a.csv", 7, None, "load", "ragged"),
        ("a.csv", 8, "balls", "load", "no number"),
    ):
        store.run("INSERT INTO meta.reject VALUES (?, ?, 'plate_calls', ?, ?, ?, 'mend')", [path, line, column, stage, reason])
    found = [(row["column_name"], row["stage"], row["rows"], row["files"], row["reason"]) for row in published(store, "pub_reject_kind")]
    assert found == [
        ("balls", "check", 2, 2, "'5' is too many"),
        (None, "load", 1, 1, "ragged"),
        ("balls", "load", 1, 1, "no number"),
    ]


def test_an_amendment_stands_beside_what_the_sheet_says(store):
    store.run("CREATE TABLE checked.plate_calls (row_id BIGINT, call_id VARCHAR, ruled_pitch VARCHAR, balls BIGINT)")
    store.run("INSERT INTO checked.plate_calls VALUES (1, 'C1', 'ball', 2), (2, 'C2', NULL, 0)")
    store.run("CREATE TABLE meta.file (file_id INTEGER, path VARCHAR, sheet VARCHAR)")
    store.run("INSERT INTO meta.file VALUES (7, 'amendments.csv', NULL)")
    store.run(
        'CREATE TABLE checked.amendments (file_id INTEGER, line_no BIGINT, call_id VARCHAR, evaluator_id VARCHAR, date DATE, '
        '"column" VARCHAR, "value" VARCHAR, reason VARCHAR)'
    )  # fmt: skip
    for line, call, column, value in ((2, "C1", "balls", "3"), (3, "C2", "ruled_pitch", "strike"), (4, "C1", "balls", "1")):
        store.run(
            "INSERT INTO checked.amendments VALUES (7, ?, ?, 'E1', ?, ?, ?, 'video')",
            [line, call, dt.date(2026, 5, line), column, value],
        )
    found = [(row["call_id"], row["column_name"], row["sheet_value"], row["value"]) for row in published(store, "pub_amendment")]
    assert found == [("C1", "balls", "2", "3"), ("C2", "ruled_pitch", None, "strike"), ("C1", "balls", "2", "1")]


def test_what_changed_in_a_mended_row_is_told_cell_by_cell(store):
    (umpires,) = [one for one in layer_tables("season") if one.name == "umpires"]
    columns = ", ".join(f'"{field.name}" VARCHAR' for field in umpires.fields)
    store.run(f"CREATE TABLE raw.umpires (file_id INTEGER, line_no BIGINT, {columns})")
    store.run("CREATE TABLE meta.file (file_id INTEGER, path VARCHAR, sheet VARCHAR)")
    store.run("INSERT INTO meta.file VALUES (1, 'umpires.csv', NULL), (2, 'mended.csv', NULL)")
    for file, line, umpire, years in ((1, 5, "U1", "x"), (1, 6, "U2", "3"), (2, 2, "U1", "7"), (2, 3, "U2", "3")):
        store.run(
            "INSERT INTO raw.umpires BY NAME SELECT ? AS file_id, ? AS line_no, ? AS umpire_id, ? AS years",
            [file, line, umpire, years],
        )
    fields = [field.name for field in table("pub_mend", "published").fields if field.name != "changes"]
    kinds = ", ".join(f"{name} {'BIGINT' if name.endswith('line_no') else 'VARCHAR'}" for name in fields)
    store.run(f"CREATE TABLE meta.mend ({kinds}, file_id INTEGER)")
    for line, original, state in ((2, 5, "applied"), (3, 6, "unchanged"), (4, 99, "applied")):
        store.run(
            "INSERT INTO meta.mend BY NAME SELECT 'mended.csv' AS path, ? AS line_no, 2 AS file_id, 'umpires' AS table_name, "
            "? AS state, 'new' AS raw_text, 'umpires.csv' AS original_path, ? AS original_line_no",
            [line, state, original],
        )
    make_mend_text(store)
    found = {row["line_no"]: row["changes"] for row in published(store, "pub_mend")}
    # Line 99 could not be taken apart into cells, so that there is nothing to hold the mended row against.
    assert found == {2: "years: x → 7", 3: None, 4: None}
    drop_mend_text(store)
