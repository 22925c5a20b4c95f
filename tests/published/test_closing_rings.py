"""Closing the rings: the worst case of ring_entry, proved in docs/proofs.md, against search and an adversary.

The proof is closed form (OWN); the search is the slow twin's, by sequential quadratic programming, with linear
programmes as bounds.  An adversary pushes every pin, by the whole radius of its zones, along what a pose leaves of it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from whole_cage_twin import Problem, entry_moves, greatest, upper_bound

Array = np.ndarray

# β of an invented tapered cage (degrees); R = 0.06 + 0.02 + 0.05 + 0.06 of its zones; |p| of parallelism ⌀0.10 (mm)
TILT, ZONES, LEAN = math.radians(13.0), 0.19, 0.05
# g at c = 0, 0.01 and 0.0535 (mm): the greatest of f_k(x) over a grid of x, the least over k (OWN); the first is
# p·tan(β/2)
GREATEST = {0.0: 0.0056968, 0.01: 0.0136324, 0.0535: 0.0546788}
#: sequential quadratic programmes in lengths of 0.05 to 0.3 mm, ftol 1e-14: found within
SEARCH = 2e-7


def common(pins: int, tilt: float, c: float, p: complex) -> tuple[Array, Array]:
    """Return a_i (Z, 2) and M_i (Z, 2, 3)."""
    angles = 2 * math.pi * np.arange(pins) / pins
    outward = c + math.sin(tilt) * (p.real * np.cos(angles) + p.imag * np.sin(angles))
    return np.stack([outward, 0 * angles], axis=1), entry_moves(angles, tilt)


def distance(lengths: Array, moves: Array) -> tuple[float, Array]:
    """Return the least over poses of the greatest length, and what that pose leaves (Z, 2)."""
    left, pose = greatest(Problem(np.zeros(len(lengths)), lengths, moves))
    return -left, lengths - moves @ pose


def pushed(left: Array) -> Array:
    """Return every pin pushed by ZONES along what is left of it."""
    size = np.linalg.norm(left, axis=1, keepdims=True)
    return ZONES * left / np.where(size > 0, size, 1.0)


def bound(c: float, p: float, tilt: float) -> float:
    """Return g(c, |p|) of docs/proofs.md: the closed form in k, the least over k."""

    def squared(k: float) -> float:
        q = math.sin(tilt) - k * math.cos(tilt)
        if k > abs(q) and abs(c * q) <= (k * k - q * q) * p:
            return k * k * (p * p + c * c / (k * k - q * q))
        return (abs(c) + abs(q) * p) ** 2

    low, high = math.tan(tilt / 2), math.tan(tilt)
    found = minimize_scalar(squared, bounds=(low, high), method="bounded", options={"xatol": 1e-12})
    return math.sqrt(min(found.fun, squared(low), squared(high)))


@pytest.mark.parametrize("c", GREATEST)
def test_greatest_distance_in_closed_form(c: float) -> None:
    assert bound(c, LEAN, TILT) == pytest.approx(GREATEST[c], abs=6e-8)


@pytest.mark.parametrize("pins", [8, 12, 52])
@pytest.mark.parametrize("c", GREATEST)
@pytest.mark.parametrize("direction", [0.0, 0.3])
def test_an_adversary_reaches_the_zones_and_the_distance(pins: int, c: float, direction: float) -> None:
    """sup over pins of min over poses = R + dist(a): reached by pushing along what a's best pose leaves."""
    a, moves = common(pins, TILT, c, LEAN * complex(math.cos(direction), math.sin(direction)))
    far, left = distance(a, moves)
    exact = ZONES + far
    rng = np.random.default_rng(pins)
    best = 0.0
    for start in (left, rng.standard_normal((pins, 2))):
        push = pushed(start)
        for _ in range(3):
            found, rest = distance(a + push, moves)
            best = max(best, found)
            push = pushed(rest)
    assert best == pytest.approx(exact, abs=SEARCH)
    assert far <= bound(c, LEAN, TILT) + SEARCH
    assert far >= bound(c, LEAN, TILT) / fewer_pins(pins) - SEARCH


