"""Standard normal numbers in pairs: faster than one by one, exact in law.

A pair is √(2E)·(cos φ, sin φ) with E exponential and φ uniform on a turn (G. E. P. Box, M. E. Muller, Ann.
Math. Statist. 29 (1958) 610–611).  With t = tan(φ/2), cos φ = (1 − t²)/(1 + t²) and sin φ = 2t/(1 + t²): the
tangent is the one circular function that numpy computes many at a time.
"""

from __future__ import annotations

import numpy as np

from stackup.dimension.region import Array
from stackup.dimension.tables import Scratch


def normals(rng: np.random.Generator, out: Array, scratch: Scratch) -> None:
    """Fill ``out`` (C-contiguous) with independent standard normal numbers, using both scratch arrays."""
    flat, first, second = out.reshape(-1), scratch[0].reshape(-1), scratch[1].reshape(-1)
    half = flat.size // 2
    if half:
        _pairs(rng, flat[:half], flat[half : 2 * half], first[:half], first[half : 2 * half], second[:half])
    if flat.size % 2:
        flat[-1] = rng.standard_normal()


def _pairs(rng: np.random.Generator, x: Array, y: Array, radius: Array, t: Array, square: Array) -> None:
    rng.standard_exponential(out=radius)
    np.multiply(radius, 2.0, out=radius)
    np.sqrt(radius, out=radius)
    rng.random(out=t)
    np.subtract(t, 0.5, out=t)
    np.multiply(t, np.pi, out=t)
    np.tan(t, out=t)
    np.multiply(t, t, out=square)
    np.add(square, 1.0, out=y)
    np.divide(radius, y, out=radius)
    np.subtract(1.0, square, out=x)
    np.multiply(x, radius, out=x)
    np.multiply(t, radius, out=y)
    np.multiply(y, 2.0, out=y)
