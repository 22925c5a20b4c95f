"""The command line: parse, call one function, hand its result to ``report``, exit code.  Nothing else.

Rooms are imported inside commands, so that help costs no more than an empty program.
"""

from __future__ import annotations

import functools
import inspect
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stackup import __version__, exits
from stackup.engine.threads import VARIABLE
from stackup.errors import CaseError, Fault, Interrupted, nearest
from stackup.exits import MET, NOT_MET, STOPPED

if TYPE_CHECKING:
    from stackup.engine.settings import Progress, Settings
    from stackup.report.view import Page

MOST_WORKERS = 64

app = typer.Typer(
    name="stackup",
    help="Tolerance stack-up of pin-type roller bearing cages: clearances and the fraction out of spec.",
    epilog="Results follow from the inputs and are no release: verify on parts.",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _tell_version(asked: bool) -> None:
    if asked:
        typer.echo(f"stackup {__version__}")
        raise typer.Exit


@app.callback()
def stackup(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version and stop.", callback=_tell_version, is_eager=True)
    ] = False,
) -> None:
    """Tolerance stack-up of pin-type roller bearing cages: clearances and the fraction out of spec."""
    del version


@dataclass(frozen=True)
class Common:
    """The options that every command takes; ``force`` those alone that write a file."""

    json: Annotated[bool, typer.Option("--json", help="Print one JSON record and nothing else.")] = False
    seed: Annotated[int | None, typer.Option(help="Seed of the random numbers.", min=0, max=2**63 - 1)] = None
    cages: Annotated[int | None, typer.Option(help="Cages drawn by Monte Carlo.", min=1, max=10**9)] = None
    workers: Annotated[int | None, typer.Option(help="Processors to use.", min=1, max=MOST_WORKERS)] = None
    quiet: Annotated[bool, typer.Option("--quiet", help="Print the answer alone and no progress.")] = False
    plain: Annotated[bool, typer.Option("--plain", help="No colour (as NO_COLOR).")] = False
    force: Annotated[bool, typer.Option("--force", help="Overwrite the file of -o where it is there.")] = False

    def show(self, page: Callable[[], Page], record: Callable[[], Any]) -> None:
        """Print the record where JSON is asked for, else the page."""
        from stackup.report import json, output

        if self.json:
            output.put(json.text_of(record()), sys.stdout)
            return
        from stackup.report import terminal

        output.put(terminal.text_of(page(), sys.stdout, self.plain), sys.stdout)


def command(function: Callable[..., int]) -> Callable[..., int]:
    """Make a command of ``function``; its parameter ``common`` becomes the common options that it has use for."""
    own = inspect.signature(function, eval_str=True)
    every = inspect.signature(Common, eval_str=True).parameters.values()
    options = [one for one in every if one.name != "force" or "output" in own.parameters]

    def run(**given: Any) -> int:
        common = Common(**{field.name: given.pop(field.name) for field in fields(Common) if field.name in given})
        try:
            return function(common=common, **given)
        except KeyboardInterrupt:  # of which the parser of the command line would end without a word
            raise Interrupted from None

    kept = [one for one in own.parameters.values() if one.name != "common"]
    named = [one.replace(kind=inspect.Parameter.KEYWORD_ONLY) for one in (*kept, *options)]
    run.__signature__ = own.replace(parameters=named)  # type: ignore[attr-defined]
    run.__annotations__ = {one.name: one.annotation for one in named}
    run.__doc__ = function.__doc__
    short = " ".join((function.__doc__ or "").strip().partition("\n\n")[0].split())
    app.command(function.__name__, short_help=short)(run)
    return run


CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="The case file (TOML).")]
#: by their starter cases: to load the kinds themselves would take longer than all of the help
KINDS = sorted(file.stem.removeprefix("starter_") for file in (Path(__file__).parent / "cage").glob("starter_*.toml"))
KindName = Annotated[str, typer.Argument(metavar="KIND", help=f"Kind of cage: {' or '.join(KINDS)}.")]


@command
def new(
    kind: KindName,
    common: Common,
    output: Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE", help="Write into FILE.")] = None,
) -> int:
    """Write a commented starter case that runs as it stands."""
    from stackup.cage import starter
    from stackup.report import json
    from stackup.report.output import put, save

    text = starter(_known(kind))
    if output is not None:
        save(text, output, common.force)
    if common.json:
        put(json.text_of({"kind": kind, "file": str(output) if output else None, "text": text}), sys.stdout)
    elif output is None:
        put(text, sys.stdout)
    elif not common.quiet:
        put(f"{output} is written; next: stackup check {output}\n", sys.stdout)
    return MET


