"""Published tables are held against their declarations, and the files beside them say the same."""

from __future__ import annotations

import csv

import pytest

from pipeline.errors import ContractError, StoreError
from pipeline.publish.declared import publish_table
from pipeline.publish.publish import publish_season
from pipeline.publish.table_files import write_tables
from pipeline.publish.workbook import for_people
from pipeline.store import Store
from schemas import layer_tables, table

# openpyxl does not know the bars that begin at nothing (an extension of 2010), and says so on reading.
pytestmark = pytest.mark.filterwarnings("ignore:(Unknown|Conditional Formatting) extension is not supported")

LEVEL = table("pub_level_misruling", "published")
GOOD = "SELECT 'low' AS level, 'm1' AS misruling_code, CAST(2 AS BIGINT) AS times, CAST(9 AS BIGINT) AS chances"


@pytest.fixture
def store():
    with Store() as made:
        yield made


def test_a_table_as_declared_is_published_with_its_row_count(store):
    assert publish_table(store, LEVEL, GOOD) == 1
    assert store.rows("SELECT * FROM published.pub_level_misruling") == [("low", "m1", 2, 9)]


@pytest.mark.parametrize(
    ("select", "told"),
    [
        (GOOD.replace("AS times", "AS often"), r"missing columns: \['times'\], not declared: \['often'\]"),
        (GOOD.replace("CAST(2 AS BIGINT)", "2.5::DOUBLE"), "times is DOUBLE, declared BIGINT"),
        (GOOD.replace("'low' AS level", "NULL::VARCHAR AS level"), '1 rows where "level" IS NULL'),
        (f"{GOOD} UNION ALL {GOOD}", r"1 keys \(level, misruling_code\) stand more than once"),
    ],
    ids=["another name", "a type that would lose digits", "a required blank", "a key twice"],
)
def test_a_table_that_is_not_as_declared_is_refused_with_the_reason(store, select, told):
    with pytest.raises(ContractError, match=told):
        publish_table(store, LEVEL, select)


def test_a_value_that_is_not_allowed_is_refused(store):
    check = table("pub_check", "published")
    select = """SELECT 'c' AS check_id, 't' AS table_name, 'k' AS kind, NULL AS columns, 'stop' AS severity, 'x' AS title,
        CAST(1 AS BIGINT) AS rows_checked, CAST(0 AS BIGINT) AS failed, NULL AS gx_failed, NULL AS gx_scope, NULL AS agrees"""
    with pytest.raises(ContractError, match="severity"):
        publish_table(store, check, select)


def test_publishing_before_scoring_says_what_to_run(store, outcome):
    with pytest.raises(StoreError, match="run the whole season"):
        publish_season(outcome.config, store)


def test_a_text_that_a_spreadsheet_would_take_for_a_formula_is_none_in_csv_and_workbook(store, tmp_path):
    from openpyxl import load_workbook

    for one in layer_tables("published"):
        columns = ", ".join(f'"{field.name}" {field.duckdb_type}' for field in one.fields)
        store.run(f"CREATE TABLE published.{one.name} ({columns})")
    texts = ["=1+1", "+1", "-1", "@x", "\tx", "http://outside.example", "plain"]
    for text in texts:
        store.run("INSERT INTO published.pub_level_misruling VALUES (?, 'm', 1, 2)", [text])
    write_tables(store, layer_tables("published"), tmp_path)
    with (tmp_path / "pub_level_misruling.csv").open(encoding="utf-8", newline="") as stream:
        found = [row["level"] for row in csv.DictReader(stream)]
    assert sorted(found) == sorted(["'=1+1", "'+1", "'-1", "'@x", "'\tx", "http://outside.example", "plain"])
    sheet = load_workbook(tmp_path / "season.xlsx")["pub_level_misruling"]
    cells = [row[0] for row in sheet.iter_rows(min_row=2)]
    assert sorted(cell.value for cell in cells) == sorted(texts)
    assert {cell.data_type for cell in cells} == {"s"}
    assert not any(cell.hyperlink for cell in cells)
    exact = store.rows(f"SELECT level FROM read_parquet('{tmp_path / 'pub_level_misruling.parquet'}')")
    assert sorted(level for (level,) in exact) == sorted(texts)


def test_every_published_table_of_the_demo_season_is_there_in_csv_parquet_and_workbook(outcome):
    from openpyxl import load_workbook

    tables = outcome.config.out / "tables"
    book = load_workbook(tables / "season.xlsx", read_only=True)
    with Store(outcome.store_path, read_only=True) as store:
        for one in layer_tables("published"):
            rows = store.value(f"SELECT count(*) FROM published.{one.name}")
            parquet = tables / f"{one.name}.parquet"
            assert store.value(f"SELECT count(*) FROM read_parquet('{parquet}')") == rows, one.name
            differing = store.value(
                f"SELECT count(*) FROM (FROM published.{one.name} EXCEPT ALL FROM read_parquet('{parquet}'))"
            )
            assert differing == 0, one.name
            with (tables / f"{one.name}.csv").open(encoding="utf-8", newline="") as stream:
                lines = list(csv.reader(stream))
            assert (tuple(lines[0]), len(lines) - 1) == (one.field_names, rows), one.name
            assert not for_people(one) or book[one.name].max_row == rows + 1, one.name


def test_headings_of_the_workbook_stay_in_sight_and_can_be_filtered(store, tmp_path):
    from openpyxl import load_workbook

    for one in layer_tables("published"):
        columns = ", ".join(f'"{field.name}" {field.duckdb_type}' for field in one.fields)
        store.run(f"CREATE TABLE published.{one.name} ({columns})")
    write_tables(store, layer_tables("published"), tmp_path)
    book = load_workbook(tmp_path / "season.xlsx")
    assert book.sheetnames == ["contents", "columns", *(one.name for one in layer_tables("published") if for_people(one))]
    for one in filter(for_people, layer_tables("published")):
        assert book[one.name].freeze_panes == "B2"
        assert book[one.name].auto_filter.ref is not None


def test_the_season_in_one_row_adds_up(outcome):
    with Store(outcome.store_path, read_only=True) as store:
        (row,) = store.records("SELECT * FROM published.pub_season")
    assert row["calls_in"] == row["calls_accepted"] + row["calls_quarantined"]
    graded = ("calls_right", "calls_wrong", "calls_edge", "calls_open", "calls_not_graded")
    assert row["calls_accepted"] == sum(row[name] for name in graded)


def test_the_parts_of_every_rate_add_up_to_the_adjusted_one(outcome):
    with Store(outcome.store_path, read_only=True) as store:
        off = store.value(
            "SELECT count(*) FROM published.pub_umpire_rate WHERE abs(raw_rate + evaluator_points + situation_points "
            "+ shrinkage_points - adjusted_rate) > 1e-9"
        )
        rows = store.value("SELECT count(*) FROM published.pub_umpire_rate")
    assert (off, rows > 0) == (0, True)


def test_every_call_names_the_line_of_the_sheet_on_which_it_stands(outcome):
    with Store(outcome.store_path, read_only=True) as store:
        calls = store.rows("SELECT path, line_no, call_id FROM published.pub_call WHERE sheet IS NULL ORDER BY call_id")
    lines = {}
    for path, line_no, call_id in calls[::97]:
        if path not in lines:
            lines[path] = (outcome.config.season / path).read_bytes().decode("utf-8", "replace").split("\n")
        assert call_id in lines[path][line_no - 1]
