"""Which steps of a chain stand below which."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from stackup.chain.model import Step
from stackup.chain.symbols import split_next


def _free(formula: Any) -> Iterable[Any]:
    found: Iterable[Any] = formula.free_symbols
    return found


def needed(
    steps: Sequence[Step], wanted: Iterable[str], symbols_of: Callable[[Any], Iterable[Any]] = _free
) -> list[Step]:
    """Return the steps that those called ``wanted`` need, themselves included, in their order.

    ``symbols_of`` gives the symbols of a formula that count.
    """
    by_name = {step.name: step for step in steps}
    found, waiting = set[str](), list(wanted)
    while waiting:
        name = waiting.pop()
        if name in by_name and name not in found:
            found.add(name)
            waiting.extend(split_next(item.name)[0] for item in symbols_of(by_name[name].formula))
    return [step for step in steps if step.name in found]
