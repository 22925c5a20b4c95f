"""What a reader must know beside the numbers, as data: every renderer shows the same."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence

from stackup.cage import kind as kind_called
from stackup.case import Case
from stackup.chain.symbols import symbol
from stackup.decide.engines import Found
from stackup.decide.record import Note, Record
from stackup.decide.words import (
    cages_to_try,
    doubt_if_independent,
    is_none_seen,
    of_what,
    parts,
    share,
    upper_end,
)

#: cages and what independent pockets would have said differ by more than this: worth a word
APART = 1.2

#: mean ± 3 sd beyond the worst case by more than this part of its width: worth a word
PASSING = 1e-3
PASSES = "mean ± 3 sd of RSS reaches beyond the worst case: the law of this gap is not normal"

CAUTIONS = (
    "the results follow from the inputs: a process that is not what the case says gives other parts",
    "this is no release: verify on parts; local codes, the bearing maker's drawing and a licensed engineer decide",
)


def of_case(case: Case) -> Iterator[Note]:
    """Yield the warnings of the case, and what the kind says of its own limits."""
    for text in case.notes:
        yield Note(text)
    rows = [(row.name, next(iter(row.states.values())).dimensions) for row in case.models()]
    for gap in kind_called(case.kind).gaps:
        limited = [r.name for r in case.requirements if r.max is not None and _rises_with(case, r.gap, gap.name)]
        cautions = {row: gap.max_caution(dimensions) for row, dimensions in rows} if limited else {}
        for name in limited:
            for caution in dict.fromkeys(filter(None, cautions.values())):
                of = [row for row, text in cautions.items() if text == caution]
                where = "" if len(of) == len(rows) else f" of row{'s' * (len(of) > 1)} {', '.join(of)}"
                yield Note(f"the upper limit{where} {caution}", name)


def _rises_with(case: Case, name: str, gap: str) -> bool:
    """Tell whether ``name`` is the gap, or a chain of the file that grows with it."""
    chain = case.chains.get(name)
    return name == gap or (chain is not None and bool(chain.expression.diff(symbol(gap)).is_positive))


def of_record(record: Record, alone: bool = False) -> Iterator[Note]:
    """Yield what stands beside one requirement's verdict; ``alone`` tells that there is no cage."""
    for finding in (_outside_drawing, _undecided, _not_certified, _shared_errors, _not_finite):
        text = finding(record, of_what("cages", alone))
        if text:
            yield Note(text, record.name)


def _outside_drawing(record: Record, cages: str) -> str:
    fraction = record.fraction.cages if record.fraction else None
    if record.requirement.allow or record.verdict != "met" or fraction is None or fraction.high == 0:
        return ""
    if is_none_seen(fraction):
        out = f"up to {upper_end(fraction)} of {cages} may be out of spec (none seen)"
        return f"met for parts to drawing; where processes make parts outside it, {out}"
    out = f"{share(fraction)} of {cages} are out of spec"
    return f"met for parts to drawing; the processes make parts outside it too: with them {out}"


def _undecided(record: Record, cages: str) -> str:
    if record.verdict != "undecided":
        return ""
    if record.requirement.allow is None:
        within = "the worst case found lies within the limits, the guaranteed bound does not"
        return f"undecided: {within}" if record.worst_case else ""
    return f"undecided; {to_try(record, cages)}" if record.fraction and record.monte_carlo else ""


def to_try(record: Record, cages: str = "cages") -> str:
    """Return in words what would decide a requirement whose fraction was sampled; "" where it is decided."""
    sampled = record.monte_carlo
    if record.more_cages == 0 or sampled is None:
        return ""
    if record.more_cages is None:
        return f"the estimate is too near the allowance for any number of {cages}"
    failed = sampled.cages.out_of_spec * sampled.drawn if sampled.cages else 0.0
    return cages_to_try(sampled.drawn + record.more_cages, failed)


def _not_certified(record: Record, _: str) -> str:
    found = record.worst_case
    if found is None or found.certified:
        return ""
    ends = {"low": found.low - found.bound_low, "high": found.bound_high - found.high}
    sure = {"low": found.certified_low, "high": found.certified_high}
    if not all(math.isfinite(ends[name]) for name in ends if not sure[name]):
        return "worst case unbounded: the formula has a pole or no value within the tolerances"
    apart = max(ends[name] for name in ends if not sure[name])
    where = " and ".join(name for name in ends if not sure[name])
    how_far = f"by up to {_two_digits_up(apart)} {record.unit}"
    return f"worst case, {where} end: the guaranteed bound is farther out than what was found, {how_far}"


def _two_digits_up(value: float) -> str:
    """Return a number above 0 with two digits, never less than it is."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return f"{math.ceil(value / step - 1e-9) * step:.6g}"


def _shared_errors(record: Record, what: str) -> str:
    cages = record.monte_carlo.cages if record.monte_carlo else None
    if cages is None or not cages.if_independent or not cages.out_of_spec:
        return ""
    ratio = cages.if_independent / cages.out_of_spec
    if 1 / APART < ratio < APART or cages.low <= cages.if_independent <= cages.high:
        return ""
    times = f"{max(ratio, 1 / ratio):.2g} times too {'many' if ratio > 1 else 'few'}"
    told = parts(cages.if_independent, doubt_if_independent(record.monte_carlo))
    return f"pockets of a cage share errors: were they independent, {told} of {what} would be out of spec, {times}"


def _not_finite(record: Record, _: str) -> str:
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
    if passes_worst_case(record):
        yield PASSES
    if worst and worst.linear_low is None:
        yield "no linearised worst case of a number of the whole cage"
    if sampled and sampled.skewness is None:
        yield "no skewness and kurtosis: nothing scatters"
    if record.limited and record.contributions and all(one.tighter is None for one in record.contributions):
        yield "no effect of tighter tolerances: too few out of spec to tell"


def passes_worst_case(record: Record) -> bool:
    """Tell whether mean ± 3 sd reaches beyond the worst case and what was drawn does not: no normal law."""
    rss, worst, sampled = record.rss, record.worst_case, record.monte_carlo
    if rss is None or worst is None or sampled is None or rss.exact or not sampled.quantiles:
        return False
    low, *_, high = sampled.quantiles.values()
    slack = PASSING * (worst.bound_high - worst.bound_low)
    below = rss.low < worst.bound_low - slack and low >= worst.bound_low
    return below or (rss.high > worst.bound_high + slack and high <= worst.bound_high)


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
