"""What the user may set for a run, and how an engine reports how far it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

#: ``progress(done, of, what)``: called now and then; raises KeyboardInterrupt when the user stops the run
Progress = Callable[[float, float, str], None]


def silent(done: float, of: float, what: str) -> None:
    """Report nothing."""


@dataclass(frozen=True)
class Settings:
    """Seed, number of cages, workers, and the mean-shift variants of RSS.

    ``cages`` ≥ 1 are drawn; ``inflation`` multiplies sigma; ``mean_shift`` is a part 0…1 of every half-width;
    ``boxes`` is the budget of the worst case per end, a count so that results do not depend on the machine.
    """

    seed: int = 1
    cages: int = 100_000
    workers: int = 1
    precision: float = 0.1
    inflation: float | None = None
    mean_shift: float | None = None
    mean_shift_rule: Literal["added", "statistical"] = "added"
    boxes: int = 4000
