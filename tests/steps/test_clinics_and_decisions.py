"""A small season with hit batters ruled wrongly: sessions, plays, and decisions that move no score."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import pytest

from pipeline import run as whole_run
from pipeline.checks import check
from pipeline.checks.validation import Validated
from pipeline.config import Clinics, Evidence, Level, Policy, RunConfig
from pipeline.errors import InputError
from pipeline.item_lists import asked_in_lists
from pipeline.rulings.clinic_plays import Wanted, dealt, make_clinic_plays, shared_out
from pipeline.store import Store

LEVELS = (Level("low", "Lower", {"hit_batter": 0.5}, Evidence(1, 1, 1)), Level("high", "Upper", {"hit_batter": 0.6}))
CLINICS = Clinics(sessions=2, seats=2, subjects=1, plays=3, sessions_a_person=1)
POLICY = Policy("T", "", dt.date(2026, 3, 1), dt.date(2026, 6, 30), LEVELS, draws=200, clinics=CLINICS)
HEAD = (
    "call_id,game_id,evaluator_id,outs,balls,strikes,touched,touch_place,avoidance,could_avoid,location_at_touch,pitch_caught,"
    "ruled_batter,ruled_ball_status"
)
# High school: a batter who stands still and could have avoided the pitch is not awarded first base (7-3-4).
FROZE = "1,{balls},1,person,{place},froze,yes,in_batters_box,no"
TRIED = "0,{balls},2,person,{place},tried,,in_batters_box,no"


def calls() -> list[str]:
    """Umpires U1 to U4: U1 gives first base to the batter who froze, U2 denies it to the one who tried; U3, U4 are right."""
    rows = [HEAD]
    for umpire in (1, 2, 3, 4):
        for number, place in enumerate(("arm", "back", "leg", "hip")):
            base = "first_base" if umpire == 1 else "at_bat"
            rows.append(f"F{umpire}{number},G{umpire},E1,{FROZE.format(balls=number % 3, place=place)},{base},dead")
            base = "at_bat" if umpire == 2 and number < 2 else "first_base"
            rows.append(f"T{umpire}{number},G{umpire},E1,{TRIED.format(balls=number % 3, place=place)},{base},dead")
    return rows


SHEETS = {
    "umpires": ["umpire_id,name,level", *(f"U{n},Quorlby{n} Vant{n},low" for n in (1, 2, 3, 4))],
    "evaluators": ["evaluator_id,name", "E1,Eva Zimmerlo"],
    "games": [
        "game_id,date,level,rule_code,plate_umpire_id",
        *(f"G{n},2026-04-0{n},low,nfhs,U{n}" for n in (1, 2, 3, 4)),
    ],
    "plate_calls": calls(),
}
DECISIONS = [
    "umpire_id,level,decision,date,decided_by,reasons",
    "U1,high,keep,2026-05-01,,to learn who earns first base",
    "U1,high,promote,2026-06-01,chair,=1+1",
    "U2,low,keep,2026-06-01,,",
    "U3,high,other,2026-06-01,,on trial",
    "U4,hihg,keep,2026-06-01,,",
    "U9,high,keep,2026-06-01,,",
]


def season(folder: Path, sheets: dict[str, list[str]]) -> RunConfig:
    where = folder / "season"
    where.mkdir(parents=True)
    for name, lines in sheets.items():
        (where / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return RunConfig(where, folder / "out", POLICY)


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Run the season without and with decisions; return the store of each."""
    found = {}
    with pytest.MonkeyPatch.context() as patch:
        # The second count of the checks takes most of the time, and is looked at elsewhere.
        patch.setattr(check, "confirm", lambda *_: Validated({}, {}, {}, {}))
        for name, more in (("without", {}), ("with", {"decisions": DECISIONS})):
            config = season(tmp_path_factory.mktemp(name), {**SHEETS, **more})
            whole_run.run_stages(config, whole_run.STAGES)
            found[name] = config.out
    return found


@pytest.fixture
def store(runs: dict[str, Path]):
    with Store(runs["with"] / "season.duckdb", read_only=True) as opened:
        yield opened


def test_whoever_ruled_wrongly_is_asked_and_nobody_else(store):
    rows = store.rows(
        "SELECT umpire_id, topic, times, chances, knowledge, misruling_codes, misruling_times FROM scores.clinic_attendee "
        "ORDER BY umpire_id"
    )
    assert rows == [
        ("U1", "hit_batter", 4, 8, "not_asked", "hit_batter.batter.first_base_for_at_bat", "4"),
        ("U2", "hit_batter", 2, 8, "not_asked", "hit_batter.batter.at_bat_for_first_base", "2"),
    ]
    (plan,) = store.records("SELECT * FROM published.pub_clinic_plan")
    assert (plan["sessions"], plan["attendees"], plan["wrong_seen"], plan["umpires_wrong"]) == (1, 2, 6, 2)


