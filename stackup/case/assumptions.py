"""What a case leaves unsaid, in words: what then counts as zero, as exact, as the usual process."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping
from typing import Any

import numpy as np

from stackup.case.chains import Chain
from stackup.case.draft import OPERATING, Draft
from stackup.case.operating import REFERENCE, cold_parts
from stackup.case.process import given
from stackup.case.schema import OneSidedEntry, SizeEntry, ZoneEntry
from stackup.case.states import MADE
from stackup.chain.symbols import split_next

#: what a process makes, unlike measured values
_MADE = (SizeEntry, ZoneEntry, OneSidedEntry)
#: so many dimensions of the usual process are named, more are counted
MOST_NAMED = 4


def notes(draft: Draft, chains: Mapping[str, Chain], nominal: Mapping[str, Mapping[str, Any]]) -> Iterator[str]:
    """Yield what a user should know about a case that is right; ``nominal`` holds its gaps at the nominal by state."""
    yield from _below_zero(draft, nominal)
    if cold := cold_parts(draft):
        yield f"not in [operating.parts], taken to stay at {REFERENCE:g} °C: {', '.join(cold)}"
    missing = {name: slots for name, slots in draft.gaps_left_out().items() if slots != [OPERATING]}
    for name, slots in missing.items():
        yield f"{name} is left out: {', '.join(slots)} {'is' if len(slots) == 1 else 'are'} not given"
    yield from _zeros(draft, chains)
    yield from _exact(draft)
    yield from _usual_processes(draft)
    if draft.centres_unstated:
        names = ", ".join(draft.centres_unstated)
        yield f"cpk stands alone for {names}: taken as centred with cp = cpk, the true centre is unstated"


def _below_zero(draft: Draft, nominal: Mapping[str, Mapping[str, Any]]) -> Iterator[str]:
    """Yield the clearances that nominal parts do not have, of states the first in which they do not."""
    for gap in draft.kind.gaps:
        for state, values in nominal.items():
            least = float(np.min(values[gap.name])) if gap.name in values else 0.0
            if least < 0 and not gap.signed:
                where = "" if state == MADE else f" in the state {state}"
                yield f"{gap.name} is below 0 for parts at their nominals{where}: {least:.4g} {gap.unit}"
                break


# Slots that count as zero ---------------------------------------------------------------------------------


def _zeros(draft: Draft, chains: Mapping[str, Chain]) -> Iterator[str]:
    """Yield the slots left out that a gap uses, those of gaps with a requirement first, and what these miss."""
    left_out = draft.gaps_left_out()
    shown = [*(gap.name for gap in draft.kind.gaps if gap.name not in left_out), *chains]
    wanted = [entry.gap or name for name, entry in draft.document.requirements.items()] or shown
    formulas = {step.name: step.formula for step in draft.steps}
    formulas |= {chain.name: chain.expression for chain in chains.values()}
    of_wanted, of_shown = _below(wanted, formulas), _below(shown, formulas)
    zeros = [slot.name for slot in draft.kind.slots if _counts_as_zero(draft, slot.name)]
    first = [slot for slot in zeros if slot in of_wanted]
    others = [slot for slot in zeros if slot in of_shown - of_wanted]
    if first:
        yield f"counted as 0, not given: {', '.join(first)}"
    if others:
        yield f"counted as 0, not given, in gaps without a requirement: {', '.join(others)}"
    yield from _hints(draft, of_wanted, first)


def _below(names: Iterable[str], formulas: Mapping[str, Any]) -> set[str]:
    """Return ``names`` and everything that they use, parts of zones by the zone's name."""
    seen: set[str] = set()
    stack = list(names)
    while stack:
        name = stack.pop()
        if name not in seen:
            seen.add(name)
            stack.extend(split_next(item.name)[0] for item in getattr(formulas.get(name), "free_symbols", ()))
    return seen | {name.partition(".")[0] for name in seen}


def _counts_as_zero(draft: Draft, name: str) -> bool:
    slot, named = draft.slot(name), draft.named("dimensions")
    return slot is not None and not slot.required and name not in named and slot.stands_in not in named


def _hints(draft: Draft, gaps: Container[str], zeros: Container[str]) -> Iterator[str]:
    """Yield what gaps miss without a slot, each hint once with its gaps in front."""
    about: dict[str, list[str]] = {}
    for gap in draft.kind.gaps:
        for slot, hint in gap.hints.items():
            if gap.name in gaps and slot in zeros:
                about.setdefault(hint, []).append(gap.name)
    for hint, names in about.items():
        yield f"{', '.join(names)}: {hint}"


# Tolerances and processes that are not given --------------------------------------------------------------


def _exact(draft: Draft) -> Iterator[str]:
    entries = draft.document.dimensions.items()
    exact = [name for name, entry in entries if isinstance(entry, SizeEntry) and entry.tolerance is None]
    if exact:
        yield f"exact, no tolerance given: {', '.join(exact)}"


def _usual_processes(draft: Draft) -> Iterator[str]:
    """Yield which dimensions scatter by the default law because no process is given."""
    entries = draft.document.dimensions.items()
    scattering = [(name, entry) for name, entry in entries if draft.dimensions[name].half_width > 0]
    usual = {name: entry for name, entry in scattering if isinstance(entry, _MADE) and not given(entry.process)}
    if not usual:
        return
    one_sided = any(isinstance(entry, OneSidedEntry) for entry in usual.values())
    law = "normal (0 … limit: Rayleigh)" if one_sided else "normal"
    named = ", ".join(usual) if len(usual) <= MOST_NAMED else f"{len(usual)} of {len(scattering)} dimensions"
    yield f"no process given, taken as {law}, centred, cp = 1: {named}"
