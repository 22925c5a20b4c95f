"""Capability fractions: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.1.6.

Beside it the 1.5-sigma table of *Six Sigma For Dummies* (table 13-3, READ; a glossary page has the two-tailed
66 811) and the table of D. C. Montgomery, Introduction to Statistical Quality Control.  The NIST table and its
example are from memory (MEM), everything is recomputed.  Truncated laws: Johnson, Kotz and Balakrishnan,
Continuous Univariate Distributions, vol. 1 (MEM); test_shapes.py has the laws, here they go through the engines.
Processes go through a case, fractions through the exact tail of RSS.
"""

from __future__ import annotations

import math
from typing import Any

import pytest
from plain_stack import STANDARD_ERRORS, Stack, stack, standard_error_of_sd, within_error
from scipy.special import ndtr


def process(tolerance: float = 1.0, limits: tuple[str, ...] = ("min", "max"), **keys: Any) -> Stack:
    """One size 10 ± ``tolerance`` with this process, held to its own drawing."""
    ends = {"min": 10.0 - tolerance, "max": 10.0 + tolerance}
    size = {"nominal": 10.0, "tolerance": tolerance, "process": keys}
    return stack("size", {"size": size}, **{end: ends[end] for end in limits})


def rejected(found: Stack) -> float:
    rss = found.rss()
    assert rss.exact
    assert rss.out_of_spec is not None
    return rss.out_of_spec


# --- 1.5-sigma shift: Φ(−(Z − 1.5)) ------------------------------------------------------------------------

# Z; published (READ); one tail; both tails of the shifted process; both tails centred; dpmo, recomputed
SHIFTED = [
    (1.0, 691462, 691462.461, 697672.127, 317310.508),
    (1.5, 500000, 500000.0, 501349.898, 133614.403),
    (2.0, 308538, 308537.539, 308770.168, 45500.264),
    (2.5, 158655, 158655.254, 158686.925, 12419.331),
    (3.0, 66807, 66807.201, 66810.599, 2699.796),
    (3.5, 22750, 22750.132, 22750.419, 465.258),
    (4.0, 6210, 6209.665326, 6209.684315, 63.342484),
    (4.5, 1350, 1349.898032, 1349.899018, 6.795346),
    (5.0, 233, 232.629079, 232.629120, 0.573303144),
    (5.5, 32, 31.671242, 31.671243, 0.0379791249),
    (6.0, 3.4, 3.3976731247, 3.3976731567, 0.00197317529),
]


@pytest.mark.parametrize(("z", "printed", "one_tail", "both", "centred"), SHIFTED)
def test_shifted_by_one_and_a_half_sigma(
    z: float, printed: float, one_tail: float, both: float, centred: float
) -> None:
    """The drawing stands at ±Zσ, σ = 1: cp = Z/3, the mean 1.5σ towards the upper limit."""
    shifted = {"cp": z / 3, "shift": 1.5}
    assert 1e6 * rejected(process(z, ("max",), **shifted)) == pytest.approx(one_tail, abs=5e-4, rel=1e-9)
    assert 1e6 * rejected(process(z, **shifted)) == pytest.approx(both, abs=6e-4, rel=1e-9)
    assert 1e6 * rejected(process(z, cp=z / 3)) == pytest.approx(centred, abs=6e-4, rel=1e-9)
    decimals = 1 if z == 6 else 0
    assert round(1e6 * rejected(process(z, ("max",), **shifted)), decimals) == printed


def test_two_tails_of_three_sigma() -> None:
    """66 811 (READ)."""
    assert round(1e6 * rejected(process(3.0, cp=1.0, shift=1.5))) == 66811


@pytest.mark.parametrize(("z", "printed"), [(0.0, 933193), (0.5, 841345)])
def test_limit_inside_the_shift(z: float, printed: int) -> None:
    """Φ(1.5 − Z) (READ): the limit stands below the mean, so it is stated and not the drawing's."""
    size = {"nominal": 0.0, "tolerance": 3.0, "process": {"shift": 1.5}}
    found = stack("size", {"size": size}, max=z).rss()
    assert round(1e6 * found.out_of_spec) == printed


# --- Cp and reject fractions ------------------------------------------------------------------------------

