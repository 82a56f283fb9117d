"""Method and limits: how every figure is made, how well the models fitted, and what the pages cannot say."""

from __future__ import annotations

from pipeline.config import AREA_TITLES
from reports.blocks import Cell, Column, Figure, Page, Paragraph, Points, Section, Table
from reports.book import Row, SeasonBook
from reports.figures.charts import spread_chart
from reports.words import AREAS, CONSEQUENCES, count, num, number, percent, plural, sentence

_CHAIN = [
    "The right ruling of every call is derived from the recorded facts under the rule code of the game's date. The evaluator's grade is never used as the truth.",
    "A pitch is a strike when any part of the ball touches any part of the zone. A measured pitch whose chance of being right lies between the policy's limits is an edge pitch: counted neither way.",
    "A call that a missing fact leaves open counts neither way, and says which fact would settle it.",
    "The adjusted rate comes from a logistic model with crossed random effects of umpire, evaluator, situation and game within umpire (maximum likelihood by Laplace's approximation; Gaussian draws of the effects). It is stated for an average evaluator and the season's own mix of situations.",
    "Readiness is the share of joint draws in which an umpire meets every standard of the level above. Ready and not yet follow from the risks that the policy accepts; everything else is more looks.",
    "Plain shares carry Wilson intervals.",
]
_LIMITS = [
    "Areas are fitted one by one: skill in one area tells the model nothing about another, which makes thin areas look less certain than they may be.",
    "The errors of measured locations are the policy's figures, not estimated here. Scores by eye carry large ones.",
    "The evaluator's facts are taken as written. Where an evaluator writes down the wrong fact, the ruling follows it.",
    "Topics 6 to 13 of plate work (interference, obstruction, bats, illegal pitches, umpire interference, lodged balls, equipment) have no rules yet, save changing boxes: such calls are shown as open and graded for nobody.",
    "Umpires whom no chain of common evaluators links are never compared.",
    "Rules marked as from memory or concluded were not read word for word.",
]
_CAUTIONS = [
    "These pages inform a decision about a person; they do not make it. The committee's own judgement, and the person's right to be heard and to appeal, come first.",
    "Nothing about a person but the work is used.",
    "Working the plate carries risk: foul balls, head injuries, heat. Local codes, the governing body's equipment rules and medical advice prevail over anything said here; after a blow to the head, stop and see a doctor.",
]

_POLICY_MARGIN = (
    "A cut is the least adjusted rate. Whoever is judged for a level has to meet all cuts of its row at once. "
    "A dash: the level sets no standard there."
)


def method_page(book: SeasonBook) -> Page:
    """Make `method.html`."""
    order = list(AREAS)
    fits = sorted(
        ({**row, "label": AREAS.get(row["model"], row["model"])} for row in book.rows("fit")),
        key=lambda row: (order.index(row["model"]) if row["model"] in order else len(order), row["model"]),
    )
    table = Table(
        "fits-table",
        "The record of each fit",
        [Column("Model"), Column("Observations", "num"), Column("Intercept", "num"), Column("SD umpires", "num"),
         Column("SD evaluators", "num"), Column("SD situations", "num"), Column("SD games", "num"), Column("Log-likelihood", "num"),
         Column("Outcome", "long")],
        [
            [
                Cell(row["label"]),
                num(row["observations"], count(row["observations"])),
                *(num(row[key], number(row[key])) for key in ("intercept", "sd_umpire", "sd_evaluator", "sd_situation", "sd_game")),
                num(row["log_likelihood"], number(row["log_likelihood"])),
                Cell(_outcome(row)),
            ]
            for row in fits
        ],
        empty="No model was fitted.",
    )  # fmt: skip
    spread = Figure(
        "spread",
        "What right calls depend on: how far umpires, evaluators, situations and games differ.",
        spread_chart(fits),
        table,
    )
    levels = Table(
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
            for level in book.policy.levels
        ],
    )
    return Page(
        path="method.html",
        title="Method and limits",
        lead=["How the figures are made, how well the models fitted, and what these pages cannot say."],
        sections=[
            Section("cautions", "Before anything else", [Paragraph([text], tone="caution") for text in _CAUTIONS]),
            Section("chain", "From a call to a reading", [Points([[text] for text in _CHAIN])]),
            Section("policy", "The policy", [levels, *_other_settings(book)], margin=[_POLICY_MARGIN]),
            Section(
                "fits",
                "The fits",
                [spread],
                margin=["Singular: no spread was found for some effect; its figure is at the edge of what can be."],
            ),
            Section("limits", "Limits", [Points([[text] for text in _LIMITS])]),
        ],
        nav="method.html",
    )


def _other_settings(book: SeasonBook) -> list[Table]:
    policy = book.policy
    measured = policy.measurement
    settings = [
        ("Interval of every estimate", percent(policy.interval, 0)),
        ("Spread of a tracked location (standard deviation)", f"{number(measured.tracked_sd_in)} in"),
        ("Spread of a location from video", f"{number(measured.video_sd_in)} in"),
        ("Spread of a location by eye", f"{number(measured.eye_sd_in)} in"),
        (
            "Chance of being right within which a pitch is an edge pitch",
            f"{percent(measured.edge_low, 0)} to {percent(measured.edge_high, 0)}",
        ),
        *(
            (f"Weight of a misruling that costs {CONSEQUENCES[name]}", number(weight, 1))
            for name, weight in policy.consequence_weights.items()
        ),
        ("Draws of the joint posterior", count(policy.draws)),
        ("Seed", str(policy.seed)),
    ]
    limits = [
        (f"{level.title}: misrulings allowed that cost {CONSEQUENCES[name]}", count(most))
        for level in policy.levels
        for name, most in level.disqualifying.items()
    ]
    return [
        Table(
            "settings-table",
            "Everything else that the figures depend on",
            [Column("Setting"), Column("Value", "num")],
            [[Cell(name), Cell(value)] for name, value in [*settings, *limits]],
        )
    ]


def _outcome(row: Row) -> str:
    steps = "" if row["iterations"] is None else f" in {plural(row['iterations'], 'step')}"
    message = f": {row['message']}" if row["message"] else ""
    return sentence(f"{row['outcome'].replace('_', ' ')}{steps}{message}")
