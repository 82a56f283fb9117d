"""What the trial on known truth comes to, in sentences; every figure in them is a stored one."""

from __future__ import annotations

from dataclasses import dataclass

from reports.figures.palette import Role
from reports.figures.rows import Shape
from reports.words import THIN, number, percent, points
from schemas.known_truth import Figure, KnownTruth

ORDINARY, MIDDLE = "ordinary", "96"
STATED = 0.9

METHODS: dict[str, tuple[str, Shape, Role]] = {
    "platework": ("this engine", "circle", "accent"),
    "percentage": ("plain percentage", "x-thin-open", "warn"),
    "wilson": ("percentage with its interval", "diamond-open", "ink"),
    "modes": ("modes alone", "diamond-open", "ink"),
    "lme4": ("lme4", "diamond-open", "ink"),
    "platework_beside_lme4": ("this engine", "circle", "accent"),
}

_ADVICE = {
    "few_looks": "Ask for more evidence before a verdict: the least evidence is set in the policy.",
    "few_evaluators": "Have every umpire seen by at least two evaluators, and set that as least evidence in the policy.",
    "severe_with_strong": (
        "Send evaluators to umpires without regard to strength, and let the severe ones see some weak umpires and the "
        "lenient ones some strong. Where that was not done, the rates of the strongest are too low and those of the "
        "weakest too high."
    ),
    "unlinked": (
        "Let one evaluator work games of both groups: a few shared looks link them. Until then hold a verdict near the cut "
        "open; the engine names the groups and ranks nobody across them, but the cut is the same for both."
    ),
    "skewed": "Look at the weakest by their calls: their rates are drawn towards the others.",
    "two_humps": "Judge the two kinds by their own calls where they lie near the cut.",
    "wrong_facts": (
        "Wrong facts lower every high rate. Have two evaluators write down the same games now and then, and compare their "
        "facts; set cuts from seasons that were written down with the same care."
    ),
    "games_differ": "Ask for more games rather than for more calls a game.",
    "games_alike": "Nothing need be done: the intervals are wider than they would have to be.",
    "two_standards": "Read the standards one by one before the joint chance.",
    "ordinary": "Ask for more evidence before a verdict.",
}


@dataclass(frozen=True)
class Broken:
    """Where one figure does not keep its word: designs and sizes with the figure, and a sentence on it all."""

    where: dict[str, list[tuple[str, Figure]]]
    title: str


def said_share(told: Figure) -> str:
    """A share with the reach of its Monte Carlo range: `91.0 % ± 1.2`."""
    reach = "" if told.reach is None else f" ± {number(100 * told.reach, 1)}"
    return f"{percent(told.value)}{reach}"


def said_points(told: Figure, *, signed: bool = False) -> str:
    """Points with the reach of their Monte Carlo range: `2.1 ± 0.1`."""
    reach = "" if told.reach is None else f" ± {number(told.reach, 1)}"
    return f"{points(told.value / 100) if signed else number(told.value, 1)}{reach}"


def broken(result: KnownTruth, name: str) -> Broken:
    """Return where a coverage lies below, or a share of wrong readings above its word, its Monte Carlo range and all."""
    is_coverage = name.startswith("covered")
    stated = STATED if is_coverage else float(result.about["risk"])
    where: dict[str, list[tuple[str, Figure]]] = {}
    known: list[tuple[str, str, Figure]] = []
    for (design, size, method), group in result.groups.items():
        told = group.get(name)
        if method != "platework" or told is None:
            continue
        known.append((design, size, told))
        apart = stated - told.value if is_coverage else told.value - stated
        if apart > (told.reach or 0.0):
            where.setdefault(design, []).append((size, told))
    if not known:
        return Broken({}, "No season was judged.")
    worst = (min if is_coverage else max)(known, key=lambda one: one[2].value)
    title_of = result.designs[worst[0]]["title"]
    seen = f"{title_of[0].lower()}{title_of[1:]}, {worst[1]} umpires: {said_share(worst[2])}"
    kinds = len({design for design, _, _ in known})
    kept = kinds - len(where)
    if is_coverage:
        head = f"The 90{THIN}% intervals keep their word in {kept} of {kinds} kinds of season, as far as it was measured; least"
    else:
        head = f"The accepted risk is kept in {kept} of {kinds} kinds of season, as far as it was measured; most wrongly ready"
    return Broken(where, f"{head}: {seen}.")


def kept_sentence(result: KnownTruth) -> str:
    """Say what an ordinary season comes to."""
    covered, wrong, plain = (
        result.figure(name, ORDINARY, MIDDLE, method)
        for name, method in (("covered_90", "platework"), ("ready_wrong", "platework"), ("ready_wrong", "percentage"))
    )
    if covered is None or wrong is None or plain is None:
        return "Ordinary seasons were not judged."
    return (
        f"In ordinary seasons of {MIDDLE} umpires the 90{THIN}% intervals hold the truth in {said_share(covered)} of umpires. "
        f"Of those called ready {said_share(wrong)} are below the standard, where {percent(float(result.about['risk']), 0)} is "
        f"accepted; of those whom the plain percentage passes, {said_share(plain)} are."
    )


def verdict_points(result: KnownTruth) -> list[str]:
    """Return a sentence for each kind of season in which something stated is not kept, with what to do."""
    covered, ready, not_yet = (broken(result, name).where for name in ("covered_90", "ready_wrong", "not_yet_wrong"))
    said = []
    for key, design in result.designs.items():
        parts = []
        if key in covered:
            parts.append(f"90{THIN}% intervals hold the truth in {_listed(covered[key])}")
        if key in ready:
            parts.append(f"of those called ready {_listed(ready[key])} are below")
        if key in not_yet:
            parts.append(f"of those told not yet {_listed(not_yet[key])} are able")
        bias, strongest = (result.figure(name, key, MIDDLE) for name in ("bias", "bias_strongest"))
        if parts and bias is not None and strongest is not None:
            parts.append(
                f"rates are off by {said_points(bias, signed=True)} points on average, by {said_points(strongest, signed=True)} in "
                f"the strongest quarter ({MIDDLE} umpires)"
            )
        if parts:
            said.append(f"{design['title']}: {'; '.join(parts)}. {_ADVICE[key]}")
    return said or ["Nowhere, as far as these seasons can tell."]


def _listed(found: list[tuple[str, Figure]]) -> str:
    return ", ".join(f"{said_share(told)} ({size} umpires)" for size, told in found)
