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

from stackup.errors import CaseError, Fault, Interrupted, StackupError, nearest

if TYPE_CHECKING:
    from stackup.engine.settings import Settings
    from stackup.report.view import Page

MET, NOT_MET, WRONG, INTERNAL, STOPPED = 0, 1, 2, 70, 130
MOST_WORKERS = 64

app = typer.Typer(
    name="stackup",
    help="Tolerance stack-up of pin-type roller bearing cages: clearances and the fraction out of spec.",
    epilog="Results follow from the inputs and are no release: verify on parts.",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@dataclass(frozen=True)
class Common:
    """The options that every command takes."""

    json: Annotated[bool, typer.Option("--json", help="Print one JSON record and nothing else.")] = False
    seed: Annotated[int | None, typer.Option(help="Seed of the random numbers.", min=0, max=2**63 - 1)] = None
    cages: Annotated[int | None, typer.Option(help="Cages drawn by Monte Carlo.", min=1, max=10**9)] = None
    workers: Annotated[int | None, typer.Option(help="Processors to use.", min=1, max=MOST_WORKERS)] = None
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress, only the answer.")] = False
    plain: Annotated[bool, typer.Option("--plain", help="No colour (as NO_COLOR).")] = False
    force: Annotated[bool, typer.Option("--force", help="Overwrite an output that is there.")] = False

    def show(self, page: Callable[[], Page], record: Callable[[], Any]) -> None:
        """Print the record where JSON is asked for, else the page."""
        from stackup.report import json, output

        if self.json:
            output.put(json.text_of(record()), sys.stdout)
            return
        from stackup.report import terminal

        output.put(terminal.text_of(page(), sys.stdout, self.plain), sys.stdout)


def command(function: Callable[..., int]) -> Callable[..., int]:
    """Make a command of ``function``; its parameter ``common`` becomes the common options."""
    own = inspect.signature(function, eval_str=True)
    options = inspect.signature(Common, eval_str=True).parameters.values()

    def run(**given: Any) -> int:
        common = Common(**{field.name: given.pop(field.name) for field in fields(Common)})
        return function(common=common, **given)

    kept = [one for one in own.parameters.values() if one.name != "common"]
    named = [one.replace(kind=inspect.Parameter.KEYWORD_ONLY) for one in (*kept, *options)]
    run.__signature__ = own.replace(parameters=named)  # type: ignore[attr-defined]
    run.__annotations__ = {one.name: one.annotation for one in named}
    run.__doc__ = function.__doc__
    app.command(function.__name__)(run)
    return run


CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="The case file (TOML).")]
KindName = Annotated[str, typer.Argument(metavar="KIND", help="Kind of cage: cylindrical or none.")]


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
    details: Annotated[bool, typer.Option("--details", "-d", help="All there is of every gap.")] = False,
) -> int:
    """Check every requirement by worst case, RSS and Monte Carlo, with a verdict.

    Exit code 0: every requirement is met; 1: one or more are not met or undecided.
    """
    from stackup.case import read
    from stackup.decide.check import check as check_case
    from stackup.report import checking
    from stackup.report.progress import Progress

    checked = read(case)
    settings, code = _settings(checked, common), None
    try:
        with Progress(common.quiet) as progress:
            result = check_case(checked, settings, progress)
    except Interrupted as interruption:
        result, code = interruption.records, STOPPED
    page = functools.partial(checking.answer_page if common.quiet else checking.page, result)
    common.show(lambda: page(details=details), result.to_dict)
    return code or (MET if result.verdict in (None, "met") else NOT_MET)


@command
def explain(
    case: CaseFile,
    common: Common,
    gap: Annotated[str | None, typer.Argument(metavar="[GAP]", help="One gap; all without it.")] = None,
    program: Annotated[bool, typer.Option("--program", help="The generated straight-line program too.")] = False,
) -> int:
    """Show a gap's chain step by step in symbols, its sensitivities and contributions."""
    from stackup.case import read
    from stackup.decide.explain import explain as explain_gaps
    from stackup.report import explaining
    from stackup.report.progress import Progress

    explained, code = read(case), MET
    try:
        with Progress(common.quiet) as progress:
            result = explain_gaps(explained, gap, program, _settings(explained, common), progress)
    except Interrupted as interruption:
        result, code = interruption.records, STOPPED
    common.show(lambda: explaining.page(result), result.to_dict)
    return code


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


