"""What a reader of ``capability`` must know beside the numbers, as data: every renderer shows the same."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from stackup.case import Case
from stackup.decide import notes
from stackup.decide.capability_record import CapabilityResult, DimensionCapability
from stackup.decide.gains import FEWEST
from stackup.decide.needed import FLOOR
from stackup.decide.record import Note
from stackup.dimension import OneSided, Zone

#: so many names are told in a note
NAMED = 5

ALONE = (
    "needed Cpk: the least at which all requirements with an allowance hold if this process alone changes its spread, "
    "its mean where it is; with 1 % less they do not"
)
NO_ALLOWANCE = "no requirement has an allowance: none moves with any Cpk, no gain and no needed Cpk can be told"
ZONES = (
    "zones: Cp by the radial law (99.73 % of lengths about the mean within radius/Cp), Cpk = Cp·(1 − d/radius), "
    "d from true position to mean"
)
ONE_SIDED = "one-sided values: the index of their one limit (99.73 % within limit/Cpk), no Cp"
DATA = "measured columns: Cp and Cpk in the first table are Pp and Ppk of all parts, which the stack draws from"
SCALED = "needed Cpk of a measured column: its values drawn together about their mean"
CHOOSING = "each choice is put in alone; stackup allocate chooses the cheapest set of choices that meets all"
SIDES = "a choice with cp and cpk whose side is not stated is tried towards both limits, the worse counts"


def of(case: Case, result: CapabilityResult) -> Iterator[Note]:
    """Yield the notes on a result, those of the case first."""
    yield from notes.of_case(case)
    yield from _worst_cases(result)
    if result.cages_out is not None:
        yield from _gains(result)
        yield from _needs(result)
    elif result.requirements and not result.interrupted:
        yield Note(NO_ALLOWANCE)
    for column in result.measured:
        for text in column.notes:
            yield Note(text, column.name)
    for machine in result.machines:
        if machine.why:
            yield Note(f'the choice "{machine.name}" cannot be put in: {machine.why}', machine.dimension)
    if result.interrupted:
        yield Note("interrupted: what was not finished is left out")
    yield from _cautions(result)


def _worst_cases(result: CapabilityResult) -> Iterator[Note]:
    decided = [f"{r.requirement.name} ({r.verdict})" for r in result.requirements if r.by_worst_case]
    if decided:
        yield Note(f"decided by the worst case, which no Cpk moves: {', '.join(decided)}")


def _gains(result: CapabilityResult) -> Iterator[Note]:
    failed = round(result.cages_out.out_of_spec * result.cages) if result.cages_out else 0
    what = "stacks" if result.pockets_per_cage == 1 else "cages"
    if failed < FEWEST:
        few = f"{failed} of {result.cages} {what} fail a requirement with an allowance"
        yield Note(f"no gain is told: {few}, fewer than {FEWEST}; ranked by what each has over what it needs")


def _needs(result: CapabilityResult) -> Iterator[Note]:
    for why, names in _grouped(result.dimensions, lambda one: one.needed.answer in ("none", "no index")).items():
        yield Note(f"no needed Cpk of {names}: {why}")
    for why, names in _grouped(result.dimensions, lambda one: one.needed.answer == "not asked").items():
        yield Note(f"{why}: {names}")
    floor = [one.name for one in result.dimensions if one.needed.answer == "floor"]
    if floor:
        yield Note(f"any Cpk down to {FLOOR}, the least that is looked at, is enough of {_listed(floor)}")


def _grouped(
    records: Iterable[DimensionCapability], chosen: Callable[[DimensionCapability], bool]
) -> dict[str, str]:
    """Return the names of the chosen records by their reason."""
    found: dict[str, list[str]] = {}
    for one in records:
        if chosen(one):
            found.setdefault(one.needed.why.replace("depends on it", "depends on"), []).append(one.name)
    return {why: _listed(names) for why, names in found.items()}


def _listed(names: list[str]) -> str:
    """Return the first names, and how many more there are."""
    more = len(names) - NAMED
    return ", ".join(names) if more <= 1 else f"{', '.join(names[:NAMED])} and {more} more"


def _cautions(result: CapabilityResult) -> Iterator[Note]:
    said = [ALONE] if any(one.needed.index for one in result.dimensions) else []
    kinds = [one.dimension for one in result.dimensions if one.source in ("stated", "data")]
    said += [ZONES] if any(isinstance(kind, Zone) for kind in kinds) else []
    said += [ONE_SIDED] if any(isinstance(kind, OneSided) for kind in kinds) else []
    said += [DATA] if result.measured else []
    said += [SCALED] if any(one.source == "data" and one.needed.index for one in result.dimensions) else []
    if result.machines:
        said += [CHOOSING]
        said += [SIDES] if any(m.cp and m.cpk and m.cpk < m.cp for m in result.machines) else []
    for text in (*said, *notes.CAUTIONS):
        yield Note(text, level="caution")