def fewer_pins(pins: int) -> float:
    """Return the factor by which dist(a) of ``pins`` pins can be below that of endlessly many.

    The square of what a pose leaves is a trigonometric polynomial of degree 2 in the pocket's angle; between equally
    spaced points, where it stays within 0…d², it passes d²/2 by at most (d²/2)/cos(2π/Z) (Ehlich and Zeller).
    """
    return math.sqrt((1 + 1 / math.cos(2 * math.pi / pins)) / 2)


@pytest.mark.parametrize("pins", [5, 8, 12, 52])
@pytest.mark.parametrize("tilt", [5.0, 13.0, 30.0, 60.0])
def test_rings_out_of_parallel_leave_a_turning_vector(pins: int, tilt: float) -> None:
    """c = 0: |p| tan(β/2), by the multipliers of the proof, which no pose sees, and by the pose ε = p·tan(β/2)."""
    tilt = math.radians(tilt)
    for direction in (0.0, 0.2, math.pi / pins):
        a, moves = common(pins, tilt, 0.0, LEAN * complex(math.cos(direction), math.sin(direction)))
        angles = 2 * math.pi * np.arange(pins) / pins - direction
        weight = (1 + 2 * math.tan(tilt / 2) ** 2 * np.cos(2 * angles)) / pins
        forces = weight[:, None] * np.stack([np.cos(angles), np.sin(angles)], axis=1)
        assert np.einsum("kjn,kj->n", moves, forces) == pytest.approx(0.0, abs=1e-15)
        assert np.linalg.norm(forces, axis=1).sum() == pytest.approx(1.0, abs=1e-14)
        exact = LEAN * math.tan(tilt / 2)
        assert (forces * a).sum() == pytest.approx(exact, abs=1e-15)
        pose = math.tan(tilt / 2) * LEAN * np.array([math.cos(direction), math.sin(direction), 0.0])
        assert np.linalg.norm(a - moves @ pose, axis=1) == pytest.approx(exact, abs=1e-15)


@pytest.mark.parametrize("c", GREATEST)
def test_without_parallelism_the_worst_case_is_too_kind(c: float) -> None:
    """The claim that it equals that of pin_entry with parallelism at 0, R + |c|, is passed by an adversary."""
    a, moves = common(52, TILT, c, complex(LEAN, 0.0))
    _, left = distance(a, moves)
    found, _ = distance(a + pushed(left), moves)
    assert found > ZONES + c + 1e-3
    assert found < ZONES + c + LEAN * math.tan(TILT / 2) + SEARCH


@pytest.mark.parametrize("pins", [3, 4, 7, 40])
def test_a_cylindrical_cage_has_all_pins_outward(pins: int) -> None:
    """β = 0: parallelism does not count, and spacing and pitch by |c| alone."""
    a, moves = common(pins, 0.0, 0.03, complex(LEAN, 0.02))
    assert a[:, 0] == pytest.approx(0.03)
    outward = a + np.array([ZONES, 0.0])
    assert distance(outward, moves)[0] == pytest.approx(ZONES + 0.03, abs=SEARCH)


def test_a_linear_programme_agrees_with_the_search() -> None:
    """The greatest that is found, and a bound by 180 directions, are apart by at most |rest|·(1 − cos 1°)."""
    rng = np.random.default_rng(4)
    for pins in (3, 8, 52):
        lengths = 0.05 * rng.standard_normal((pins, 2))
        problem = Problem(0.2 + 0.01 * rng.random(pins), lengths, common(pins, TILT, 0.0, 0j)[1])
        found, pose = greatest(problem)
        longest = np.linalg.norm(problem.offset - problem.moves @ pose, axis=1).max()
        assert found <= upper_bound(problem) + SEARCH
        assert found >= upper_bound(problem) - longest * (1 - math.cos(math.pi / 180)) - SEARCH
