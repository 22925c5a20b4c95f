"""ISO 281: basic dynamic radial load rating of radial roller bearings, and what it means for life.

C_r = b_m · f_c · (i · L_we · cos α)^(7/9) · Z^(3/4) · D_we^(29/27),  γ = D_we · cos α / D_pw,
L_10 = (C_r / P_r)^(10/3) million revolutions.

D_we and L_we are diameter and effective length of the roller [mm], Z the rollers of one row, i the rows, α the
nominal contact angle, D_pw the circle through the roller centres [mm], C_r in N.

The standard assumes **solid rollers** and contact stress that is nearly uniform along the most loaded contact: it
has no term for a bore, and its f_c are upper limits.

Sources.  No text of the standard was open, only reproductions.  E: public copies; M: memory; R: recomputed.  The
exponents E and M; b_m M; exponent 10/3 of life M; f_c all 30 rows E, 20 of them in a second copy, all from memory
too, and R: a closed form gives every row to its printed digit (``tests/published/test_iso281.py``).  The table is
the authority.  Between its rows f_c is interpolated linearly (M): below 0.14 % from the closed form for γ ≥ 0.04,
up to 1.05 % near γ = 0.014.
"""

from __future__ import annotations

import csv
import math
from bisect import bisect_left
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from stackup.errors import ValueFault

#: b_m of cylindrical and tapered roller bearings, and of needle roller bearings with machined rings (M)
B_M = 1.1
#: exponents of the formula (E, M)
LENGTH_EXPONENT, COUNT_EXPONENT, DIAMETER_EXPONENT = 7 / 9, 3 / 4, 29 / 27
#: exponent of life of roller bearings (M)
LIFE_EXPONENT = 10 / 3


@dataclass(frozen=True)
class Rating:
    """A basic dynamic radial load rating ``c_r`` [N], and ``gamma``, ``f_c`` and ``b_m`` behind it."""

    gamma: float
    f_c: float
    b_m: float
    c_r: float


def rating(
    *, diameter: float, length: float, pitch: float, angle: float, rollers: int, rows: int = 1, b_m: float = B_M
) -> Rating:
    """Return the rating of ``rows`` rows of ``rollers`` solid rollers each (ISO 281).

    ``diameter`` D_we, ``length`` L_we and ``pitch`` D_pw in mm, all > 0; ``angle`` α in rad, 0 ≤ α < π/2; a tapered
    roller counts with its mean diameter and the angle of the outer raceway.

    Raises:
        ValueFault: a value outside these, or γ outside the table of f_c.
    """
    for name, value in (("D_we", diameter), ("L_we", length), ("D_pw", pitch), ("b_m", b_m)):
        if not (math.isfinite(value) and value > 0):
            raise ValueFault(name, f"{value:g}", "a number above 0")
    for name, count in (("Z", rollers), ("i", rows)):
        if count < 1:
            raise ValueFault(name, f"{count}", "1 or more")
    if not 0 <= angle < math.pi / 2:
        raise ValueFault("alpha", f"{math.degrees(angle):g}°", "0° up to less than 90°")
    gamma = diameter * math.cos(angle) / pitch
    factor = f_c(gamma)
    lines = (rows * length * math.cos(angle)) ** LENGTH_EXPONENT
    c_r = b_m * factor * lines * rollers**COUNT_EXPONENT * diameter**DIAMETER_EXPONENT
    return Rating(gamma, factor, b_m, c_r)


def f_c(gamma: float) -> float:
    """Return f_c at γ, linear between the rows of the table (ISO 281, table for radial roller bearings).

    Raises:
        ValueFault: γ outside 0.01 … 0.30, where the table ends.
    """
    known, values = _table()
    if not known[0] <= gamma <= known[-1]:
        raise ValueFault("gamma", f"{gamma:.4g}", f"{known[0]:g} … {known[-1]:g}, the table of f_c in ISO 281")
    after = max(bisect_left(known, gamma), 1)
    share = (gamma - known[after - 1]) / (known[after] - known[after - 1])
    return values[after - 1] + share * (values[after] - values[after - 1])


def rating_ratio(rollers: int, of: int) -> float:
    """Return C_r with ``rollers`` in a row over C_r with ``of``: all else alike, f_c falls out (Z^(3/4))."""
    return float((rollers / of) ** COUNT_EXPONENT)


def life(load_ratio: float) -> float:
    """Return L_10 in million revolutions for C_r/P_r = ``load_ratio`` > 0 (rollers, 90 % reliability).

    Also by what life is multiplied at equal load where C_r is multiplied by ``load_ratio``.
    """
    return float(load_ratio**LIFE_EXPONENT)


@cache
def _table() -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return γ and f_c of the table that stands beside this file (its third column is the closed form)."""
    with Path(__file__).with_name("iso281_fc.csv").open(encoding="utf-8", newline="") as file:
        rows = [(float(row["gamma"]), float(row["fc"])) for row in csv.DictReader(file)]
    return tuple(gamma for gamma, _ in rows), tuple(value for _, value in rows)
