"""The command line: parse, call one function, print, exit code."""

from __future__ import annotations

import logging
import sys
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline import logs
from pipeline.errors import InputError, PlateworkError, Where

if TYPE_CHECKING:
    from pipeline.run import RunOutcome
    from pipeline.table_fits import TableOutcome

app = typer.Typer(
    name="platework",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="From evaluators' sheets of graded plate calls to readiness pages a committee can defend call by call.",
    epilog="Exit codes: 0 done; 1 done, with rows quarantined or findings to read; 2 wrong usage or unreadable input; "
    "3 stopped by a fault, nothing half-written.",
)

SeasonArgument = Annotated[
    Path, typer.Argument(help="Folder with the season's sheets and policy.toml.", show_default=False)
]
OutOption = Annotated[Path, typer.Option("--out", help="Folder for the results.")]
PolicyOption = Annotated[
    Path | None,
    typer.Option("--policy", help="A policy.toml whose [rule_options] the league plays by.", show_default=False),
]
VerboseOption = Annotated[bool, typer.Option("--verbose", help="Also show every statement that is run.")]
QuietOption = Annotated[bool, typer.Option("--quiet", help="Show nothing but faults.")]
DEFAULT_OUT = Path("out")


def _say(text: str) -> None:
    typer.echo(text, err=True)


def _run_stages(season: Path, out: Path, stages: tuple[str, ...], *, verbose: bool, quiet: bool) -> None:
    logs.set_up(verbose=verbose, quiet=quiet)
    from pipeline.config import read_config
    from pipeline.run import run_stages

    config = read_config(season, out, show_progress=not quiet and sys.stderr.isatty())
    outcome = run_stages(config, stages)
    if not quiet:
        _account(outcome, stages)
    raise typer.Exit(outcome.exit_code)


def _account(outcome: RunOutcome, stages: tuple[str, ...]) -> None:
    """Tell the books of the run, and what to look at next."""
    out = outcome.config.out
    _say("")
    _say(
        f"Rows in {outcome.rows_in:,} = accepted {outcome.accepted:,} + quarantined {outcome.quarantined:,}"
        f"{f' + replaced {outcome.replaced:,}' if outcome.replaced else ''}; findings {outcome.findings:,}."
    )
    if outcome.quarantined and "report" in stages:
        _say(f"Each quarantined row, with the reason and the remedy: {out / 'quarantine' / 'reasons.csv'}")
    if "report" in stages:
        _say(f"Open the committee's pages: {out / 'site' / 'index.html'}")


@app.command()
def run(
    season: SeasonArgument,
    out: OutOption = DEFAULT_OUT,
    verbose: VerboseOption = False,
    quiet: QuietOption = False,
) -> None:
    """Do the whole job on a season folder."""
    _run_stages(season, out, ("load", "check", "score", "report"), verbose=verbose, quiet=quiet)


@app.command()
def load(
    season: SeasonArgument,
    out: OutOption = DEFAULT_OUT,
    verbose: VerboseOption = False,
    quiet: QuietOption = False,
) -> None:
    """Read the sheets; set aside what does not fit."""
    _run_stages(season, out, ("load",), verbose=verbose, quiet=quiet)


@app.command()
def check(
    season: SeasonArgument,
    out: OutOption = DEFAULT_OUT,
    verbose: VerboseOption = False,
    quiet: QuietOption = False,
) -> None:
    """Check the loaded sheets against one another."""
    _run_stages(season, out, ("check",), verbose=verbose, quiet=quiet)


class TrialForm(StrEnum):
    """How a trial of another policy is written."""

    TEXT = "text"
    CSV = "csv"
    JSON = "json"


@app.command()
def score(
    season: SeasonArgument,
    out: OutOption = DEFAULT_OUT,
    other_policy: Annotated[
        Path | None,
        typer.Option(
            "--what-if",
            help="Another policy.toml: tell who would read otherwise under it, and why; nothing is written.",
            show_default=False,
        ),
    ] = None,
    form: Annotated[TrialForm, typer.Option("--format", help="How --what-if tells it.")] = TrialForm.TEXT,
    verbose: VerboseOption = False,
    quiet: QuietOption = False,
) -> None:
    """Rule and grade every call, then score people.

    Derives the right ruling of each call from its facts, grades the umpire's ruling by it, and scores umpires,
    evaluators and quiz. With --what-if the scores that stand are held against another policy, from the stored
    draws: who moves, from which reading to which, and which setting makes the difference.
    """
    if other_policy is not None:
        logs.set_up(verbose=verbose, quiet=quiet)
        from pipeline.config import read_config
        from pipeline.what_if import what_if

        typer.echo(what_if(read_config(season, out), other_policy, form.value), nl=False)
        return
    _run_stages(season, out, ("score",), verbose=verbose, quiet=quiet)


