"""The letter to an evaluator: each sentence from the evaluator's own rows, fair in tone, and silent where nothing is known."""

from __future__ import annotations

import datetime as dt

import pytest

from reports.blocks import Figure, Ledger, Paragraph, Points, Table
from reports.book import Person
from reports.links import Atlas, PacketLinks, SiteLinks
from reports.pages.evaluator_advice import advice, habits
from reports.pages.evaluator_calls import LIST_CALLS, evaluator_calls_pages, list_files
from reports.pages.evaluator_letter import chosen_plays, drift_words, evaluator_letter, severity_words
from reports.pages.evaluator_sheet import Sheets, evaluator_page

ME = Person("E1", "Ordinary Evaluator")
ATLAS = Atlas(
    umpires={"U1": "Plain Person"}, evaluators={"E1": ME.name, "E2": "Second Evaluator"}, umpire_folders={"U1": "U1"},
    evaluator_folders={"E1": "E1", "E2": "E2"}, call_homes={"C1": ("U1", "calls.html")}, rule_files={"P502": "P502"},
    topic_files={}, misruling_codes=frozenset(),
)  # fmt: skip
OWN = PacketLinks(ATLAS, "", ME, {"C1": "calls.html", "C2": "calls-2.html"}, "figures.html")


def row(**more):
    return {
        "evaluator_id": "E1", "calls": 40, "games": 2, "umpires": 3, "severity_points": -0.017, "severity_low": -0.03,
        "severity_high": -0.006, "drift_points_per_30_days": None, "drift_low": None, "drift_high": None, "grades": 20,
        "agree": 18, "agree_rate": 0.9, "agree_low": 0.7, "agree_high": 0.97, "facts_recorded_share": 0.95,
        "other_code_suspect": None, "other_code_calls": 0, "message": None, **more,
    }  # fmt: skip


def call(number, game="G1", verdict="right", **more):
    return {
        "call_id": f"C{number}", "umpire_id": "U1", "game_id": game, "game_on": dt.date(2026, 4, 1), "topic": "pitch",
        "verdict": verdict, "evaluator_grade": "right", "evaluator_agrees": True, "needs": None, "line_no": number,
        "ruled_text": "strike", "right_text": "ball; batter at bat", **more,
    }  # fmt: skip


def misgrade(number, topic="pitch", verdict="right", **more):
    return {
        "call_id": f"C{number}", "topic": topic, "evaluator_grade": "wrong", "our_verdict": verdict, "rule_ids": "P502",
        "because": "No part of the ball touched the zone.", "other_code": None, **more,
    }  # fmt: skip


def fact(**more):
    return {
        "fact": "location", "title": "Place of the pitch", "allowed": "in zone or out of zone", "asked": 20, "recorded": 17,
        "open_calls": 3, "settled_alone": 2, "undecided": "ball or strike", "topics": "pitch", "call_ids": "C2", **more,
    }  # fmt: skip


def measure(name, part="", **more):
    return {
        "measure": name, "part": part, "cases": 60, "found": 6, "value": 0.1, "low": 0.05, "high": 0.2, "median": 0.02,
        "p_value": None, "p_corrected": None, "stands_out": None, "rule_ids": None, "call_ids": None, "remark": None, **more,
    }  # fmt: skip


def sheets(**more):
    given = {"row": row(), "calls": [call(1)], "misgrades": [], "health": [], "facts": [], "findings": [], **more}
    return Sheets(ME, **given)


def words(parts):
    return "".join(part if isinstance(part, str) else part.text for part in parts)


def text(page):
    """Everything that a page says, tables and plays included."""
    found = [page.title, words(page.lead)]
    for section in page.sections:
        found += [section.title, words(section.margin)]
        for block in section.blocks:
            table = block.table if isinstance(block, Figure) else block
            if isinstance(table, Table):
                found += [table.caption, *(cell.text for line in table.rows for cell in line)]
                found += [link.text for line in table.rows for cell in line for link in cell.links]
            if isinstance(block, Paragraph):
                found.append(words(block.parts))
            if isinstance(block, Points):
                found += [words(item) for item in block.items]
            if isinstance(block, Ledger):
                found += [words(parts) for entry in block.entries for _, parts in entry.lines]
    return "\n".join(found)


def test_severity_is_said_with_its_interval_and_its_direction():
    told = severity_words(row(), 0.9)
    assert "more severe than the average evaluator's" in told
    assert "about 1.7 in a hundred calls fewer come out right" in told
    assert "between 0.6 and 3.0 (90\u202f% sure)" in told
    lenient = severity_words(row(severity_points=0.012, severity_low=0.002, severity_high=0.023), 0.9)
    assert "more lenient" in lenient
    assert "1.2 in a hundred calls more come out right" in lenient
    assert "between 0.2 and 2.3" in lenient


