"""Laws of functions of a few normal numbers, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, special, stats

from stackup.engine.quadrature import law_of

RAYED, LINED = (1, 2, 3), (4, 5, 8, 12, 20)


@pytest.mark.parametrize("rank", RAYED + LINED)
def test_a_sum(rank: int) -> None:
    """A sum of normal numbers is normal, of any rank: its own mean and sd, tails to five sigma."""
    weights = np.ones(rank) / math.sqrt(rank)
    law = law_of(lambda z: 3 + 2 * (weights @ z), rank)
    assert math.isclose(law.mean, 3, rel_tol=1e-12)
    assert math.isclose(law.sd, 2, rel_tol=1e-12)
    for k in (1, 3, 5):
        assert math.isclose(law.outside(None, 3 + 2 * k), stats.norm.sf(k), rel_tol=3e-3)
        assert math.isclose(law.outside(3 - 2 * k, None), stats.norm.sf(k), rel_tol=3e-3)
    both = law.outside(3 - 4, 3 + 2)
    assert math.isclose(both, stats.norm.sf(2) + stats.norm.sf(1), rel_tol=3e-3)


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


@pytest.mark.parametrize("rank", RAYED)
def test_chi_by_rays(rank: int) -> None:
    """The length of up to three numbers, to many digits, far out."""
    law, known = law_of(lambda z: np.sqrt((z * z).sum(axis=0)), rank), stats.chi(rank)
    assert math.isclose(law.mean, known.mean(), rel_tol=1e-9)
    assert math.isclose(law.sd, known.std(), rel_tol=1e-9)
    for chance in (0.1, 1e-3, 1e-6, 1e-9):
        assert math.isclose(law.outside(None, known.isf(chance)), chance, rel_tol=1e-6)


@pytest.mark.parametrize("rank", LINED)
def test_chi_by_lines(rank: int) -> None:
    """The length of many numbers fails in all directions at once: moments to 1 %, tails by lines as far as they go."""
    law, known = law_of(lambda z: np.sqrt((z * z).sum(axis=0)), rank), stats.chi(rank)
    assert math.isclose(law.mean, known.mean(), rel_tol=1e-3)
    assert math.isclose(law.sd, known.std(), rel_tol=2e-2)
    assert math.isclose(law.outside(None, known.isf(0.1)), 0.1, rel_tol=0.25)
    if rank <= 8:
        assert math.isclose(law.outside(None, known.isf(1e-3)), 1e-3, rel_tol=0.25)


@pytest.mark.parametrize("rank", RAYED + LINED)
def test_the_greatest(rank: int) -> None:
    """The greatest of independent numbers: 1 − Φ(x)^k."""
    law = law_of(lambda z: z.max(axis=0), rank)
    x = stats.norm.ppf((1 - 1e-3) ** (1 / rank))
    assert math.isclose(law.outside(None, x), 1e-3, rel_tol=1e-6 if rank <= 3 else 0.4)


def test_a_vector_and_a_size() -> None:
    """A size less the length of a vector, as of a pin in its hole: convolved by quadrature."""
    law = law_of(lambda z: 4 + z[0] - np.hypot(z[1], z[2]), 3)
    known = integrate.quad(lambda r: r * math.exp(-r * r / 2) * special.ndtr(r - 4), 0, 12, epsabs=1e-14)[0]
    assert math.isclose(law.outside(0.0, None), known, rel_tol=1e-3)
    assert math.isclose(law.mean, 4 - math.sqrt(math.pi / 2), rel_tol=1e-5)
    assert math.isclose(law.sd, math.sqrt(3 - math.pi / 2), rel_tol=1e-4)


def test_less_effort_is_coarser_but_right() -> None:
    """Where many laws are averaged each takes fewer rays and lines, and stays near."""
    for rank in (3, 6):
        law = law_of(lambda z: 4 + z[0] - np.hypot(z[1], z[2]), rank, 0.05)
        assert math.isclose(law.sd, math.sqrt(3 - math.pi / 2), rel_tol=2e-2)