@app.command()
def report(
    season: SeasonArgument,
    out: OutOption = DEFAULT_OUT,
    verbose: VerboseOption = False,
    quiet: QuietOption = False,
) -> None:
    """Write pages, packets and tables from the scores."""
    _run_stages(season, out, ("report",), verbose=verbose, quiet=quiet)


@app.command()
def rulings(
    cases: Annotated[
        Path,
        typer.Argument(help="CSV with a row for each case: fact columns and rule_code.", show_default=False),
    ],
    out: Annotated[
        Path | None,
        typer.Option("--out", help="File for the rulings; without it they go to standard output.", show_default=False),
    ] = None,
    policy: PolicyOption = None,
) -> None:
    """Rule each row of a case list; needs no season.

    The list has the fact columns of plate_calls and rule_code (nfhs, obr, ncaa). A date picks the rules of that
    day, blank is today. Other columns, such as case_id, are passed through.
    """
    logs.set_up(verbose=False, quiet=True)
    from pipeline.case_lists import rule_cases

    text = rule_cases(cases, out, policy)
    if out is None:
        typer.echo(text, nl=False)


class Format(StrEnum):
    """How an explanation is written."""

    TEXT = "text"
    JSON = "json"


@app.command()
def explain(
    cases: Annotated[Path, typer.Argument(help="CSV with a row for each case, as for `rulings`.", show_default=False)],
    case: Annotated[
        str,
        typer.Option(
            "--case",
            help="The case_id (or call_id) of the case; in a list without ids, its line number.",
            show_default=False,
        ),
    ],
    called: Annotated[
        str | None,
        typer.Option(
            "--called",
            help="What the umpire called, such as 'batter=first_base;pitch=ball'; else the ruled columns are used.",
            show_default=False,
        ),
    ] = None,
    form: Annotated[Format, typer.Option("--format", help="Text, or one JSON document.")] = Format.TEXT,
    show_all: Annotated[
        bool, typer.Option("--all", help="Also name the rules of other topics that were passed by.")
    ] = False,
    policy: PolicyOption = None,
) -> None:
    """Show how one case of a list is ruled, in full.

    What was seen, what the rules ask, what follows; the way to the ruling; what would settle an open case; the
    smallest change of facts that changes the ruling; and, for a call that was made, where it would be right.
    """
    logs.set_up(verbose=False, quiet=True)
    from pipeline.case_lists import explain_case

    as_document = form is Format.JSON
    typer.echo(explain_case(cases, case, called=called, as_document=as_document, show_all=show_all, policy=policy))


@app.command()
def history(
    place: Annotated[
        Path, typer.Argument(help="Folder of results, or the season folder with --out.", show_default=False)
    ],
    call: Annotated[
        str | None, typer.Option("--call", help="The call_id of a call; without it, the sheets.", show_default=False)
    ] = None,
    out: OutOption = DEFAULT_OUT,
    version: Annotated[
        str | None,
        typer.Option("--version", help="Write the rows of an earlier version of a sheet, as CSV.", show_default=False),
    ] = None,
    form: Annotated[Format, typer.Option("--format", help="Text, or one JSON document.")] = Format.TEXT,
) -> None:
    """Show a call's life: rows as they came, mends, earlier versions, amendments, findings, ruling, grade.

    Without --call: the loads in which a sheet changed, and every version of every sheet.
    """
    logs.set_up(verbose=False, quiet=True)
    from pipeline.history import earlier_sheet
    from pipeline.history import history as tell

    if version is not None:
        typer.echo(earlier_sheet(place, version, out=out), nl=False)
    else:
        typer.echo(tell(place, call, out=out, as_document=form is Format.JSON), nl=False)


@app.command(name="quiz-check")
def quiz_check(
    items: Annotated[Path, typer.Argument(help="A quiz_items sheet (CSV).", show_default=False)],
    out: Annotated[
        Path | None,
        typer.Option("--out", help="File for the verdicts; without it they go to standard output.", show_default=False),
    ] = None,
    policy: PolicyOption = None,
) -> None:
    """Check a quiz's keys against the rules.

    Verdicts: confirmed, wrong, ambiguous, none_right, or open. Exit code 1 when some key is not confirmed.
    """
    logs.set_up(verbose=False, quiet=True)
    from pipeline.case_lists import check_quiz

    text, clean = check_quiz(items, out, policy)
    if out is None:
        typer.echo(text, nl=False)
    raise typer.Exit(0 if clean else 1)


