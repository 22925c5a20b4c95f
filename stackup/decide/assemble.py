"""``assemble``: can the rings be closed, where do they jam, which pins block, and which order of assembly is best."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from stackup import __version__
from stackup.cage import Kind
from stackup.case import Case, Row
from stackup.chain.model import Model, Requirement
from stackup.decide import assemble_notes as notes
from stackup.decide.assemble_order import closing_of, whole_order
from stackup.decide.assemble_record import AssembleResult, RowClosing
from stackup.decide.check import check, settings_of
from stackup.decide.fractions import of_bearings
from stackup.decide.record import CheckResult, Note, Record
from stackup.decide.verdict import ORDER, Verdict, worst
from stackup.engine import closing, entry_order
from stackup.engine.result import Fraction
from stackup.engine.settings import Progress, Settings, silent
from stackup.errors import Interrupted


@dataclass
class _Found:
    """What was found so far; what an interruption leaves out is not there."""

    rows: list[RowClosing] = field(default_factory=list)
    checked: CheckResult | None = None
    interrupted: bool = False


def assemble(
    case: Case,
    order: Sequence[int] | None = None,
    settings: Settings | None = None,
    progress: Progress = silent,
) -> AssembleResult:
    """Return whether the rings of ``case`` can be closed, where they jam, which pins block, and the best order.

    ``order``: the pockets in which pins are put in first, counted from 0; those left out follow in natural order.
    ``settings`` default to those of the case.

    Rings are closed as made, in the first state of a row.  Raises CaseError for a kind without rings to close, slots
    that are missing, an order that is none; Interrupted with the result so far, complete in form, when the user stops
    the run.
    """
    kind, gap = closing_of(case)
    orders = whole_order(order, case)
    settings = settings or settings_of(case)
    found = _Found()
    try:
        for row in case.models():
            _close(found, row, gap, orders[row.name], settings, progress)
        found.checked = check(_of_gap(case, gap), settings, progress, all_gaps=False)
    except Interrupted as stopped:
        found.interrupted = True
        if isinstance(stopped.records, CheckResult):
            found.checked = stopped.records
    except KeyboardInterrupt:
        found.interrupted = True
    result = _result(case, kind, gap, orders, settings, found)
    if found.interrupted:
        raise Interrupted(result)
    return result


def _close(
    found: _Found, row: Row, gap: str, order: tuple[int, ...], settings: Settings, progress: Progress
) -> None:
    """Put in what is found of one row, what was finished where Interrupted or KeyboardInterrupt is raised."""
    try:
        closed, jams = closing.run(made(row), gap, order, settings, progress)
    except Interrupted as stopped:
        if stopped.records is not None:
            found.rows.append(RowClosing(row.name, row.count, row.rollers, stopped.records[0], None))
        raise
    found.rows.append(RowClosing(row.name, row.count, row.rollers, closed, None))
    found.rows[-1] = replace(found.rows[-1], ordering=entry_order.run(jams, order, progress))


def made(row: Row) -> Model:
    """Return the model of a row as made, its first state."""
    return next(iter(row.states.values()))


def _of_gap(case: Case, gap: str) -> Case:
    """Return the case as made with its requirements on the gap alone, one without limits where it has none."""
    own = tuple(r for r in case.requirements if r.gap == gap) or (Requirement(gap, gap),)
    rows = tuple(replace(row, states={next(iter(row.states)): made(row)}) for row in case.models())
    return replace(case, requirements=own, rows=rows)


def _result(
    case: Case,
    kind: Kind,
    gap: str,
    orders: dict[str, tuple[int, ...]],
    settings: Settings,
    found: _Found,
) -> AssembleResult:
    records = found.checked.requirements if found.checked else ()
    governing = max(found.rows, key=lambda row: row.closing.cannot_close.out_of_spec, default=None)
    asked = [r for r in case.requirements if r.gap == gap]
    first = case.models()[0]
    result = AssembleResult(
        title=case.title,
        kind=case.kind,
        version=__version__,
        digest=case.digest,
        seed=settings.seed,
        cages=settings.cages,
        pockets_per_cage=case.rollers,
        gap=gap,
        gap_name=kind.closing_name,
        unit=made(first).gap(gap).unit,
        state=next(iter(first.states)),
        moves=kind.closing_moves,
        order=governing.closing.order if governing else orders[first.name],
        governing=governing,
        rows=tuple(found.rows),
        bearings=_bearings(case, found),
        record=max(records, key=_badness) if records else None,
        requirements=tuple(record for record in records if record.limited),
        notes=(),
        verdict=_verdict(asked, records),
        interrupted=found.interrupted,
    )
    return replace(result, notes=tuple(_notes(case, result)))


def _badness(record: Record) -> int:
    """Return where a record's verdict stands from best to worst; of equal ones the first of the case counts."""
    return ORDER.index(record.verdict) if record.verdict else -1


def _verdict(asked: Sequence[Requirement], records: Sequence[Record]) -> Verdict | None:
    """Return the worst verdict; undecided where a stop left any open, None without requirements."""
    if not asked:
        return None
    verdicts = {record.name: record.verdict or "undecided" for record in records}
    return worst(verdicts.get(r.name, "undecided") for r in asked)


def _bearings(case: Case, found: _Found) -> Fraction | None:
    """Return the fraction of bearings with any row that cannot be closed; None where a row was not finished."""
    if len(found.rows) < len(case.models()):
        return None
    return of_bearings([(row.closing.cannot_close, row.count) for row in found.rows])


def _notes(case: Case, result: AssembleResult) -> Iterator[Note]:
    for text in case.notes:
        yield Note(text)
    yield from notes.of(case, result)
