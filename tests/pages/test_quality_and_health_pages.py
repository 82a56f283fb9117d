"""The page on the data and the health of the sheets: what is linked, what is told, and what stays out of a packet."""

from __future__ import annotations

from reports.blocks import Figure, Paragraph, Table
from reports.book import Person
from reports.links import Atlas, PacketLinks, SiteLinks
from reports.pages.evaluator_health import health_of_all, health_section, standing_out
from reports.pages.quality_books import books_section, mends_section, rejects_section
from reports.pages.quality_checks import checks_page, checks_told, suites_section
from reports.pages.quality_facts import facts_section, open_section
from reports.pages.quality_findings import findings_section
from reports.pages.shared_looks import shared_looks


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
    found = [block.table if isinstance(block, Figure) else block for block in section.blocks]
    return {block.id: block for block in found if isinstance(block, Table)}


def told(section):
    """The running text of a section."""
    paragraphs = [block for block in section.blocks if isinstance(block, Paragraph)]
    return " ".join(part if isinstance(part, str) else part.text for block in paragraphs for part in block.parts)


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
        check("b.one", "b", "reject", 0, gx_scope="sample"),
    ]
    section = suites_section(rows, SiteLinks(atlas(), ""))
    found = tables(section)
    assert words(found["suites-table"]) == [
        ["a", "2", "1", "10", "2", "2 of 2", "every row"],
        ["b", "1", "0", "10", "0", "1 of 1", "every failing row and a sample of the others"],
    ]
    assert words(found["severities-table"]) == [
        ["Set the row aside", "2", "1", "3"],
        ["Mend or decide", "1", "0", "0"],
        ["Good to know", "1", "1", "2"],
    ]
    assert "validation/suite.json" in told(section)
    page = checks_page(rows, SiteLinks(atlas(), ""))
    assert [row[0] for row in words(tables(page.sections[0])["failing-table"])] == ["a.one", "across.x"]
    assert [section.id for section in page.sections] == ["failing", "sheet-a", "sheet-b"]


def test_how_many_checks_were_confirmed_is_said_as_it_is():
    once = check("across.x", "a", "note", 0, agrees=None)
    assert checks_told([]) == "No check was made."
    assert checks_told([once]) == "1 check was made; none was counted a second time."
    assert "confirmed every one" in checks_told([once, check("a", "a", "warn", 0), check("b", "a", "warn", 0)])
    assert "confirmed 1 of them" in checks_told([check("a", "a", "warn", 0), check("b", "a", "warn", 1, agrees=False)])


def file(path, **more):
    return {
        "path": path, "sheet": None, "table_name": "plate_calls", "sha256": "0" * 64, "encoding": "utf-8", "rows_in": 10,
        "rows_blank": 1, "accepted": 7, "quarantined": 2, "replaced": 1, "notes": None, **more,
    }  # fmt: skip


def test_the_books_are_summed_by_sheet_and_for_all_and_add_up():
    files = [file("a.csv"), file("b.csv", rows_in=5, accepted=5, quarantined=0, replaced=0), file("games.csv", table_name="games")]
    found = tables(books_section(files))
    assert words(found["sheets-table"]) == [
        ["games", "1", "10", "7", "2", "1", "1"],
        ["plate calls", "2", "15", "12", "2", "1", "2"],
    ]
    assert [cell.text for cell in found["sheets-table"].total] == ["All sheets", "3", "25", "19", "4", "2", "3"]
    linked = {row[0].text: (row[4].href, row[5].href) for row in found["books-table"].rows}
    assert linked["a.csv"] == ("#rejects", "#mends")
    assert linked["b.csv"] == (None, None)


def test_of_very_many_files_those_with_something_to_look_at_come_first_and_the_rest_is_named():
    clean = {"accepted": 10, "quarantined": 0, "replaced": 0}
    files = [file(f"a{n:03d}.csv", **clean) for n in range(130)] + [file("z.csv")]
    section = books_section(files)
    shown = tables(section)["books-table"].rows
    assert (shown[0][0].text, len(shown)) == ("z.csv", 100)
    assert "100 of 131 files" in told(section)
    assert "tables/pub_file.csv" in told(section)


