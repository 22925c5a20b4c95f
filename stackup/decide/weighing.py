"""What each change does to each margin, and the numbers that stand against those that are not accepted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from stackup.decide.agree import failing, failing_in_full
from stackup.decide.apart import Apart, is_possible
from stackup.decide.coalitions import Bench, Standings, State
from stackup.decide.record import Record
from stackup.decide.review_record import Cause
from stackup.decide.shapley import EXACT, Part, parts
from stackup.engine.settings import Progress, Settings

#: what a change does to a margin counts from here on: mm, and part of the width of the worst case in other units
LEAST_LENGTH, LEAST_PART = 1e-4, 1e-4
#: and part of the doubt of a sampled quantile: most of it is common to what is compared
DOUBT = 0.1


class Ahead:
    """The worst cases of all sets of changes, found in a process beside this one where there are several workers.

    ``settings`` are those that are left for everything else.
    """

    def __init__(self, bench: Bench, settings: Settings) -> None:
        """Begin."""
        self.bench, self.settings = bench, settings
        self._apart: Apart[Standings] | None = None
        if settings.workers > 1 and is_possible():
            self._apart = Apart(self._found)
            self.settings = replace(settings, workers=settings.workers - 1)

    def _found(self, progress: Progress) -> Standings:
        self.bench.progress = progress
        for name, method in self.bench.methods.items():
            players = sorted(self.bench.relevant[name])
            if method == "worst case" and len(players) <= EXACT:
                for chosen in range(2 ** len(players)):
                    self.bench.standing(name, _making(self.bench, players, chosen))
        return self.bench.standings

    def wait(self, progress: Progress) -> None:
        """Let the bench know what was found."""
        if self._apart is not None:
            self.bench.standings.update(self._apart.result(progress))

    def stop(self) -> None:
        """End the process where it still runs."""
        if self._apart is not None:
            self._apart.kill()


def _making(bench: Bench, players: Sequence[int], chosen: int) -> State:
    """Return the state that makes the players whose bit is in ``chosen``."""
    return bench.making({player for bit, player in enumerate(players) if chosen >> bit & 1})


def shares_of(bench: Bench, name: str, seed: int) -> dict[int, Part | None]:
    """Return what every change takes from a margin: its Shapley value; None for all where a margin has no end."""
    players = sorted(bench.relevant[name])

    def margin(chosen: int) -> float:
        return bench.standing(name, _making(bench, players, chosen)).margin

    found: dict[int, Part | None] = dict.fromkeys(range(len(bench.changes)), Part(0.0, 0.0, 0.0))
    taken: Sequence[Part | None] = [None] * len(players)
    if players and math.isfinite(margin(0)) and math.isfinite(margin((1 << len(players)) - 1)):
        taken = [_taken(part) for part in parts(len(players), margin, seed)]
    return found | dict(zip(players, taken, strict=True))


def _taken(part: Part) -> Part | None:
    """Return what is taken for what is added."""
    return Part(0.0 - part.value, 0.0 - part.high, 0.0 - part.low) if math.isfinite(part.value) else None


def causes_of(bench: Bench, agreed: State, index: int) -> tuple[Cause, ...]:
    """Return the numbers that stand against a change in full: alone, else beside what is agreed."""
    for state, together in ((bench.making({index}), False), (bench.making({index}, agreed), True)):
        names = [*failing(bench, state)] or (failing_in_full(bench, state) if together else [])
        if names:
            before, after = bench.judged(bench.none), bench.judgements(names, state)
            return tuple(Cause(name, together, before[name], after[name]) for name in names)
    return ()


def least_of(record: Record) -> float:
    """Return the change of a margin that counts, in the gap's unit.

    With an allowance no less than a tenth of the doubt of a quantile, about sd/√(cages that may be out of spec).
    """
    worst, sampled, allow = record.worst_case, record.monte_carlo, record.requirement.allow
    least = LEAST_LENGTH
    if record.unit != "mm" and worst is not None and math.isfinite(worst.high - worst.low):
        least = LEAST_PART * (worst.high - worst.low)
    if allow is None or sampled is None:
        return least
    return max(least, DOUBT * sampled.sd / math.sqrt(max(allow.ppm * 1e-6 * sampled.drawn, 1.0)))
