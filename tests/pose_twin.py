"""Slow twin of the best pose: one cage, one epigraph, a general solver started from several places.

It shares no line with the package.  The margin it returns is that of its own pose, evaluated plainly: it can be too
small, never too large.
"""

import math

import numpy as np
from scipy.optimize import linprog, minimize


def margin_of(play, radial, tangential, by_radial, by_tangential, pose):
    """Return min over j of play_j − |residual_j| at ``pose``, cone by cone."""
    rooms = []
    for c, r, t, a, b in zip(play, radial, tangential, by_radial, by_tangential, strict=True):
        turn = sum(x * y for x, y in zip(a, pose, strict=True))
        along = sum(x * y for x, y in zip(b, pose, strict=True))
        rooms.append(c - math.hypot(r - turn, t - along))
    return min(rooms)


def best_pose_twin(play, radial, tangential, by_radial, by_tangential, starts=3):
    """Return (margin, pose) by SLSQP: most s with play_j − |residual_j| ≥ s, from ``starts`` places."""
    data = play, radial, tangential, by_radial, by_tangential
    both, vectors = np.concatenate([by_radial, by_tangential]), np.concatenate([radial, tangential])
    pose = np.linalg.lstsq(both, vectors, rcond=None)[0]
    best = margin_of(*data, pose), pose
    for start in range(starts):
        # the first from least squares, then from the best so far and a little beside it
        begin = best[1] + (1e-3 * np.cos(np.arange(len(pose)) + start) if start > 1 else 0.0)
        found = slsqp(*data, begin)
        best = max(best, (margin_of(*data, found), found), key=lambda pair: pair[0])
    return best


def slsqp(play, radial, tangential, by_radial, by_tangential, begin, ftol=1e-13, gradients=True):
    """Return the pose of one run of SLSQP in the unknowns (pose, s), with gradients or by its own differences."""

    def parts(x):
        r, t = radial - by_radial @ x[:-1], tangential - by_tangential @ x[:-1]
        return r, t, np.sqrt(r * r + t * t)

    def room(x):
        return play - parts(x)[2] - x[-1]

    def slope(x):
        r, t, length = parts(x)
        length = np.maximum(length, 1e-300)
        return np.column_stack([((r / length)[:, None] * by_radial + (t / length)[:, None] * by_tangential),
                                -np.ones(len(play))])  # fmt: skip

    last = np.zeros(len(begin) + 1)
    last[-1] = -1.0
    first = np.append(begin, margin_of(play, radial, tangential, by_radial, by_tangential, begin))
    above = {"type": "ineq", "fun": room} | ({"jac": slope} if gradients else {})
    found = minimize(lambda x: -x[-1], first, jac=(lambda _: last) if gradients else None, method="SLSQP",
                     constraints=above, options={"maxiter": 200, "ftol": ftol})  # fmt: skip
    return found.x[:-1]


def polygon_margin(play, radial, tangential, by_radial, by_tangential, directions=720):
    """Return (margin, pose) with |x| replaced by the largest of its parts along evenly spread directions.

    A linear programme.  A part is never longer than x, so the margin is never too small; with 2 directions it is
    that of absolute radial values.
    """
    angles = 2 * np.pi * np.arange(directions) / directions
    rows, limits = [], []
    for c, s in zip(np.cos(angles), np.sin(angles), strict=True):
        # c·r + s·t − (c·a + s·b)·pose + margin ≤ play
        rows.append(np.column_stack([-(c * by_radial + s * by_tangential), np.ones(len(play))]))
        limits.append(play - c * radial - s * tangential)
    aim = np.zeros(by_radial.shape[1] + 1)
    aim[-1] = -1.0
    found = linprog(aim, np.concatenate(rows), np.concatenate(limits), bounds=(None, None), method="highs")
    return found.x[-1], found.x[:-1]


def proof(problem, pose, weights):
    """Return lower and upper margins of every cage, from pose and weights alone."""
    play, radial, tangential, by_radial, by_tangential = problem
    left = np.stack([radial - by_radial @ pose, tangential - by_tangential @ pose])
    length = np.sqrt((left**2).sum(axis=0))
    lower = (play - length).min(axis=0)
    unit = left / np.where(length > 0, length, 1.0)
    torque = by_radial.T @ (weights * unit[0]) + by_tangential.T @ (weights * unit[1])
    # a better pose p′ has |residual| ≤ play − lower at each cone, and M·(p − p′) is the difference of two residuals;
    # the least singular value of all M bounds |p − p′| by that
    least = np.linalg.svd(np.concatenate([by_radial, by_tangential]), compute_uv=False)[-1]
    reach = 2 * np.sqrt(((play - lower) ** 2).sum(axis=0)) / least
    return lower, (weights * (play - length)).sum(axis=0) + np.sqrt((torque**2).sum(axis=0)) * reach


def ring_fit(rng, cages, pins=48, beta=0.0):
    """Return a drawn ring over pins: play 0.1 mm, scatter 0.01 mm; vectors of 0.05 mm; shift and turn of the ring.

    ``beta`` [rad] is the half angle of the cone on which slanted pins stand.
    """
    angles = 2 * np.pi * np.arange(pins) / pins
    zero, one = np.zeros(pins), np.ones(pins)
    by_radial = np.column_stack([np.cos(angles), np.sin(angles), zero]) * math.cos(beta)
    by_tangential = np.column_stack([-np.sin(angles), np.cos(angles), one])
    play = 0.1 + 0.01 * rng.standard_normal((pins, cages))
    radial, tangential = 0.05 * rng.standard_normal((2, pins, cages))
    return play, radial, tangential, by_radial, by_tangential


def centring(rng, cages, pockets=48, unknowns=3):
    """Return a drawn centring: two stations and both sides of a pocket, √((±(m + s) + h)² + w²) against 0.25 mm."""
    angles = 2 * np.pi * np.arange(pockets) / pockets
    play, radial, tangential, by_radial = [], [], [], []
    for station in (-0.22, 0.22):
        m, w = 0.05 * rng.standard_normal((pockets, cages)), 0.01 * rng.standard_normal((pockets, cages))
        h = np.broadcast_to(rng.uniform(0.0, 0.1, cages), m.shape)
        columns = [np.cos(angles), np.sin(angles), np.full(pockets, station)][:unknowns]
        for side in (1.0, -1.0):
            radial.append(side * m + h)
            tangential.append(w)
            by_radial.append(-side * np.column_stack(columns))
            play.append(0.25 + 0.01 * rng.standard_normal(m.shape))
    by = np.concatenate(by_radial)
    return np.concatenate(play), np.concatenate(radial), np.concatenate(tangential), by, np.zeros_like(by)


def cage(problem, index):
    """Return one cage of a drawn problem."""
    play, radial, tangential, by_radial, by_tangential = problem
    return play[:, index], radial[:, index], tangential[:, index], by_radial, by_tangential
