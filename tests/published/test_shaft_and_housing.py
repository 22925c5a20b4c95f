"""Shaft-and-housing stack: K. W. Chase, Tolerance Allocation Methods for Designers (ADCATS 99-6, 1999).

The same example in K. W. Chase and W. H. Greenwood, Manufacturing Review 1(1) (1988), after E. T. Fortini,
Dimensioning for Interchangeable Manufacture (1967); dimensions and printed results from memory (MEM),
recomputed independently.  The mean-shift forms are those of F. Scholz, Tolerance Stack Analysis Methods
(1995), section 3 (formulas MEM), worked on this stack (OWN).  Lengths in inches; every tolerance is 3 sigma.
"""

from __future__ import annotations

import math

import pytest
from plain_stack import Stack, stack, within_error

# name: nominal, ± tolerance (MEM)
DIMENSIONS = {
    "a": (0.0505, 0.0015),  # retaining ring
    "b": (8.000, 0.008),  # shaft
    "c": (0.5093, 0.0025),  # bearing
    "d": (0.400, 0.002),  # bearing sleeve
    "e": (7.711, 0.006),  # housing
    "f": (0.400, 0.002),  # bearing sleeve
    "g": (0.5093, 0.0025),  # bearing
}
MEAN = 0.0199  # exact; published 0.020 (MEM)
WORST = 0.0245  # published 0.0245 (MEM), exact
RSS = 0.011079259903  # published 0.0111 (MEM), recomputed
SIGMA = 0.003693086634  # closed form RSS/3
LIMITS = {"min": MEAN - 0.015, "max": MEAN + 0.015}
REJECTED = 48.728526e-6  # closed form, Z = 4.061643

# variance shares, closed form T²/ΣT²
SHARES = {
    "a": 0.01832994,
    "b": 0.52138493,
    "c": 0.05091650,
    "d": 0.03258656,
    "e": 0.29327902,
    "f": 0.03258656,
    "g": 0.05091650,
}


@pytest.fixture(scope="module")
def end_play() -> Stack:
    dimensions = {name: {"nominal": n, "tolerance": t, "unit": "in"} for name, (n, t) in DIMENSIONS.items()}
    return stack("-a + b - c + d - e + f - g", dimensions, **LIMITS)


def test_worst_case(end_play: Stack) -> None:
    found = end_play.worst_case()
    assert found.certified
    for low, high in ((found.low, found.high), (found.linear_low, found.linear_high)):
        assert low == pytest.approx(MEAN - WORST, abs=1e-14)
        assert high == pytest.approx(MEAN + WORST, abs=1e-14)
    assert MEAN - WORST - 1e-9 <= found.bound_low <= found.low
    assert found.high <= found.bound_high <= MEAN + WORST + 1e-9


def test_rss(end_play: Stack) -> None:
    found = end_play.rss()
    assert found.exact
    assert found.mean == pytest.approx(MEAN, abs=1e-14)
    assert round(found.mean, 3) == 0.020  # published (MEM)
    assert found.sd == pytest.approx(SIGMA, abs=5.01e-13)
    assert found.high - found.mean == pytest.approx(RSS, abs=1e-12)
    assert round(3 * found.sd, 4) == 0.0111  # published (MEM)
    assert found.out_of_spec == pytest.approx(REJECTED, abs=5.01e-13)
    assert found.second_order is not None
    assert found.second_order.skewness == pytest.approx(0, abs=1e-12)
    assert found.second_order.kurtosis == pytest.approx(3, abs=1e-12)
    assert found.second_order.out_of_spec == pytest.approx(REJECTED, rel=1e-6)


def test_inflated_by_one_and_a_half(end_play: Stack) -> None:
    """A. Bender, Graphic Science (1962): 1.5 times the root of the squares (MEM); recomputed 0.016618889855."""
    found = end_play.rss(inflation=1.5).inflated
    assert found is not None
    assert found.mean == pytest.approx(MEAN, abs=1e-14)
    assert 3 * found.sd == pytest.approx(0.016618889855, abs=5.01e-13)
    outside = math.erfc(0.015 / found.sd / math.sqrt(2))  # closed form
    assert found.out_of_spec == pytest.approx(outside, rel=1e-10)


def test_variance_shares_and_sensitivities(end_play: Stack) -> None:
    found = end_play.contributions()
    signs = {"a": -1, "b": 1, "c": -1, "d": 1, "e": -1, "f": 1, "g": -1}
    for name, share in SHARES.items():
        assert found[name].variance_share == pytest.approx(share, abs=5.01e-9)
        assert found[name].width_share == pytest.approx(DIMENSIONS[name][1] / WORST, abs=1e-12)  # closed form
        assert found[name].sensitivity == pytest.approx(signs[name], abs=1e-12)
    assert sum(each.variance_share or 0 for each in found.values()) == pytest.approx(1, abs=1e-12)


