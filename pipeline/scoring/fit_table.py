"""Fit a plain table: any binary, binomial, measured or ordered response, any crossed or nested random effects.

    fit = fit_table({"right": [...], "umpire": [...], "evaluator": [...]}, "right", ["umpire", "evaluator"])
    fit.sd["umpire"], fit.log_likelihood, fit.effects["umpire"].mode

What each number is, and which outside program it equals, is said at `table_result.TableFit`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pipeline.errors import InputError
from pipeline.scoring.gaussian_table import RESIDUAL, fit_measured
from pipeline.scoring.laplace_table import fit_binomial, fit_ordered
from pipeline.scoring.table_input import PlainTable
from pipeline.scoring.table_model import prepare
from pipeline.scoring.table_result import TableFit

FAMILIES = ("binomial", "gaussian", "ordered")


def fit_table(
    table: PlainTable | Mapping[str, Sequence[object]],
    response: str,
    effects: Sequence[str],
    *,
    trials: str | None = None,
    family: str = "binomial",
    covariates: Sequence[str] = (),
    success: str | None = None,
    restricted: bool = True,
    drop_blank: bool = False,
) -> TableFit:
    """Fit a table with columns named by the caller.

    Parameters
    ----------
    table
        Columns by name (a data frame will do). Effects may be any text or number: a value is a level.
    response
        Successes (with `trials`), one of two values, a number (``gaussian``) or an ordered category.
    effects
        Random effects: a column each, or several columns joined by `:` as ``"umpire:game"``, where game names
        are used again under another umpire. Nesting is found from the data.
    trials
        Column of trials, for counts.
    covariates
        Columns of fixed effects: numbers as they are, text by level against the first.
    success
        Which of two values is the success; see `read_counts` for the rule without it.
    restricted
        REML for ``gaussian``; otherwise maximum likelihood.
    drop_blank
        Leave out rows with a blank in a used column; otherwise they are refused.

    Returns
    -------
    TableFit
        Also when no fit was possible: `record.outcome`, `record.message` and the outcome's remedy say why.

    Raises
    ------
    InputError
        A column is missing, a cell is blank or cannot be read; with its line.
    """
    plain = table if isinstance(table, PlainTable) else PlainTable.of(table)
    if family not in FAMILIES:
        raise InputError(f"there is no family {family!r}", hint=f"one of: {', '.join(FAMILIES)}")
    if not effects:
        raise InputError("no effect is named", hint="name at least one column with --effects")
    doubled = {name for name in effects if list(effects).count(name) > 1} | (set(effects) & {response, trials})
    if doubled:
        raise InputError(
            f"the column {sorted(map(str, doubled))[0]!r} is named twice", hint="give each column one part in the model"
        )
    if trials is not None and family != "binomial":
        raise InputError(f"a {family} response has no trials", hint="leave out --trials")
    if family == "gaussian" and RESIDUAL in effects:
        raise InputError(f"{RESIDUAL!r} is the name of the luck of a row", hint="give that column another name")
    prepared = prepare(plain, response, effects, trials, covariates, drop_blank=drop_blank)
    if family == "binomial":
        return fit_binomial(prepared, response, trials, success)
    if family == "ordered":
        return fit_ordered(prepared, response)
    return fit_measured(prepared, response, restricted=restricted)
