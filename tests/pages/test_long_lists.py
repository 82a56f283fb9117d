"""Lists of people too long for a page: short pages, parts that hold everybody in order, data that hold everybody."""

from __future__ import annotations

import importlib.util
import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.store import Store
from reports.blocks import Cell, Column, Link, Table
from reports.data_scripts import unpacked_script
from reports.figures.item_chart import item_chart
from reports.long_lists import LEAST_ROWS, PART_ROWS, LongLists, room
from reports.naming import anchor
from reports.pages.clinics import are_apart, session_place
from reports.parts import row_parts


def module(name):
    spec = importlib.util.spec_from_file_location(f"long_{name}", Path(__file__).with_name(f"{name}.py"))
    found = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(found)
    return found


sample_season, large_association = module("sample_season"), module("large_association")
PEOPLE = large_association.PEOPLE


class Read(HTMLParser):
    """The rows of a page's tables by the table's id, each a list of its cells' texts; anchors and addresses."""

    def __init__(self, text):
        super().__init__()
        self.tables, self.ids, self.addresses, self._table, self._cell = {}, set(), set(), None, False
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given_ = dict(attrs)
        if given_.get("id"):
            self.ids.add(given_["id"])
        self.addresses |= {given_[name] for name in ("href", "src", "data-source") if given_.get(name)}
        if tag == "table":
            self._table = self.tables.setdefault(given_["id"], [])
        elif tag == "tr" and self._table is not None:
            self._table.append([])
        elif tag in ("td", "th") and self._table is not None:
            self._table[-1].append("")
            self._cell = True

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self._cell = False
        elif tag == "table":
            self._table = None

    def handle_data(self, data):
        if self._cell and self._table is not None:
            self._table[-1][-1] += data

    def people(self, table):
        """The first cell of each row but the heading."""
        return [row[0].strip() for row in self.tables[table][1:]]


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The pages of a large association by path, and the data of its lists by name."""
    with Store() as store:
        large_association.fill(store, sample_season)
        return large_association.written(store, sample_season, tmp_path_factory.mktemp("large"))


LISTS = {
    "board-high": PEOPLE // 2, "board-low": PEOPLE // 2, "places-low-overall-1-table": PEOPLE // 2, "ranks-high-overall-1": PEOPLE // 2,
    "results-0": PEOPLE, "results-1": PEOPLE, "zone-umpires": PEOPLE, "forms-by-name": PEOPLE, "every-evaluator": 70,
    f"made-{anchor('m', 'pitch.called')}": PEOPLE,
}  # fmt: skip
"""Lists of the large association, and how many rows each has."""


@pytest.mark.parametrize("key", LISTS)
def test_parts_and_data_hold_everybody_once_in_the_same_order(site, key):
    pages, scripts = site
    parts = sorted(
        (path for path in pages if re.fullmatch(rf"lists/{key}-\d+\.html", path)),
        key=lambda path: int(path[:-5].split("-")[-1]),
    )
    inside = [Read(pages[path]).people(key) for path in parts]
    assert {len(rows) for rows in inside[:-1]} <= {PART_ROWS}
    header, _ = unpacked_script(scripts[f"rows-{key}"])
    held = [row[0] if isinstance(row[0], str) else row[0][0] for row in header["rows"]]
    assert [name for rows in inside for name in rows] == held
    assert len(held) == len({str(row[0]) for row in header["rows"]}) == LISTS[key]


def test_the_page_begins_with_the_first_rows_and_names_the_ends_of_every_part(site):
    pages, scripts = site
    for page, key in (
        ("index.html", "board-low"),
        ("quiz.html", "results-1"),
        ("zone.html", "zone-umpires"),
        ("decisions.html", "forms-by-name"),
    ):
        header, _ = unpacked_script(scripts[f"rows-{key}"])
        held = [row[0][0] for row in header["rows"]]
        shown = Read(pages[page]).people(key)
        assert LEAST_ROWS <= len(shown) < PART_ROWS
        assert shown == held[: len(shown)]
        for number, part in enumerate(row_parts(len(held), PART_ROWS), 1):
            href = f'<a href="lists/{key}-{number}.html">{part.start + 1:,} to {part.stop:,}</a>: '
            found = pages[page].split(href)[1].split("</li>")[0]
            ends = (held[part.start], held[part.stop - 1])
            assert found == " to ".join(ends).replace("<", "&lt;").replace(">", "&gt;").replace('"', "&#34;")


def test_every_address_of_the_lists_leads_to_a_page_and_an_anchor(site):
    pages, scripts = site
    read = {path: Read(text) for path, text in pages.items()}
    beside = set()
    for path in pages:
        if not path.startswith("lists/"):
            continue
        for address in read[path].addresses:
            file, _, anchor = address.partition("#")
            target = file.removeprefix("../") if file.startswith("../") else f"lists/{file}" if file else path
            if target == "compare.html" and anchor.startswith("a="):
                # Any two umpires can be named there: the page's script reads who they are.
                continue
            if target in pages:
                assert not anchor or anchor in read[target].ids, f"{path}: {address}"
            elif target.startswith("assets/data/"):
                assert target.removeprefix("assets/data/").removesuffix(".js") in scripts
            else:
                beside.add(target.split("/")[0].split(".")[0])
    # Not made here: people's own pages, assets, and the other pages of the masthead.
    assert beside <= {
        "umpires", "evaluators", "assets", "compare", "standards", "clinics", "quality", "rules", "dictionary", "method",
    }  # fmt: skip


def test_the_parts_lead_to_those_beside_them(site):
    pages, _ = site
    paths = [f"lists/zone-umpires-{number}.html" for number in range(1, PEOPLE // PART_ROWS + 1)]
    for one, other in pairwise(paths):
        assert f'href="{other.removeprefix("lists/")}"' in pages[one]
        assert f'href="{one.removeprefix("lists/")}"' in pages[other]


def test_nothing_of_a_name_becomes_an_element(site):
    pages, scripts = site
    assert not any("<b>Zenobia" in text for text in pages.values())
    assert not any(b"<" in content for content in scripts.values())
    header, _ = unpacked_script(scripts["rows-board-low"])
    assert header["rows"][-1][0][0] == large_association.LAST


def test_an_association_that_fits_has_no_parts_and_no_data(tmp_path):
    with Store() as store:
        large_association.fill(store, sample_season, 40)
        pages, scripts = large_association.written(store, sample_season, tmp_path)
    # The list of evaluators alone is one: there are 70 of them.
    assert list(scripts) == ["rows-every-evaluator"]
    assert [path for path in pages if path.startswith("lists/")] == ["lists/every-evaluator-1.html"]
    assert "rows.js" not in pages["index.html"]


def test_of_many_lists_each_has_a_page_and_everybody_is_found_by_name(tmp_path):
    """300 umpires in twenty groups that no evaluator links: in each of two levels 20 lists of 7 or 8."""
    with Store() as store:
        large_association.fill(store, sample_season, 300)
        store.run("UPDATE published.pub_ranking SET linked_group = 1 + substr(umpire_id, 2)::INTEGER % 40 // 2")
        pages, scripts = large_association.written(store, sample_season, tmp_path)
    front = Read(pages["rankings.html"])
    assert len(front.people("ranking-lists")) == 40
    assert "linked group 20" in front.people("ranking-lists")[-1]
    apart = {path: Read(text) for path, text in pages.items() if path.startswith("rankings/")}
    assert len(apart) == 40
    found = [
        name
        for page in apart.values()
        for table in page.tables
        if table.startswith("places-")
        for name in page.people(table)
    ]
    assert len(found) == len(set(found)) == 300
    header, _ = unpacked_script(scripts["rows-ranked-by-name"])
    assert sorted(row[0][0] for row in header["rows"]) == sorted(found)
    for row in header["rows"]:
        assert row[0][0] in {name for table in apart[row[1][2]].tables for name in apart[row[1][2]].people(table)}
    for page in apart.values():
        leads = {address for address in page.addresses if "umpires/" in address or "compare.html#" in address}
        assert leads
        assert all(address.startswith("../") for address in leads)


def test_a_session_of_many_people_is_parted_on_a_page_of_its_own(tmp_path):
    with Store() as store:
        large_association.fill(store, sample_season, 450)
        sample_season.add(store, "pub_clinic_plan", sessions=1, attendees=450, seats_filled=450, umpires_wrong=450, wrong_seen=450,
                          expected_wrong=9.0, removed=2.0, removed_low=1.0, removed_high=3.0, share_removed_rules=0.4,
                          share_removed_practice=0.2, share_removed_off=0.5)  # fmt: skip
        sample_season.add(store, "pub_clinic_session", session=1, form="field", topics="pitch", attendees=450, expected_wrong=9.0,
                          removed=2.0, removed_low=1.0, removed_high=3.0, weighted=2.0)  # fmt: skip
        store.run(
            "INSERT INTO published.pub_clinic_attendee BY NAME SELECT 1 AS session, umpire_id, 'pitch' AS topic, "
            "substr(umpire_id, 2)::INTEGER AS place, 3 AS times, 40 AS chances, 0.1 AS rate, 0.05 AS season_rate, 2.0 AS expected_wrong, "
            "0.5 AS removed, 'not_asked' AS knowledge, 0 AS answers, 0 AS right_answers, '' AS misruling_codes, '' AS misruling_times, "
            "'' AS call_ids FROM published.pub_readiness"
        )
        pages, scripts = large_association.written(store, sample_season, tmp_path)
    own = Read(pages["clinics/session-1.html"])
    assert len(own.people("people-1")) == 200
    assert {"../lists/people-1-1.html", "../lists/people-1-3.html", "../assets/data/rows-people-1.js"} <= own.addresses
    header, _ = unpacked_script(scripts["rows-people-1"])
    assert [row[0][0] for row in header["rows"]][:200] == own.people("people-1")
    assert len(header["rows"]) == 450
    assert 'href="clinics/session-1.html"' in pages["clinics.html"]


@given(st.lists(st.integers(0, 300), max_size=8), st.integers(10, 200))
def test_lists_share_the_room_of_a_page_and_none_is_cut_while_there_is_room(sizes, most):
    share = room(sizes, most)
    shown = [min(size, share) for size in sizes]
    assert sum(shown) <= max(most, LEAST_ROWS * len(sizes))
    if sum(sizes) <= most:
        assert shown == sizes
    elif share > LEAST_ROWS:
        # One more row for each that is cut, and the page would be too full.
        cut = sum(size > share for size in sizes)
        assert sum(shown) + cut > most


def test_a_short_list_leaves_its_room_to_the_others():
    # 10 and 20 stay whole; of the 120 that are left after them 90 go to two long ones, 45 each.
    assert room([500, 10, 20, 500], 120) == 45


def test_two_lists_whose_ids_differ_by_case_alone_get_files_of_their_own():
    lists = LongLists()
    for key in ("board-A", "board-a"):
        table = Table(key, "People", [Column("Who")], [[Cell("x")]])
        lists.add(table, "People", Link("Board", "index.html"), "index.html")
    paths = [page.path.casefold() for page in lists.pages()]
    assert len(set(paths)) == 2
    assert len({name.casefold() for name, _ in lists.scripts()}) == 2


def test_a_cell_is_packed_without_what_is_blank_and_its_addresses_are_from_the_top():
    lists = LongLists()
    cells = [Cell("plain"), Cell("0", sort=0), Cell("a", href="#m-1"), Cell("b", mark="disc"), Cell("", links=(Link("c", "x.html#y"),)),
             Cell("d", parts=("of ", Link("e", "#z")))]  # fmt: skip
    table = Table("t", "T", [Column(str(k)) for k in range(6)], [cells])
    lists.add(table, "T", Link("Home", "home.html#t"), "home.html")
    ((name, content),) = lists.scripts()
    header, _ = unpacked_script(content)
    assert name == "rows-t"
    assert header["rows"] == [
        [
            "plain",
            ["0", 0],
            ["a", None, "home.html#m-1"],
            ["b", None, None, "disc"],
            ["", None, None, None, [["c", "x.html#y"]]],
            ["d", None, None, None, [], ["of ", ["e", "home.html#z"]]],
        ]
    ]
    (page,) = lists.pages()
    assert page.sections[0].blocks[2].rows[0][2].href == "../home.html#m-1"


def test_many_umpires_are_drawn_over_the_items_by_steps_that_count_everybody():
    items = [{"item_id": "I1", "difficulty": 0.0, "difficulty_se": 0.1}]
    people = [{"name": f"P{k}", "measure": (k - 1500) / 500} for k in range(3000)]
    marks = item_chart(items, people).series[1].marks
    assert 1 < len(marks) <= 120
    assert sum(int(re.match(r"[\d,]+", mark.words)[0].replace(",", "")) for mark in marks) == 3000
    few = item_chart(items, people[:5]).series[1].marks
    assert [mark.words.split(":")[0] for mark in few] == ["P0", "P1", "P2", "P3", "P4"]


def test_sessions_of_many_people_are_told_on_pages_of_their_own():
    assert not are_apart([{"attendees": 100}] * 2)
    assert are_apart([{"attendees": 101}] * 2)
    assert are_apart([{"attendees": 1}] * 7)
    assert session_place(3, apart=False, root="../") == "../clinics.html#session-3"
    assert session_place(3, apart=True) == "clinics/session-3.html"
