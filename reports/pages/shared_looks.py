"""The section on pitches that two evaluators wrote down."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Paragraph, Section, Table
from reports.book import Row, SeasonBook
from reports.links import SiteLinks, link_cell
from reports.words import NOTHING, count, num, number, plural

_PAIRS = 150
_ASPECTS = {"verdict": "verdict by the rules", "grade": "grade that was written"}
_MARGIN = [
    "Verdict by the rules: right or wrong, from the facts on each sheet. Edge pitches and open calls are no answer.",
    " Alpha and kappa: 1 is full agreement, 0 as much as chance would give.",
]


def shared_looks(book: SeasonBook, links: SiteLinks) -> Section:
    """Make the section; without a shared pitch it says what is then not known."""
    whole, pairs = book.rows("evaluator_agreement"), book.rows("evaluator_pair")
    title = "Two evaluators on one pitch"
    if not whole:
        text = (
            "No two evaluators wrote down the same pitch (same game and pitch_no), so that their agreement is not "
            "measured. A few games seen by two would tell how much depends on who watches."
        )
        return Section("shared", title, [Paragraph([text])])
    overall = Table(
        "shared-table",
        "All pitches that two evaluators or more decided",
        [Column("What"), Column("Pitches", "num"), Column("Evaluators", "num"), Column("Alpha", "num"),
         Column("Interval", "num")],
        [
            [
                Cell(_ASPECTS.get(row["aspect"], row["aspect"])),
                num(row["looks"], count(row["looks"])),
                num(row["evaluators"], count(row["evaluators"])),
                num(row["alpha"], number(row["alpha"])),
                Cell(_range(row["alpha_low"], row["alpha_high"]), sort=row["alpha_low"]),
            ]
            for row in whole
        ],
    )  # fmt: skip
    # The pairs who differ most are those to bring together; of the others the table of results has all.
    shown = sorted(pairs, key=lambda row: (row["kappa"] is None, row["kappa"] or 0.0, row["evaluator_id"], row["other_id"]))
    by_pair = Table(
        "pair-table",
        "By pair, those who agree least first",
        [Column("Evaluator"), Column("Other"), Column("What"), Column("Pitches", "num"), Column("Alike", "num"),
         Column("Kappa", "num")],
        [
            [
                link_cell(links.evaluator(row["evaluator_id"])),
                link_cell(links.evaluator(row["other_id"])),
                Cell(_ASPECTS.get(row["aspect"], row["aspect"])),
                num(row["looks"], count(row["looks"])),
                num(row["same"], count(row["same"])),
                num(row["kappa"], number(row["kappa"])),
            ]
            for row in shown[:_PAIRS]
        ],
    )  # fmt: skip
    blocks: list[Block] = [Paragraph([_told(whole)]), overall, by_pair]
    if len(pairs) > _PAIRS:
        blocks.append(Paragraph([f"The first {_PAIRS} of {len(pairs):,}; all are in tables/pub_evaluator_pair.csv."]))
    return Section("shared", title, blocks, margin=list(_MARGIN))


def _told(whole: Sequence[Row]) -> str:
    """Say for each thing compared on how many pitches it rests and how far they agree."""
    parts = []
    for row in whole:
        what = _ASPECTS.get(row["aspect"], row["aspect"])
        agreement = "all answers were the same" if row["alpha"] is None else f"alpha {number(row['alpha'])}"
        ends = _range(row["alpha_low"], row["alpha_high"])
        between = f" ({ends})" if ends != NOTHING else ""
        parts.append(f"on the {what}, {agreement}{between} over {plural(row['looks'], 'pitch', 'pitches')}")
    return f"How far evaluators agree who saw the same pitch: {'; '.join(parts)}."


def _range(low: float | None, high: float | None) -> str:
    return NOTHING if low is None or high is None else f"{number(low)} to {number(high)}"
