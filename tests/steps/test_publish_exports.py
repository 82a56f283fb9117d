"""The files people take away: a workbook laid out for reading, and a package whose description holds."""

from __future__ import annotations

import hashlib
import json
import shutil

import pytest

from pipeline.publish.data_package import table_schema
from pipeline.publish.table_files import write_tables
from pipeline.publish.workbook import for_people, heading
from pipeline.store import Store
from schemas import layer_tables, table

# openpyxl does not know the bars that begin at nothing (an extension of 2010), and says so on reading.
pytestmark = pytest.mark.filterwarnings("ignore:(Unknown|Conditional Formatting) extension is not supported")

READY = table("pub_readiness", "published")
EVIL = [
    "=cmd|' /C calc'!A0",
    "+1+1",
    "-2",
    "@SUM(A1)",
    "<script>alert(1)</script>",
    "javascript:alert(1)",
    "http://outside.example/",
]


def make_tables(store):
    for one in layer_tables("published"):
        columns = ", ".join(f'"{field.name}" {field.duckdb_type}' for field in one.fields)
        store.run(f"CREATE TABLE published.{one.name} ({columns})")


def add(store, name, /, **values):
    marks = ", ".join("?" for _ in values)
    store.run(f"INSERT INTO published.{name} ({', '.join(values)}) VALUES ({marks})", list(values.values()))


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The files of a season whose texts try to be formulas and links, written twice."""
    place = tmp_path_factory.mktemp("exports")
    folders = place / "one", place / "two"
    with Store() as store:
        make_tables(store)
        for number, text in enumerate(EVIL):
            add(
                store, "pub_readiness", umpire_id=text, name=text, level="low", level_title=text, target_level="high",
                target_title="High", verdict="ready", decided_by=text * 40, probability=0.25 * (number % 5), games=1200,
                calls=4, evaluators=1, evidence_ok=True,
            )  # fmt: skip
        for folder in folders:
            folder.mkdir()
            write_tables(store, layer_tables("published"), folder, "=Season & <more>")
    return folders


@pytest.fixture(scope="module")
def book(made):
    from openpyxl import load_workbook

    return load_workbook(made[0] / "season.xlsx")


def test_the_first_sheet_says_what_the_workbook_is_and_leads_to_every_table(book):
    sheet = book["contents"]
    assert book.sheetnames[0] == "contents"
    assert sheet["A1"].value == "=Season & <more>"
    assert sheet["A1"].data_type == "s"
    led_to = {cell.value: cell.hyperlink.location for (cell,) in sheet["A6:A200"] if cell.hyperlink}
    assert led_to == {one.name: f"'{one.name}'!A1" for one in layer_tables("published") if for_people(one)}


def test_no_text_in_the_workbook_is_a_formula_and_no_link_leads_outside(book):
    for sheet in book:
        cells = [cell for row in sheet.iter_rows() for cell in row]
        assert [cell.value for cell in cells if cell.data_type == "f"] == [], sheet.title
        assert [cell.value for cell in cells if cell.hyperlink and cell.hyperlink.target] == [], sheet.title
    names = [row[1].value for row in book["pub_readiness"].iter_rows(min_row=2)]
    assert sorted(names) == sorted(EVIL)


def test_headings_are_titles_with_their_units(book):
    sheet = book["pub_readiness"]
    heads = [cell.value for cell in sheet[1]]
    assert heads == [heading(field) for field in READY.fields]
    assert "Chance of meeting all standards, %" in heads
    assert heading(table("pub_call", "published").field("zone_margin_in")).endswith(", in")


def test_shares_are_shown_as_percent_with_a_bar_from_none_to_all(book):
    sheet = book["pub_readiness"]
    place = READY.field_names.index("probability") + 1
    cell = sheet.cell(2, place)
    assert (cell.number_format, cell.value <= 1) == ("0.0%", True)
    (rule,) = [
        rule for ranges, rules in sheet.conditional_formatting._cf_rules.items() if cell.coordinate in ranges.sqref
        for rule in rules
    ]  # fmt: skip
    assert rule.type == "dataBar"
    assert [(one.type, float(one.val)) for one in rule.dataBar.cfvo] == [("num", 0.0), ("num", 1.0)]
    games = sheet.cell(2, READY.field_names.index("games") + 1)
    assert games.number_format == "#,##0"


def test_columns_are_as_wide_as_what_they_hold_and_long_texts_are_wrapped(book):
    from openpyxl.utils import get_column_letter

    sheet = book["pub_readiness"]
    place = READY.field_names.index("decided_by") + 1
    assert sheet.column_dimensions[get_column_letter(place)].width == pytest.approx(60, abs=1)
    assert sheet.cell(2, place).alignment.wrap_text
    # "Evaluators" has ten letters; two are added for the sign of the filter.
    place = READY.field_names.index("evaluators") + 1
    assert sheet.column_dimensions[get_column_letter(place)].width == pytest.approx(12, abs=1)


def test_every_sheet_prints_across_with_its_headings_on_every_page(book):
    for one in filter(for_people, layer_tables("published")):
        sheet = book[one.name]
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.print_title_rows == "$1:$1"
        break


def test_every_column_is_explained(book):
    rows = [[cell.value for cell in row] for row in book["columns"].iter_rows(min_row=2)]
    assert [(row[0], row[1]) for row in rows] == [(t.name, f.name) for t in layer_tables("published") for f in t.fields]
    assert all(row[5] for row in rows)


def test_the_package_holds_for_frictionless_and_does_not_once_a_byte_is_changed(made, tmp_path):
    frictionless = pytest.importorskip("frictionless")
    report = frictionless.Package(str(made[0] / "datapackage.json")).validate()
    assert [(task.name, error.message) for task in report.tasks for error in task.errors] == []
    assert report.valid
    assert report.stats["tasks"] == 2 * len(layer_tables("published")) + 1
    shutil.copytree(made[0], tmp_path / "changed")
    csv = tmp_path / "changed" / "pub_readiness.csv"
    csv.write_bytes(csv.read_bytes().replace(b"1200", b"1201", 1))
    assert not frictionless.Package(str(tmp_path / "changed" / "datapackage.json")).validate().valid


def test_the_package_names_every_file_with_its_hash_size_and_rows(made):
    folder = made[0]
    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    listed = {one["path"]: one for one in package["resources"]}
    assert set(listed) == {path.name for path in folder.iterdir()} - {"datapackage.json"}
    for name, one in listed.items():
        content = (folder / name).read_bytes()
        assert (one["bytes"], one["hash"]) == (len(content), f"sha256:{hashlib.sha256(content).hexdigest()}")
    assert listed["pub_readiness.csv"]["rows"] == len(EVIL)
    assert package["title"] == "=Season & <more>"


def test_two_writings_have_the_same_bytes(made):
    one, two = ({path.name: path.read_bytes() for path in folder.iterdir()} for folder in made)
    assert [name for name in one if one[name] != two[name]] == []


def test_the_schema_of_a_table_says_what_its_declaration_says():
    schema = table_schema(READY)
    assert schema["primaryKey"] == ["umpire_id"]
    field = next(one for one in schema["fields"] if one["name"] == "probability")
    assert field["constraints"] == {"minimum": 0, "maximum": 1}
    assert (field["unit"], field["blank"]) == ("probability", "no standard could be estimated")
    verdict = next(one for one in schema["fields"] if one["name"] == "verdict")
    assert verdict["constraints"] == {"required": True, "enum": ["ready", "not_yet", "more_looks"]}


@pytest.mark.slow
def test_the_package_of_the_demo_season_holds_for_frictionless(outcome):
    frictionless = pytest.importorskip("frictionless")
    report = frictionless.Package(str(outcome.config.out / "tables" / "datapackage.json")).validate()
    assert [(task.name, error.message) for task in report.tasks for error in task.errors[:3]] == []
    assert report.valid
