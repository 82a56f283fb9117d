"""The pages on the data and on evaluators stay short however much there is to tell: what is left out is named."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from pipeline.store import Store
from reports.book import SeasonBook
from reports.links import Atlas, SiteLinks
from reports.long_lists import LongLists
from reports.pages.dictionary import dictionary_pages
from reports.pages.evaluators import evaluators_page
from reports.pages.quality import quality_page
from reports.pages.quality_checks import checks_page
from reports.paper import Masthead, render
from schemas import all_tables


def module(name):
    spec = importlib.util.spec_from_file_location(f"large_{name}", Path(__file__).with_name(f"{name}.py"))
    found = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(found)
    return found


sample_season, large_association = module("sample_season"), module("large_association")

EVALUATORS = 400
FINDINGS = 24_000
LARGEST = 300_000
HEAD = Masthead("", "", "", (), (), has_plotly=True)


def fill(store):
    """400 evaluators with a file each, of whom all stand out in something; findings, rejects and mends by the thousand."""
    sample_season.make_tables(store)
    sample_season.season_row(store, evaluators=EVALUATORS, calls_in=1_400_000, calls_accepted=1_395_000, calls_right=1_300_000)
    store.run(
        "INSERT INTO published.pub_file BY NAME SELECT 'plate_calls_' || i || '.csv' AS path, 'plate_calls' AS table_name, "
        "repeat('0', 64) AS sha256, 'utf-8' AS encoding, 3500 AS rows_in, 0 AS rows_blank, 3488 AS accepted, 12 AS quarantined, "
        f"0 AS replaced, 'headings read by their other names' AS notes FROM range({EVALUATORS}) AS t(i)"
    )
    store.run(
        "INSERT INTO published.pub_evaluator BY NAME SELECT 'E' || i AS evaluator_id, 'Evaluator Number ' || i AS name, 3500 AS calls, "
        "40 AS games, 30 AS umpires, (i - 200) / 5000 AS severity_points, (i - 250) / 5000 AS severity_low, (i - 150) / 5000 AS "
        "severity_high, 0.001 AS drift_points_per_30_days, -0.01 AS drift_low, 0.012 AS drift_high, 3000 AS grades, 2900 AS agree, "
        "0.967 AS agree_rate, 0.95 AS agree_low, 0.98 AS agree_high, 0.99 AS facts_recorded_share, 0 AS other_code_calls, "
        f"'severe: umpires look 1.7 points worse than under an average evaluator' AS message FROM range({EVALUATORS}) AS t(i)"
    )
    store.run(
        "INSERT INTO published.pub_evaluator_health BY NAME SELECT 'E' || i AS evaluator_id, m AS measure, '' AS part, 3000 AS cases, "
        "90 AS found, 0.03 AS value, 0.02 AS low, 0.04 AS high, 0.01 AS median, 400 AS evaluators, true AS stands_out "
        f"FROM range({EVALUATORS}) AS t(i), unnest(['wrong_grades', 'graded_right', 'repeated_rows', 'days_late']) AS u(m)"
    )
    store.run(
        "INSERT INTO published.pub_finding BY NAME SELECT 'f' || i AS finding_id, 'grade_contradicts_rules' AS kind, 'warn' AS severity, "
        "'plate_calls_' || (i % 400) || '.csv' AS path, i AS line_no, repeat('x', 200) AS message, 'E' || (i % 400) AS evaluator_id, "
        f"'C' || i AS call_ids FROM range({FINDINGS}) AS t(i)"
    )
    store.run(
        "INSERT INTO published.pub_finding_kind BY NAME SELECT 'grade_contradicts_rules' AS kind, 'warn' AS severity, "
        f"{FINDINGS} AS findings, 400 AS files, 400 AS evaluators"
    )
    store.run(
        "INSERT INTO published.pub_reject BY NAME SELECT 'plate_calls_' || (i % 400) || '.csv' AS path, i AS line_no, 'balls' AS "
        "column_name, repeat('y', 5000) AS value, repeat('z', 150) AS reason, 'mend' AS remedy, 'check' AS stage FROM range(4800) AS t(i)"
    )
    store.run(
        "INSERT INTO published.pub_mend BY NAME SELECT 'm.csv' AS path, i AS line_no, 'plate_calls' AS table_name, 'applied' AS state, "
        "repeat('m', 400) AS raw_text, repeat('o', 400) AS original_text FROM range(2000) AS t(i)"
    )
    store.run(
        "INSERT INTO published.pub_amendment BY NAME SELECT 'C' || i AS call_id, 'E1' AS evaluator_id, DATE '2026-05-01' AS amended_on, "
        "'balls' AS column_name, '2' AS value, 'video' AS reason, 'a.csv' AS path, i AS line_no FROM range(3000) AS t(i)"
    )


@pytest.fixture(scope="module")
def pages():
    with Store() as store:
        fill(store)
        book = SeasonBook(sample_season.POLICY, store)
        links = SiteLinks(Atlas.of(book), "")
        made = (quality_page(book, links), evaluators_page(book, links, LongLists()), checks_page(book.rows("check"), links))
        return {page.path: render(page, HEAD) for page in made}


def test_no_page_is_larger_than_300_kb(pages):
    sizes = {path: len(text.encode()) for path, text in pages.items()}
    assert {path: size for path, size in sizes.items() if size > LARGEST} == {}


def test_each_shortened_list_says_how_much_there_is_and_where_all_of_it_lies(pages):
    told = pages["quality.html"]
    for said in (
        "100 of 400 files", "tables/pub_file.csv", "The first 100 of 4,800", "quarantine/reasons.csv", "The first 20 of 24,000",
        "tables/pub_finding.csv", "The first 60 of 2,000", "tables/pub_mend.csv", "tables/pub_amendment.csv",
    ):  # fmt: skip
        assert said in told, said
    told = pages["evaluators.html"]
    for said in ("The 30 lowest and 30 highest of 400", "tables/pub_evaluator.csv", "tables/pub_evaluator_health.csv"):
        assert said in told, said


def test_every_declared_table_stands_once_in_the_dictionary_and_neither_page_is_too_large():
    made = list(dictionary_pages())
    assert [page.path for page in made] == ["dictionary.html", "dictionary-results.html"]
    told = [section.id for page in made for section in page.sections]
    assert sorted(told) == sorted(table.name for table in all_tables())
    assert max(len(render(page, HEAD).encode()) for page in made) <= LARGEST


@pytest.mark.parametrize(
    ("people", "groups"), [(1_000, 1), (1_000, 60), pytest.param(5_000, 1, marks=pytest.mark.slow)]
)
def test_no_page_and_no_data_of_a_large_association_are_larger_than_300_kb(tmp_path, people, groups):
    """Umpires whom evaluators link, or in so many groups apart; 1,000 on one page would take three quarters of a megabyte."""
    with Store() as store:
        large_association.fill(store, sample_season, people)
        store.run(f"UPDATE published.pub_ranking SET linked_group = 1 + substr(umpire_id, 2)::INTEGER % {groups}")
        texts, scripts = large_association.written(store, sample_season, tmp_path)
    assert len(texts) > people / 40
    assert {path: len(text.encode()) for path, text in texts.items() if len(text.encode()) > LARGEST} == {}
    assert {name: len(content) for name, content in scripts.items() if len(content) > LARGEST} == {}