@app.command()
def match(
    file: Annotated[Path, typer.Argument(help="A sheet with other headings: .csv or .xlsx.", show_default=False)],
    sheet: Annotated[
        str | None,
        typer.Option("--sheet", help="Which sheet of ours it is, such as plate_calls.", show_default=False),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", help="File for the proposal; without it, it goes to standard output.", show_default=False
        ),
    ] = None,
) -> None:
    """Propose a headings file for a sheet, and say how sure each line is.

    Compares headings and cells with our columns. What is not sure is left as a question, commented out: nothing is
    guessed when sheets are loaded, only the file is followed. Exit code 1 when questions are left.
    """
    logs.set_up(verbose=False, quiet=True)
    from pipeline.match import match_file, write_proposal

    matched = match_file(file, sheet)
    text = write_proposal(file, matched, out)
    if out is None:
        typer.echo(text, nl=False)
    left = sum(item.open_count for item in matched)
    for item in matched:
        place = f"{file}{f' [{item.sheet}]' if item.sheet else ''}"
        sure = sum(guess.is_sure for guess in item.guesses)
        _say(f"{place}: {item.table.name}; {sure} of {len(item.guesses)} headings sure, {item.rows:,} rows looked at.")
    if left:
        _say(f"Questions left to you: {left}. They stand in lines that begin with # ?.")
    raise typer.Exit(1 if left else 0)


class Grade(StrEnum):
    """How hard an item is."""

    PLAIN = "plain"
    DEMANDING = "demanding"
    HARD = "hard"


class SheetForm(StrEnum):
    """How items are written."""

    MD = "md"
    HTML = "html"
    CSV = "csv"


@app.command()
def cases(
    season: Annotated[
        Path | None,
        typer.Option(
            "--season",
            help="Output folder of a run: plays are made of its misruled calls. Else of the rules' own cases.",
            show_default=False,
        ),
    ] = None,
    topic: Annotated[
        list[str] | None,
        typer.Option("--topic", help="A topic, such as illegal_hit or dimensions; repeatable.", show_default=False),
    ] = None,
    code: Annotated[str, typer.Option("--code", help="Rule code: nfhs, obr or ncaa.")] = "nfhs",
    number: Annotated[int, typer.Option("--number", min=1, help="How many items, twins included.")] = 10,
    difficulty: Annotated[
        list[Grade] | None, typer.Option("--difficulty", help="Only this grade; repeatable.", show_default=False)
    ] = None,
    seed: Annotated[int, typer.Option("--seed", help="The same seed gives the same items.")] = 1,
    avoid: Annotated[
        list[Path] | None,
        typer.Option(
            "--avoid", help="A quiz_items sheet whose questions are not asked again; repeatable.", show_default=False
        ),
    ] = None,
    twins: Annotated[
        bool, typer.Option("--twins", help="Follow a play with its twin: least change, other ruling, any difficulty.")
    ] = False,
    day: Annotated[
        datetime | None,
        typer.Option("--day", formats=["%Y-%m-%d"], help="Rules of this day, not today's.", show_default=False),
    ] = None,
    form: Annotated[
        SheetForm | None,
        typer.Option("--format", help="For one file or standard output; md if nothing is said.", show_default=False),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            help="A file (.md, .html, .csv), or a folder for all of them with the class's and the trainer's sheets.",
            show_default=False,
        ),
    ] = None,
    quiet: QuietOption = False,
) -> None:
    """Make case plays with options, keys and reasons.

    The stem tells every fact that decides; wrong options are rulings that a known misbelief leads to; keys come
    from the rules and are spread evenly.

    Difficulty: plain, demanding or hard. With --season, by the share of misruled calls among those of the kind
    (from 10 % demanding, from 25 % hard; at least 5 graded). Else by what pulls the other way: another code rules
    otherwise, many wrong rulings follow from misbeliefs, several facts would each change the ruling. The written
    sheets give the definition in full.

    Exit code 1 when there are fewer different items than were asked for.
    """
    logs.set_up(verbose=False, quiet=quiet)
    from pipeline.case_plays import Request, make_plays, write_plays

    request = Request(
        code,
        number,
        (day or datetime.now()).date(),
        season,
        tuple(topic or ()),
        tuple(grade.value for grade in difficulty or ()),
        seed,
        tuple(avoid or ()),
        twins,
    )
    made = make_plays(request)
    text = write_plays(request, made.items, out, form.value if form else None)
    if text is not None:
        typer.echo(text, nl=False)
    if len(made.items) < number:
        _say(f"There are no more different items that fit: {len(made.items)} of {number}.")
        raise typer.Exit(1)


