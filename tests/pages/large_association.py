"""A large association made by hand: so many umpires judged, ranked, examined and seen that no page can list them all."""

from __future__ import annotations

from reports.book import SeasonBook
from reports.heads import site_head
from reports.links import Atlas, SiteLinks
from reports.long_lists import LongLists
from reports.pages.board import board_page
from reports.pages.called_zone import called_zone_page
from reports.pages.clinics import clinics_pages
from reports.pages.compare import compare_page
from reports.pages.decisions import decision_pages
from reports.pages.evaluators import evaluators_page
from reports.pages.misrulings import misrulings_page
from reports.pages.quiz import quiz_page
from reports.pages.rankings import rankings_pages
from reports.paper import write_page

PEOPLE = 2_600
LAST = '<b>Zenobia</b> "Last" <script>window.ran = 1</script>'
"""The name of the umpire with the highest number; he stands at the end of every list."""


def fill(store, sample_season, people=PEOPLE):
    """Fill a store with `people` umpires in two levels, who sat two quizzes, all with one misruling, and 70 evaluators.

    Umpire `i` is `U<i>`. The lower the number, the better the umpire.
    """
    sample_season.make_tables(store)
    sample_season.season_row(store, umpires=people, evaluators=70, games=9, calls_in=people, calls_accepted=people)
    names = "CASE WHEN i = $people - 1 THEN $last ELSE 'Person ' || chr((65 + i % 26)::INTEGER) || ' Number ' || i END"
    umpires = f"(SELECT i, 'U' || i AS umpire_id, {names} AS name, i / ($people + 1) AS share, i % 2 = 0 AS even FROM range($people) AS t(i))"

    def add(table, columns, source=umpires):
        words = {name: value for name, value in (("people", people), ("last", LAST)) if f"${name}" in source + columns}
        store.run(f"INSERT INTO published.{table} BY NAME SELECT {columns} FROM {source} AS u", words)

    add(
        "pub_readiness",
        "umpire_id, name, 'low' AS level, 'Lower' AS level_title, if(even, 'high', 'low') AS target_level, "
        "if(even, 'Upper <level>', 'Lower') AS target_title, CASE WHEN share < 0.3 THEN 'ready' WHEN share < 0.7 THEN 'more_looks' "
        "ELSE 'not_yet' END AS verdict, 'a clause' AS decided_by, 1 - share AS probability, 4 AS games, 300 AS calls, 3 AS evaluators, "
        "i % 5 <> 0 AS evidence_ok, 'pitches' AS nearest_area, 0.915 AS nearest_cut, 0.9 AS nearest_estimate, 20 AS looks_needed, "
        "1 AS linked_group",
    )
    add(
        "pub_ranking",
        "umpire_id, name, if(even, 'high', 'low') AS level, 'overall' AS area_or_overall, 1 + i // 2 AS rank, 1 + i // 2 AS rank_low, "
        "10 + i // 2 AS rank_high, 1 + i // 40 AS tie_group, 0.99 - share / 5 AS adjusted_rate, 0.98 - share / 5 AS low, "
        "1 - share / 5 AS high, 0.99 - share / 5 AS raw_rate, 0.55 AS p_ahead_of_next, 1 AS linked_group",
    )
    add(
        "pub_quiz_umpire",
        "umpire_id, name, q AS quiz_id, 40 AS items, 40 AS answered, (40 - 40 * share)::INTEGER AS right_answers, 1 - share AS percent, "
        "0.9 - share * 0.9 AS low, 1 - share * 0.9 AS high, 3 - 6 * share AS measure, 0.4 AS measure_se",
        f"(SELECT * FROM {umpires}, unnest(['Q1', 'Q2']) AS s(q))",
    )
    add(
        "pub_called_zone",
        "umpire_id, edge, 80 AS pitches, 20 AS near_pitches, 0.3 AS offset_in, -0.2 AS low, 0.8 AS high, 1.1 AS sharpness_in, "
        "0.9 AS sharpness_low, 1.4 AS sharpness_high",
        f"(SELECT * FROM {umpires}, unnest(['inside', 'outside', 'high', 'low']) AS s(edge))",
    )
    add("pub_umpire_misruling", "umpire_id, 'pitch.called' AS misruling_code, 1 + ($people - 1 - i) // 100 AS times")
    sample_season.add(
        store, "pub_misruling", misruling_code="pitch.called", title="Ball called a strike", topic="pitch", area="pitches",
        consequence="count", consequence_weight=1.0, times=9000, umpires=people, chances=90_000, rate=0.1, rate_low=0.09,
        rate_high=0.11, umpire_share=1.0, clinic_score=7.0, explanation="It is a ball.",
    )  # fmt: skip
    sample_season.add(
        store, "pub_called_zone_fit", outcome="converged", message="converged", pitches=80 * people, umpires=people, zone_low_in=18.0,
        zone_high_in=42.0, plate_half_width_in=8.5, log_likelihood=-9.0, evaluations=7,
    )  # fmt: skip
    for place in range(3):
        sample_season.add(
            store, "pub_quiz_item", item_id=f"I{place}", rule_code="nfhs", topic="pitch", stem="Is it?", key="a",
            key_verdict="confirmed", responses=people, p=0.5, withheld=False, difficulty=float(place), difficulty_se=0.1, infit=1.0,
            outfit=1.0,
        )  # fmt: skip
    add(
        "pub_evaluator",
        "'E' || i AS evaluator_id, 'Evaluator Number ' || i AS name, 300 AS calls, 4 AS games, 9 AS umpires, 0.0 AS severity_points, "
        "-0.1 AS severity_low, 0.1 AS severity_high, 200 AS grades, 190 AS agree, 0.95 AS agree_rate, 0.9 AS agree_low, "
        "0.98 AS agree_high, 0.9 AS facts_recorded_share",
        "(SELECT * FROM range(70) AS t(i))",
    )
    add(
        "pub_committee_decision",
        "umpire_id, name, 'low' AS level, DATE '2026-06-01' AS decided_on, 'promote' AS decision, 'chair' AS decided_by, "
        "repeat('He has earned it by his work. ', 12) AS reasons, 'ready' AS verdict, 1 - share AS probability, 'agrees' AS comparison, "
        "true AS is_latest",
        f"(SELECT * FROM {umpires} WHERE i % 10 = 3)",
    )


def written(store, sample_season, folder):
    """Write the pages that list people, with their parts; return their texts by path, and the lists' data by name."""
    book, lists = SeasonBook(sample_season.POLICY, store), LongLists()
    atlas = Atlas.of(book)
    top, head = SiteLinks(atlas, ""), site_head(book)
    one = (board_page, misrulings_page, called_zone_page, evaluators_page, quiz_page)
    pages = [
        *(make(book, top, lists) for make in one),
        *rankings_pages(book, top, lists),
        *clinics_pages(book, top, lists),
        *decision_pages(book, top, SiteLinks(atlas, "../"), lists),
        compare_page(book, top),
    ]
    for page in (*pages, *lists.pages()):
        write_page(folder, page, head)
    texts = {
        path.relative_to(folder).as_posix(): path.read_text(encoding="utf-8") for path in sorted(folder.rglob("*.html"))
    }
    return texts, dict(lists.scripts())
