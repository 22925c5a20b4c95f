"""Shapley values of games whose values are published: a committee, a runway, a market.

The United Nations Security Council of 1954 in L. S. Shapley and M. Shubik, A method for evaluating the distribution
of power in a committee system, American Political Science Review 48 (1954) 787-792; a runway in S. C. Littlechild and
G. Owen, A simple expression for the Shapley value in a special case, Management Science 20 (1973) 370-372; a market
of gloves, an example of many textbooks.
"""

from __future__ import annotations

import pytest

from stackup.decide.shapley import exact, sampled

# The five permanent members and the six others; seven votes, all permanent ones among them, carry (MEM; recomputed:
# an other decides only as the seventh vote with all permanent members before it, C(5, 1) of 11!/(6!·4!·1) orders).
# The paper gives 98.7 per cent to the five together.
COUNCIL, OF_THE_FIVE = (76 / 385, 1 / 462), 0.987

# Costs of a runway for each aircraft alone, and what each pays by the formula of the paper:
# φ_i = Σ_k ≤ i (c_k − c_(k−1))/(n − k + 1) (MEM; OWN numbers).
RUNWAY, PAYS = (2.0, 4.0, 5.0, 9.0), (0.5, 0.5 + 2 / 3, 0.5 + 2 / 3 + 0.5, 0.5 + 2 / 3 + 0.5 + 4)

# One left glove and two right ones, a pair is worth 1 (MEM).
GLOVES = (2 / 3, 1 / 6, 1 / 6)


def council(chosen: int) -> float:
    """1 where the eleven members in ``chosen`` carry, the first five permanent."""
    return float(chosen & 31 == 31 and chosen.bit_count() >= 7)


def test_the_security_council_of_1954() -> None:
    """Eleven players: every permanent member, every other one, the five together."""
    found = exact(11, council)
    assert found == pytest.approx([COUNCIL[0]] * 5 + [COUNCIL[1]] * 6, rel=1e-12)
    assert sum(found[:5]) == pytest.approx(OF_THE_FIVE, abs=5e-4)


def test_the_security_council_sampled() -> None:
    """Random orders agree within their own intervals, doubled: 3.9 standard errors of eleven players."""
    for part, value in zip(sampled(11, council, 400, seed=1), exact(11, council), strict=True):
        assert abs(part.value - value) <= part.high - part.low


def test_a_runway() -> None:
    """The cost of a set is that of its largest aircraft."""
    found = exact(4, lambda chosen: max((c for i, c in enumerate(RUNWAY) if chosen >> i & 1), default=0.0))
    assert found == pytest.approx(PAYS, rel=1e-12)


def test_a_market_of_gloves() -> None:
    """The one whose glove is scarce has most."""
    assert exact(3, lambda chosen: float(chosen & 1 and chosen & 6 != 0)) == pytest.approx(GLOVES, rel=1e-12)
