"""Importance sampling: a mixture is a density and fits what fails; chances are those known in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from stackup.engine.importance import Failing, beyond
from stackup.engine.mixture import Mixture, cloud, effective, fitted, with_caps
from stackup.engine.points import weighted

Function = Callable[[np.ndarray], np.ndarray]


def of_planes(rank: int, *distances: float) -> Mixture:
    """A cloud like the normal law, and a cap beyond a plane across each of the first axes."""
    points, weights = weighted(rank, 4096)
    count = len(distances)
    return with_caps(cloud(points, weights), np.eye(rank)[:, :count], np.ones(count), np.array(distances), 0.6)


@pytest.mark.parametrize("rank", [2, 5, 12])
def test_a_mixture_is_a_density(rank: int) -> None:
    """Points weighed back have weight 1, mean 0 and variance 1: drawing and density agree, of all parts."""
    mixture = of_planes(rank, 1.0, 2.0)
    points = np.concatenate([mixture.draw(block, 4096) for block in range(8)], axis=1)
    weights, parts = mixture.weigh(points)
    error = 5 * weights.std() / math.sqrt(weights.size)
    assert abs(weights.mean() - 1) < error
    assert np.abs((points * weights).mean(axis=1)).max() < 3 * error
    assert np.abs((points**2 * weights).mean(axis=1) - 1).max() < 5 * error
    assert 1 / weights == pytest.approx(mixture.shares @ parts, rel=1e-12)
    assert mixture.shares.sum() == pytest.approx(1.0, rel=1e-12)


def test_a_sharp_cloud_is_a_density() -> None:
    """A cloud fitted to a shell keeps its radius, and weighs back to the chance of the shell."""
    points, weights = weighted(6, 4096, wide=True)
    radius = np.sqrt((points**2).sum(axis=0))
    shell = (radius > 5.0) & (radius < 5.4)
    mixture = cloud(points, weights * shell)
    assert mixture.shape > 20  # of the normal law: 3
    drawn = mixture.draw(0, 4096)
    found = mixture.weigh(drawn)[0] * (np.sqrt((drawn**2).sum(axis=0)) > 5.0)
    assert found.mean() == pytest.approx(stats.chi(6).sf(5.0), rel=0.03)


def test_fitting_moves_and_drops_caps() -> None:
    """Of two caps the one where nothing fails is dropped, the other moves to the mean of what fails."""
    mixture = of_planes(4, 3.0, 3.0)
    points = mixture.draw(1, 4096)
    weights, parts = mixture.weigh(points)
    failing = weights * (points[0] > 4.0)
    new = fitted(mixture, points, failing, parts)
    assert new.across.shape == (4, 1)
    # the mean of a normal number above 4: φ(4)/Φ(−4)
    assert new.centres[0, 0] == pytest.approx(stats.norm.pdf(4) / stats.norm.sf(4), abs=0.1)
    kept = fitted(mixture, points, failing, parts, caps_too=False)
    assert np.array_equal(kept.centres, mixture.centres)


def test_effective() -> None:
    """Equal weights count all, a single one counts 1, none 0."""
    assert effective(np.ones(7)) == pytest.approx(7.0)
    assert effective(np.array([0.0, 3.0, 0.0])) == pytest.approx(1.0)
    assert effective(np.zeros(4)) == 0.0


def chance_of(function: Function, rank: int, straight: float = 0.0, effort: float = 1.0) -> float:
    """P(function + straight·x > 0), the search starting from wide points."""
    points, weights = weighted(rank, 2048, wide=True)
    return beyond(Failing(function, straight), (points, weights, function(points)), effort)


@pytest.mark.parametrize("distance", [1.0, 3.0, 6.0, 9.0])
@pytest.mark.parametrize("rank", [3, 10])
def test_beyond_a_plane(rank: int, distance: float) -> None:
    """Beyond a plane: Φ(−b), at any distance, also where most of the slope is that of the further number."""
    normal = np.ones(rank) / math.sqrt(rank)
    exact = stats.norm.sf(distance)
    assert chance_of(lambda z: normal @ z - distance, rank) == pytest.approx(exact, rel=0.01)
    for straight in (0.1, 1.0, 10.0):
        far = distance * math.hypot(1.0, straight)
        found = chance_of(lambda z, far=far: normal @ z - far, rank, straight)
        assert found == pytest.approx(exact, rel=0.01), straight


@pytest.mark.parametrize("rank", [6, 16])
def test_beyond_any_of_many_planes(rank: int) -> None:
    """Any of |z_i| above 5 of independent numbers: 1 − (1 − 2Φ(−5))^k."""
    exact = -math.expm1(rank * math.log1p(-2 * stats.norm.sf(5)))
    assert chance_of(lambda z: np.abs(z).max(axis=0) - 5, rank) == pytest.approx(exact, rel=0.02)


def test_little_effort() -> None:
    """A fiftieth of the effort finds a ring, a plane and a ball to ten per cent."""
    for function, exact in (
        (lambda z: np.hypot(z[0], z[1]) - 5, math.exp(-12.5)),
        (lambda z: z[0] - 4, stats.norm.sf(4)),
        (lambda z: 0.8 - np.sqrt((z * z).sum(axis=0)), stats.chi(7).cdf(0.8)),
    ):
        assert chance_of(function, 7, effort=0.02) == pytest.approx(exact, rel=0.1)
