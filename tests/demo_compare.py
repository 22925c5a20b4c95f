"""The demo cage as the package samples it, beside the printed table: what the suite and the study both ask.

Rule of the source: within 4 standard errors of both runs together, the cage being the unit (or 10 % of a ppm
above 50 where that is more); a factor of two where fewer than 20 cages of the reference failed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from demo_table import DEMO_EXACT, DEMO_TABLE, REFERENCE_CAGES, STANDARD_ERRORS
from scipy.stats import poisson

from stackup.engine.result import Fraction, MonteCarlo, Sampled

#: P(beyond 4 standard errors) on one side, for counts that are Poisson
TAIL = 3.17e-5


@dataclass(frozen=True)
class Line:
    """One number of the table: what is printed, what was found, by how much they may differ."""

    gap: str
    what: str
    printed: float
    found: float
    low: float
    high: float

    @property
    def agrees(self) -> bool:
        """Tell whether it is within the rule."""
        return self.low <= self.found <= self.high


def compare(found: MonteCarlo) -> Iterator[Line]:
    """Yield every number of the printed table beside the one that was found."""
    for gap, row in DEMO_TABLE.items():
        each, mean, moved = (found.records[f"{kind}{gap}"] for kind in ("", "mean_", "moved_"))
        yield from _moments(gap, row, each, mean, moved)
        for of in ("pockets", "cages"):
            yield fraction(gap, of, row[of], getattr(each, of), found.cages)


def _moments(gap: str, row: Any, each: Sampled, mean: Sampled, moved: Sampled) -> Iterator[Line]:
    both = math.sqrt(1 / mean.drawn + 1 / REFERENCE_CAGES)
    exact = DEMO_EXACT.get(gap, {})
    errors = {"mean": mean.sd * both, "sd": moved.sd / (2 * each.sd) * both}
    for what, error in errors.items():
        printed, rounding = exact.get(what, row[what])
        room = STANDARD_ERRORS * error + rounding
        yield Line(gap, what, printed, getattr(each, what), printed - room, printed + room)


def fraction(gap: str, of: str, row: Any, found: Fraction, cages: int) -> Line:
    """Return one printed fraction, (ppm, rule), beside what was found with so many cages."""
    ppm, rule = row
    half = 1e6 * (found.high - found.low) / 2 / 1.96  # one standard error of this run
    scale = math.sqrt(cages / REFERENCE_CAGES)
    printed, value = float(ppm), 1e6 * found.out_of_spec
    if rule in ("factor 2", "below"):
        return Line(gap, of, printed, value, *_rare(of, printed, rule, found, cages))
    room = max(STANDARD_ERRORS * half * math.hypot(1.0, scale), (rule or 0.0) * printed)
    return Line(gap, of, printed, value, printed - room, printed + room)


def _rare(of: str, printed: float, rule: str, found: Fraction, cages: int) -> tuple[float, float]:
    """Return the ends for numbers behind which stand few failed cages: a factor of two, and the counts' own error.

    A pocket fraction is held to what its interval reaches.
    """
    most = max(2 * printed, 1.0)
    least = 0.0 if rule == "below" else printed / 2
    if of == "cages":
        low = float(poisson.ppf(TAIL, least * 1e-6 * cages))
        high = float(poisson.ppf(1 - TAIL, most * 1e-6 * cages))
        return 1e6 * low / cages, 1e6 * high / cages
    reach = STANDARD_ERRORS * 1e6 * (found.high - found.low) / 2 / 1.96
    return max(0.0, least - reach), most + reach