def test_without_rejects_mends_or_findings_each_section_says_so():
    assert told(rejects_section([], [], 0)) == "No row was set aside: every row could be used."
    assert "No mended row" in told(mends_section([], []))
    assert "There is no finding" in told(findings_section([], [], SiteLinks(atlas(), "")))
    assert tables(books_section([]))["sheets-table"].rows == []


def test_a_long_list_of_rows_set_aside_names_the_file_that_has_all():
    kind = {"table_name": None, "column_name": None, "stage": "load", "rows": 9, "files": 1, "reason": "ragged", "remedy": "mend"}
    row = {"path": "a.csv", "sheet": "One", "line_no": 3, "column_name": None, "value": "x" * 400, "reason": "r", "remedy": "m"}
    section = rejects_section([kind], [row], 9)
    assert words(tables(section)["reject-kinds-table"]) == [["not recognised", "whole row", "on reading", "9", "1", "Ragged."]]
    cells = words(tables(section)["rejects-table"])[0]
    assert (cells[0], len(cells[3])) == ("a.csv [One]", 160)
    assert "The first 1 of 9" in told(section)
    assert "quarantine/reasons.csv" in told(section)


def mend(state, **more):
    return {
        "path": "m.csv", "sheet": None, "line_no": 2, "table_name": "games", "state": state, "raw_text": "new", "message": None, "changes": "date: 2026-13-05 → 2026-12-05",
        "original_path": "games.csv", "original_sheet": None, "original_line_no": 1162, "original_text": "old",
        "original_reason": "the day is not in the calendar", **more,
    }  # fmt: skip


def test_the_trail_of_a_mended_row_leads_from_it_to_the_row_that_it_stands_for():
    lost = mend("unplaced", original_path=None, original_line_no=None, original_reason=None, original_text=None, message="names no row",
                changes=None)  # fmt: skip
    states = [{"state": "applied", "mends": 70}, {"state": "unplaced", "mends": 1}]
    section = mends_section(states, [mend("applied"), lost])
    first, second = words(tables(section)["mends-table"])
    assert first == [
        "m.csv, line 2", "games.csv, line 1,162", "Taken: it stands for the row that it names.",
        "The day is not in the calendar.", "date: 2026-13-05 → 2026-12-05",
    ]  # fmt: skip
    assert second[1:] == ["–", "Names no row.", "–", "–"]
    # A row that could not be taken apart into cells is told as it stands.
    ragged = words(tables(mends_section(states, [mend("applied", changes=None)]))["mends-table"])[0]
    assert ragged[-1] == "old → new"
    assert "70 taken: it stands for the row that it names; 1 set aside: it names no row" in told(section).lower()
    assert "The first 2 of 71" in told(section)


def test_findings_stand_under_their_kind_with_what_to_do_and_what_is_left_out_is_said():
    kind = {"kind": "seen_once", "severity": "note", "title": "Seen twice", "findings": 3, "files": 0, "evaluators": 0, "remedy": None}
    row = {"kind": "seen_once", "severity": "note", "path": None, "line_no": None, "message": "once", "evaluator_id": None,
           "call_ids": "C1;gone", "rule_ids": None}  # fmt: skip
    section = findings_section([kind], [row], SiteLinks(atlas(), ""))
    summary = tables(section)["kinds-table"].rows[0]
    assert [cell.text for cell in summary] == ["seen once", "good to know", "3", "–", "–", "Seen twice.", "–"]
    own = tables(section)[summary[0].href.removeprefix("#")]
    assert [column.title for column in own.columns] == ["File", "Line", "What", "Calls"]
    assert [link.href for link in own.rows[0][3].links] == ["umpires/U1/calls.html#call-C1"]
    assert "The first 1 of 3" in told(section)
    assert "his or her own page" not in told(section)


