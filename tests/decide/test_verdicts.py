"""Verdicts follow the rules, whatever the numbers; fractions come from whichever method is right."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stackup.chain.model import Allowance, Requirement
from stackup.decide.fractions import at_least_one, of_bearings, of_cages
from stackup.decide.verdict import by_fraction, by_worst_case, more_cages, room, worst
from stackup.engine.fractions import of_cages as sampled_cages
from stackup.engine.result import Fraction, WorstCase

PPM = st.floats(1e-3, 1e6)
SHARE = st.floats(0, 1)


def worst_case(low: float, high: float, slack: float = 0.0) -> WorstCase:
    return WorstCase(low, high, low - slack, high + slack, slack == 0, slack == 0, low, high)


@given(st.lists(SHARE, min_size=3, max_size=3).map(sorted), PPM)
def test_fraction_verdict_is_where_the_interval_lies(ends: list[float], ppm: float) -> None:
    """Met: all of it at or below; not met: all above; else undecided."""
    low, middle, high = ends
    verdict = by_fraction(Fraction(middle, low, high), ppm)
    assert (verdict == "met") == (high <= ppm * 1e-6)
    assert (verdict == "not met") == (low > ppm * 1e-6)


def test_exact_fractions_are_never_undecided() -> None:
    """Closed form: an interval of no width lies on one side."""
    for value in (0.0, 1e-9, 0.0001, 0.0001000001, 1.0):
        assert by_fraction(Fraction.exact(value), 100) in ("met", "not met")


@pytest.mark.parametrize(
    ("low", "high", "slack", "verdict"),
    [
        (0.1, 0.9, 0.0, "met"),
        (0.1, 0.9, 0.05, "met"),
        (0.1, 0.9, 0.2, "undecided"),
        (-0.1, 0.9, 0.0, "not met"),
        (0.1, 1.1, 5.0, "not met"),
        (0.0, 1.0, 0.0, "met"),
        (-1e-13, 1.0 + 1e-13, 0.0, "met"),
        (-1e-6, 1.0, 0.0, "not met"),
        (math.nan, math.nan, math.inf, "undecided"),
    ],
)
def test_worst_case_verdict(low: float, high: float, slack: float, verdict: str) -> None:
    """The guaranteed bounds must lie within; a found extreme outside refutes; a rounding error does neither."""
    assert by_worst_case(Requirement("x", "x", min=0.0, max=1.0), worst_case(low, high, slack)) == verdict


def test_one_limit_looks_at_one_end() -> None:
    """What lies beyond an end without a limit does not count."""
    assert by_worst_case(Requirement("x", "x", min=0.0), worst_case(0.1, 99.0)) == "met"
    assert by_worst_case(Requirement("x", "x", max=1.0), worst_case(-99.0, 1.1)) == "not met"
    assert room(Requirement("x", "x", max=1.0), -99.0, 0.75) == 0.25


@given(st.permutations(["met", "undecided", "not met", "met"]))
def test_the_worst_counts(verdicts: list[str]) -> None:
    """Over states and rows the worst verdict counts."""
    assert worst(verdicts) == "not met"  # type: ignore[arg-type]
    assert worst([v for v in verdicts if v != "not met"]) == "undecided"  # type: ignore[arg-type, misc]


@pytest.mark.parametrize(("failed", "cages", "ppm"), [(0, 1000, 1000.0), (7, 10_000, 1000.0), (27, 10_000, 2000.0)])
def test_more_cages_decide(failed: int, cages: int, ppm: float) -> None:
    """With so many more, at the same rate, the exact interval decides (2 % to spare for few failures)."""
    fraction = sampled_cages(failed, cages)
    assert by_fraction(fraction, ppm) == "undecided"
    more = more_cages(fraction, ppm, cages)
    assert more is not None
    total = int((cages + more) * 1.02)
    later = sampled_cages(round(failed * total / cages), total)
    assert by_fraction(later, ppm) != "undecided"


def test_more_cages_is_nothing_when_decided_and_none_when_hopeless() -> None:
    """Decided: 0.  The estimate at the allowance itself, and known well: no number of cages."""
    assert more_cages(Fraction(0.0, 0.0, 1e-5), 100, 1000) == 0
    assert more_cages(Fraction(1e-4, 0.95e-4, 1.05e-4), 100, 100_000_000) is None


def test_an_estimate_of_few_failures_may_move() -> None:
    """One cage of 1000 is 1000 ppm by chance: as many as tell a tenth of the allowance are asked for."""
    fraction = sampled_cages(1, 1000)
    more = more_cages(fraction, 1000.0, 1000)
    assert more is not None
    assert 1000 + more == pytest.approx(1000 * ((fraction.out_of_spec - fraction.low) / 1e-4) ** 2, abs=1)


@given(st.floats(0, 1), st.integers(1, 200))
def test_independent_pockets(pocket: float, pockets: int) -> None:
    """Closed form: 1 − (1 − p)^Z; all shared: p; the two bracket what is in between."""
    independent = of_cages(pocket, "nothing", pockets)
    assert independent == pytest.approx(1 - (1 - pocket) ** pockets, rel=1e-9, abs=1e-14)
    assert of_cages(pocket, "all", pockets) == pocket
    assert of_cages(pocket, "some", 1) == pocket
    assert pockets == 1 or of_cages(pocket, "some", pockets) is None


def test_small_tails_keep_their_digits() -> None:
    """Closed form: Z·p for p ≪ 1/Z."""
    assert at_least_one(1e-18, 40) == pytest.approx(40e-18, rel=1e-12)
    assert at_least_one(1.0, 40) == 1.0


def test_bearings_of_rows() -> None:
    """Without rows that of the cages; else 1 − ∏(1 − p)^count; none where a row has none."""
    one, other = Fraction(0.1, 0.05, 0.2), Fraction.exact(0.01)
    assert of_bearings([(one, 1)]) is one
    both = of_bearings([(one, 1), (other, 2)])
    assert both is not None
    assert both.out_of_spec == pytest.approx(1 - 0.9 * 0.99**2, rel=1e-12)
    assert both.low == pytest.approx(1 - 0.95 * 0.99**2, rel=1e-12)
    assert both.method == "sampled"
    assert of_bearings([(one, 1), (None, 1)]) is None


def test_allowance_of_a_population() -> None:
    """An allowance names its population."""
    assert Requirement("x", "x", max=1.0, allow=Allowance(10, "cages")).allow == Allowance(10, "cages")