def _known(kind: str) -> str:
    """Return ``kind``.  Raises CaseError where there is no such kind."""
    from stackup.cage import KINDS

    if kind not in KINDS:
        raise CaseError([Fault("KIND", kind, " or ".join(KINDS), nearest(kind, KINDS))])
    return kind


def _settings(case: Any, common: Common) -> Settings:
    from stackup.decide.check import settings_of

    workers = common.workers or len(getattr(os, "sched_getaffinity", lambda _: [0])(0))
    return settings_of(case, seed=common.seed, cages=common.cages, workers=min(workers, MOST_WORKERS))


# From arguments to an exit code -----------------------------------------------------------------------------


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit: 0 or 1 as the command says, 2 wrong input, 130 interrupted."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    sys.exit(run(sys.argv[1:] if arguments is None else arguments))


def run(arguments: Sequence[str]) -> int:
    """Return the exit code of the command line ``arguments``; no traceback ever."""
    as_json = "--json" in arguments
    arguments = arguments or ["--help"]
    try:
        return int(typer.main.get_command(app).main(list(arguments), "stackup", standalone_mode=False) or MET)
    except StackupError as error:
        return _refuse(error, as_json)
    except (KeyboardInterrupt, Interrupted, typer.Abort):
        _say("stackup: interrupted\n")
        return STOPPED
    except SystemExit as stop:
        return _after_exit(stop)
    except Exception as error:  # the last resort: words instead of a traceback
        if hasattr(error, "format_message"):
            return _refuse(_usage_fault(error, arguments), as_json)
        return _own_fault(error)


def _refuse(error: StackupError, as_json: bool) -> int:
    """Say what is wrong with the input: in words on stderr, with ``--json`` as a record on stdout too."""
    from stackup.report import faults, json
    from stackup.report.output import put

    _say(faults.in_words(error))
    if as_json:
        put(json.text_of(faults.record(faults.faults_of(error))), sys.stdout)
    return WRONG


def _usage_fault(error: Any, arguments: Sequence[str]) -> CaseError:
    """Return what is wrong with the command line as a fault, with the nearest command or option."""
    context = getattr(error, "ctx", None)
    found = str(error.format_message()).split(" Did you mean")[0].split(" (Possible")[0].rstrip(". ")
    known = _names_in(context)
    unknown = getattr(error, "option_name", None) or _unknown_command(error, arguments, known)
    near = nearest(str(unknown), known) if unknown else None
    path = context.command_path if context else "stackup"
    return CaseError([Fault(path, found[:1].lower() + found[1:], f"see {path} --help", near)])


def _names_in(context: Any) -> list[str]:
    """Return the commands and options that may stand where the fault was found."""
    if context is None:
        return []
    options = [name for one in context.command.params for name in getattr(one, "opts", ())]
    return [*getattr(context.command, "commands", {}), *options]


def _unknown_command(error: Any, arguments: Sequence[str], known: Sequence[str]) -> str | None:
    if "command" not in str(error.format_message()).lower():
        return None
    return next((one for one in arguments if not one.startswith("-") and one not in known), None)


def _after_exit(stop: SystemExit) -> int:
    """Return the exit code; a reader that closed the pipe while help was printed changes none."""
    if isinstance(stop.__context__, BrokenPipeError):
        from stackup.report.output import silence

        silence(sys.stdout)
        return MET
    return stop.code if isinstance(stop.code, int) else WRONG


def _own_fault(error: Exception) -> int:
    """Say that the fault is the program's own, and where."""
    trace = error.__traceback__
    while trace and trace.tb_next:
        trace = trace.tb_next
    where = f" ({Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno})" if trace else ""
    _say(f"stackup: a fault of the program itself, not of the input: {type(error).__name__}: {error}{where}\n")
    return INTERNAL


def _say(text: str) -> None:
    from stackup.report.output import put

    put(text, sys.stderr)


if __name__ == "__main__":
    main()