@pytest.mark.parametrize(
    ("capability", "three_sigma"), [(1, 0.014772346537), (1.33, 0.011107027472), (2, 0.007386173269)]
)
def test_sigma_by_cpk(capability: float, three_sigma: float) -> None:
    """Σ (a·T/(3·Cpk))², Cpk = Cp(1 − 0.25): M. J. Harry and R. Stewart (1988), formula MEM, numbers OWN.

    A process with cpk alone has cp = cpk, which is that formula.
    """
    dimensions = {
        name: {"nominal": n, "tolerance": t, "process": {"cpk": 0.75 * capability}}
        for name, (n, t) in DIMENSIONS.items()
    }
    found = stack("-a + b - c + d - e + f - g", dimensions, **LIMITS).rss()
    assert 3 * found.sd == pytest.approx(three_sigma, abs=5.01e-13)


# η; tolerance of the gap with the means shifted by ηT: arithmetic with the spread shrinking to (1 − η)T,
# arithmetic with the full spread, statistical in one root (OWN)
SHIFTED = [
    (0.0, 0.011079259903, 0.011079259903, 0.011079259903),
    (0.10, 0.012421333913, 0.013529259903, 0.010154309430),
    (0.20, 0.013763407922, 0.015979259903, 0.009658674857),
    (0.25, 0.014434444927, 0.017204259903, 0.009594920531),
    (0.50, 0.017789629952, 0.023329259903, 0.011079259903),
    (0.75, 0.021144814976, 0.029454259903, 0.014656483207),
    (1.0, 0.024500000000, 0.035579259903, 0.019189841062),
]


@pytest.mark.parametrize(("eta", "shrinking", "full", "one_root"), SHIFTED)
def test_mean_shift_added(end_play: Stack, eta: float, shrinking: float, full: float, one_root: float) -> None:
    """``mean_shift`` keeps the full spread; the shrinking form has the same means and (1 − η) times the sigma."""
    found = end_play.rss(mean_shift=eta, mean_shift_rule="added").shifted
    assert found is not None
    moved = abs(found.mean - MEAN)
    assert moved == pytest.approx(eta * WORST, abs=1e-14)
    assert moved + 3 * found.sd == pytest.approx(full, abs=5.01e-13)
    assert moved + (1 - eta) * 3 * found.sd == pytest.approx(shrinking, abs=5.01e-13)
    assert full >= shrinking >= one_root - 1e-12
    tails = (moved - 0.015, -moved - 0.015)  # closed form: the mean stands to one side
    outside = sum(0.5 * math.erfc(-tail / found.sd / math.sqrt(2)) for tail in tails)
    assert found.out_of_spec == pytest.approx(outside, rel=1e-9)


@pytest.mark.parametrize(("eta", "shrinking", "full", "one_root"), SHIFTED)
def test_mean_shift_statistical(end_play: Stack, eta: float, shrinking: float, full: float, one_root: float) -> None:
    """Variance plus Σ(ηT)²/3 at full spread (closed form); less the spread that shrinks it is Scholz's one root."""
    del shrinking, full
    found = end_play.rss(mean_shift=eta, mean_shift_rule="statistical").shifted
    assert found is not None
    assert found.mean == pytest.approx(MEAN, abs=1e-14)
    squares = sum(t * t for _, t in DIMENSIONS.values())
    assert found.sd**2 == pytest.approx(squares / 9 + eta**2 * squares / 3, rel=1e-12)
    shrunk = found.sd**2 - (1 - (1 - eta) ** 2) * squares / 9
    assert 3 * math.sqrt(shrunk) == pytest.approx(one_root, abs=5.01e-13)


@pytest.mark.parametrize(("eta", "shrinking", "full", "one_root"), SHIFTED[:-1])
def test_shrinking_spread_as_processes(eta: float, shrinking: float, full: float, one_root: float) -> None:
    """The shrinking form is a process of Cpk 1 whose mean stands ηT off: cp = 1/(1 − η), cpk = 1."""
    del full, one_root
    sides = dict(zip("abcdefg", ("lower", "upper") * 3 + ("lower",), strict=True))  # towards a wider gap
    dimensions = {
        name: {
            "nominal": n,
            "tolerance": t,
            "process": {"cp": 1 / (1 - eta), "cpk": 1.0, "toward": sides[name]},
        }
        for name, (n, t) in DIMENSIONS.items()
    }
    found = stack("-a + b - c + d - e + f - g", dimensions, **LIMITS).rss()
    assert found.high - MEAN == pytest.approx(shrinking, abs=5.01e-13)


def test_sampling(end_play: Stack) -> None:
    found = end_play.sampled(cages=200_000)
    assert found.mean == pytest.approx(MEAN, abs=4 * SIGMA / math.sqrt(found.drawn))
    assert found.sd == pytest.approx(SIGMA, abs=4 * SIGMA / math.sqrt(2 * found.drawn))
    assert within_error(found.pockets, REJECTED)
