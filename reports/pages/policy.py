"""The policy in force, in words: levels, standards, evidence, risks, and what each setting does."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.config import AREA_TITLES, Level, Policy
from reports.blocks import Block, Cell, Column, Points, Table
from reports.book import Row, SeasonBook
from reports.words import CODES, CONSEQUENCES, NOTHING, count, num, number, percent, plural, sentence

_SETTLED = {"policy": "the policy", "rule": "the words of the rule", "nobody": "nobody: such a ruling stays open"}


def policy_blocks(book: SeasonBook) -> list[Block]:
    """Return the blocks of the section on the policy."""
    policy = book.policy
    blocks: list[Block] = [
        Points([[text] for text in level_sentences(policy, level)], title=f"Level {level.title}")
        for level in policy.levels
    ]
    return [_levels_table(policy), *blocks, _settings_table(policy), _options_table(book.rows("rule_option"))]


def level_sentences(policy: Policy, level: Level) -> list[str]:
    """Say what a level asks for, sentence by sentence."""
    own = [one for one in policy.levels if policy.level_above(one.id) is level]
    workers = " and ".join(f"those who work {one.title}" for one in own)
    judged = f"{workers} are judged by this level" if own else "nobody is judged by this level: it is the lowest"
    cuts = ", ".join(
        f"{AREA_TITLES[area].lower()} {percent(level.standards[area])}"
        for area in AREA_TITLES
        if area in level.standards
    )
    evidence = level.evidence
    texts = [
        judged,
        f"all of these at once are asked for, as adjusted rates: {cuts}"
        if cuts
        else "no area has a standard, so nothing can be judged",
        f"before any reading but more looks: at least {plural(evidence.games, 'game')}, "
        f"{plural(evidence.calls, 'graded call')} and {plural(evidence.evaluators, 'evaluator')}, and something seen in "
        "every area with a standard",
        f"ready is said when the chance of meeting all standards is at least {percent(1 - level.risk_ready, 0)}: of "
        f"those called ready, up to {percent(level.risk_ready, 0)} may be below a standard",
        f"not yet is said when that chance is at most {percent(level.risk_not_yet, 0)}; in between, more looks",
    ]
    texts += [
        f"with more than {plural(most, 'misruling')} that cost {CONSEQUENCES[name]} it is not yet, whatever the rates"
        for name, most in level.disqualifying.items()
    ]
    if not level.disqualifying:
        texts.append("no number of misrulings decides by itself")
    return [sentence(text) for text in texts]


def _levels_table(policy: Policy) -> Table:
    return Table(
        "policy-table",
        "What the committee decided before the season",
        [
            Column("Level"),
            *(Column(title, "num") for title in AREA_TITLES.values()),
            Column("Least games", "num"),
            Column("Least calls", "num"),
            Column("Least evaluators", "num"),
            Column("Risk of ready in error", "num"),
            Column("Risk of not yet in error", "num"),
        ],
        [
            [
                Cell(level.title),
                *(num(level.standards.get(area), percent(level.standards.get(area))) for area in AREA_TITLES),
                num(level.evidence.games, count(level.evidence.games)),
                num(level.evidence.calls, count(level.evidence.calls)),
                num(level.evidence.evaluators, count(level.evidence.evaluators)),
                num(level.risk_ready, percent(level.risk_ready, 0)),
                num(level.risk_not_yet, percent(level.risk_not_yet, 0)),
            ]
            for level in policy.levels
        ],
    )


def settings(policy: Policy) -> list[tuple[str, str, str]]:
    """Return every other setting: its key in the policy file, its value, and what it does."""
    measured, weights = policy.measurement, policy.consequence_weights
    rows = [
        ("scoring.interval", percent(policy.interval, 0), "Width of the interval shown with every estimate. It moves no reading."),
        ("scoring.draws", count(policy.draws), "Simulated seasons on which every chance is counted; more make chances steadier."),
        ("scoring.seed", str(policy.seed), "Where the simulation starts: the same seed gives the same pages."),
        ("measurement.tracked_sd_in", f"{number(measured.tracked_sd_in)} in", "How far a tracked location may be off (standard deviation). A larger one makes more pitches edge pitches."),
        ("measurement.video_sd_in", f"{number(measured.video_sd_in)} in", "The same for a location read from video."),
        ("measurement.eye_sd_in", f"{number(measured.eye_sd_in)} in", "The same for a location judged by eye."),
        ("measurement.edge_low", percent(measured.edge_low, 0), "A call less likely right than this is wrong."),
        ("measurement.edge_high", percent(measured.edge_high, 0), "A call more likely right than this is right; between the two it is an edge pitch and counts neither way."),
    ]  # fmt: skip
    rows += [
        (
            f"consequence_weights.{name}",
            number(weight, 1),
            f"How much a misruling that costs {CONSEQUENCES[name]} weighs when topics for clinics are ranked. It "
            "moves no reading.",
        )
        for name, weight in weights.items()
    ]
    plan = policy.clinics
    rows += [
        ("clinics.sessions", count(plan.sessions), "Clinic sessions to plan. The plan moves no reading."),
        ("clinics.seats", count(plan.seats), "People in one session."),
        ("clinics.subjects", count(plan.subjects), "Subjects taught in one session."),
        ("clinics.plays", count(plan.plays), "Case plays for one session."),
        ("clinics.sessions_a_person", count(plan.sessions_a_person), "At most so many sessions for one umpire."),
        ("clinics.share_removed_rules", percent(plan.share_removed_rules, 0), "An assumption, taken from no source: what share of somebody's wrong rulings on a subject one session removes where the rule is not known."),
        ("clinics.share_removed_practice", percent(plan.share_removed_practice, 0), "The same where the rule is known, or is a matter of the eye."),
        ("clinics.share_removed_off", percent(plan.share_removed_off, 0), "How far off both may be, up or down, as a share of themselves."),
        ("clinics.avoid", ", ".join(plan.avoid) or NOTHING, "Sheets of quiz items whose questions no case play asks."),
    ]  # fmt: skip
    season = [
        ("season.first_day", policy.first_day.isoformat() if policy.first_day else NOTHING, "Games before it are pointed out."),
        ("season.last_day", policy.last_day.isoformat() if policy.last_day else NOTHING, "Games after it are pointed out."),
    ]  # fmt: skip
    return [*rows, *season]


def _settings_table(policy: Policy) -> Table:
    return Table(
        "settings-table",
        "Everything else that the figures depend on",
        [Column("Setting"), Column("Value", "num"), Column("What it does", "long")],
        [[Cell(name), Cell(value), Cell(text)] for name, value, text in settings(policy)],
    )


def _options_table(rows: Sequence[Row]) -> Table:
    return Table(
        "rule-options-table",
        "Points that the rule books leave to the league ([rule_options])",
        [
            Column("Setting"),
            Column("What is settled", "long"),
            Column("This season"),
            Column("Settled by"),
            Column("Choices", "long"),
            Column("Codes"),
        ],
        [
            [
                Cell(f"rule_options.{row['option_id']}"),
                Cell(sentence(row["title"])),
                Cell((row["in_force"] or NOTHING).replace("_", " ")),
                Cell(_SETTLED[row["settled_by"]]),
                Cell(row["choices"].replace("_", " ")),
                Cell(", ".join(CODES.get(code, code) for code in row["codes"].split(", "))),
            ]
            for row in rows
        ],
        empty="The rules leave no point to the league.",
    )