# Cp; NIST's rejects with its rounding (MEM); recomputed fraction
NIST = [
    (1.0, 0.0027, 5e-5, 0.0026997961),
    (4 / 3, 64e-6, 1e-6, 63.342484e-6),  # prints 64
    (5 / 3, 0.6e-6, 5e-8, 0.573303e-6),
    (2.0, 2e-9, 5e-10, 1.973175e-9),
]


@pytest.mark.parametrize(("cp", "printed", "rounding", "recomputed"), NIST)
def test_rejects_by_cp(cp: float, printed: float, rounding: float, recomputed: float) -> None:
    found = rejected(process(cp=cp))
    assert found == pytest.approx(recomputed, rel=5e-7)
    assert found == pytest.approx(printed, abs=rounding)
    assert found == pytest.approx(math.erfc(3 * cp / math.sqrt(2)), rel=1e-10)  # closed form


# Cp: one-sided and two-sided ppm, recomputed
MONTGOMERY = {
    0.5: (66807.20, 133614.40),
    0.6: (35930.32, 71860.64),
    0.7: (17864.42, 35728.84),
    0.8: (8197.54, 16395.07),
    0.9: (3466.97, 6933.95),
    1.0: (1349.90, 2699.80),
    1.1: (483.424, 966.848),
    1.2: (159.109, 318.217),
    1.3: (48.0963, 96.1927),
    1.4: (13.3457, 26.6915),
    1.5: (3.39767, 6.79535),
    1.6: (0.793328, 1.586656),
    1.7: (0.169827, 0.339653),
    1.8: (0.0333205, 0.0666409),
    2.0: (0.000986588, 0.00197318),
}


@pytest.mark.parametrize("cp", MONTGOMERY)
def test_one_and_two_sided(cp: float) -> None:
    one, two = MONTGOMERY[cp]
    assert 1e6 * rejected(process(limits=("min",), cp=cp)) == pytest.approx(one, rel=5e-6)
    assert 1e6 * rejected(process(limits=("max",), cp=cp)) == pytest.approx(one, rel=5e-6)
    assert 1e6 * rejected(process(cp=cp)) == pytest.approx(two, rel=5e-6)


def test_worked_example() -> None:
    """USL 20, LSL 8, mean 16, s 2 (MEM): Cp 1, Cpk 0.6667, Cpu 0.6667, Cpl 1.3333.

    The same process stated by cp and cpk, by its shift, and by mean and sigma.
    """
    by_cpk = {"nominal": 14.0, "tolerance": 6.0, "process": {"cp": 1.0, "cpk": 2 / 3, "toward": "upper"}}
    by_shift = {"nominal": 14.0, "tolerance": 6.0, "process": {"shift": 2.0}}
    exact = float(ndtr(-2.0) + ndtr(-4.0))  # closed form: 3·Cpu and 3·Cpl sigma away
    for size in (by_cpk, by_shift):
        found = stack("size", {"size": size}, min=8.0, max=20.0).rss()
        assert (found.mean, found.sd) == pytest.approx((16.0, 2.0), rel=1e-14)
        assert found.out_of_spec == pytest.approx(exact, rel=1e-10)


@pytest.mark.parametrize("side", ["upper", "lower"])
@pytest.mark.parametrize(("cp", "cpk"), [(1.0, 0.6667), (1.33, 1.0), (2.0, 1.5)])
def test_cpk_is_three_sigma_to_the_nearer_limit(cp: float, cpk: float, side: str) -> None:
    near, far = float(ndtr(-3 * cpk)), float(ndtr(-3 * (2 * cp - cpk)))
    assert rejected(process(cp=cp, cpk=cpk, toward=side)) == pytest.approx(near + far, rel=1e-9)


# --- inspected parts: truncation at ±kσ ---------------------------------------------------------------------

# k; sd/σ printed (MEM), recomputed, kurtosis, kept fraction
TRUNCATED = [
    (1.0, 0.540, 0.5395600938, 1.94091992, 0.6826894921),
    (1.5, 0.743, 0.7426468984, 2.12211493, 0.8663855975),
    (2.0, 0.880, 0.8796256610, 2.36553672, 0.9544997361),
    (2.5, 0.955, 0.9545974863, 2.62422016, 0.9875806693),
    (3.0, 0.987, 0.9865783926, 2.82888556, 0.9973002039),
    (3.5, None, 0.9969395055, 2.94265666, 0.9995347418),
]


