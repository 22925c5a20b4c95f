"""Slow twin of the gaps of a whole cage, cylindrical and tapered: ring_entry and cage_float, one cage at a time.

Both ask for the pose that leaves the most in the worst pocket: the greatest over a pose x of the least over k of
room_k − |offset_k − moves_k x|, with vectors in the plane and moves linear in a pose of three numbers at most.  It is
found by sequential quadratic programming in epigraph form (the pose and the least together, every length below its
room) from several starts; `upper_bound` is a linear programme whose value the greatest cannot pass.  The pocket
quantities come from the slow twins; no line is shared with the package.  Lengths in mm, angles in rad.
"""

import math
from dataclasses import dataclass

import numpy as np
import tapered_twin
import twins
from scipy.optimize import linprog, minimize

Array = np.ndarray


@dataclass(frozen=True)
class Problem:
    """room (K,), offset (K, 2), moves (K, 2, n)."""

    room: Array
    offset: Array
    moves: Array

    def left(self, pose: Array) -> Array:
        """What is left in every place with a pose (n,)."""
        return self.room - np.linalg.norm(self.offset - self.moves @ pose, axis=1)


def greatest(problem: Problem, starts: int = 4) -> tuple[float, Array]:
    """The greatest over the pose of the least left, and the pose."""
    n, rng = problem.moves.shape[2], np.random.default_rng(1)
    fitted = np.linalg.lstsq(problem.moves.reshape(-1, n), problem.offset.reshape(-1), rcond=None)[0]
    scale = np.linalg.norm(problem.offset, axis=1).max() + 1e-9
    best = max(((float(problem.left(pose).min()), pose) for pose in (fitted, 0 * fitted)), key=lambda one: one[0])
    for k in range(starts):
        start = best[1] + (0 if k == 0 else 0.3) * scale * rng.standard_normal(n)
        for _ in range(3):  # begins again where it stopped: the lengths have kinks
            pose = _climbed(problem, start, scale)
            best = max(best, (float(problem.left(pose).min()), pose), key=lambda one: one[0])
            start = best[1]
    return best


def _climbed(problem: Problem, start: Array, scale: float) -> Array:
    """One run in epigraph form, lengths in units of `scale`: (room − t)² ≥ |offset − moves x|², room ≥ t."""
    room, offset = problem.room / scale, problem.offset / scale

    def rest(x: Array) -> Array:
        return offset - problem.moves @ x[:-1]

    def inside(x: Array) -> Array:
        return np.concatenate([(room - x[-1]) ** 2 - (rest(x) ** 2).sum(axis=1), room - x[-1]])

    def slope(x: Array) -> Array:
        along = 2 * np.einsum("kj,kjn->kn", rest(x), problem.moves)
        first = np.hstack([along, -2 * (room - x[-1])[:, None]])
        return np.vstack([first, np.hstack([0 * along, -np.ones((len(room), 1))])])

    up = np.zeros(len(start) + 1)
    up[-1] = -1.0
    found = minimize(
        lambda x: -x[-1],
        [*(start / scale), float((problem.left(start) / scale).min())],
        jac=lambda _: up,
        constraints={"type": "ineq", "fun": inside, "jac": slope},
        method="SLSQP",
        options={"maxiter": 300, "ftol": 1e-14},
    )
    return np.asarray(found.x[:-1]) * scale


def upper_bound(problem: Problem, directions: int = 180) -> float:
    """A bound that no pose passes: a length is at least its part along each of some directions.

    It is above the greatest by at most the longest length at its own pose times 1 − cos(π/directions).
    """
    count, n = len(problem.room), problem.moves.shape[2]
    turns = 2 * math.pi * np.arange(directions) / directions
    out = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    limits = (problem.room[:, None] - problem.offset @ out.T).reshape(-1)
    along = -np.einsum("dj,kjn->kdn", out, problem.moves).reshape(-1, n)
    rows = np.hstack([along, np.ones((count * directions, 1))])  # t − out·(moves x) ≤ room − out·offset
    found = linprog([*np.zeros(n), -1.0], A_ub=rows, b_ub=limits, bounds=(None, None), method="highs")
    return -float(found.fun)


