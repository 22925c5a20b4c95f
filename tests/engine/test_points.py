"""Fixed points: spread evenly, with the moments of normal numbers, the same in every run."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import special, stats

from stackup.engine.points import BLOCK, in_blocks, normals, slopes, weighted


@pytest.mark.parametrize("rows", [1, 4, 20, 40])
def test_every_row_is_normal(rows: int) -> None:
    """Quantiles of every number of a block: an even spread is a hundred times nearer than chance would be."""
    for block in (0, 3, 4, 9):
        points = normals(rows, block)
        assert points.shape == (rows, BLOCK)
        for row in points:
            # the distance of Kolmogorov and Smirnov: about 0.87/√n by chance, 1/n of points that are spread evenly
            assert stats.kstest(row, "norm").statistic < 3 / BLOCK


@pytest.mark.parametrize("rows", [2, 5, 12])
def test_pairs_of_rows_are_spread(rows: int) -> None:
    """The chance that two numbers are both positive, a quarter, for every pair: nearer than chance would be."""
    points = np.concatenate([normals(rows, block) for block in range(4)], axis=1) > 0
    both = (points[:, None] & points[None]).mean(axis=2)[np.triu_indices(rows, 1)]
    assert np.abs(both - 0.25).max() < math.sqrt(0.25 * 0.75 / points.shape[1])


def test_no_two_points_are_the_same_or_opposite() -> None:
    """All points of twelve blocks differ, those with rows that changed places too, also in sign."""
    points = np.concatenate([normals(6, block) for block in range(12)], axis=1)
    both = np.round(np.concatenate((points, -points), axis=1), 9)
    assert np.unique(both, axis=1).shape[1] == both.shape[1]


def test_fewer_are_the_first() -> None:
    """A smaller number of rows or points is a part of the larger."""
    assert np.array_equal(normals(9, 2)[:5, :100], normals(5, 2, 100))


@pytest.mark.parametrize("wide", [False, True])
@pytest.mark.parametrize(("rank", "pairs"), [(3, 2048), (4, 16384), (9, 4096), (20, 16384), (30, 4096)])
def test_moments(rank: int, pairs: int, wide: bool) -> None:
    """Weights sum to 1; means, variances and correlations are exact, the radius has the moments of the chi law."""
    points, weights = weighted(rank, pairs, wide)
    assert points.shape == (rank, 2 * pairs)
    assert (weights > 0).all()
    assert weights.sum() == pytest.approx(1.0, rel=1e-12)
    assert np.abs(points @ weights).max() < 1e-12
    assert np.abs((points * weights) @ points.T - np.eye(rank)).max() < 1e-11
    radius = np.sqrt((points**2).sum(axis=0))
    error = 0.01 if wide else 1e-4
    for order in (1, 2, 3, 4):
        exact = 2 ** (order / 2) * math.exp(special.gammaln((rank + order) / 2) - special.gammaln(rank / 2))
        assert (weights @ radius**order) == pytest.approx(exact, rel=error), order


def test_wide_points_see_far() -> None:
    """A part of the wide points lies where hardly one in a million would; their weights say how many would."""
    points, weights = weighted(6, 4096, wide=True)
    far = np.sqrt((points**2).sum(axis=0)) > stats.chi(6).isf(1e-6)
    assert far.mean() > 0.1
    assert weights[far].sum() == pytest.approx(1e-6, rel=0.05)


def test_slopes_and_blocks() -> None:
    """The gradient of a quadratic form by differences, and values as those asked at once."""
    rng = np.random.default_rng(3)
    matrix, points = rng.normal(size=(5, 5)), rng.normal(size=(5, 3 * BLOCK + 7))
    matrix = matrix + matrix.T

    def function(z: np.ndarray) -> np.ndarray:
        assert z.shape[1] <= BLOCK
        return 0.5 * np.einsum("in,ij,jn->n", z, matrix, z, optimize=True)

    assert in_blocks(function, points) == pytest.approx(0.5 * ((matrix @ points) * points).sum(axis=0), abs=1e-12)
    values, gradients = slopes(function, points[:, :50])
    assert values == pytest.approx(in_blocks(function, points[:, :50]), abs=1e-12)
    assert gradients == pytest.approx(matrix @ points[:, :50], abs=1e-4)
