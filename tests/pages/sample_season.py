"""A small published season made by hand: names and ids that bite, thin evidence, tables that are empty."""

from __future__ import annotations

import datetime as dt

from pipeline.config import Evidence, Level, Policy
from schemas import layer_tables

NAMES = {
    "U1": "Plain Person",
    "u1": 'O\'Neil & "Sons" <3',
    "../../etc/passwd": '<script>alert("x")</script>',
    "CON": '<a href="https://outside.example/">click</a>',
    "a b/c": '" onmouseover="alert(1)',
    "Ü9": "line\u2028break {{ 7 * 7 }}",
    "<img src=x>": '=HYPERLINK("http://outside.example","x")',
    "thin": "N" * 200,
}
"""The umpires. The last was never seen; all others have calls."""

EVALUATORS = {"E1": "Ordinary Evaluator", "</script><b>": "<b>Bold</b> Evaluator"}

POLICY = Policy(
    title="Sample <season> & more",
    association='Association "of" <samples>',
    first_day=dt.date(2026, 3, 1),
    last_day=dt.date(2026, 6, 30),
    levels=(
        Level("low", "Lower", {"pitches": 0.9, "hit_batter": 0.6}, Evidence(1, 2, 1)),
        Level("high", "Upper <level>", {"pitches": 0.915, "hit_batter": 0.7}, Evidence(2, 4, 2)),
    ),
)


def make_tables(store):
    """Make every published table, empty."""
    for table in layer_tables("published"):
        columns = ", ".join(f'"{field.name}" {field.duckdb_type}' for field in table.fields)
        store.run(f"CREATE OR REPLACE TABLE published.{table.name} ({columns})")


def add(store, table, **values):
    """Add one row; columns that are not given stay blank."""
    columns = ", ".join(f'"{name}"' for name in values)
    marks = ", ".join("?" for _ in values)
    store.run(f"INSERT INTO published.{table} ({columns}) VALUES ({marks})", list(values.values()))


def season_row(store, **changed):
    """Add the one row of the season."""
    counts = dict.fromkeys(
        ("umpires", "evaluators", "games", "calls_in", "calls_accepted", "calls_quarantined", "calls_right",
         "calls_wrong", "calls_edge", "calls_open", "calls_not_graded", "findings"), 0,
    )  # fmt: skip
    row = {
        "title": POLICY.title,
        "association": POLICY.association,
        "generated_by": "platework test",
        "interval": 0.9,
        **counts,
        **changed,
    }
    add(store, "pub_season", **row)


def fill(store):
    """Fill a store with the sample season."""
    make_tables(store)
    season_row(store, umpires=8, evaluators=2, games=4, calls_in=29, calls_accepted=28, calls_quarantined=1)
    verdicts = ("ready", "not_yet", "more_looks")
    for place, (umpire, name) in enumerate(NAMES.items()):
        seen = umpire != "thin"
        add(
            store, "pub_readiness", umpire_id=umpire, name=name, level="low", level_title="Lower",
            target_level="high", target_title="Upper <level>", verdict=verdicts[place % 3] if seen else "more_looks",
            decided_by="A clause <of the rule>", probability=0.1 * place if seen else None, games=2 if seen else 0, calls=4 if seen else 0,
            evaluators=2 if seen else 0, evidence_ok=seen, nearest_area="pitches" if seen else None,
            nearest_cut=0.915 if seen else None, nearest_estimate=0.9 if seen else None,
            reasons_for="First reason; second reason", reasons_against="", would_change="More of <this>",
            looks_needed=10 if seen else None, linked_group=1 + place % 2 if seen else None,
        )  # fmt: skip
        for area, cut in POLICY.levels[1].standards.items():
            add(
                store, "pub_standard", umpire_id=umpire, target_level="high", area=area, area_title=area, cut=cut,
                estimate=0.9 if seen else None, low=0.8 if seen else None, high=0.95 if seen else None,
                probability=0.4 if seen else None, calls=4 if seen else 0, holds="unsure" if seen else "no_evidence",
            )  # fmt: skip
        if seen:
            _seen(store, place, umpire, name)
    _rest(store)