@command
def check(
    case: CaseFile,
    common: Common,
    details: Annotated[bool, typer.Option("--details", "-d", help="Show everything known of every gap.")] = False,
) -> int:
    """Check every requirement by worst case, RSS and Monte Carlo, with a verdict.

    Exit code 0: every requirement is met; 1: one or more are not met or undecided.
    """
    from stackup.case import read
    from stackup.decide.check import check as check_case
    from stackup.report import checking

    checked = read(case)
    settings = _settings(checked, common)
    result, code = _ran(common, lambda progress: check_case(checked, settings, progress))
    page = functools.partial(checking.answer_page if common.quiet else checking.page, result)
    common.show(lambda: page(details=details), result.to_dict)
    return code or (MET if result.verdict in (None, "met") else NOT_MET)


@command
def explain(
    case: CaseFile,
    common: Common,
    gap: Annotated[str | None, typer.Argument(metavar="[GAP]", help="One gap; all without it.")] = None,
    program: Annotated[bool, typer.Option("--program", help="The generated straight-line program too.")] = False,
    row: Annotated[str | None, typer.Option("--row", metavar="NAME", help="Of this row; the first without it.")] = None,
    state: Annotated[
        str | None, typer.Option("--state", metavar="NAME", help="made, hot, worn or hot_worn; as made without it.")
    ] = None,
) -> int:
    """Show a gap's chain step by step in symbols, its sensitivities and contributions."""
    from stackup.case import read
    from stackup.decide.explain import explain as explain_gaps
    from stackup.report import explaining

    explained = read(case)
    settings = _settings(explained, common)
    result, code = _ran(common, lambda progress: explain_gaps(explained, gap, program, settings, progress, row, state))
    common.show(lambda: explaining.page(result), result.to_dict)
    return code or MET


@command
def allocate(
    case: CaseFile,
    common: Common,
    output: Annotated[Path | None, typer.Option("-o", "--output", metavar="NEW", help="Write the new case.")] = None,
) -> int:
    """Find the cheapest tolerances, processes and nominals that meet every requirement.

    Exit code 0: the new case meets all; 1: nothing does.
    """
    from stackup.case import read, write
    from stackup.decide.allocate import allocate as allocate_case
    from stackup.report import allocating
    from stackup.report.output import free, save

    drawing = read(case)
    free(output, common.force)
    result, code = _ran(common, lambda progress: allocate_case(drawing, _settings(drawing, common), progress))
    if output is not None and result.works:
        save(write(drawing, result.changes), output, common.force)
    page = allocating.answer_page if common.quiet else allocating.page
    common.show(lambda: page(result, output if result.works else None), result.to_dict)
    return code or (MET if result.works else NOT_MET)


@command
def rollers(
    case: CaseFile,
    common: Common,
    first: Annotated[int | None, typer.Option("--from", help="Fewest rollers to try (five fewer than now).")] = None,
    last: Annotated[int | None, typer.Option("--to", help="Most rollers to try (as many as can stand).")] = None,
    follow: Annotated[
        str,
        typer.Option(
            help="pitch: the holes stay on the drawing's pitch circle; raceway: they stand where the raceways put "
            "the rollers; pitch,raceway: both, one after the other."
        ),
    ] = "pitch",
) -> int:
    """Say how many rollers fit: gaps, fractions and the rating by ISO 281 against the present count.

    Exit code 0: the case as given meets every requirement; 1: it does not.
    """
    from stackup.case import read
    from stackup.decide.rollers import rollers as try_counts
    from stackup.report import rollers as screen

    tried = read(case)
    settings = _settings(tried, common)
    result, code = _ran(common, lambda progress: try_counts(tried, first, last, follow, settings, progress))
    page = functools.partial(screen.answer_page if common.quiet else screen.page, result)
    common.show(page, result.to_dict)
    return code or (MET if result.as_given in (None, "met") else NOT_MET)


@command
def capability(case: CaseFile, common: Common) -> int:
    """Say which capability each process has and needs, what the measured columns prove, and what to improve first.

    Exit code 0: the case as given meets every requirement; 1: it does not.
    """
    from stackup.case import read
    from stackup.decide.capability import capability as study
    from stackup.report import capability as screen

    studied = read(case)
    result, code = _ran(common, lambda progress: study(studied, _settings(studied, common), progress))
    page = functools.partial(screen.answer_page if common.quiet else screen.page, result)
    common.show(page, result.to_dict)
    return code or (MET if result.verdict in (None, "met") else NOT_MET)


@command
def assemble(
    case: CaseFile,
    common: Common,
    order: Annotated[
        str | None,
        typer.Option(
            help="Pockets in which pins are put in first, from 0: 0,24,12. Those left out follow in natural order."
        ),
    ] = None,
) -> int:
    """Say whether the rings can be closed, where they jam, which pins block, and the best order of assembly.

    Exit code 0: every requirement on closing is met; 1: one or more are not met or undecided.
    """
    from stackup.case import read
    from stackup.decide.assemble import assemble as assemble_cage
    from stackup.decide.assemble_order import read_order
    from stackup.report import assembling

    closed = read(case)
    pockets = None if order is None else read_order(order)
    result, code = _ran(common, lambda progress: assemble_cage(closed, pockets, _settings(closed, common), progress))
    page = functools.partial(assembling.answer_page if common.quiet else assembling.page, result)
    common.show(page, result.to_dict)
    return code or (MET if result.verdict in (None, "met") else NOT_MET)


