"""The section of the patterns of misruling, and the line on a call."""

from __future__ import annotations

import re
from types import SimpleNamespace

from reports.blocks import Link
from reports.pages.patterns import pattern_line, patterns_section

ROW = {
    "pattern_id": "M323",
    "precedence": 2,
    "kind": "as_if",
    "topic": "illegal_hit",
    "title": "A foot on the plate does no harm.",
    "says": "It is an out.",
    "true_where": "under the Official Baseball Rules",
    "codes": "nfhs",
    "rule_refs": "nfhs 7-3-2",
    "confidence": "memory",
    "source": "common practice, no source",
    "times": 2,
    "also_times": 1,
    "umpires": 1,
    "share": 0.4,
    "example_call_ids": "C2;C3",
}
TOTAL = {"misruled": 5, "explained": 4, "judged": 1, "share_explained": 0.8, "share_explained_by_rule": 0.75}
LINKS = SimpleNamespace(private=False, root="../", call=lambda call: Link(call, f"calls.html#{call}"))


def book(rows, totals):
    return SimpleNamespace(rows=lambda name: {"pattern": rows, "pattern_total": totals}[name])


def test_the_section_says_what_share_is_explained_with_and_without_judgements():
    section = patterns_section(book([ROW], [TOTAL]), LINKS)
    said, table, ledger = section.blocks
    words = re.sub(r"\s", " ", "".join(said.parts))
    assert words == (
        "Of 5 misruled calls 4 (80.0 %) read like one of these patterns. 1 of them is a judgement of what was seen, "
        "mostly ball or strike; of the other 4, 3 (75.0 %) fit a pattern."
    )
    assert [cell.text for cell in table.rows[0]][:3] == [ROW["title"], "a fact read otherwise", "2"]
    entry = ledger.entries[0]
    assert table.rows[0][0].href == f"#{entry.id}"
    assert dict(entry.lines)["Holds"] == ["Under the Official Baseball Rules."]
    assert dict(entry.lines)["Rules"] == ["nfhs 7-3-2 (from memory)"]
    assert [part for part in dict(entry.lines)["Examples"] if part != ", "] == [
        Link("C2", "calls.html#C2"),
        Link("C3", "calls.html#C3"),
    ]


def test_a_season_of_judgements_alone_claims_nothing_about_rules():
    total = {**TOTAL, "judged": 5, "explained": 5, "share_explained": 1.0, "share_explained_by_rule": None}
    said = patterns_section(book([ROW], [total]), LINKS).blocks[0]
    assert "".join(said.parts).endswith("5 of them are a judgement of what was seen, mostly ball or strike.")


def test_a_season_without_a_misruling_says_so():
    total = {**TOTAL, "misruled": 0, "explained": 0, "judged": 0, "share_explained": None, "share_explained_by_rule": None}
    said, table = patterns_section(book([], [total]), LINKS).blocks
    assert said.parts == ["No call was misruled."]
    assert table.rows == []
    assert table.empty == "No misruled call fits a pattern."


def test_a_call_leads_to_its_pattern_but_a_packet_leads_nowhere():
    call = {"pattern_id": "M323", "pattern_title": "A foot on the plate does no harm."}
    (link,) = pattern_line(call, LINKS)
    assert link == Link("A foot on the plate does no harm.", "../misrulings.html#pattern-M323")
    assert pattern_line(call, SimpleNamespace(private=True)) == ("A foot on the plate does no harm.",)
    assert pattern_line({"pattern_id": None, "pattern_title": None}, LINKS) == ()
