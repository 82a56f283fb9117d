"""Tried on known truth: what intervals and readings are worth on simulated seasons, beside the plain percentage."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Figure, Link, Page, Paragraph, Points, Section, Table
from reports.figures.known_truth import Kind, point_rows, share_rows
from reports.figures.rows import Rule
from reports.pages.validity_tables import by_design, every_block, num_cell, plain_cell, points_cell, share_cell
from reports.pages.validity_words import METHODS, MIDDLE, ORDINARY, broken, kept_sentence, said_share, verdict_points
from reports.words import count, number, percent, plural
from schemas.known_truth import Figure as Told
from schemas.known_truth import KnownTruth, known_truth

PATH = "validity.html"
TITLE = "Tried on seasons whose truth is known"

_COVERAGE_MARGIN = (
    "An interval of 90 % is kept if it holds the truth in nine of ten umpires. Lines, and what stands behind ±, are 95 % "
    "ranges of the trial itself: seasons differ, and only so many were made. The table is of 96 umpires where no number stands."
)
_READY_MARGIN = (
    "Of those called ready, the share who are truly below a standard; of those told not yet, the share who truly meet "
    "all. The policy of these seasons accepts the same risk for both. By the plain "
    "percentage one is ready at the cut; with its interval (Wilson), when the end that the same risk allows is at the cut. No least evidence is asked for, so that the "
    "probabilities stand by themselves."
)
_ERROR_MARGIN = "The root of the mean squared error of a rate, in points, and Spearman's correlation with the true order within linked groups. Modes alone: the model's best values, all else taken as known, as statistics packages give them."
_LOOKS_MARGIN = (
    "The looks that were told were taken, in further games by the same evaluators, and the season was judged anew."
)


def validity_page(result: KnownTruth | None = None) -> Page:
    """Make `validity.html` from the stored result."""
    result = result or known_truth()
    seasons = sum(group.seasons for (_, _, method), group in result.groups.items() if method == "platework")
    return Page(
        path=PATH,
        title=TITLE,
        lead=[
            f"{count(seasons)} seasons were made up, so that everybody's true rate is known, and judged by the very code "
            "that judges yours. This page says how often it was right about them. Nothing here comes from your season."
        ],
        sections=[
            Section("kept", "What it comes to", _summary(result)),
            Section("coverage", "Do the intervals hold the truth?", _coverage(result), margin=[_COVERAGE_MARGIN]),
            Section("ready", "Who was called ready, and was not?", _ready(result), margin=[_READY_MARGIN]),
            Section("chance", "Does a stated chance come true?", _chance(result)),
            Section("error", "How far off are the rates, and the order?", _error(result), margin=[_ERROR_MARGIN]),
            Section("looks", "Do the looks that are told settle it?", _looks(result), margin=[_LOOKS_MARGIN]),
            Section("library", "Beside the reference library", _library(result)),
            Section("made", "How the seasons are made", _made(result)),
            Section("every", "Every figure", every_block(result)),
        ],
        trail=[Link("Method and limits", "method.html")],
        nav="method.html",
    )


def _titles(result: KnownTruth) -> list[str]:
    return [design["title"] for design in result.designs.values()]


def _summary(result: KnownTruth) -> list[Block]:
    return [
        Paragraph([kept_sentence(result)], "lead"),
        Points([[text] for text in verdict_points(result)], title="Where the word is not kept, and what to do then"),
    ]


def _kinds(result: KnownTruth, name: str, size: str, methods: Sequence[str]) -> list[Kind]:
    return [
        Kind(said, shape, role, [result.figure(name, design, size, method) for design in result.designs])
        for method, (said, shape, role) in METHODS.items()
        if method in methods
    ]


def _coverage(result: KnownTruth) -> list[Block]:
    by_size = (("24", "circle-open"), ("96", "circle"), ("480", "square"))
    kinds = [
        Kind(f"{size} umpires", shape, "accent", [result.figure("covered_90", d, size) for d in result.designs])  # type: ignore[arg-type]
        for size, shape in by_size
    ]
    kinds += [
        Kind(f"percentage, {MIDDLE} umpires", shape, role, kind.figures)
        for kind, shape, role in ((one, one.shape, one.role) for one in _kinds(result, "covered_90", MIDDLE, ["percentage"]))
    ]
    table = by_design(
        result,
        "coverage-table",
        "Share of umpires whose true rate lies in the interval",
        [
            *((f"90 %, {size} umpires", "covered_90", size, "platework") for size in result.sizes),
            ("50 %", "covered_50", MIDDLE, "platework"),
            ("Width of 90 %, points", "width_90", MIDDLE, "platework"),
            ("Percentage, 90 %", "covered_90", MIDDLE, "percentage"),
            ("Percentage, 50 %", "covered_50", MIDDLE, "percentage"),
            ("Evaluators' severity, 90 %", "severity_90", MIDDLE, "platework"),
        ],
    )
    chart = share_rows(_titles(result), kinds, "share of umpires whose true rate lies in the 90 % interval", Rule(0.9, "stated"))
    return [Figure("coverage-90", broken(result, "covered_90").title, chart, table)]


def _ready(result: KnownTruth) -> list[Block]:
    risk = float(result.about["risk"])
    kinds = _kinds(result, "ready_wrong", MIDDLE, ["platework", "percentage", "wilson"])
    table = by_design(
        result,
        "ready-table",
        f"How {MIDDLE} umpires a season were read, and how often wrongly",
        [
            ("Truly able", "able", MIDDLE, "platework"),
            ("Ready", "ready", MIDDLE, "platework"),
            ("Not yet", "not_yet", MIDDLE, "platework"),
            ("Ready, but below", "ready_wrong", MIDDLE, "platework"),
            ("Not yet, but able", "not_yet_wrong", MIDDLE, "platework"),
            ("Percentage: ready", "ready", MIDDLE, "percentage"),
            ("Percentage: ready, but below", "ready_wrong", MIDDLE, "percentage"),
            ("With its interval: ready", "ready", MIDDLE, "wilson"),
            ("With its interval: ready, but below", "ready_wrong", MIDDLE, "wilson"),
        ],
    )
    chart = share_rows(
        _titles(result), kinds, f"of those called ready, share truly below a standard ({MIDDLE} umpires)",
        Rule(risk, "accepted"), lowest=0.0,
    )  # fmt: skip
    return [Figure("ready-wrong", broken(result, "ready_wrong").title, chart, table)]


def _chance(result: KnownTruth) -> list[Block]:
    group = result.group(ORDINARY, MIDDLE)
    if group is None or not group.reliability:
        return [Paragraph(["No chances were looked at."])]
    labels = [f"{10 * int(min(one.said, 0.9999) * 10)}–{10 * int(min(one.said, 0.9999) * 10) + 10} %" for one in group.reliability]
    kinds = [
        Kind("chance stated, on average", "diamond-open", "ink", [Told(one.said, None, None) for one in group.reliability]),
        Kind("share truly able", "circle", "accent", [Told(one.able, None, one.able_reach) for one in group.reliability]),
    ]
    table = Table(
        "chance-table",
        f"Ordinary seasons of {MIDDLE} umpires, by the stated chance of meeting every standard",
        [Column("Stated chance"), Column("Umpires", "num"), Column("Mean stated", "num"), Column("Truly able", "num")],
        [
            [Cell(label, sort=one.said), num_cell(float(one.umpires), count(one.umpires)), num_cell(one.said, percent(one.said)),
             share_cell(Told(one.able, None, one.able_reach))]
            for label, one in zip(labels, group.reliability, strict=True)
        ],
    )  # fmt: skip
    worst = max(group.reliability, key=lambda one: abs(one.said - one.able))
    title = (
        f"In ordinary seasons the stated chance and the share truly able differ most where {percent(worst.said, 0)} was "
        f"stated: {percent(worst.able, 0)} were able."
    )
    chart = share_rows(labels, kinds, "share of umpires", None, lowest=0.0)
    return [Figure("chance-said", title, chart, table)]


def _error(result: KnownTruth) -> list[Block]:
    kinds = _kinds(result, "rmse", MIDDLE, ["platework", "percentage", "modes"])
    table = by_design(
        result,
        "error-table",
        f"Errors of the rates in points, and the order, {MIDDLE} umpires a season",
        [
            ("Root mean square", "rmse", MIDDLE, "platework"),
            ("Percentage", "rmse", MIDDLE, "percentage"),
            ("Modes alone", "rmse", MIDDLE, "modes"),
            ("Bias", "bias", MIDDLE, "platework"),
            ("Bias, strongest quarter", "bias_strongest", MIDDLE, "platework"),
            ("Bias, weakest quarter", "bias_weakest", MIDDLE, "platework"),
            ("Rank correlation", "rank_correlation", MIDDLE, "platework"),
            ("Of the percentage", "rank_correlation", MIDDLE, "percentage"),
            ("True place in its 90 % range", "rank_90", MIDDLE, "platework"),
        ],
    )
    ours, plain = (result.figure("rmse", ORDINARY, MIDDLE, method) for method in ("platework", "percentage"))
    title = (
        "How far rates lie from the truth."
        if ours is None or plain is None
        else f"In an ordinary season of {MIDDLE} umpires an adjusted rate is off by {number(ours.value, 1)} points, "
        f"a plain percentage by {number(plain.value, 1)}."
    )
    return [Figure("rate-error", title, point_rows(_titles(result), kinds, f"root mean squared error, points ({MIDDLE} umpires)"), table)]


def _looks(result: KnownTruth) -> list[Block]:
    after = result.figure("settled_after", ORDINARY, MIDDLE)
    told = result.figure("looks_median", ORDINARY, MIDDLE)
    said = "No looks were followed up."
    if after is not None and told is not None:
        said = (
            f"In ordinary seasons of {MIDDLE} umpires half of those with an open reading were told some {number(told.value, 0)} "
            f"further calls or fewer. Of all who were told a number, {said_share(after)} were settled once they had as many. "
            "The estimate moves with what is seen: take the number as the least that is worth planning, not as a promise."
        )
    table = by_design(
        result,
        "looks-table",
        f"More looks: who was told how many further calls, {MIDDLE} umpires a season",
        [
            ("More looks", "more_looks", MIDDLE, "platework"),
            ("Of these told a number", "looks_told", MIDDLE, "platework"),
            ("Calls told, median", "looks_median", MIDDLE, "platework"),
            ("Percentage with its interval: more looks", "more_looks", MIDDLE, "wilson"),
            ("Calls told, median", "looks_median", MIDDLE, "wilson"),
        ],
    )
    return [Paragraph([said]), table]


def _library(result: KnownTruth) -> list[Block]:
    held = result.about.get("lme4_log_likelihood")
    if not held:
        return [Paragraph(["R with lme4 was not at hand when the seasons were judged, so it is not compared."])]
    methods = ("lme4", "platework_beside_lme4")
    text = (
        f"R's lme4 {result.about['versions']['lme4']} (glmer, Laplace) fitted the same cells in {plural(held['fits'], 'fit')}. The "
        f"engine's log-likelihood is the same or higher: by {held['ours_least_above']:.1e} at least and {held['ours_most_above']:.1e} "
        "at most. What differs is what is made of it: modes with their own errors take SDs, intercept and evaluators as "
        "known, and their intervals are too short; the engine's draws carry that doubt."
    )
    modes, ours = (result.figure("covered_90", ORDINARY, "24", method) for method in ("modes", "platework"))
    if modes is not None and ours is not None:
        text += (
            f" Over all ordinary seasons of 24 umpires such intervals of 90 % hold the truth in {said_share(modes)}, the "
            f"engine's in {said_share(ours)}."
        )
    table = Table(
        "library-table",
        "The same seasons judged by lme4's modes with their conditional errors, and by the engine",
        [Column("Kind of season"), Column("Umpires", "num"), Column("Seasons", "num"), Column("Judged by"), Column("90 % interval", "num"),
         Column("50 % interval", "num"), Column("Width of 90 %, points", "num"), Column("Root mean square, points", "num"),
         Column("Rank correlation", "num")],
        [
            [
                Cell(result.designs[design]["title"]),
                num_cell(float(result.sizes[size]["umpires"]), count(result.sizes[size]["umpires"])),
                num_cell(float(group.seasons), count(group.seasons)),
                Cell(METHODS[method][0]),
                *(share_cell(group.get(name)) for name in ("covered_90", "covered_50")),
                *(points_cell(group.get(name)) for name in ("width_90", "rmse")),
                plain_cell(group.get("rank_correlation")),
            ]
            for (design, size, method), group in result.groups.items()
            if method in methods
        ],
    )  # fmt: skip
    return [Paragraph([text]), table]


def _made(result: KnownTruth) -> list[Block]:
    about, versions = result.about, result.about["versions"]
    cuts = " and ".join(percent(cut, 0) for cut in about["cuts"].values())
    designs = Table(
        "designs-table",
        "Kinds of season: logit scale for all SDs; average umpire, evaluator and situation: "
        f"{number(result.designs[ORDINARY]['intercept'], 1)}",
        [Column("Kind of season"), Column("What it is like", "long"), Column("Games", "num"), Column("Calls a game", "num"),
         Column("Evaluators an umpire", "num"), Column("SD umpires", "num"), Column("SD evaluators", "num"),
         Column("SD situations", "num"), Column("SD games", "num")],
        [
            [
                Cell(design["title"]),
                Cell(design["words"]),
                num_cell(design["games"], count(design["games"])),
                num_cell(design["calls"], count(design["calls"])),
                Cell("{} to {}".format(*design["panel"])),
                *(num_cell(design[key], number(design[key])) for key in ("umpire_sd", "evaluator_sd", "situation_sd", "game_sd")),
            ]
            for design in result.designs.values()
        ],
    )  # fmt: skip
    sizes = [
        f"{plural(size['umpires'], 'umpire')} and {plural(size['evaluators'], 'evaluator')}: {size['why']}."
        for size in result.sizes.values()
    ]
    told = (
        f"The standard is a rate of {cuts} (the second only where there are two); the accepted risk is "
        f"{percent(about['risk'], 0)} both ways. Situations, evaluators and umpires are drawn anew for each season; umpires "
        f"meet situations in different shares. {count(about['draws'])} joint draws a season; seed {about['seed']}; platework "
        f"{versions['platework']}, numpy {versions['numpy']}, scipy {versions['scipy']}, Python {versions['python']}; "
        f"{count(about['cpu_s'])} seconds of processor time. Made by {about['made_by']}."
    )
    return [designs, Points([[text] for text in sizes], title="Three sizes"), Paragraph([told])]
