"""An interval of 95 % holds the fraction, though pockets of a cage fail together."""

from __future__ import annotations

import pytest
from sharing import SHARED, coverage, exact

SEEDS, ENOUGH = 100, 90


@pytest.mark.parametrize("sigmas", [0.5, 2.0])
def test_intervals_hold_the_exact_fraction(sigmas: float) -> None:
    """At least 90 of 100 seeds' intervals contain the exact fraction, of pockets and of cages."""
    found = coverage(0.6 - sigmas * SHARED, cages=500, seeds=SEEDS)
    assert found.pockets >= ENOUGH
    assert found.cages >= ENOUGH


@pytest.mark.parametrize("sigmas", [0.5, 2.0])
def test_a_binomial_interval_on_pockets_does_not(sigmas: float) -> None:
    """An interval that takes pockets for independent fails this very test."""
    assert coverage(0.6 - sigmas * SHARED, cages=500, seeds=SEEDS).binomial < ENOUGH


def test_the_exact_fractions_are_those_of_shared_scatter() -> None:
    """The case is one of mostly shared scatter: cages fail far less often than independent pockets would make them."""
    pockets, cages = exact(0.6 - 2 * SHARED)
    assert 1 - (1 - pockets) ** 24 > 5 * cages / 2
    assert cages < 24 * pockets