def test_the_session_its_subject_and_its_people_add_up(store):
    (session,) = store.records("SELECT * FROM published.pub_clinic_session")
    (subject,) = store.records("SELECT * FROM published.pub_clinic_subject")
    people = store.records("SELECT * FROM published.pub_clinic_attendee")
    for whole, part in ((session, subject), (subject, {n: sum(row[n] for row in people) for n in ("expected_wrong", "removed")})):
        assert whole["expected_wrong"] == pytest.approx(part["expected_wrong"], abs=1e-5)
        assert whole["removed"] == pytest.approx(part["removed"], abs=1e-5)
    # Nobody was asked a quiz item and nothing is a matter of the eye: the mean of 0.4 and 0.2.
    assert session["removed"] == pytest.approx(0.3 * session["expected_wrong"], abs=1e-5)
    assert session["form"] == subject["form"] == "room"


def test_the_plays_tell_of_nobody_and_each_has_its_key_and_reasons(store):
    plays = store.records("SELECT * FROM published.pub_clinic_play ORDER BY session, number")
    assert [play["number"] for play in plays] == [1, 2, 3]
    for play in plays:
        assert play["topic"] == "hit_batter"
        assert play[f"option_{play['key']}"]
        assert play[f"why_{play['key']}"] is None
        assert play["because"]
        text = " ".join(str(value) for value in play.values())
        assert not any(word in text for word in ("Quorlby", "Vant", "Zimmerlo", "U1", "U2", "G1", "F10", "T20"))
    assert len({play["stem"] for play in plays}) == 3


def test_what_the_next_quiz_asks_is_not_played(runs, tmp_path):
    """The three plays become the next quiz: made again with it to be avoided, none of them comes back."""
    with Store(runs["with"] / "season.duckdb", read_only=True) as opened:
        before = opened.records("SELECT * FROM rulings.clinic_play ORDER BY number")
        tables = {name: opened.frame(f"SELECT * FROM {name}") for name in
                  ("scores.clinic_subject", "facts.fct_call", "scores.call_grade")}  # fmt: skip
    quiz = tmp_path / "next_quiz.csv"
    columns = ["item_id", "rule_code", "topic", "stem", "option_a", "option_b", "key", *HEAD.split(",")[3:12]]
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    # The facts of the season's own misruled calls, as items of a quiz: the plays rest on them.
    number = 0
    for line in calls()[1:]:
        cells = line.split(",")
        if (cells[0][1] == "1" and cells[-2] == "first_base") or (cells[0][1] == "2" and cells[-2] == "at_bat"):
            number += 1
            writer.writerow([f"I{number}", "nfhs", "hit batter", "What?", "this", "that", "a", *cells[3:12]])
    quiz.write_text(stream.getvalue(), encoding="utf-8")
    asked = asked_in_lists([quiz], dt.date(2026, 6, 30))
    assert asked
    config = RunConfig(tmp_path, tmp_path, POLICY)
    stems = {}
    for name, avoid in (("all", set()), ("avoided", asked)):
        with Store() as again:
            for table, frame in tables.items():
                again.connection.register("frame", frame)
                again.run(f"CREATE TABLE {table} AS SELECT * FROM frame")
                again.connection.unregister("frame")
            make_clinic_plays(config, again, avoid)
            stems[name] = again.rows("SELECT stem, origin FROM rulings.clinic_play ORDER BY number")
    assert [stem for stem, _ in stems["all"]] == [row["stem"] for row in before]
    assert stems["avoided"]
    # What was misruled on facts that the quiz asks about is gone; worked cases of the rules stand in.
    assert not {stem for stem, _ in stems["avoided"]} & {stem for stem, origin in stems["all"] if "season" in origin}


def test_plays_are_shared_out_evenly_and_what_only_the_eye_decides_gets_none():
    def row(session: int, topic: str, judged: float) -> dict[str, object]:
        return {"session": session, "topic": topic, "judged_share": judged}

    wanted = shared_out([row(1, "a", 0.1), row(1, "b", 0.2), row(2, "pitch", 0.99), row(2, "c", 0), row(3, "pitch", 1)], 5)
    assert [(one.session, one.topic, one.number) for one in wanted] == [(1, "a", 3), (1, "b", 2), (2, "c", 5)]


def test_sessions_share_plays_only_when_there_are_no_more():
    wanted = [Wanted(1, "a", 2), Wanted(2, "a", 2), Wanted(3, "a", 9), Wanted(3, "b", 1)]
    found = [items for _, items in dealt(wanted, {"a": ["p", "q", "r"], "b": []})]
    assert found == [["p", "q"], ["r", "p"], ["q", "r", "p"], []]


def test_a_list_to_avoid_that_is_not_there_stops_the_run_before_it_begins(tmp_path):
    config = season(tmp_path, SHEETS)
    policy = Policy("T", "", None, None, LEVELS, clinics=Clinics(avoid=("next.csv",)))
    with pytest.raises(InputError, match=r"names a sheet of quiz items that is not there: .*next\.csv"):
        whole_run.run_stages(RunConfig(config.season, config.out, policy, config.season / "policy.toml"), ("load",))
    assert not config.store_path.exists()


