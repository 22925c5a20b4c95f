"""How tests compare records: number by number, through dataclasses, tables and tuples."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np


def assert_near(one: Any, other: Any, rel: float = 1e-9, absolute: float = 1e-12, where: str = "") -> None:
    """Fail, naming the place, where two records differ by more than rounding."""
    if is_dataclass(one):
        assert type(one) is type(other), where
        for field in fields(one):
            name = field.name
            assert_near(getattr(one, name), getattr(other, name), rel, absolute, f"{where}.{name}")
    elif isinstance(one, dict):
        assert one.keys() == other.keys(), where
        for key in one:
            assert_near(one[key], other[key], rel, absolute, f"{where}[{key}]")
    elif isinstance(one, tuple | list):
        assert len(one) == len(other), where
        for index, (a, b) in enumerate(zip(one, other, strict=True)):
            assert_near(a, b, rel, absolute, f"{where}[{index}]")
    elif isinstance(one, float | np.floating):
        same = math.isclose(one, other, rel_tol=rel, abs_tol=absolute) or (math.isnan(one) and math.isnan(other))
        assert same, f"{where}: {one!r} and {other!r}"
    else:
        assert one == other, f"{where}: {one!r} and {other!r}"


def assert_same_extremes(one: Any, other: Any, factor: float, tolerance: float, where: str = "") -> None:
    """Fail where two worst cases, the other ``factor`` times as large, cannot be the same extremes.

    Found and bound of one must not exclude those of the other; certified ends agree within ``tolerance``.
    """
    room = 1e-9 * max(1.0, abs(factor * one.bound_high), abs(factor * one.bound_low))
    assert other.bound_low <= factor * one.low + room, where
    assert factor * one.bound_low <= other.low + room, where
    assert other.bound_high >= factor * one.high - room, where
    assert factor * one.bound_high >= other.high - room, where
    if one.certified_low and other.certified_low:
        assert abs(other.low - factor * one.low) <= tolerance * (1 + factor) + room, where
    if one.certified_high and other.certified_high:
        assert abs(other.high - factor * one.high) <= tolerance * (1 + factor) + room, where