def _seen(store, place, umpire, name):
    """Add what is known of an umpire with four calls: right, wrong, edge, open."""
    add(
        store, "pub_ranking", level="low", area_or_overall="overall", rank=1 + place // 2, rank_low=1, rank_high=4,
        tie_group=1, umpire_id=umpire, name=name, adjusted_rate=0.9 - place / 100, low=0.8, high=0.95, raw_rate=0.5,
        p_ahead_of_next=0.6, linked_group=1 + place % 2,
    )  # fmt: skip
    for area in ("overall", "pitches"):
        # 0.5 + 0.1 - 0.05 + 0.35 = 0.9
        add(
            store, "pub_umpire_rate", umpire_id=umpire, area=area, calls=2, right_calls=1, raw_rate=0.5, raw_low=0.1,
            raw_high=0.9, adjusted_rate=0.9, adjusted_low=0.8, adjusted_high=0.95, evaluator_points=0.1,
            situation_points=-0.05, shrinkage_points=0.35, games=2, evaluators=2,
        )  # fmt: skip
    evaluators = list(EVALUATORS)
    for number, verdict in enumerate(("right", "wrong", "edge", "open")):
        wrong = verdict == "wrong"
        add(
            store, "pub_call", call_id=f"{umpire}/<{number}>", game_id=f"G<{place}>", game_on=dt.date(2026, 4, 1 + place),
            game_level="low", umpire_id=umpire, evaluator_id=evaluators[number % 2], inning=1, outs=0, balls=1,
            strikes=2, area="pitches", topic="pitch", verdict=verdict, p_right=0.9, ruled_text="strike",
            right_text="ball" if wrong else "strike", misruling_code="pitch.<called>" if wrong else None,
            misruling_title="Ball called <a strike>" if wrong else None, consequence="count" if wrong else None,
            pattern_id="M<1>" if wrong else None, pattern_title="He saw <another> pitch." if wrong else None,
            because="Part of the ball touched <the zone>.", needs="pitch_caught" if verdict == "open" else None,
            state="open" if verdict == "open" else "settled", rule_ids="P502;P<9>", rule_refs="nfhs 7-2",
            confidence="memory", evaluator_grade="right", evaluator_agrees=not wrong,
            note="better than Plain Person" if number == 1 else "</dd><script>alert(2)</script>",
            path=f"plate_calls_{evaluators[number % 2]}.csv", line_no=number + 2, zone_margin_in=1.5 - number,
            ruled_pitch="strike", right_pitch="strike", other_code_note="obr: batter out",
        )  # fmt: skip
    add(store, "pub_umpire_misruling", umpire_id=umpire, misruling_code="pitch.<called>", times=1)
    add(store, "pub_quiz_umpire", umpire_id=umpire, name=name, quiz_id="Q<1>", items=2, answered=2, right_answers=1,
        percent=0.5, low=0.2, high=0.8)  # fmt: skip
    add(store, "pub_positioning", umpire_id=umpire, item="in_slot", checks=4, good=3, rate=0.75, low=0.4, high=0.9)


def _clinics(store):
    """Add a session of one subject for everybody who was seen, a play, and decisions with reasons that bite."""
    effect = {"expected_wrong": 7.0, "removed": 2.1, "removed_low": 0.5, "removed_high": 4.0}
    quiz = {"not_known": 1, "known": 2, "not_clear": 3, "not_asked": 1}
    add(store, "pub_clinic_plan", sessions=1, attendees=7, seats_filled=7, umpires_wrong=7, wrong_seen=7, **effect,
        share_removed_rules=0.4, share_removed_practice=0.2, share_removed_off=0.5)  # fmt: skip
    add(store, "pub_clinic_target", misruling_code="pitch.<called>", place=1, seats_filled=7, **effect, weighted=2.1,
        judged_share=1.0, **quiz)  # fmt: skip
    add(store, "pub_clinic_session", session=1, form="both", topics="pitch;a <topic>", attendees=7, **effect, weighted=2.1)
    for place, (topic, form) in enumerate((("pitch", "field"), ("a <topic>", "room")), 1):
        add(store, "pub_clinic_subject", session=1, place=place, topic=topic, area="pitches", form=form, attendees=7, times=7,
            chances=14, season_times=7, season_chances=14, **effect, judged_share=1.0, **quiz,
            misruling_codes="pitch.<called>", strata="pitch/low/<just_off>")  # fmt: skip
    for place, umpire in enumerate([one for one in NAMES if one != "thin"], 1):
        add(store, "pub_clinic_attendee", session=1, umpire_id=umpire, topic="pitch", place=place, times=1, chances=2, rate=0.5,
            season_rate=0.5, expected_wrong=1.0, removed=0.3, knowledge="not_known", answers=4, right_answers=1,
            misruling_codes="pitch.<called>", misruling_times="1", call_ids=f"{umpire}/<1>;nowhere")  # fmt: skip
        add(store, "pub_committee_decision", umpire_id=umpire, name=NAMES[umpire], level=("high", "gone <level>")[place % 2],
            decided_on=dt.date(2026, 6, 1), decision=("promote", "other")[place % 2], decided_by="<b>chair</b>",
            reasons='=HYPERLINK("http://outside.example","x") <script>alert(3)</script>', verdict=("ready", None)[place % 2],
            comparison=("agrees", "not_compared")[place % 2], is_latest=True)  # fmt: skip
    add(store, "pub_clinic_play", session=1, number=1, item_id="C<1>", topic="a <topic>", rule_code="nfhs",
        stem="A <pitch> comes in. What is the ruling?", option_a="It is a <ball>.", option_b="It is a strike.", why_a="It is <not>.",
        key="b", because="Part of it touched <the zone>.", rule_refs="nfhs 7-2", confidence="memory", difficulty="plain",
        difficulty_why="nothing <pulls>", origin="A worked <case>.")  # fmt: skip
    for level, times in (("low", 7), ("gone <level>", 0)):
        add(store, "pub_level_topic", level=level, topic="pitch", times=times, chances=14, umpires=times, rate=times / 14,
            rate_low=0.0, rate_high=0.7, beside="above" if times else "below")  # fmt: skip