def entry_moves(angles: Array, tilt: float) -> Array:
    """How ring_offset (x, y) and ring_phase move a hole of ring B, square to it: (ε_r cosβ, ε_t + φ), (Z, 2, 3)."""
    cos, sin = np.cos(angles), np.sin(angles)
    outward = np.stack([cos * math.cos(tilt), sin * math.cos(tilt), 0 * cos], axis=1)
    return np.stack([outward, np.stack([-sin, cos, np.ones_like(cos)], axis=1)], axis=1)


def float_moves(angles: Array, tilt: float) -> Array:
    """How a shift (x, y, z) of the cage takes from a misfit; only misfits move, (Z, 2, 3)."""
    cos, sin = np.cos(angles), np.sin(angles)
    outward = np.stack([-cos * math.cos(tilt), -sin * math.cos(tilt), math.sin(tilt) + 0 * cos], axis=1)
    return np.stack([outward, 0 * outward], axis=1)


def turns_of(pockets: list) -> Array:
    """θ_i."""
    return 2 * math.pi * np.arange(len(pockets)) / len(pockets)


def unposed(cage: dict) -> dict:
    """The cage without the pose of ring B as drawn."""
    return {name: value for name, value in cage.items() if name not in {"ring_offset", "ring_phase"}}


def pairs(vectors: list[complex]) -> Array:
    """Complex numbers as (K, 2)."""
    return np.array([[v.real, v.imag] for v in vectors])


# -- Cylindrical -------------------------------------------------------------------------------------------


def cylindrical_entry(cage: dict, pockets: list[dict]) -> Problem:
    """Section 3, gap 10, ring_entry."""
    a, b = twins.pitch_diameters(cage)
    step = (a - b) / 2
    lengths = [twins.free_pin_end(p) - twins.vector(p, "hole_position_b") + step for p in pockets]
    room = np.array([(p["ring_hole_b"] - p["pin_diameter"]) / 2 for p in pockets])
    return Problem(room, pairs(lengths), entry_moves(turns_of(pockets), 0.0))


def cylindrical_float(cage: dict, pockets: list[dict]) -> Problem:
    """Section 3, gap 10, cage_float: in each pocket three stations and both seats."""
    room, lengths, where = [], [], []
    for pocket, angle in zip(pockets, turns_of(pockets), strict=True):
        stations = twins.pin_stations(cage, pocket, angle)
        settled = (stations[0].imag + stations[2].imag) / 2
        inner = twins.inner_seat(cage, pocket)
        for seat in (inner, inner + twins.seat_range(cage)):
            lengths += [p - complex(seat, settled) for p in stations]
            room += [twins.play_kept(pocket)] * 3
            where += [angle] * 3
    return Problem(np.array(room), pairs(lengths), float_moves(np.array(where), 0.0)[:, :, :2])


# -- Tapered -----------------------------------------------------------------------------------------------


def tapered_entry(plan: tapered_twin.Layout, cage: dict, pockets: list[dict]) -> Problem:
    """Section 4, gap 8, ring_entry: on v."""
    angles, still = turns_of(pockets), unposed(cage)
    lengths = [tapered_twin.entry_vector(plan, still, p, a) for p, a in zip(pockets, angles, strict=True)]
    room = np.array([(p["ring_hole_b"] - p["pin_diameter"]) / 2 for p in pockets])
    return Problem(room, pairs(lengths), entry_moves(angles, plan.tilt))


def tapered_float(plan: tapered_twin.Layout, cage: dict, pockets: list[dict]) -> Problem:
    """Section 4, gap 8, cage_float."""
    room, lengths, where = [], [], []
    for pocket, angle in zip(pockets, turns_of(pockets), strict=True):
        pin = tapered_twin.pin_of(plan, cage, pocket, angle)
        roller = tapered_twin.roller_of(plan, cage, pocket, angle)
        beside = tapered_twin.aside(pin, roller)
        for share in (0.0, twins.seat_range(cage)):
            for part, seat, away in zip(roller.parts, roller.seats, beside, strict=True):
                misfit = (pin.at(part).real - seat - share) * math.cos(plan.tilt)
                lengths.append(complex(misfit, away))
                room.append(twins.play_kept(pocket))
                where.append(angle)
    return Problem(np.array(room), pairs(lengths), float_moves(np.array(where), plan.tilt))
