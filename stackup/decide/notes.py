"""What a reader must know beside the numbers, as data: every renderer shows the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from stackup.cage import kind as kind_called
from stackup.case import Case
from stackup.decide.engines import Found
from stackup.decide.record import Note, Record
from stackup.decide.words import parts, share

#: cages and what independent pockets would have said differ by more than this: worth a word
APART = 1.2

CAUTIONS = (
    "the results follow from the inputs: a process that is not what the case says gives other parts",
    "this is no release: verify on parts; local codes, the bearing maker's drawing and a licensed engineer decide",
)


def of_case(case: Case) -> Iterator[Note]:
    """Yield the warnings of the case, and what the kind says of its own limits."""
    for text in case.notes:
        yield Note(text)
    for gap in kind_called(case.kind).gaps:
        for requirement in case.requirements:
            if requirement.gap == gap.name and requirement.max is not None and gap.max_caution:
                yield Note(f"the upper limit {gap.max_caution}", requirement.name, "caution")


def of_record(record: Record) -> Iterator[Note]:
    """Yield what stands beside one requirement's verdict."""
    for finding in (_outside_drawing, _undecided, _not_certified, _shared_errors, _not_finite):
        text = finding(record)
        if text:
            yield Note(text, record.name)


def _outside_drawing(record: Record) -> str:
    fraction = record.fraction.cages if record.fraction else None
    if record.requirement.allow or record.verdict != "met" or fraction is None or fraction.high == 0:
        return ""
    return f"met for parts to drawing; {share(fraction)} of cages come from parts outside it"


def _undecided(record: Record) -> str:
    if record.verdict != "undecided":
        return ""
    if record.requirement.allow is None:
        return "undecided: the worst case found lies within the limits, the guaranteed bound does not"
    if record.more_cages is None:
        return "undecided: the estimate is too near the allowance for any number of cages"
    return f"undecided: {record.more_cages} more cages would decide (--cages)"


def _not_certified(record: Record) -> str:
    found = record.worst_case
    if found is None or found.certified:
        return ""
    ends = [name for name, sure in (("low", found.certified_low), ("high", found.certified_high)) if not sure]
    return f"worst case, {' and '.join(ends)} end: the guaranteed bound is farther out than what was found"


def _shared_errors(record: Record) -> str:
    cages = record.monte_carlo.cages if record.monte_carlo else None
    if cages is None or not cages.if_independent or not cages.out_of_spec:
        return ""
    ratio = cages.if_independent / cages.out_of_spec
    if 1 / APART < ratio < APART or cages.low <= cages.if_independent <= cages.high:
        return ""
    times = f"{max(ratio, 1 / ratio):.2g} times too {'many' if ratio > 1 else 'few'}"
    return (
        f"pockets of a cage share errors: were they independent, {parts(cages.if_independent)} of cages "
        f"would be out of spec, {times}"
    )


def _not_finite(record: Record) -> str:
    sampled = record.monte_carlo
    if sampled is None or not sampled.not_finite:
        return ""
    return f"{sampled.not_finite} sampled values are not finite; they count as out of spec"


def of_missing(records: Sequence[Record], found: Mapping[str, str]) -> Iterator[Note]:
    """Yield why numbers do not exist, each reason once with the names it holds for."""
    reasons: dict[str, list[str]] = {}
    for record in records:
        for reason in _reasons(record, found):
            reasons.setdefault(reason, []).append(record.name)
    for reason, names in reasons.items():
        yield Note(f"{reason} ({', '.join(dict.fromkeys(names))})", level="reason")


def _reasons(record: Record, found: Mapping[str, str]) -> Iterator[str]:
    if record.name in found:
        yield found[record.name]
    if not record.limited:
        yield "no verdict and no fractions: the case sets no limit"
    elif record.of_cage:
        yield "no fraction of pockets: a cage has one such number"
    worst, sampled = record.worst_case, record.monte_carlo
    if worst and worst.linear_low is None:
        yield "no linearised worst case of a fold over a cage"
    if sampled and sampled.skewness is None:
        yield "no skewness and kurtosis: nothing scatters"
    if record.limited and all(one.tighter is None for one in record.contributions):
        yield "no effect of tighter tolerances: too few out of spec to tell"


def of_run(found: Iterable[Found], variants: tuple[bool, bool]) -> Iterator[Note]:
    """Yield what holds for the whole run: RSS variants left out, an interruption, and the usual cautions."""
    inflated, shifted = variants
    if not (inflated and shifted):
        left_out = [n for n, there in (("inflated", inflated), ("shifted", shifted)) if not there]
        yield Note(f"no {' and no '.join(left_out)} RSS: [run] does not ask for it", level="reason")
    if any(one.interrupted for one in found):
        yield Note("interrupted: what was not finished is left out, what needs it is undecided")
    for text in CAUTIONS:
        yield Note(text, level="caution")
