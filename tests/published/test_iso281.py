"""ISO 281: ratings of radial roller bearings, from reproductions of the standard and recomputed.

No text of the standard was open.  E: read in public copies; M: from memory; R: recomputed in the reference data of
the project.  The table of f_c (E, all 30 rows; M) is held against the closed form behind it (R), which the package
does not know.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from stackup.standards import iso281
from stackup.standards.iso281 import f_c, life, rating, rating_ratio

with Path(iso281.__file__).with_name("iso281_fc.csv").open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))

# γ; f_c as printed (E, read here a second time from the page and not from the file)
PRINTED = [
    (0.01, 52.1), (0.02, 60.8), (0.05, 74.1), (0.07, 79.2), (0.10, 84.2), (0.13, 87.1), (0.18, 88.8), (0.19, 88.8),
    (0.22, 88.2), (0.26, 86.4), (0.30, 83.8),
]  # fmt: skip

# i; L_we, mm; α, degrees; Z; D_we, mm; D_pw, mm; γ; f_c, linear between rows; C_r, N; C_r with the closed form (R).
# The reference data have 9 417 907 in the fourth line; 40 digits give 9 417 906.483.
WORKED = [
    (1, 80, 0, 40, 50, 800, 0.06250, 77.475, 2_735_899, 2_737_275),
    (2, 80, 0, 40, 50, 800, 0.06250, 77.475, 4_690_665, 4_693_024),
    (1, 52, 0, 44, 52, 800, 0.06500, 78.050, 2_208_712, 2_210_365),
    (4, 75, 0, 40, 60, 900, 0.06667, 78.433, 9_417_906, 9_424_777),
    (2, 110, 14, 62, 70, 1600, 0.04245, 71.533, 10_805_986, 10_817_684),
    (1, 100, 10, 48, 60, 1200, 0.04924, 73.842, 4_274_409, 4_276_059),
    (1, 20, 0, 14, 20, 100, 0.20000, 88.700, 181_229, 181_241),
]  # fmt: skip

# C/P; L10 in million revolutions (R)
LIVES = [(2, 10.08), (3, 38.94), (4, 101.6), (5, 213.7)]

# per cent more rollers; per cent more C_r, and of life at equal load (R)
MORE = [(5, 3.7, 13), (10, 7.4, 27), (15, 11.1, 42), (20, 14.7, 58)]

# rows; C_r over that of one row (R)
COMBINED = [(2, 1.7145), (3, 2.3501), (4, 2.9395)]


def closed_form(gamma: float) -> float:
    """Return 207.9·0.83·γ^(2/9)(1−γ)^(29/27)/(1+γ)^(1/4)·{1+[1.04((1−γ)/(1+γ))^(143/108)]^(9/2)}^(−2/9) (E, R)."""
    inner = 1.04 * ((1 - gamma) / (1 + gamma)) ** (143 / 108)
    front = 207.9 * 0.83 * gamma ** (2 / 9) * (1 - gamma) ** (29 / 27) / (1 + gamma) ** 0.25
    return front * (1 + inner**4.5) ** (-2 / 9)


@pytest.mark.parametrize(("gamma", "printed"), PRINTED)
def test_factor_as_printed(gamma: float, printed: float) -> None:
    """On a row the table itself."""
    assert f_c(gamma) == pytest.approx(printed, abs=1e-9)


def test_every_row_rounds_from_the_closed_form() -> None:
    """All 30 rows to the printed 0.1, and the column of the closed form to its printed 0.001 (R)."""
    assert [round(100 * float(row["gamma"])) for row in ROWS] == list(range(1, 31))
    for row in ROWS:
        exact = closed_form(float(row["gamma"]))
        assert round(exact, 1) == float(row["fc"]) == f_c(float(row["gamma"]))
        assert exact == pytest.approx(float(row["fc_closed_form"]), abs=5.1e-4)


def test_between_rows() -> None:
    """Linear (M): within 0.14 % of the closed form from 0.04 on, 1.05 % off near 0.014 (R); half-way is the mean."""
    assert f_c(0.065) == pytest.approx((76.9 + 79.2) / 2, abs=1e-9)
    grid = [0.01 + 0.29 * k / 1000 for k in range(1001)]
    off = {gamma: abs(f_c(min(gamma, 0.3)) / closed_form(gamma) - 1) for gamma in grid}
    assert round(100 * max(off.values()), 2) == 1.05
    assert round(max(off, key=lambda gamma: off[gamma]), 3) == 0.014
    assert max(value for gamma, value in off.items() if gamma >= 0.04) < 0.0014


@pytest.mark.parametrize(("i", "length", "alpha", "z", "diameter", "pitch", "gamma", "factor", "c_r", "exact"), WORKED)
def test_worked_ratings(
    i: int, length: float, alpha: float, z: int, diameter: float, pitch: float, gamma: float, factor: float,
    c_r: float, exact: float,
) -> None:  # fmt: skip
    """C_r = 1.1·f_c·(i·L_we·cos α)^(7/9)·Z^(3/4)·D_we^(29/27), to the printed newton; γ and f_c to their digits."""
    found = rating(diameter=diameter, length=length, pitch=pitch, angle=math.radians(alpha), rollers=z, rows=i)
    assert found.c_r == pytest.approx(c_r, abs=0.51)
    assert found.gamma == pytest.approx(gamma, abs=5.1e-6)
    assert found.f_c == pytest.approx(factor, abs=5.1e-4)
    assert found.c_r / found.f_c * closed_form(found.gamma) == pytest.approx(exact, abs=0.51)


@pytest.mark.parametrize(("load_ratio", "million"), LIVES)
def test_life(load_ratio: float, million: float) -> None:
    """L10 = (C/P)^(10/3), to the four printed digits."""
    assert float(f"{life(load_ratio):.4g}") == million


@pytest.mark.parametrize(("more", "rating_more", "life_more"), MORE)
def test_more_rollers(more: int, rating_more: float, life_more: float) -> None:
    """C_r goes with Z^(3/4), life at equal load with Z^2.5."""
    ratio = rating_ratio(100 + more, 100)
    assert round(100 * (ratio - 1), 1) == rating_more
    assert round(100 * (life(ratio) - 1)) == life_more
    assert life(ratio) == pytest.approx((1 + more / 100) ** 2.5, rel=1e-12)


def test_one_roller_more_on_forty() -> None:
    """L10 rises by 6.4 % (closed form: (41/40)^2.5)."""
    assert round(100 * (life(rating_ratio(41, 40)) - 1), 1) == 6.4


@pytest.mark.parametrize(("rows", "times"), COMBINED)
def test_rows(rows: int, times: float) -> None:
    """A pair of like rows mounted as one unit rates as one bearing of two rows: i^(7/9) (R)."""
    of = {"diameter": 50, "length": 80, "pitch": 800, "angle": 0.0, "rollers": 40}
    assert rating(**of, rows=rows).c_r / rating(**of).c_r == pytest.approx(times, abs=5.1e-5)  # type: ignore[arg-type]


def test_the_ratio_is_that_of_two_ratings() -> None:
    """f_c depends on γ alone, which does not change with the count."""
    of = {"diameter": 50, "length": 80, "pitch": 800, "angle": 0.1}
    two = [rating(**of, rollers=z, rows=2).c_r for z in (40, 46)]  # type: ignore[arg-type]
    assert rating_ratio(46, 40) == pytest.approx(two[1] / two[0], rel=1e-12)
