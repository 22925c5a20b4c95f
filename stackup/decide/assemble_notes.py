"""What a reader of ``assemble`` must know beside the numbers, as data: every renderer shows the same."""

from __future__ import annotations

from collections.abc import Iterator

from stackup.case import Case
from stackup.decide import notes
from stackup.decide.assemble_record import AssembleResult, RowClosing
from stackup.decide.record import Note
from stackup.decide.words import thousands
from stackup.engine.entry_order import PROVED

TOGETHER = (
    "pins enter together where some position of the ring takes them all: it is moved after every pin, and no pin is "
    "forced"
)
CHOSEN = (
    "an order does better on the cages it is chosen from than on any others: the saving that can be expected is that "
    "on the others"
)
PROOF = f"best order: the least over all orders on these cages (all are looked at up to {PROVED} pins)"
SEARCH = (
    f"best order: the best found, not proved (that ends at {PROVED} pins); no pin put elsewhere and no two exchanged "
    "make it better as far as the sets of pins are known that block"
)
SHARES = "which pins block: the forces between pins and ring where it is caught, each cage's in parts of 1"


def of(case: Case, result: AssembleResult) -> Iterator[Note]:
    """Yield what stands beside the result."""
    if result.verdict is None:
        asked = f"no requirement on {result.gap}: nothing decides; [requirements.{result.gap}] with min = 0 would"
        yield Note(asked)
    for record in result.requirements:
        yield from notes.of_record(record)
    yield from _of_state(case, result)
    for row in result.rows:
        about = f"row {row.name}" if len(result.rows) > 1 else None
        for text in _of_row(row):
            yield Note(text, about)
    if result.interrupted:
        yield Note("interrupted: what was not finished is left out, what needs it is undecided")
    yield from _cautions(result)


def _of_state(case: Case, result: AssembleResult) -> Iterator[Note]:
    states = [state for row in case.models()[:1] for state in row.states if state != result.state]
    others = f"; what the case says of {', '.join(states)} does not count here" if states else ""
    yield Note(f"rings are closed as made, cold and without wear{others}", level="finding" if states else "caution")


def _of_row(row: RowClosing) -> Iterator[str]:
    ordering, closing = row.ordering, row.closing
    if row.jammed and row.standing_out():
        named = ", ".join(map(str, row.standing_out()))
        yield f"pockets that block more than their even share, beyond chance: {named}; begin with their pins and holes"
    if ordering is None or not row.jammed:
        return
    if ordering.cages < row.jammed:
        yield f"the best order is chosen from the first {ordering.cages} of {thousands(row.jammed)} cages that jam"
    if closing.missing is None:
        yield "no number of any cage that jams is finite: no share of any pin can be told"


def _cautions(result: AssembleResult) -> Iterator[Note]:
    said = [TOGETHER] if result.rows else []
    if any(row.jammed for row in result.rows):
        said += [SHARES]
    found = [row.ordering for row in result.rows if row.ordering and row.ordering.cages]
    if found:
        said += [CHOSEN, *dict.fromkeys(PROOF if one.proved else SEARCH for one in found)]
    for text in (*said, *notes.CAUTIONS):
        yield Note(text, level="caution")