def test_severity_that_cannot_be_told_from_the_average_is_not_made_into_one():
    told = severity_words(row(severity_points=0.001, severity_low=-0.013, severity_high=0.014), 0.9)
    assert "cannot be told from the average" in told
    assert "between 1.3 points lower and 1.4 points higher" in told
    assert "severe" not in told
    assert "lenient" not in told


@pytest.mark.parametrize(
    ("value", "low", "high", "told"),
    [
        (None, None, None, "too few days"),
        (0.01, -0.01, 0.02, "did not change by more than chance allows"),
        (-0.022, -0.033, -0.011, "grew stricter, by about 2.2 points in 30 days (between 1.1 and 3.3)"),
        (0.02, 0.01, 0.03, "grew more lenient"),
    ],
    ids=["unknown", "within chance", "stricter", "more lenient"],
)
def test_change_over_the_season_is_said_only_where_it_is_more_than_chance(value, low, high, told):
    assert told in drift_words(row(drift_points_per_30_days=value, drift_low=low, drift_high=high))


def test_the_plays_told_in_full_are_two_of_each_topic_and_the_topic_with_most_comes_first():
    found = [
        *(misgrade(n, because=f"reason {n}") for n in (9, 7, 8)),
        *(misgrade(n, "hit_batter") for n in (1, 2)),
        misgrade(5, "foul_tip"),
    ]
    # pitch has three reasons, of which the two lowest ids; the two of hit batter have one reason; foul tip one.
    assert [one["call_id"] for one in chosen_plays(found)] == ["C7", "C8", "C1", "C5"]
    assert len(chosen_plays([misgrade(n, f"topic{n}") for n in range(9)])) == 4


def test_grades_that_part_from_the_rules_are_counted_both_ways_with_reason_and_rule():
    found = [misgrade(1), misgrade(2, verdict="wrong", evaluator_grade="right", other_code="obr", because="He froze.")]
    rules = [{"rule_id": "P502", "title": "A ball."}]
    told = text(evaluator_letter(sheets(misgrades=found, calls=[call(1), call(2)]), OWN, 0.9, "Season", rules))
    assert "P502 (A ball)" in told
    assert told.count("ball; batter at bat") == 1  # told only where the ruling was wrong
    assert "Of 20 grades that can be compared 18 agree with the rules: 90.0\u202f%" in told
    assert "1 ruling was right by the facts on your sheet though graded wrong, 1 was wrong though graded right." in told
    assert "No part of the ball touched the zone." in told
    assert "Official Baseball Rules: there your grade would stand" in told
    assert "A difference need not be yours" in told


def test_what_a_missing_fact_would_have_settled_is_told_and_advised():
    calls = [call(2, verdict="open", needs="location"), call(3, verdict="open", needs="location;contact_front"), call(1)]
    own = sheets(calls=calls, facts=[fact()])
    told = text(evaluator_letter(own, OWN, 0.9, "Season"))
    assert "2 calls stay open because a fact is missing" in told
    assert "One word more would have settled 2 of them." in told
    assert "Write down: place of the pitch (in zone or out of zone). It would have helped to settle 2 calls." in told


def test_where_nothing_is_missing_or_against_the_rules_the_letter_says_so():
    own = sheets(row=row(severity_low=-0.03, severity_high=0.01, agree=20, agree_rate=1.0), health=[measure("days_late", found=0, value=1.0)])
    told = text(evaluator_letter(own, OWN, 0.9, "Season"))
    assert "None is against them." in told
    assert "Nothing that mattered was left out." in told
    assert "Go on as you did" in told
    assert "Half of your calls or more were written down within 1 day of the game; none more than a week after it." in told


def test_lateness_is_said_plainly_and_without_blame():
    late = measure("days_late", found=50, value=17.0, stands_out=True)
    (paragraph,) = habits([late], OWN)[1:]
    assert words(paragraph.parts) == (
        "Half of your calls were written down 17 days after the game or later; 50 of 60 more than a week after it."
    )
    (paragraph,) = habits([measure("days_late", found=0, value=0.0)], OWN)[1:]
    assert words(paragraph.parts).startswith("Half of your calls or more were written down on the day of the game; none")
    (paragraph,) = habits([], OWN)[1:]
    assert "do not say on which day" in words(paragraph.parts)


def test_an_evaluator_without_an_accepted_call_gets_a_letter_that_invents_nothing():
    page = evaluator_letter(sheets(row=None, calls=[]), OWN, 0.9, "Season")
    assert "no call of yours was accepted" in words(page.lead)
    assert [section.id for section in page.sections] == ["answer"]