class Family(StrEnum):
    """Kind of response."""

    BINOMIAL = "binomial"
    GAUSSIAN = "gaussian"
    ORDERED = "ordered"


@app.command()
def fit(
    table: Annotated[Path, typer.Argument(help="CSV with a heading for each column.", show_default=False)],
    response: Annotated[
        str,
        typer.Option(
            "--response",
            help="Column of successes, of one of two values, of a measurement or a category.",
            show_default=False,
        ),
    ],
    effects: Annotated[
        str,
        typer.Option(
            "--effects",
            help="Columns of random effects, joined by commas; a:b makes each combination a level.",
            show_default=False,
        ),
    ],
    trials: Annotated[
        str | None, typer.Option("--trials", help="Column of trials, for counts.", show_default=False)
    ] = None,
    family: Annotated[Family, typer.Option("--family", help="Kind of response.")] = Family.BINOMIAL,
    covariates: Annotated[
        str, typer.Option("--covariates", help="Columns of fixed effects, joined by commas.", show_default=False)
    ] = "",
    success: Annotated[
        str | None,
        typer.Option(
            "--success",
            help="Which of two values is a success; else 1, yes, true, right or the like, or the later in order.",
            show_default=False,
        ),
    ] = None,
    drop_blank: Annotated[
        bool, typer.Option("--drop-blank", help="Leave out rows with a blank cell; else they are refused.")
    ] = False,
    ml: Annotated[
        bool, typer.Option("--ml", help="For a measurement: maximum likelihood, not the restricted one.")
    ] = False,
    out: OutOption = DEFAULT_OUT,
    quiet: QuietOption = False,
) -> None:
    """Fit crossed or nested random effects to any table.

    The model that scores a season, for a statistician who wants to check it: logistic (as lme4's glmer with one
    node), ordered (as ordinal's clmm) or linear (as lmer). Writes effects.csv (effect, level, mode, se, se_all)
    and summary.json (intercept, SDs, log-likelihood, how the fit ended). Exit code 1 when there are no estimates,
    or levels that cannot be compared because nothing links them.
    """
    logs.set_up(verbose=False, quiet=quiet)
    from pipeline.effect_fits import FitRequest, fit_file, said

    def names(text: str) -> tuple[str, ...]:
        return tuple(name.strip() for name in text.split(",") if name.strip())

    request = FitRequest(
        response, names(effects), trials, family.value, names(covariates), success, not ml, drop_blank
    )
    made, clean = fit_file(table, request, out)
    if not quiet:
        for line in said(made, request, out):
            _say(line)
    raise typer.Exit(0 if clean else 1)


class Level(StrEnum):
    """Level of measurement of a score."""

    NOMINAL = "nominal"
    ORDINAL = "ordinal"
    INTERVAL = "interval"
    RATIO = "ratio"


@app.command()
def items(
    table: Annotated[
        Path, typer.Argument(help="CSV with a row per person and a 0/1 column per item.", show_default=False)
    ],
    person: Annotated[
        str | None, typer.Option("--person", help="Column that names the person; not an item.", show_default=False)
    ] = None,
    out: OutOption = DEFAULT_OUT,
    quiet: QuietOption = False,
) -> None:
    """Analyse the items of any 0/1 table.

    Classical figures, the Rasch model by marginal and by conditional maximum likelihood, fit, and a slope for each
    item. A blank (or NA) is a missing answer. Writes items.csv, persons.csv and summary.json. Exit code 1 when an
    item or a model has no estimates.
    """
    logs.set_up(verbose=False, quiet=quiet)
    from pipeline.table_fits import items_file

    _tell(items_file(table, person, out), quiet=quiet)


@app.command()
def agreement(
    table: Annotated[Path, typer.Argument(help="CSV with a row per subject and rater.", show_default=False)],
    subject: Annotated[str, typer.Option("--subject", help="Column of what is scored.", show_default=False)],
    rater: Annotated[str, typer.Option("--rater", help="Column of who scored it.", show_default=False)],
    score: Annotated[str, typer.Option("--score", help="Column of the score.", show_default=False)],
    level: Annotated[Level, typer.Option("--level", help="What the distance of two scores means.", show_default=False)],
    out: OutOption = DEFAULT_OUT,
    quiet: QuietOption = False,
) -> None:
    """Tell how well raters agree, on any table.

    Kappas, Krippendorff's alpha with an interval, intraclass correlations, variance by component, and how dependable
    scores are with more raters. A blank (or NA) is a missing score. Writes summary.json. Exit code 1 when there is
    no alpha.
    """
    logs.set_up(verbose=False, quiet=quiet)
    from pipeline.table_fits import AgreementColumns, agreement_file

    _tell(agreement_file(table, AgreementColumns(subject, rater, score), level.value, out), quiet=quiet)


