"""Method and limits: how every figure is made, how well the models fitted, and what the pages cannot say."""

from __future__ import annotations

from reports.blocks import Cell, Column, Figure, Page, Paragraph, Points, Section, Table
from reports.book import SeasonBook
from reports.figures.charts import spread_chart
from reports.words import AREAS, count, num, number, percent

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


def method_page(book: SeasonBook) -> Page:
    """Make `method.html`."""
    fits = [{**row, "label": AREAS.get(row["model"], row["model"])} for row in book.rows("fit")]
    table = Table(
        "fits-table",
        "The record of each fit",
        [Column("Model"), Column("Observations", "num"), Column("Cells", "num"), Column("Intercept", "num"), Column("SD umpires", "num"),
         Column("SD evaluators", "num"), Column("SD situations", "num"), Column("SD games", "num"), Column("Log-likelihood", "num"),
         Column("Steps", "num"), Column("Outcome"), Column("In words", "long")],
        [
            [
                Cell(row["label"]),
                num(row["observations"], count(row["observations"])),
                num(row["cells"], count(row["cells"])),
                *(num(row[key], number(row[key])) for key in ("intercept", "sd_umpire", "sd_evaluator", "sd_situation", "sd_game")),
                num(row["log_likelihood"], number(row["log_likelihood"])),
                num(row["iterations"], count(row["iterations"])),
                Cell(row["outcome"]),
                Cell(row["message"] or ""),
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
            Column("Standards", "long"),
            Column("Least evidence", "long"),
            Column("Accepted risk", "long"),
        ],
        [
            [
                Cell(level.title),
                Cell("; ".join(f"{AREAS[area]} {percent(cut, 0)}" for area, cut in level.standards.items())),
                Cell(
                    f"{level.evidence.games} games, {level.evidence.calls} calls, {level.evidence.evaluators} evaluators"
                ),
                Cell(
                    f"ready in error {percent(level.risk_ready, 0)}; not yet in error {percent(level.risk_not_yet, 0)}"
                ),
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
            Section("policy", "The policy", [levels]),
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
