"""The page on the data and the health of the sheets: what is linked, what is told, and what stays out of a packet."""

from __future__ import annotations

from reports.blocks import Table
from reports.book import Person
from reports.links import Atlas, PacketLinks, SiteLinks
from reports.pages.evaluator_health import health_of_all, health_section
from reports.pages.quality_checks import checks_section


def atlas():
    return Atlas(
        umpires={"U1": "Plain Person"}, evaluators={"E1": "Ordinary Evaluator", "E2": "Second Evaluator"},
        umpire_folders={"U1": "U1"}, evaluator_folders={"E1": "E1", "E2": "E2"}, call_homes={"C1": ("U1", "calls.html")},
        rule_files={"P502": "P502"}, topic_files={}, misruling_codes=frozenset(),
    )  # fmt: skip


def health(evaluator, measure, part="", **more):
    return {
        "evaluator_id": evaluator, "measure": measure, "part": part, "cases": 60, "found": 6, "value": 0.1, "low": 0.05,
        "high": 0.2, "median": None, "evaluators": None, "p_value": None, "p_corrected": None, "stands_out": None,
        "rule_ids": None, "call_ids": None, "remark": None, **more,
    }  # fmt: skip


def tables(section):
    return {block.id: block for block in section.blocks if isinstance(block, Table)}


def words(table):
    return [[cell.text for cell in row] for row in table.rows]


def test_a_wrong_grade_leads_to_its_calls_and_to_the_rule_that_speaks_against_it():
    rows = [health("E1", "wrong_grades", "hit_batter", rule_ids="P502;gone", call_ids="C1")]
    table = tables(health_section(rows, SiteLinks(atlas(), "../../")))["health-topics"]
    row = table.rows[0]
    assert row[0].text == "hit batter"
    assert [(link.text, link.href) for link in row[5].links] == [("P502", "../../rules/P502.html")]
    assert row[5].text == "gone"
    assert [link.href for link in row[6].links] == ["../../umpires/U1/calls.html#call-C1"]


def test_in_a_packet_a_call_of_somebody_else_is_no_link():
    own = PacketLinks(atlas(), "", Person("E1", "Ordinary Evaluator"), {}, "calls.html")
    rows = [health("E1", "contradictions", call_ids="C1")]
    cell = tables(health_section(rows, own))["health-table"].rows[0][7]
    assert (cell.text, cell.links) == ("C1", ())


def test_days_are_days_and_small_shares_keep_two_decimals():
    rows = [
        health("E1", "days_late", value=4.5, low=None, high=None, median=2.0, found=1),
        health("E1", "contradictions", value=0.004),
    ]
    contradictions, late = words(tables(health_section(rows, SiteLinks(atlas(), "")))["health-table"])
    assert late[3] == "4.5"
    assert late[5] == "2"
    assert late[8] == "1 call was written down more than a week after the game."
    assert contradictions[3] == "0.40\u202f%"


def test_the_table_of_all_names_what_stands_out_and_says_that_no_day_of_entry_was_given():
    rows = [
        health("E1", "wrong_grades", stands_out=True, median=0.03),
        health("E1", "last_digit", "ball_x_in", stands_out=True),
        health("E2", "wrong_grades", stands_out=False, median=0.03),
    ]
    section = health_of_all(rows, SiteLinks(atlas(), ""))
    table = tables(section)["health-of-all"]
    assert [row[-1].text for row in table.rows] == [
        "Grades against the rules, Last digit 0 or 5 (Place across the plate)",
        "nothing",
    ]
    assert [cell.text for cell in table.total][:4] == ["Median of all", "–", "–", "3.0\u202f%"]
    assert "Days from game to entry" not in [column.title for column in table.columns]
    assert any("nothing is said of lateness" in str(block.parts) for block in section.blocks if hasattr(block, "parts"))


def check(check_id, table, severity, failed, **more):
    return {
        "check_id": check_id, "table_name": table, "kind": "range", "columns": "x", "severity": severity, "title": "t",
        "rows_checked": 10, "failed": failed, "gx_failed": failed, "gx_scope": "whole", "agrees": True, **more,
    }  # fmt: skip


def test_checks_are_counted_by_suite_and_by_severity():
    rows = [
        check("a.one", "a", "reject", 3),
        check("a.two", "a", "warn", 0),
        check("across.x", "a", "note", 2, kind="across", gx_failed=None, gx_scope="sql only", agrees=None),
        check("b.one", "b", "reject", 0),
    ]
    found = tables(checks_section(rows))
    assert words(found["suites-table"]) == [["a", "2", "1", "10", "2", "every row"], ["b", "1", "0", "10", "0", "every row"]]
    assert words(found["severities-table"]) == [
        ["Set the row aside", "2", "1", "3"],
        ["Mend or decide", "1", "0", "0"],
        ["Good to know", "1", "1", "2"],
    ]
    assert words(found["checks-table"])[0][0] == "a.one"