def _tell(outcome: TableOutcome, *, quiet: bool) -> None:
    """Say what a table's analysis left open and what it wrote; end with its exit code."""
    if not quiet:
        for line in outcome.messages:
            _say(f"{line}.")
        _say(f"Written: {', '.join(str(file) for file in outcome.files)}")
    raise typer.Exit(0 if outcome.clean else 1)


@app.command()
def blank(
    sheet: Annotated[str, typer.Argument(help="Name of a sheet, as plate_calls; or `policy`.", show_default=False)],
) -> None:
    """Print an empty sheet with a marked example row."""
    import schemas
    from schemas.templates import LeaguePoint, blank_csv, blank_policy

    names = [table.name for table in schemas.layer_tables("season")]
    if sheet == "policy":
        from pipeline.rules.options import options

        points = [LeaguePoint(o.name, o.title, o.values, o.default, o.codes) for o in options().values()]
        typer.echo(blank_policy(points), nl=False)
        return
    if sheet not in names:
        import difflib

        near = difflib.get_close_matches(sheet, [*names, "policy"], n=1)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise InputError(
            f"there is no sheet called {sheet!r}", hint=f"{hint}there are: {', '.join([*names, 'policy'])}"
        )
    typer.echo(blank_csv(sheet), nl=False)


@app.command()
def prove(
    code: Annotated[
        str | None,
        typer.Option("--code", help="Only one rule code: nfhs, obr or ncaa.", show_default=False),
    ] = None,
    quick: Annotated[bool, typer.Option("--quick", help="Fewer cases; minutes become seconds.")] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="File for the account; without it, standard output.", show_default=False),
    ] = None,
) -> None:
    """Prove the rules by enumeration: no gap, no conflict, exact open rulings; counts for each table.

    Exit code 3 when something is disproved; the account names it with an example.
    """
    logs.set_up(verbose=False, quiet=False)
    from pipeline.rules.model import CODES
    from pipeline.rulings.proof import report as proof
    from pipeline.store import write_bytes

    if code is not None and code not in CODES:
        raise InputError(f"there is no rule code {code!r}", hint=f"there are: {', '.join(CODES)}")
    account = proof.prove(CODES if code is None else (code,), proof.QUICK if quick else proof.FULL)
    written = proof.text(account)
    if out is None:
        typer.echo(written, nl=False)
    else:
        write_bytes(out, written.encode("utf-8"))
    raise typer.Exit(3 if account.findings else 0)


@app.command()
def version() -> None:
    """Print the version."""
    import importlib.metadata

    typer.echo(importlib.metadata.version("platework"))


def _refuse_strangers() -> None:
    """Stop when another package shadows ours: `schemas` and `reports` are common names."""
    import importlib.util

    home = Path(__file__).resolve().parent.parent
    for name in ("schemas", "reports"):
        spec = importlib.util.find_spec(name)
        found = Path(spec.origin).resolve().parent.parent if spec and spec.origin else None
        if found != home:
            raise PlateworkError(
                f"the package {name!r} comes from somewhere else ({found})",
                where=Where(home),
                hint="install platework in a virtual environment of its own, and start it outside that folder",
            )


def main() -> None:
    """Run the command; every error that is ours ends with its sentence and its exit code, not a stack trace."""
    try:
        _refuse_strangers()
        app()
    except PlateworkError as error:
        _say(f"platework: {error}")
        raise SystemExit(error.exit_code) from None
    except BrokenPipeError:
        raise SystemExit(0) from None
    except MemoryError:
        _say("platework: this machine has not enough memory for the season; nothing is half-written")
        raise SystemExit(3) from None
    except KeyboardInterrupt:
        _say("platework: stopped; what was committed before is kept, nothing is half-written")
        raise SystemExit(3) from None
    except Exception as error:
        # A fault of ours: the reader gets a sentence, and with --verbose the place in the code.
        logging.getLogger("pipeline").debug("the fault in full", exc_info=True)
        text = str(error).splitlines()[0] if str(error) else "no message"
        _say(f"platework: stopped by a fault of ours ({type(error).__name__}: {text}); nothing is half-written")
        _say("  To do: run again with --verbose and report what it shows")
        raise SystemExit(3) from None
