"""The room's rules for ISO 281: what is no rating is a fault, never a guess."""

from __future__ import annotations

import math
from typing import Any

import pytest

from stackup.errors import ValueFault
from stackup.standards.iso281 import f_c, rating

RIGHT: dict[str, Any] = {"diameter": 50.0, "length": 80.0, "pitch": 800.0, "angle": 0.0, "rollers": 40, "rows": 1}


@pytest.mark.parametrize("gamma", [0.0099999, 0.3000001, 0.0, -0.1, 1.0, math.nan, math.inf])
def test_outside_the_table(gamma: float) -> None:
    """It ends at 0.01 and 0.30; the message says so."""
    with pytest.raises(ValueFault, match=r"0\.01 … 0\.3, the table of f_c"):
        f_c(gamma)


@pytest.mark.parametrize("gamma", [0.01, 0.30])
def test_the_ends_belong_to_the_table(gamma: float) -> None:
    """Both rows are there."""
    assert f_c(gamma) == {0.01: 52.1, 0.30: 83.8}[gamma]


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"diameter": 0.0}, "D_we"),
        ({"length": -1.0}, "L_we"),
        ({"pitch": math.nan}, "D_pw"),
        ({"b_m": math.inf}, "b_m"),
        ({"rollers": 0}, "Z"),
        ({"rows": 0}, "i"),
        ({"angle": math.pi / 2}, "alpha"),
        ({"angle": -0.1}, "alpha"),
        ({"diameter": 300.0}, "gamma"),
        ({"angle": math.radians(85.0)}, "gamma"),
    ],
)
def test_no_rating(wrong: dict[str, Any], named: str) -> None:
    """Each value has its name in the fault."""
    with pytest.raises(ValueFault) as raised:
        rating(**{**RIGHT, **wrong})
    assert raised.value.name == named