@pytest.mark.parametrize(("k", "printed", "sd", "kurtosis", "kept"), TRUNCATED)
def test_inspected_stack(k: float, printed: float | None, sd: float, kurtosis: float, kept: float) -> None:
    """Two inspected sizes less one: variances add, kurtosis falls to 3 + (κ − 3)/n; nothing leaves the worst case."""
    size = {"nominal": 10.0, "tolerance": k, "process": {"cp": k / 3, "inspected": True}}  # σ = 1
    found = stack("a + b - c", {"a": size, "b": size, "c": size}, min=10 - 3 * k, max=10 + 3 * k)
    rss = found.rss()
    assert rss.sd == pytest.approx(math.sqrt(3) * sd, abs=1e-9)
    assert printed is None or round(rss.sd / math.sqrt(3), 3) == printed
    assert not rss.exact
    assert rss.second_order is not None
    assert rss.second_order.kurtosis == pytest.approx(3 + (kurtosis - 3) / 3, abs=1e-8)
    sampled = found.sampled(cages=60_000)
    assert sampled.sd == pytest.approx(rss.sd, abs=STANDARD_ERRORS * standard_error_of_sd(sampled))
    assert sampled.kurtosis == pytest.approx(3 + (kurtosis - 3) / 3, abs=0.1)  # 4·√(24/n) = 0.08
    assert sampled.pockets is not None
    assert sampled.pockets.out_of_spec == 0
    worst = found.worst_case()
    assert worst.low <= sampled.least <= sampled.greatest <= worst.high
    assert 1 - rejected(process(k, cp=k / 3)) == pytest.approx(kept, abs=5.01e-11)  # before inspection


# truncation to (low, high)σ: mean, variance, skewness, excess kurtosis (OWN)
ASYMMETRIC = [
    ((-1, 2), 0.2296371791, 0.5197625392, 0.3225459128, -0.7198275421),
    ((-2, 3), 0.0507829897, 0.8731486400, 0.1824228540, -0.3527637857),
    ((0, 2), 0.7227897522, 0.2513162776, 0.5596714209, -0.5991741051),
    ((1, 3), 1.5100495132, 0.1734529049, 1.0479519928, 0.6146376671),
]


@pytest.mark.parametrize(("ends", "mean", "variance", "skewness", "excess"), ASYMMETRIC)
def test_inspected_off_centre(
    ends: tuple[float, float], mean: float, variance: float, skewness: float, excess: float
) -> None:
    low, high = ends
    middle, half = (low + high) / 2, (high - low) / 2
    keys = {"cp": half / 3, "shift": -middle, "inspected": True}  # σ = 1, mean 0 before inspection
    size = {"nominal": 0.0, "tolerance": [low, high], "process": keys}
    found = stack("size", {"size": size}, min=low, max=high)
    second = found.rss().second_order
    assert second is not None
    assert second.mean == pytest.approx(mean, abs=5.01e-11)
    assert second.sd == pytest.approx(math.sqrt(variance), abs=1e-10)
    assert second.skewness == pytest.approx(skewness, abs=1e-9)
    assert second.kurtosis == pytest.approx(3 + excess, abs=1e-9)
    sampled = found.sampled(cages=60_000)
    assert sampled.mean == pytest.approx(mean, abs=STANDARD_ERRORS * math.sqrt(variance / sampled.drawn))
    assert low <= sampled.least <= sampled.greatest <= high


@pytest.mark.parametrize("k", [1.0, 2.0, 3.0])
def test_share_outside_of_inspected_parts(k: float) -> None:
    """A limit inside the drawing: (Φ(−h) − Φ(−k))·2/(2Φ(k) − 1) (closed form), by sampling."""
    half = 0.75 * k
    size = {"nominal": 0.0, "tolerance": k, "process": {"cp": k / 3, "inspected": True}}
    exact = float(2 * (ndtr(-half) - ndtr(-k)) / (2 * ndtr(k) - 1))
    assert within_error(stack("size", {"size": size}, min=-half, max=half).sampled().pockets, exact)
