"""Laws of functions of a few normal numbers, against closed forms, series, convolution and plain sampling."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import integrate, optimize, special, stats

from stackup.case import read
from stackup.chain.model import Requirement
from stackup.engine import rss
from stackup.engine.quadrature import LawOf, law_of
from stackup.engine.settings import Settings

DEMO = Path(__file__).parents[2] / "cases" / "demo.toml"
FEW, MANY = (1, 2, 3), (4, 5, 8, 12, 20)
CHANCES = (0.1, 1e-3, 1e-6)
Fraction = Callable[[float], float]


def where(fraction: Fraction, chance: float, low: float, high: float) -> float:
    """The limit between low and high beyond which a fraction lies."""
    return float(optimize.brentq(lambda x: math.log(max(fraction(x), 1e-300) / chance), low, high, xtol=1e-12))


def assert_tails(law: LawOf, below: Fraction, above: Fraction, rel: float | tuple[float, float]) -> None:
    """Both tails of a law are known to a relative error (low, high) at three chances."""
    low, high = rel if isinstance(rel, tuple) else (rel, rel)
    for chance in CHANCES:
        for side, fraction, error in ((-1.0, below, low), (1.0, above, high)):
            limit = where(fraction, chance, law.mean - 40 * law.sd, law.mean + 40 * law.sd)
            found = law.outside(limit, None) if side < 0 else law.outside(None, limit)
            assert math.isclose(found, chance, rel_tol=error), (chance, side, found / chance - 1)


@pytest.mark.parametrize("rank", FEW + MANY)
def test_a_sum(rank: int) -> None:
    """A sum of normal numbers is normal, of any rank: one straight direction is left of it."""
    weights = np.arange(1, rank + 1) / math.sqrt(sum(i * i for i in range(1, rank + 1)))
    law = law_of(lambda z: 3 + 2 * (weights @ z), rank)
    assert math.isclose(law.mean, 3, rel_tol=1e-9)
    assert math.isclose(law.sd, 2, rel_tol=1e-9)
    rel = 1e-7 if rank in FEW else 1e-9
    for k in (1, 3, 5):
        assert math.isclose(law.outside(None, 3 + 2 * k), stats.norm.sf(k), rel_tol=rel)
        assert math.isclose(law.outside(3 - 2 * k, None), stats.norm.sf(k), rel_tol=rel)
    both = law.outside(3 - 4, 3 + 2)
    assert math.isclose(both, stats.norm.sf(2) + stats.norm.sf(1), rel_tol=rel)


def test_no_limits() -> None:
    """Without limits nothing is outside."""
    assert law_of(lambda z: z[0], 1).outside(None, None) == 0.0


@pytest.mark.parametrize("x", [0.5, 1.0, 3.4393, 5.0, 7.0])
def test_rayleigh(x: float) -> None:
    """The length of two alike normal numbers: P(> x) = exp(−x²/2)."""
    law = law_of(lambda z: np.hypot(z[0], z[1]), 2)
    assert math.isclose(law.outside(None, x), math.exp(-x * x / 2), rel_tol=1e-6)
    assert math.isclose(law.mean, math.sqrt(math.pi / 2), rel_tol=1e-9)
    assert math.isclose(law.sd, math.sqrt(2 - math.pi / 2), rel_tol=1e-9)


@pytest.mark.parametrize("off", [0.5, 1.5, 4.0])
@pytest.mark.parametrize("x", [0.3, 2.0, 5.0, 7.0])
def test_rice(off: float, x: float) -> None:
    """The length of a vector whose mean is off: the non-central chi law, both tails."""
    law = law_of(lambda z: np.hypot(z[0] + off, z[1]), 2)
    known = stats.rice(off)
    assert math.isclose(law.outside(None, x), known.sf(x), rel_tol=2e-3)
    assert math.isclose(law.outside(x, None), known.cdf(x), rel_tol=2e-3)
    assert math.isclose(law.mean, known.mean(), rel_tol=1e-4)
    assert math.isclose(law.sd, known.std(), rel_tol=1e-3)


@pytest.mark.parametrize("ratio", [0.1, 0.4, 0.9])
def test_unequal_axes(ratio: float) -> None:
    """The length of two unlike normal numbers: one common sigma would be far off."""
    law = law_of(lambda z: np.hypot(z[0], ratio * z[1]), 2)

    def beyond(x: float) -> float:
        inside = integrate.quad(
            lambda t: stats.norm.pdf(x * math.sin(t)) * x * math.cos(t)
            * (2 * special.ndtr(x * math.cos(t) / ratio) - 1),
            -math.pi / 2, math.pi / 2, epsabs=1e-14, epsrel=1e-12,
        )[0]  # fmt: skip
        return 1 - inside

    for x in (1.0, 2.0, 3.0):
        assert math.isclose(law.outside(None, x), beyond(x), rel_tol=1e-3)


@pytest.mark.parametrize("t", [0.5, 2.0, 6.0])
def test_a_product(t: float) -> None:
    """The product of two normal numbers: P(xy > t) = ∫ φ(x) Φ(−t/|x|) dx."""
    law = law_of(lambda z: z[0] * z[1], 2)
    known = 2 * integrate.quad(lambda x: stats.norm.pdf(x) * special.ndtr(-t / x), 0, 12, epsabs=1e-15)[0]
    assert abs(law.mean) < 1e-12
    assert math.isclose(law.sd, 1.0, rel_tol=1e-9)
    assert math.isclose(law.outside(None, t), known, rel_tol=1e-3)
    assert math.isclose(law.outside(-t, None), known, rel_tol=1e-3)


@pytest.mark.parametrize("rank", FEW)
def test_chi_by_rays(rank: int) -> None:
    """The length of up to three numbers, to many digits, far out."""
    law, known = law_of(lambda z: np.sqrt((z * z).sum(axis=0)), rank), stats.chi(rank)
    assert math.isclose(law.mean, known.mean(), rel_tol=1e-9)
    assert math.isclose(law.sd, known.std(), rel_tol=1e-9)
    for chance in (0.1, 1e-3, 1e-6, 1e-9):
        assert math.isclose(law.outside(None, known.isf(chance)), chance, rel_tol=1e-6)


@pytest.mark.parametrize("rank", MANY)
def test_chi_of_many(rank: int) -> None:
    """The length of many numbers fails in all directions at once, and within a ball: both tails to 2 %, far out too."""
    law, known = law_of(lambda z: np.sqrt((z * z).sum(axis=0)), rank), stats.chi(rank)
    assert math.isclose(law.mean, known.mean(), rel_tol=1e-6)
    assert math.isclose(law.sd, known.std(), rel_tol=1e-5)
    for chance in (*CHANCES, 1e-9):
        assert math.isclose(law.outside(None, known.isf(chance)), chance, rel_tol=0.02)
        assert math.isclose(law.outside(known.ppf(chance), None), chance, rel_tol=0.02)


@pytest.mark.parametrize("rank", FEW + MANY)
def test_the_greatest(rank: int) -> None:
    """The greatest of independent numbers: Φ(x)^k below x.  That many are all small at once is hard to find."""
    law = law_of(lambda z: z.max(axis=0), rank)
    low = 1e-4 if rank in FEW else 0.03 if rank < 10 else 0.1
    high = 2e-6 if rank in FEW else 0.01
    assert_tails(law, lambda x: special.ndtr(x) ** rank, lambda x: -math.expm1(rank * special.log_ndtr(x)), (low, high))

    def moment(power: int) -> float:
        def density(x: float) -> float:
            return rank * stats.norm.pdf(x) * special.ndtr(x) ** (rank - 1)

        return float(integrate.quad(lambda x: x**power * density(x), -9, 9, epsabs=1e-13)[0])

    mean = moment(1)
    sd = math.sqrt(moment(2) - mean**2)
    assert math.isclose(law.mean, mean, abs_tol=3e-3 * sd)
    assert math.isclose(law.sd, sd, rel_tol=3e-3)


def test_a_vector_and_a_size() -> None:
    """A size less the length of a vector, as of a pin in its hole: convolved by quadrature."""
    law = law_of(lambda z: 4 + z[0] - np.hypot(z[1], z[2]), 3)
    known = integrate.quad(lambda r: r * math.exp(-r * r / 2) * special.ndtr(r - 4), 0, 12, epsabs=1e-14)[0]
    assert math.isclose(law.outside(0.0, None), known, rel_tol=1e-3)
    assert math.isclose(law.mean, 4 - math.sqrt(math.pi / 2), rel_tol=1e-5)
    assert math.isclose(law.sd, math.sqrt(3 - math.pi / 2), rel_tol=1e-4)


def turn(rank: int) -> np.ndarray:
    """An orthonormal matrix that leaves no axis where it was."""
    return np.linalg.qr(np.random.default_rng(rank).normal(size=(rank, rank)))[0]


@pytest.mark.parametrize(("size", "lengths", "further", "rel", "moments"), [
    (1.0, (1.0,), 3, 1e-3, 1e-5), (0.4, (1.0,), 1, 1e-3, 1e-5), (30.0, (1.0,), 2, 1e-3, 1e-5),
    (1.0, (1.0, 0.5), 0, 0.01, 3e-4), (1.0, (1.0, 1.0, 1.0), 0, 0.02, 1e-3),
    (0.3, (1.0, 0.7, 0.4), 2, 0.03, 1e-3), (0.5, (1.0, 0.8, 0.6, 0.4, 0.2), 0, 0.03, 1e-3),
])  # fmt: skip
def test_a_size_less_lengths(size: float, lengths: tuple[float, ...], further: int, rel: float, moments: float) -> None:
    """c + s·z₀ − Σ a_k|(x_k, y_k)| in turned numbers, some of no influence: Rayleigh densities convolved."""
    rank = 1 + 2 * len(lengths) + further
    turned = turn(rank)

    def function(z: np.ndarray) -> np.ndarray:
        y = turned @ z
        vectors = [a * np.hypot(y[1 + 2 * k], y[2 + 2 * k]) for k, a in enumerate(lengths)]
        return 7 + size * y[0] - np.sum(vectors, axis=0)

    step = 0.005
    r = np.arange(0, 12, step)
    density = np.ones(1) / step
    for a in lengths:
        density = np.convolve(density, r / a**2 * np.exp(-0.5 * (r / a) ** 2)) * step
    density = density / (density.sum() * step)
    total = np.arange(density.size) * step

    def below(x: float) -> float:
        return float((density * special.ndtr((x - 7 + total) / size)).sum() * step)

    def above(x: float) -> float:
        return float((density * special.ndtr((7 - total - x) / size)).sum() * step)

    law = law_of(function, rank)
    mean = 7 - sum(lengths) * math.sqrt(math.pi / 2)
    sd = math.sqrt(size**2 + sum(a * a for a in lengths) * (2 - math.pi / 2))
    assert math.isclose(law.mean, mean, abs_tol=moments * sd)
    assert math.isclose(law.sd, sd, rel_tol=moments)
    assert_tails(law, below, above, rel)


def series(axes: np.ndarray) -> tuple[Callable[[int, float], float], float]:
    """P(Σ a_i² z_i² < x) and the mean of its root, by the series of H. Ruben, Annals of Math. Stat. 33 (1962) 542."""
    squares, terms = axes**2, 3000
    least = squares.min()
    growth = np.array([0.5 * ((1 - least / squares) ** k).sum() for k in range(1, terms)])
    shares = np.zeros(terms)
    shares[0] = np.sqrt(np.prod(least / squares))
    for k in range(1, terms):
        shares[k] = (growth[:k][::-1] * shares[:k]).sum() / k
    half = len(axes) / 2 + np.arange(terms)
    root = np.sqrt(2 * least) * np.exp(special.gammaln(half + 0.5) - special.gammaln(half))

    def chance(side: int, x: float) -> float:
        tail = special.gammainc if side < 0 else special.gammaincc
        return float((shares * tail(half, x * x / (2 * least))).sum()) if x > 0 else float(side > 0)

    return chance, float((shares * root).sum())


@pytest.mark.parametrize("axes", [
    (1.0, 0.8, 0.5, 0.3), (1.0, 1.0, 0.5, 0.5, 0.3, 0.3),
    tuple(np.linspace(1.0, 0.3, 8)), tuple(np.linspace(1.0, 0.4, 12)),
])  # fmt: skip
def test_many_unequal_axes(axes: tuple[float, ...]) -> None:
    """The length of many unlike normal numbers in turned coordinates; of twelve 2 % is one standard error far out."""
    squares, turned = np.array(axes) ** 2, turn(len(axes))
    chance, mean = series(np.array(axes))
    law = law_of(lambda z: np.sqrt(squares @ (turned @ z) ** 2), len(axes))
    sd = math.sqrt(squares.sum() - mean**2)
    assert math.isclose(law.mean, mean, abs_tol=1e-3 * sd)
    assert math.isclose(law.sd, sd, rel_tol=2e-3)
    assert_tails(law, lambda x: chance(-1, x), lambda x: chance(1, x), 0.03 if len(axes) < 12 else 0.06)


@pytest.mark.parametrize(("rank", "off"), [(5, 2.0), (12, 4.0)])
def test_a_length_that_is_off(rank: int, off: float) -> None:
    """The length of many numbers whose mean is off: the square has the non-central chi-square law of scipy."""
    middle = np.full((rank, 1), off / math.sqrt(rank))
    law, known = law_of(lambda z: np.sqrt(((z + middle) ** 2).sum(axis=0)), rank), stats.ncx2(rank, off**2)
    mean = math.sqrt(math.pi / 2) * special.eval_genlaguerre(0.5, rank / 2 - 1, -(off**2) / 2)
    assert math.isclose(law.mean, mean, rel_tol=3e-4)
    assert math.isclose(law.sd, math.sqrt(rank + off**2 - mean**2), rel_tol=1e-3)
    assert_tails(law, lambda x: known.cdf(max(x, 0) ** 2), lambda x: known.sf(max(x, 0) ** 2), 0.03)


@pytest.mark.parametrize("count", [2, 4])
def test_the_greatest_length(count: int) -> None:
    """The greatest of several lengths: (1 − exp(−x²/2))^k below x; it fails along as many rings."""

    def below(x: float) -> float:
        return float(-math.expm1(-x * x / 2)) ** count if x > 0 else 0.0

    def above(x: float) -> float:
        return -math.expm1(count * math.log1p(-math.exp(-x * x / 2))) if x > 0 else 1.0

    law = law_of(lambda z: np.hypot(z[0::2], z[1::2]).max(axis=0), 2 * count)
    assert_tails(law, below, above, 0.03)


def test_two_products() -> None:
    """z₀z₁ + z₂z₃ has the law of Laplace: ½exp(−|t|) beyond t, sd √2."""
    law = law_of(lambda z: z[0] * z[1] + z[2] * z[3], 4)
    assert abs(law.mean) < 1e-12
    assert math.isclose(law.sd, math.sqrt(2), rel_tol=5e-3)
    assert_tails(law, lambda x: 0.5 * math.exp(min(x, 0)), lambda x: 0.5 * math.exp(-max(x, 0)), 0.03)


@pytest.mark.parametrize("rank", [4, 12])
def test_a_steep_branch_far_out(rank: int) -> None:
    """greatest(x, 5(y − 4)) fails by y where y is four sigma off: seldom seen, and not to be forgotten."""
    turned = turn(rank)
    law = law_of(lambda z: np.maximum(turned[0] @ z, 5 * (turned[1] @ z - 4)), rank)
    for limit in (1.0, 3.0, 5.0):
        one, other = stats.norm.sf(limit), stats.norm.sf(4 + limit / 5)
        assert math.isclose(law.outside(None, limit), one + other - one * other, rel_tol=1e-3)


def test_what_is_seldom_carries_the_moments() -> None:
    """What a length of four exceeds 4 by is mostly 0: mean and sd by quadrature."""
    law = law_of(lambda z: np.maximum(np.sqrt((z * z).sum(axis=0)) - 4, 0.0), 4)
    first, second = (integrate.quad(lambda r, p=p: (r - 4) ** p * stats.chi(4).pdf(r), 4, 12)[0] for p in (1, 2))
    assert math.isclose(law.mean, first, rel_tol=0.02)
    assert math.isclose(law.sd, math.sqrt(second - first**2), rel_tol=0.02)


def test_what_is_not_a_number_is_outside() -> None:
    """The root of 4 − x − y²/4 is no number for some, which are outside whatever the limit."""

    def function(z: np.ndarray) -> np.ndarray:
        with np.errstate(invalid="ignore"):
            return np.sqrt(4 - z[0] - 0.25 * (z[1:] ** 2).sum(axis=0))

    def outside(room: float) -> float:
        return float(integrate.quad(lambda q: stats.chi2(3).pdf(q) * stats.norm.sf(room - q / 4), 0, 80)[0])

    law = law_of(function, 4)
    assert math.isclose(law.outside(0.0, None), outside(4.0), rel_tol=0.02)
    assert math.isclose(law.outside(1.0, None), outside(3.0), rel_tol=0.02)


def test_nothing_scatters() -> None:
    """A function that is the same everywhere is inside or outside."""
    law = law_of(lambda z: np.full(z.shape[1], 3.0), 5)
    assert law.mean == pytest.approx(3.0, rel=1e-12)
    assert law.sd == pytest.approx(0.0, abs=1e-12)
    assert law.outside(2.0, 4.0) == 0.0
    assert law.outside(4.0, None) == pytest.approx(1.0, abs=1e-5)


def gaps_of_the_demo() -> dict[str, tuple[Any, int]]:
    """The functions of four or more numbers that RSS makes of the demo case, by gap."""
    asked: list[tuple[Any, int]] = []
    found = {}

    def noted(function: Any, rank: int, effort: float) -> LawOf:
        asked.append((function, rank))
        return law_of(function, rank, effort)

    model = read(DEMO).models()[0].states["made"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rss, "law_of", noted)
        for gap in model.gaps:
            asked.clear()
            rss.run(model, [Requirement(gap.name, gap.name)], Settings())
            if asked and asked[0][1] >= 4:
                found[gap.name] = asked[0]
    return found


def test_gaps_of_the_demo_against_plain_sampling() -> None:
    """Mean, sd and both tails of the demo's gaps, within four standard errors of two million draws, and 2 %."""
    draws, block = 2_000_000, 4000
    gaps = gaps_of_the_demo()
    assert {"running_clearance", "roller_spacing", "end_clearance", "ring_clearance_outer"} <= set(gaps)
    rng = np.random.default_rng(9)
    for name in ("running_clearance", "roller_spacing", "end_clearance", "ring_clearance_outer"):
        function, rank = gaps[name]
        values = np.concatenate([function(rng.normal(size=(rank, block))) for _ in range(draws // block)])
        law = law_of(function, rank)
        assert abs(law.mean - values.mean()) <= (4 / math.sqrt(draws) + 3e-4) * law.sd, name
        assert abs(law.sd - values.std()) <= (4 / math.sqrt(draws) + 1e-3) * law.sd, name
        for chance in (0.1, 1e-2, 1e-3):
            low, high = np.quantile(values, (chance, 1 - chance))
            error = 4 * math.sqrt(chance / draws) + 0.02 * chance
            assert abs(law.outside(low, None) - chance) <= error, (name, chance)
            assert abs(law.outside(None, high) - chance) <= error, (name, chance)


@pytest.mark.parametrize("rank", [5, 12])
def test_the_same_in_every_run_and_not_too_long(rank: int) -> None:
    """Asked twice, the same to the last bit; and no more values of the function are asked for than is agreed."""
    asked = 0

    def function(z: np.ndarray) -> np.ndarray:
        nonlocal asked
        asked += z.shape[1]
        return z[0] - np.hypot(z[1], z[2]) - np.hypot(z[3], z[4]) + 0.1 * z[-1] ** 2

    results = []
    for _ in range(2):
        asked = 0
        law = law_of(function, rank)
        assert asked <= 50_000
        asked = 0
        results.append((law.mean, law.sd, law.outside(-8.0, None), law.outside(None, 4.0)))
        assert asked <= 150_000
    assert results[0] == results[1]


def test_less_effort_is_coarser_but_right() -> None:
    """Where many laws are averaged each takes fewer rays and points, and stays near."""
    for rank in (3, 6):
        law = law_of(lambda z: 4 + z[0] - np.hypot(z[1], z[2]), rank, 0.05)
        assert math.isclose(law.sd, math.sqrt(3 - math.pi / 2), rel_tol=2e-2)
    law, known = law_of(lambda z: np.sqrt((z * z).sum(axis=0)), 8, 0.02), stats.chi(8)
    assert math.isclose(law.sd, known.std(), rel_tol=1e-4)
    for chance in CHANCES:
        assert math.isclose(law.outside(None, known.isf(chance)), chance, rel_tol=0.1)
        assert math.isclose(law.outside(known.ppf(chance), None), chance, rel_tol=0.1)