def test_patterns_are_told_as_questions_and_only_where_they_stand_out():
    usual = [measure("graded_right", stands_out=False), measure("last_digit", "ball_x_in", stands_out=False)]
    blocks = habits(usual, OWN)
    assert "stands out" in words(blocks[0].parts)
    assert not any(isinstance(block, Points) for block in blocks)
    odd = [measure("repeated_rows", stands_out=True, call_ids="C1;C2;gone"), measure("last_digit", "ball_x_in", stands_out=True, value=0.45)]
    blocks = habits(odd, OWN)
    repeated, digits = [words(item) for item in blocks[1].items]
    assert repeated.startswith("Measured rows that repeat another row exactly: 6 of 60 (10.0\u202f%; the middle of all evaluators is 2.0\u202f%).")
    assert "were rows copied to save time?" in repeated
    assert repeated.endswith("For example C1, C2, gone.")
    assert "45\u202f% of 60 figures end in 0 or 5" in digits
    assert "is honest" in digits
    assert [block.tone for block in blocks if isinstance(block, Paragraph)] == ["plain", "caution", "plain"]


def test_advice_names_the_code_that_the_grades_fit_and_the_rules_to_read_again():
    health = [measure("wrong_grades", "illegal_hit", found=15, rule_ids="P502;A101"), measure("wrong_grades", "swing", found=2)]
    found = [words(item) for item in advice(sheets(row=row(other_code_suspect="obr", other_code_calls=15), health=health), OWN)]
    assert "Grade by the code of the game: 15 of your grades fit Official Baseball Rules rather than the code played under." in found
    assert "Look again at the rules on illegal hit, against which 15 grades stand: P502, A101." in found
    assert not any("swing" in one for one in found)


def test_a_letter_and_its_figures_name_nobody_else():
    health = [measure("wrong_grades", "pitch", found=3, call_ids="C1", rule_ids="P502", remark="Second Evaluator says so")]
    findings = [{"kind": "odd", "line_no": 3, "message": "Plain Person was seen", "remedy": "ask Second Evaluator", "call_ids": None}]
    found = [misgrade(1, because="Plain Person was at bat")]
    own = sheets(misgrades=found, health=health, findings=findings, facts=[fact()])
    pages = [evaluator_letter(own, OWN, 0.9, "Season"), evaluator_page(own, OWN, "figures.html"), *evaluator_calls_pages(ME, own.calls, OWN, "")]
    for page in pages:
        told = text(page)
        assert not any(name in told for name in ("Plain Person", "U1", "Second Evaluator", "E2")), page.path


def test_a_long_list_is_parted_and_every_call_has_its_place_in_the_packet_and_a_link_in_the_site():
    calls = [call(n, game=f"G{n // 100}") for n in range(LIST_CALLS + 60)]
    files = list_files(calls)
    links = PacketLinks(ATLAS, "", ME, files, "figures.html")
    pages = {page.path: page for page in evaluator_calls_pages(ME, calls, links, "")}
    assert list(pages) == ["calls.html", "calls-1.html", "calls-2.html"]
    for one in calls:
        rows = [row for section in pages[files[one["call_id"]]].sections for block in section.blocks for row in block.ready]
        assert sum(row.startswith(f'<tr id="call-{one["call_id"]}">') for row in rows) == 1
        assert links.call(one["call_id"]).href == f"{files[one['call_id']]}#call-{one['call_id']}"
    games = pages["calls.html"].sections[0].blocks[0]
    assert [(line[1].text, line[1].href, line[2].text) for line in games.rows][:2] == [
        ("G0", "calls-1.html#game-G0", "100"),
        ("G1", "calls-1.html#game-G1", "100"),
    ]
    assert pages["calls-1.html"].sections[0].id == "game-G0"
    site = list(evaluator_calls_pages(ME, calls, SiteLinks(ATLAS, "../../"), "evaluators/E1/"))
    assert [page.path for page in site][:2] == ["evaluators/E1/calls.html", "evaluators/E1/calls-1.html"]
    assert 'href="../../umpires/U1/calls.html#call-C1"' in site[1].sections[0].blocks[0].ready[1]


def test_a_game_to_which_a_sheet_comes_back_has_an_anchor_for_each_run():
    calls = [call(1, "G1"), call(2, "G2"), *(call(n, "G3") for n in range(3, LIST_CALLS)), call(9000, "G2"), call(9001, "G1")]
    pages = list(evaluator_calls_pages(ME, calls, OWN, ""))
    ids = [section.id for page in pages[1:] for section in page.sections]
    assert ids == ["game-G1", "game-G2", "game-G3", "game-G2-again-2", "game-G1"]
    # The second run of the first game lies on the second page, where its anchor stands alone.
    assert [section.id for section in pages[2].sections] == ["game-G1"]
