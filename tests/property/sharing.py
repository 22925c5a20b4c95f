"""A case whose scatter is mostly shared, its exact fractions, and how often intervals hold them.

gap = bore − pin: the bore one draw per cage, the pin one per pocket; both normal.  Given the bore the pockets of
a cage are independent, so both fractions are integrals over one normal number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from cages import Table, model_of
from scipy import stats

from stackup.chain.model import Model, Requirement
from stackup.engine import monte_carlo
from stackup.engine.fractions import LEVEL
from stackup.engine.settings import Settings

POCKETS = 24
#: standard deviations of what the cage shares and of what is each pocket's own, mm
SHARED, OWN = 0.02, 0.006


def model() -> Model:
    """The cage: everything exact but the bore, one draw per cage, and the pin."""
    entries: Table = {
        "roller_diameter": {"nominal": 30.0}, "roller_length": {"nominal": 60.0},
        "roller_bore": {"nominal": 9.6, "tolerance": 3 * SHARED, "scope": "cage"},
        "pin_diameter": {"nominal": 9.0, "tolerance": 3 * OWN},
        "hole_pitch_diameter": {"nominal": 242.0}, "ring_spacing": {"nominal": 60.9},
        "inner_raceway": {"nominal": 211.9},
    }  # fmt: skip
    return model_of({"cage": {"kind": "cylindrical", "rollers": POCKETS}, "dimensions": entries})


def exact(limit: float) -> tuple[float, float]:
    """The fractions of pockets and of cages with bore − pin below ``limit``, by quadrature."""
    pockets = NormalDist(0.6, math.hypot(SHARED, OWN)).cdf(limit)
    nodes, weights = np.polynomial.legendre.leggauss(400)
    z = 9 * nodes
    weights = 9 * weights * np.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    each = stats.norm.cdf((limit - 0.6 - SHARED * z) / OWN)
    return pockets, float(weights @ (1 - (1 - each) ** POCKETS))


@dataclass(frozen=True)
class Coverage:
    """How many of ``seeds`` intervals held the exact fraction: ours, and a binomial one over all pockets."""

    seeds: int
    pockets: int
    cages: int
    binomial: int


def coverage(limit: float, cages: int, seeds: int, first: int = 1) -> Coverage:
    """Run ``seeds`` seeds of ``cages`` cages and count the intervals that hold the exact fractions."""
    case, wanted = model(), [Requirement("bore", "bore_clearance", min=limit)]
    of_pockets, of_cages = exact(limit)
    held = [0, 0, 0]
    for seed in range(first, first + seeds):
        record = monte_carlo.run(case, wanted, Settings(seed=seed, cages=cages)).records["bore"]
        pockets, whole = record.pockets, record.cages
        assert pockets is not None
        assert whole is not None
        failed = round(pockets.out_of_spec * cages * POCKETS)
        naive = stats.binomtest(failed, cages * POCKETS).proportion_ci(LEVEL, "exact")
        held[0] += pockets.low <= of_pockets <= pockets.high
        held[1] += whole.low <= of_cages <= whole.high
        held[2] += naive.low <= of_pockets <= naive.high
    return Coverage(seeds, *held)
