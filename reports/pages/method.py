"""Method and limits: how every figure is made, how well the models fitted, and what the pages cannot say."""

from __future__ import annotations

from reports.blocks import Cell, Column, Figure, Link, Page, Paragraph, Points, Section, Table
from reports.book import Row, SeasonBook
from reports.figures.charts import spread_chart
from reports.pages.policy import policy_blocks
from reports.pages.validity import PATH, TITLE
from reports.pages.validity_words import kept_sentence
from reports.words import AREAS, count, num, number, plural, sentence
from schemas.known_truth import known_truth

_CHAIN = [
    "The right ruling of every call is derived from the recorded facts under the rule code of the game's date. The evaluator's grade is never used as the truth.",
    "A pitch is a strike when any part of the ball touches any part of the zone. A measured pitch whose chance of being right lies between the policy's limits is an edge pitch: counted neither way.",
    "A call that a missing fact leaves open counts neither way, and says which fact would settle it.",
    "The adjusted rate comes from a logistic model with crossed random effects of umpire, evaluator, situation and game within umpire (maximum likelihood by Laplace's approximation; Gaussian draws of the effects). It is stated for an average evaluator and the season's own mix of situations.",
    "Readiness is the share of joint draws in which an umpire meets every standard of the level above. Ready and not yet follow from the risks that the policy accepts; everything else is more looks.",
    "More looks says how many and where: the smallest number that would draw the joint draws together far enough, if the rates stay as they are. A rough guide.",
    "Growth is a slope over days for each umpire about a common trend, fitted jointly with evaluators' drift by the same weighting of calls; it is stated as the change of the adjusted rate from the first game to the last.",
    "Plain shares carry Wilson intervals.",
]
_LIMITS = [
    "Areas are fitted one by one: skill in one area tells the model nothing about another, which makes thin areas look less certain than they may be.",
    "The errors of measured locations are the policy's figures, not estimated here. Scores by eye carry large ones.",
    "The evaluator's facts are taken as written. Where an evaluator writes down the wrong fact, the ruling follows it.",
    "Where no text of a rule was found, the call is shown as open and graded for nobody.",
    "Growth cannot tell a trend of all umpires from a trend of all evaluators: the common trend counts as growth.",
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
    "A dash: the level sets no standard there. Before a setting is changed, `platework score SEASON --what-if "
    "OTHER.toml` tells who would read otherwise, and by which setting."
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
    return Page(
        path="method.html",
        title="Method and limits",
        lead=["How the figures are made, how well the models fitted, and what these pages cannot say."],
        sections=[
            Section("cautions", "Before anything else", [Paragraph([text], tone="caution") for text in _CAUTIONS]),
            Section("chain", "From a call to a reading", [Points([[text] for text in _CHAIN])]),
            Section("policy", "The policy", policy_blocks(book), margin=[_POLICY_MARGIN]),
            Section(
                "fits",
                "The fits",
                [spread],
                margin=["Singular: no spread was found for some effect; its figure is at the edge of what can be."],
            ),
            Section(
                "dependable",
                "How dependable the readings are",
                [Paragraph(["Which standards the season's watching can decide, and what more of it would bring: ", Link("how dependable the readings are", "dependability.html"), "."])],
            ),
            Section("tried", "Tried on known truth", [Paragraph([f"{kept_sentence(known_truth())} ", Link(TITLE, PATH), "."])]),
            Section("limits", "Limits", [Points([[text] for text in _LIMITS])]),
        ],
        nav="method.html",
    )


def _outcome(row: Row) -> str:
    steps = "" if row["iterations"] is None else f" in {plural(row['iterations'], 'step')}"
    message = f": {row['message']}" if row["message"] else ""
    return sentence(f"{row['outcome'].replace('_', ' ')}{steps}{message}")