def fact(name, **more):
    return {
        "fact": name, "place": 1, "title": name.capitalize(), "allowed": "yes or no", "calls": 100, "filled": 40, "asked": 20,
        "recorded": 18, "recorded_share": 0.9, "open_calls": 2, "settled_alone": 1, "undecided": "ball or strike",
        "call_ids": "C1", **more,
    }  # fmt: skip


def test_facts_that_rulings_turned_on_come_first_and_open_calls_say_what_would_settle_them():
    unasked = fact("speed", asked=0, recorded=0, recorded_share=None, open_calls=0, settled_alone=0, call_ids=None)
    whole = fact("balls", recorded=20, recorded_share=1.0, open_calls=0, settled_alone=0, call_ids=None)
    facts = [unasked, whole, fact("location")]
    found = tables(facts_section(facts))
    assert words(found["facts-table"]) == [
        ["Location", "20", "18", "90.0\u202f%", "2", "40 (40\u202f%)"],
        ["Balls", "20", "20", "100.0\u202f%", "0", "40 (40\u202f%)"],
    ]
    assert [cell.href for cell in found["facts-table"].rows[0]][4] == "#open"
    assert words(found["other-facts-table"]) == [["Speed", "40 (40\u202f%)"]]
    section = open_section(facts, {"calls_open": 2}, SiteLinks(atlas(), ""))
    assert section.blocks[0].title == "Location is the fact that is missed most: 2 of 2 open calls."
    assert words(tables(section)["open-table"])[0][:4] == ["Location", "2", "1", "ball or strike"]
    assert told(open_section([whole], {"calls_open": 0}, SiteLinks(atlas(), ""))) == "No call stays open for want of a fact."


def test_the_page_on_the_data_names_whose_sheets_stand_out_and_leads_to_all_measures():
    rows = [health("E2", "repeated_rows", stands_out=True), health("E1", "wrong_grades", stands_out=False)]
    section = standing_out(rows, SiteLinks(atlas(), ""))
    assert words(tables(section)["standing-out"]) == [["Second Evaluator", "Measured rows that repeat another"]]
    assert "health of the sheets" in told(section)
    assert "No evaluator's sheets stand out" in told(standing_out(rows[1:], SiteLinks(atlas(), "")))


class Pairs:
    """A book in which only the pitches that two evaluators share are published."""

    def __init__(self, whole, pairs):
        self.found = {"evaluator_agreement": whole, "evaluator_pair": pairs}

    def rows(self, name):
        return self.found[name]


def test_pairs_who_agree_least_come_first_and_how_far_all_agree_is_said():
    whole = [
        {"aspect": "verdict", "looks": 40, "evaluators": 2, "alpha": 0.83, "alpha_low": 0.7, "alpha_high": 0.9},
        {"aspect": "grade", "looks": 1, "evaluators": 2, "alpha": None, "alpha_low": None, "alpha_high": None},
    ]
    pair = {"aspect": "verdict", "looks": 20, "same": 18}
    pairs = [
        {**pair, "evaluator_id": "E1", "other_id": "E2", "kappa": 0.8},
        {**pair, "evaluator_id": "E2", "other_id": "E1", "kappa": None},
        {**pair, "evaluator_id": "E1", "other_id": "E3", "kappa": -0.1},
    ]
    section = shared_looks(Pairs(whole, pairs), SiteLinks(atlas(), ""))
    assert told(section) == (
        "How far evaluators agree who saw the same pitch: on the verdict by the rules, alpha 0.83 (0.70 to 0.90) over 40 pitches; "
        "on the grade that was written, all answers were the same over 1 pitch."
    )
    assert [row[5] for row in words(tables(section)["pair-table"])] == ["−0.10", "0.80", "–"]
    assert "agreement is not measured" in told(shared_looks(Pairs([], []), SiteLinks(atlas(), "")))