def test_decisions_are_kept_and_set_beside_the_advice(store):
    verdicts = dict(store.rows("SELECT umpire_id, verdict FROM scores.readiness"))
    rows = {
        (row["umpire_id"], row["level"], row["decided_on"].isoformat()): row
        for row in store.records("SELECT * FROM published.pub_committee_decision")
    }
    assert sorted(rows) == [
        ("U1", "high", "2026-05-01"), ("U1", "high", "2026-06-01"), ("U2", "low", "2026-06-01"),
        ("U3", "high", "2026-06-01"), ("U4", "hihg", "2026-06-01"),
    ]  # fmt: skip
    advised = {"ready": "promote", "not_yet": "keep", "more_looks": "more_looks"}[verdicts["U1"]]
    for day, decision in (("2026-05-01", "keep"), ("2026-06-01", "promote")):
        row = rows["U1", "high", day]
        assert row["decision"] == decision
        assert row["comparison"] == ("agrees" if decision == advised else "differs")
        assert row["is_latest"] == (day == "2026-06-01")
        assert row["verdict"] == verdicts["U1"]
    # Judged for the upper level, so nothing is said of the lower one; another decision has no reading to stand beside.
    assert [rows[key]["comparison"] for key in sorted(rows)[2:]] == ["not_compared"] * 3


def test_an_umpire_of_no_roster_is_set_aside_and_a_level_of_no_policy_is_a_finding(store):
    assert store.rows("SELECT path, line_no, column_name FROM meta.reject") == [("decisions.csv", 7, "umpire_id")]
    found = store.rows("SELECT finding_id, remedy FROM meta.finding WHERE table_name = 'decisions'")
    assert [finding for finding, _ in found] == ["unknown_level/decisions/hihg"]
    assert "did you mean 'high'" in found[0][1]


def test_decisions_move_no_score(runs):
    with Store(runs["without"] / "season.duckdb", read_only=True) as one, Store(runs["with"] / "season.duckdb", read_only=True) as two:
        names = [
            f"{schema}.{name}"
            for schema, name in one.rows(
                "SELECT table_schema, table_name FROM information_schema.tables "
                "WHERE table_schema IN ('rulings', 'scores') ORDER BY 1, 2"
            )
        ]
        assert len(names) > 30
        for name in names:
            assert one.rows(f"SELECT * FROM {name} ORDER BY ALL") == two.rows(f"SELECT * FROM {name} ORDER BY ALL"), name


def test_the_class_sheet_has_no_key_and_no_name_and_leads_nowhere(runs, store):
    site = runs["with"] / "site"
    text = (site / "clinics" / "session-1-class.html").read_text(encoding="utf-8")
    play = store.records("SELECT * FROM published.pub_clinic_play WHERE number = 1")[0]
    assert play["stem"].split(". ")[1] in text
    assert play["because"] not in text
    assert not any(word in text for word in ("Quorlby", "Vant", "Zimmerlo", "Key", "wrong ruling"))
    assert text.count("<a ") == 1  # the way past the head of the page to its content
    trainer = (site / "clinics" / "session-1-trainer.html").read_text(encoding="utf-8")
    assert all(word in trainer for word in ("Quorlby1", "Quorlby2", "Key", "helmet"))
    assert "Quorlby3" not in trainer


def test_the_minutes_have_everybody_once_with_the_advice_and_room_for_the_decision(runs):
    pages = sorted((runs["with"] / "site" / "decisions").glob("*.html"))
    text = " ".join(page.read_text(encoding="utf-8") for page in pages)
    for number in (1, 2, 3, 4):
        assert text.count(f'id="minutes-U{number}"') == 1
    assert text.count('class="box"') == 4 * 4
    front = (runs["with"] / "site" / "decisions.html").read_text(encoding="utf-8")
    assert "=1+1" in front
    assert "No decision was handed in" in (runs["without"] / "site" / "decisions.html").read_text(encoding="utf-8")


def test_many_sessions_have_a_page_each_and_a_few_share_one(runs, tmp_path):
    from reports.book import SeasonBook
    from reports.links import Atlas, SiteLinks
    from reports.long_lists import LongLists
    from reports.pages.clinics import clinics_pages

    def files(store) -> list[str]:
        book = SeasonBook(POLICY, store)
        atlas = Atlas.of(book)
        return [page.path for page in clinics_pages(book, SiteLinks(atlas, ""), LongLists())]

    copy = tmp_path / "season.duckdb"
    copy.write_bytes((runs["with"] / "season.duckdb").read_bytes())
    with Store(copy) as opened:
        assert files(opened) == ["clinics.html"]
        opened.run("INSERT INTO published.pub_clinic_session SELECT * EXCLUDE (k) REPLACE (session + k AS session) FROM published.pub_clinic_session, range(1, 7) AS r(k)")
        assert files(opened) == ["clinics.html", *(f"clinics/session-{number}.html" for number in range(1, 8))]