@command
def review(
    case: CaseFile,
    proposal: Annotated[
        Path, typer.Argument(metavar="PROPOSAL", help="The proposal (TOML): a case, or only the lines that change.")
    ],
    common: Common,
    details: Annotated[bool, typer.Option("--details", "-d", help="What every method says, before and after.")] = False,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="FILE", help="Write a page to send (Markdown).")
    ] = None,
) -> int:
    """Review a supplier's proposal: what changes, who takes the margins, what to refuse, a counter-proposal.

    Exit code 0: accept; 1: accept in part, or refuse.
    """
    from stackup.case import read
    from stackup.case.proposal import read_over
    from stackup.decide.review import review as review_proposal
    from stackup.report import letter, reviewing
    from stackup.report.output import free, put, save

    drawing = read(case)
    proposed = read_over(drawing, proposal)
    free(output, common.force)
    settings = _settings(drawing, common)
    result, code = _ran(common, lambda progress: review_proposal(drawing, proposed, settings, progress))
    page = functools.partial(reviewing.answer_page if common.quiet else reviewing.page, result)
    common.show(lambda: page(details=details), result.to_dict)
    if output is not None and code is None:
        save(letter.text_of(result), output, common.force)
        if not (common.json or common.quiet):
            put(f"{output} is written\n", sys.stdout)
    return code or (MET if result.verdict == "accept" else NOT_MET)


@command
def slots(kind: KindName, common: Common) -> int:
    """List the slots of a kind: what each means, its default, and how a drawing states it (ISO 1101)."""
    from stackup.cage import kind as kind_called
    from stackup.report import lists

    found = kind_called(_known(kind))
    common.show(lambda: lists.slots_page(found), lambda: lists.slots_record(found))
    return MET


@command
def iso286(
    size: Annotated[float, typer.Argument(metavar="SIZE", help="Nominal size, mm.")],
    classes: Annotated[str, typer.Argument(metavar="CLASS", help="A class (h7) or a fit (H7/g6).")],
    common: Common,
) -> int:
    """Give the limits of a size, or a fit, by ISO 286-1."""
    from stackup.report import lists
    from stackup.standards.iso286 import fit, limits, read_fit

    found = fit(size, *read_fit(classes)) if "/" in classes else None
    sizes = (found.hole, found.shaft) if found else (limits(size, classes),)
    common.show(lambda: lists.limits_page(sizes, found), lambda: lists.limits_record(sizes, found))
    return MET


@command
def schema(common: Common) -> int:
    """Print the JSON Schema of the case file, for completion in an editor."""
    import json

    from stackup.case import json_schema
    from stackup.report.output import put

    indent = None if common.json else 2
    put(json.dumps(json_schema(), ensure_ascii=False, indent=indent) + "\n", sys.stdout)
    return MET


def _ran(common: Common, work: Callable[[Progress], Any]) -> tuple[Any, int | None]:
    """Return what ``work(progress)`` found; where the user stopped it what it had so far, and the exit code of that."""
    from stackup.report.progress import Progress as Shown

    try:
        with Shown(common.quiet) as progress:
            return work(progress), None
    except Interrupted as interruption:
        return interruption.records, STOPPED


def _known(kind: str) -> str:
    """Return ``kind``.  Raises CaseError where there is no such kind."""
    from stackup import cage

    if kind not in cage.KINDS:
        raise CaseError([Fault("KIND", kind, " or ".join(cage.KINDS), nearest(kind, cage.KINDS))])
    return kind


def _settings(case: Any, common: Common) -> Settings:
    from stackup.decide.check import settings_of

    workers = common.workers or len(getattr(os, "sched_getaffinity", lambda _: [0])(0))
    return settings_of(case, seed=common.seed, cages=common.cages, workers=min(workers, MOST_WORKERS))


# From arguments to an exit code -----------------------------------------------------------------------------


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit: 0 or 1 as the command says, 2 wrong input, 130 interrupted."""
    os.environ.setdefault(VARIABLE, "1")
    exits.open_streams()
    sys.exit(run(sys.argv[1:] if arguments is None else arguments))


def run(arguments: Sequence[str]) -> int:
    """Return the exit code of the command line ``arguments``; no traceback ever."""
    given = list(arguments) or ["--help"]
    return exits.code_of(lambda: typer.main.get_command(app).main(given, "stackup", standalone_mode=False), given)


if __name__ == "__main__":
    main()
