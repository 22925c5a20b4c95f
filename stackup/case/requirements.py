"""From ``[requirements.NAME]`` to requirements: gaps, limits, allowances."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from stackup.case.chains import Chain
from stackup.case.draft import OPERATING, Draft, judge_name
from stackup.case.faults import listed
from stackup.case.scanner import Path
from stackup.case.schema import OF_NO_CAGE, RequirementEntry
from stackup.chain.model import Allowance, Population, Requirement
from stackup.errors import nearest

#: what a gap of a bearing in operation needs
OPERATED = f"temperatures, wear or a speed in {OPERATING}, or a gap that a bearing as made has"


def judge(draft: Draft, chains: Mapping[str, Chain]) -> tuple[Requirement, ...]:
    """Return the requirements of the file; what is wrong with any is noted."""
    made = []
    for name, entry in draft.document.requirements.items():
        judge_name(draft, "requirements", name)
        _judge_gap(draft, name, entry)
        _judge_limits(draft, name, entry)
        _judge_population(draft, name, entry, chains)
        allow = Allowance(entry.allow.ppm, _population(entry.allow.of)) if entry.allow else None
        made.append(Requirement(name, entry.gap or name, entry.over, entry.min, entry.max, allow))
    return tuple(made)


def _population(said: str) -> Population:
    """Return the population; a stack without a cage is what a cage is elsewhere."""
    return "cages" if said == OF_NO_CAGE else cast("Population", said)


def _judge_gap(draft: Draft, name: str, entry: RequirementEntry) -> None:
    gap = entry.gap or name
    path: Path = ("requirements", name, "gap") if entry.gap else ("requirements", name)
    if draft.faults.is_out(("chains",)) or draft.faults.is_out(("requirements", name, "gap")):
        return
    missing = draft.gaps_left_out()
    if gap in missing:
        slots, several = ", ".join(missing[gap]), len(missing[gap]) > 1
        what = "" if missing[gap] == [OPERATING] else f"slot{'s' if several else ''} "
        needs = f"{slots} {'are' if several else 'is'} missing" if what else f"nothing in {OPERATING} changes a part"
        found = f"the gap {gap}, for which {needs}"
        allowed = f"the {what}{slots}, or a gap whose slots are all given" if what else OPERATED
        draft.faults.add(path, found, allowed)
        return
    built_in = [item.name for item in draft.kind.gaps if item.name not in missing]
    gaps = list(dict.fromkeys([*built_in, *draft.named("chains")]))
    if gap not in gaps:
        there = listed(gaps, "none: write a chain first")
        draft.faults.add(
            path, f"no gap called {gap}", f"a gap of this case: {there}", near=nearest(gap, gaps)
        )


def _judge_limits(draft: Draft, name: str, entry: RequirementEntry) -> None:
    path: Path = ("requirements", name)
    wrong = any(draft.faults.is_out((*path, key)) for key in ("min", "max"))
    if entry.min is None and entry.max is None and not wrong:
        draft.faults.add(path, "neither min nor max", "at least one of the two", at_key=True)
    if entry.min is not None and entry.max is not None and entry.min > entry.max:
        draft.faults.add((*path, "min"), f"min {entry.min:.9g} above max {entry.max:.9g}", "min up to max")


def _judge_population(draft: Draft, name: str, entry: RequirementEntry, chains: Mapping[str, Chain]) -> None:
    """A gap of the cage is one number: it has no pockets to fold or to count."""
    path, gap = ("requirements", name), entry.gap or name
    if entry.allow is not None and entry.allow.of == OF_NO_CAGE and not draft.kind.one_pocket:
        allowed = '"pockets", "cages" or "bearings": only kind = "none" has stacks'
        draft.faults.add((*path, "allow", "of"), '"stacks"', allowed)
    counts_pockets = entry.allow is not None and entry.allow.of == "pockets"
    if _is_of_cage(draft, gap, chains):
        if "over" in entry.model_fields_set:
            draft.faults.add(
                (*path, "over"),
                f"over on {gap}, which belongs to the cage",
                "no over: the cage has one",
                at_key=True,
            )
        if counts_pockets:
            found = f'"pockets" on {gap}, which belongs to the cage'
            draft.faults.add((*path, "allow", "of"), found, '"cages" or "bearings"')
    elif counts_pockets and entry.over != "each":
        found = f'"pockets" beside over = "{entry.over}"'
        draft.faults.add((*path, "allow", "of"), found, f'"cages" or "bearings": a cage has one {entry.over}')


def _is_of_cage(draft: Draft, gap: str, chains: Mapping[str, Chain]) -> bool:
    if gap in chains:
        return chains[gap].scope == "cage"
    return any(built_in.name == gap and built_in.scope == "cage" for built_in in draft.kind.gaps)
