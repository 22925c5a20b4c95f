"""``review``: a proposal against the drawing: what changes, who causes it, what to refuse, what to answer."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from stackup import __version__
from stackup.case import Case, changed
from stackup.case.case import Row
from stackup.case.proposal import Proposal, proposal_of
from stackup.decide import notes
from stackup.decide.agree import Agreed, agree
from stackup.decide.check import check, settings_of
from stackup.decide.coalitions import Bench
from stackup.decide.differences import Change, alike, changes_of
from stackup.decide.record import CheckResult, Note, Record, RowRecord
from stackup.decide.review_record import (
    Cause,
    ChangeReview,
    Decision,
    Effect,
    Margins,
    Opinion,
    RequirementReview,
    ReviewResult,
)
from stackup.decide.rulings import Ruling, rulings_of
from stackup.decide.shapley import EXACT, PAIRS, Part
from stackup.decide.trial import Judgement
from stackup.decide.unsaid import Unsaid, unsaid_of
from stackup.decide.weighing import Ahead, causes_of, least_of, shares_of
from stackup.engine.settings import Progress, Settings, silent
from stackup.errors import Interrupted


@dataclass
class _Found:
    """What a review has found so far."""

    changes: tuple[Change, ...]
    rulings: tuple[Ruling, ...]
    unsaid: Unsaid
    before: CheckResult | None = None
    after: CheckResult | None = None
    agreed_check: CheckResult | None = None
    bench: Bench | None = None
    agreed: Agreed | None = None
    shares: dict[str, dict[int, Part | None]] = field(default_factory=dict)
    causes: dict[int, tuple[Cause, ...]] = field(default_factory=dict)
    interrupted: bool = False


def review(
    case: Case,
    proposal: Proposal | Case | Mapping[str, Any],
    settings: Settings | None = None,
    progress: Progress = silent,
) -> ReviewResult:
    """Return what becomes of every change that ``proposal`` makes of ``case``, in numbers.

    ``proposal`` is what ``stackup.read_proposal`` returns, another case, or tables of which any part may be missing.
    ``settings`` default to those of the case.  Raises CaseError for a proposal that is no case over the drawing,
    Interrupted with the result so far, complete in form, when the user stops the run.
    """
    settings = settings or settings_of(case)
    if not isinstance(proposal, Proposal):
        proposal = proposal_of(case, proposal)
    changes = changes_of(case, proposal)
    found = _Found(changes, rulings_of(case, proposal), unsaid_of(case, proposal, changes))
    try:
        _fill(found, case, settings, progress)
    except (KeyboardInterrupt, Interrupted):
        found.interrupted = True
    result = _result(case, proposal, settings, found)
    if found.interrupted:
        raise Interrupted(result)
    return result


def _fill(found: _Found, case: Case, settings: Settings, progress: Progress) -> None:
    """Find everything, the numbers that all else hangs on first."""
    _check(found, "before", case, settings, progress)
    if found.before is None or not found.changes:
        found.after = found.agreed_check = found.before
        return
    bench = Bench(case, found.changes, settings, _fractions(found.before), progress)
    ahead = Ahead(bench, settings)
    try:
        _weigh(found, case, bench, ahead, progress)
    except BaseException:
        ahead.stop()
        raise
    found.agreed = agree(bench)
    state = found.agreed.state
    for i, step in enumerate(state):
        if step < bench.all[i]:
            found.causes[i] = causes_of(bench, state, i)
    known = {bench.none: found.before, bench.all: found.after}
    if state in known:
        found.agreed_check = known[state]
    else:
        _check(found, "agreed_check", changed(case, bench.values(state)), settings, progress)


def _weigh(found: _Found, case: Case, bench: Bench, ahead: Ahead, progress: Progress) -> None:
    """Find what all changes do together, and what each does to each margin."""
    _check(found, "after", changed(case, bench.values(bench.all)), ahead.settings, progress)
    found.bench = bench
    for state, result in ((bench.none, found.before), (bench.all, found.after)):
        if result is not None:
            bench.know(state, _judgements(result))
    for late in (False, True):
        if late:
            ahead.wait(progress)
        for name, method in bench.methods.items():
            if (method == "worst case") == late:
                found.shares[name] = shares_of(bench, name, ahead.settings.seed)


def _check(found: _Found, what: str, case: Case, settings: Settings, progress: Progress) -> None:
    """Check a case into ``found``; what is finished of it stays there when the user stops the run."""
    try:
        setattr(found, what, check(case, settings, progress, all_gaps=False))
    except Interrupted as stopped:
        setattr(found, what, stopped.records)
        raise


def _judgements(result: CheckResult) -> dict[str, Judgement]:
    """Return the verdicts that a check has found already."""
    found = {}
    for record in result.requirements:
        allow, each = record.requirement.allow, record.fraction
        if record.verdict is not None and each is not None:
            fraction, ends = (getattr(each, allow.of), None) if allow else (None, record.worst_case)
            place = record.row, record.state
            found[record.name] = Judgement(record.requirement, record.verdict, ends, fraction, each.cages, *place)
    return found


def _fractions(result: CheckResult) -> dict[str, float]:
    """Return the fraction out of spec of every requirement with an allowance."""
    found = {}
    for record in result.requirements:
        allow = record.requirement.allow
        fraction = getattr(record.fraction, allow.of) if allow and record.fraction else None
        if fraction is not None:
            found[record.name] = fraction.out_of_spec
    return found


# The record ---------------------------------------------------------------------------------------------------


def _result(case: Case, proposal: Proposal, settings: Settings, found: _Found) -> ReviewResult:
    changes = (*_changes(case, found), *(_ruled(case, ruling) for ruling in found.rulings))
    return ReviewResult(
        title=case.title,
        kind=case.kind,
        version=__version__,
        digest=case.digest,
        proposal_digest=proposal.digest,
        seed=settings.seed,
        cages=settings.cages,
        pockets_per_cage=case.rollers,
        rows=tuple(RowRecord(row.name, row.count, row.rollers) for row in case.models()),
        states=tuple(dict.fromkeys(state for row in case.models() for state in row.states)),
        whole=proposal.whole,
        verdict=None if found.interrupted else opinion([change.decision for change in changes]),
        largest=found.agreed.largest if found.agreed else None,
        changes=changes,
        requirements=tuple(_requirements(case, found)),
        questions=found.unsaid.questions,
        unsaid=found.unsaid.paths,
        notes=tuple(_notes(case, settings, found)),
        interrupted=found.interrupted,
    )


def opinion(decisions: Sequence[Decision | None]) -> Opinion:
    """Return the verdict on a proposal from the decisions on its changes."""
    if all(decision == "accept" for decision in decisions):
        return "accept"
    return "refuse" if all(decision == "refuse" for decision in decisions) else "accept in part"


def _changes(case: Case, found: _Found) -> Iterator[ChangeReview]:
    for index, change in enumerate(found.changes):
        step = found.agreed.state[index] if found.agreed and not found.interrupted else None
        shares = {r.name: found.shares.get(r.name, {}).get(index) for r in case.requirements}
        yield ChangeReview(
            dimension=change.name,
            what=change.what,
            before=change.before,
            after=change.after,
            decision=None if step is None else _decision(step, change.full),
            counter=change.values[step] if step is not None and 0 < step < change.full else None,
            shares=shares,
            effect=_effect(found, shares),
            reason=None,
            causes=found.causes.get(index, ()),
        )


def _decision(step: int, full: int) -> Decision:
    if step == full:
        return "accept"
    return "limit" if step else "refuse"


def _ruled(case: Case, ruling: Ruling) -> ChangeReview:
    return ChangeReview(
        dimension=ruling.name,
        what=ruling.what,
        before=ruling.before,
        after=ruling.after,
        decision=ruling.decision,
        counter=None,
        shares=dict.fromkeys((r.name for r in case.requirements), None),
        effect=None,
        reason=ruling.reason,
        causes=(),
    )


def _effect(found: _Found, shares: Mapping[str, Part | None]) -> Effect | None:
    """Return whether a change takes from any margin, adds to any, both, or does nothing that counts."""
    if found.before is None or None in shares.values():
        return None
    least = {record.name: least_of(record) for record in found.before.requirements}
    takes = any(part and part.value > least[name] for name, part in shares.items())
    adds = any(part and part.value < -least[name] for name, part in shares.items())
    return "both" if takes and adds else "takes" if takes else "adds" if adds else "nothing"


def _requirements(case: Case, found: _Found) -> Iterator[RequirementReview]:
    for requirement in case.requirements:
        name = requirement.name
        records = [_of(result, name) for result in (found.before, found.after, found.agreed_check)]
        yield RequirementReview(name, _margins(found, name), *records)


def _of(result: CheckResult | None, name: str) -> Record | None:
    return None if result is None else result[name]


def _margins(found: _Found, name: str) -> Margins | None:
    bench = found.bench
    if bench is None or name not in found.shares:
        return None
    before, after = (bench.standing(name, state).margin for state in (bench.none, bench.all))
    agreed = bench.standing(name, found.agreed.state).margin if found.agreed else None
    return Margins(bench.methods[name], before, after, agreed)


# Notes --------------------------------------------------------------------------------------------------------


def _notes(case: Case, settings: Settings, found: _Found) -> Iterator[Note]:
    yield from notes.of_case(case)
    if found.agreed and not found.agreed.largest:
        more = f"more than {EXACT} changes: a larger set than the one accepted may work"
        yield Note(f"{more}, not all sets were looked at")
    yield from _of_margins(case, settings, found)
    yield from _of_rows(case, found.changes)
    if found.interrupted:
        yield Note("interrupted: what was not finished is left out, nothing is decided")
    for text in notes.CAUTIONS:
        yield Note(text, level="caution")


def _of_rows(case: Case, changes: Sequence[Change]) -> Iterator[Note]:
    """Yield which rows a change does not reach, for they say it themselves: what it takes is taken of the worst row."""
    for change in changes if len(case.models()) > 1 else ():
        rows = case.models(), changed(case, change.ladder[-1]).models()
        stays = [old.name for old, new in zip(*rows, strict=True) if _says_the_same(old, new)]
        if stays and len(stays) < len(rows[0]):
            own = f"{', '.join(stays)} {'say' if len(stays) > 1 else 'says'} it for itself and keeps it"
            yield Note(f"{change.name}, {change.what}: row {own}; the worst row may be that one")


def _says_the_same(one: Row, other: Row) -> bool:
    """Tell whether a row is drawn the same in two cases."""
    mine, theirs = one.dimensions, other.dimensions
    return (
        one.rollers == other.rollers
        and mine.keys() == theirs.keys()
        and all(alike(mine[name], theirs[name]) for name in mine)
    )


def _of_margins(case: Case, settings: Settings, found: _Found) -> Iterator[Note]:
    """Yield what the shares do not tell."""
    bench = found.bench
    for requirement in case.requirements if bench else ():
        name, allow = requirement.name, requirement.allow
        shares = found.shares.get(name, {}).values()
        if None in shares:
            yield Note("no shares: the margin has no end with some of the changes", name, "reason")
        if any(part and part.low < part.high for part in shares):
            yield Note(f"more than {EXACT} changes: shares from {PAIRS} pairs of orders, ± a 95 % interval", name)
        units = settings.cages * (case.rollers if allow and allow.of == "pockets" else 1)
        if bench and bench.methods[name] == "sampled" and allow and allow.ppm * 1e-6 * units < 1:
            less = f"{allow.ppm:.10g} ppm are less than one of {units} drawn"
            yield Note(f"{less}: the margin is that of the worst", name)
