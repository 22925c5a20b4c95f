"""Decision rule of ISO 14253-1: guard bands at a conformance probability of 95 %.

The edition of 2017 (W, M): for a normal error of measurement and a tolerance that is not tiny g = 1.65·u, recomputed
1.6449.  The factors for a tolerance comparable with the uncertainty are recomputed (R), no text of the standard was
open.
"""

from __future__ import annotations

import pytest
from scipy.stats import norm

from stackup.standards.iso14253 import accepted, guard_factor, proof

# width of the tolerance in standard uncertainties; factor, recomputed (R) to the digits given
FACTORS = [(10, 1.645), (8, 1.645), (6, 1.645), (5, 1.649), (4.5, 1.668), (4.2, 1.710), (4, 1.796)]
#: below this width no value proves anything: 2·1.959964
LEAST = 3.919928


def test_guard_band_of_one_limit() -> None:
    assert guard_factor() == pytest.approx(1.6449, abs=5e-5)
    assert guard_factor() == pytest.approx(norm.ppf(0.95), rel=1e-12)  # independent


@pytest.mark.parametrize(("width", "factor"), FACTORS)
def test_comparable_width(width: float, factor: float) -> None:
    found = guard_factor(width)
    assert found is not None
    assert round(found, 3) == factor
    # at the guarded limit the part is within both with 95 % (independent)
    assert norm.cdf(found) - norm.cdf(found - width) == pytest.approx(0.95, abs=1e-10)


def test_no_value_proves() -> None:
    assert guard_factor(LEAST - 1e-4) is None
    assert guard_factor(LEAST + 1e-4) == pytest.approx(LEAST / 2, abs=0.02)
    assert accepted(0.0, 0.039, 0.01) is None
    assert proof(0.0195, 0.0, 0.039, 0.01) == "not proved"


def test_who_proves_carries_the_uncertainty() -> None:
    """Inside by the guard band it conforms, outside by it it does not, in between neither is proved."""
    low, high, u = 10.0, 10.1, 0.005
    guard = 1.6448536 * u
    for value, said in (
        (low + guard + 1e-8, "conforms"),
        (low + guard - 1e-8, "not proved"),
        (low - guard + 1e-8, "not proved"),
        (low - guard - 1e-8, "does not"),
        (high + guard + 1e-8, "does not"),
        (high - guard - 1e-8, "conforms"),
    ):
        assert proof(value, low, high, u) == said
    assert accepted(None, high, u) == (None, pytest.approx(high - guard))
    assert proof(10.1, low, high, 0.0) == "conforms"
    assert proof(10.1000001, low, high, 0.0) == "does not"
