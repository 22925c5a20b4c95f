"""The tapered demo cage as the package samples it, beside the printed table: what the suite and the study both ask."""

from __future__ import annotations

import math
from collections.abc import Iterator

from demo_compare import Line, fraction
from demo_table import STANDARD_ERRORS
from tapered_table import CROSSING, TAPERED_CAGES, TAPERED_TABLE

from stackup.engine.result import MonteCarlo


def compare_tapered(found: MonteCarlo) -> Iterator[Line]:
    """Yield every number of the printed table beside the one that was found, the cage being the unit."""
    for gap, row in TAPERED_TABLE.items():
        for of in ("pockets", "cages"):
            if of in row:
                yield fraction(gap, of, row[of], getattr(found.records[gap], of), found.cages)
    yield from _crossing(found)


def _crossing(found: MonteCarlo) -> Iterator[Line]:
    """Yield sd of a pin's crossing, sd of a cage's mean, and the mean of the spread over a cage."""
    both = math.sqrt(1 / found.cages + 1 / TAPERED_CAGES)
    each, mean, spread, squared = (
        found.records[f"{of}apex_crossing"] for of in ("", "mean_", "spread_", "squared_")
    )
    seen = {
        "sd": (each.sd, squared.sd / (2 * each.sd)),
        "mean_sd": (mean.sd, mean.sd / math.sqrt(2)),  # the mean of a cage is near normal
        "spread": (spread.mean, spread.sd),
    }
    for what, (value, scatter) in seen.items():
        printed, rounding = CROSSING[what]
        room = STANDARD_ERRORS * scatter * both + rounding
        yield Line("apex_crossing", what, printed, value, printed - room, printed + room)