def _rest(store):
    _clinics(store)
    add(
        store, "pub_misruling", misruling_code="pitch.<called>", title="Ball called <a strike>", topic="pitch",
        area="pitches", consequence="count", consequence_weight=1.0, times=7, umpires=7, chances=14, rate=0.5,
        rate_low=0.3, rate_high=0.7, umpire_share=1.0, clinic_score=7.0, explanation="It is a <ball>.",
        rule_refs="nfhs 7-2", example_call_ids="U1/<1>;nowhere",
    )  # fmt: skip
    add(
        store, "pub_pattern", pattern_id="M<1>", precedence=1, kind="judgement", topic="pitch",
        title="He saw <another> pitch.", says="It was <not> so.", true_where="Elsewhere & at home.", codes="nfhs",
        rule_refs="nfhs 7-2", confidence="memory", source="common practice, no source", times=7, also_times=0, umpires=7,
        share=1.0, example_call_ids="U1/<1>;nowhere",
    )  # fmt: skip
    add(store, "pub_pattern_total", misruled=7, explained=7, judged=7, share_explained=1.0)
    add(store, "pub_level_misruling", level="low", misruling_code="pitch.<called>", times=7, chances=14)
    for evaluator, name in EVALUATORS.items():
        add(
            store, "pub_evaluator", evaluator_id=evaluator, name=name, level="high", calls=14, games=2, umpires=7,
            severity_points=-0.02, severity_low=-0.04, severity_high=-0.001, grades=7, agree=6, agree_rate=6 / 7,
            agree_low=0.6, agree_high=0.95, facts_recorded_share=0.75, other_code_suspect="obr", other_code_calls=2,
            message="strict on <b>bold</b> pitches",
        )  # fmt: skip
        add(
            store, "pub_evaluator_misgrade", evaluator_id=evaluator, call_id="U1/<1>", topic="pitch", rule_ids="P502",
            evaluator_grade="right", our_verdict="wrong", because="It was <a ball>.", other_code="obr",
        )  # fmt: skip
    add(store, "pub_quiz_item", item_id="Q<1>-1", rule_code="nfhs", topic="hit batter", stem="Is <b>this</b> right?",
        key="a", key_verdict="wrong", right_options="b", because="Because <i>so</i>.", responses=7, p=0.5,
        withheld=True, most_chosen="a")  # fmt: skip
    add(store, "pub_file", path="plate_calls_<E1>.csv", table_name="plate_calls", sha256="0" * 64, encoding="utf-8",
        delimiter=",", rows_in=29, rows_blank=1, accepted=28, quarantined=1, replaced=0)  # fmt: skip
    add(store, "pub_reject", path="plate_calls_<E1>.csv", line_no=30, table_name="plate_calls", column_name="outs",
        value="<7>", reason="'<7>' is not one of 0, 1, 2", remedy="write 0, 1 or 2", raw_text="x,<7>", stage="load")  # fmt: skip
    add(store, "pub_finding", finding_id="f/1", kind="seen_once", severity="note", table_name="games",
        message="<em>once</em>", evaluator_id="E1")  # fmt: skip
    add(store, "pub_finding", finding_id="f/2", kind="grade_contradicts_rules", severity="warn", table_name="plate_calls",
        message="call is graded <right>", evaluator_id="E1", call_ids="U1/<0>;nowhere", rule_ids="P502;P<9>")  # fmt: skip
    add(store, "pub_finding", finding_id="f/3", kind="facts_differ", severity="warn", table_name="plate_calls",
        message="E1 and another differ", call_ids="U1/<0>;u1/<1>")  # fmt: skip
    for evaluator in EVALUATORS:
        for measure, part in (("facts_recorded", ""), ("wrong_grades", ""), ("wrong_grades", "hit_batter"),
                              ("last_digit", "ball_x_in"), ("days_late", "")):  # fmt: skip
            add(store, "pub_evaluator_health", evaluator_id=evaluator, measure=measure, part=part, cases=60, found=6,
                value=0.1, low=0.05, high=0.2, median=0.077, evaluators=5, p_value=0.0001, p_corrected=0.0002,
                stands_out=True, rule_ids="P502;P<9>", call_ids="U1/<0>;nowhere", remark="left out: <location> (3)")  # fmt: skip
    add(store, "pub_finding_kind", kind="grade_contradicts_rules", severity="warn", title="It is <right>", findings=1,
        files=1, evaluators=1, remedy="look <again>")  # fmt: skip
    add(store, "pub_finding_kind", kind="seen_once", severity="note", findings=1, files=0, evaluators=1)
    add(store, "pub_finding_kind", kind="facts_differ", severity="warn", findings=1, files=0, evaluators=0)
    add(store, "pub_reject_kind", table_name="plate_calls", column_name="outs", stage="load", rows=1, files=1,
        reason="'<7>' is not one of 0, 1, 2", remedy="write 0, 1 or 2")  # fmt: skip
    add(store, "pub_mend", path="<mended>.csv", line_no=2, table_name="plate_calls", state="applied", raw_text="x,<2>",
        original_path="plate_calls_<E1>.csv", original_line_no=30, original_text="x,<7>", original_reason="<7> outs")  # fmt: skip
    add(store, "pub_amendment", call_id="U1/<0>", evaluator_id="E1", amended_on=dt.date(2026, 5, 1), column_name="ruled_pitch",
        sheet_value="strike", value="ball", reason="<b>video</b>", path="amendments.csv", line_no=2)  # fmt: skip
    fact = {"fact": "pitch_caught", "title": "Caught <in> flight", "allowed": "yes or no", "asked": 7, "recorded": 5,
            "open_calls": 2, "settled_alone": 1, "undecided": "strike or <ball>", "call_ids": "U1/<0>;nowhere"}  # fmt: skip
    add(store, "pub_fact", place=1, calls=28, filled=5, recorded_share=5 / 7, **fact)
    add(store, "pub_fact", fact="inning", place=2, title="Inning", allowed="a whole number", calls=28, filled=0, asked=0,
        recorded=0, open_calls=0, settled_alone=0)  # fmt: skip
    for evaluator in EVALUATORS:
        add(store, "pub_evaluator_fact", evaluator_id=evaluator, topics="pitch", **fact)
    add(store, "pub_check", check_id="games.game_id.unique", table_name="games", kind="unique", columns="game_id",
        severity="reject", title="Game id: <once>", rows_checked=4, failed=0, gx_failed=0, gx_scope="whole", agrees=True)  # fmt: skip
    add(store, "pub_check", check_id="across.seen_once", table_name="umpires", kind="across", severity="note",
        title="Seen <more> than once", rows_checked=8, failed=1, gx_scope="sql only")  # fmt: skip
    add(store, "pub_fit", model="overall", observations=14, cells=14, umpires=7, evaluators=2, situations=1, games=4,
        intercept=0.0, sd_umpire=0.5, iterations=3, converged=True, outcome="converged", message="<fitted>")  # fmt: skip
    add(store, "pub_rule", rule_id="P502", topic="pitches", title="A pitch <that> touches the zone is a strike.",
        says="It touched.", codes="nfhs", reference_nfhs="7-2", confidence="memory", times_used=28)  # fmt: skip
