"""Small judges of single values: each returns the value, or raises ValueFault in clear words."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from stackup.errors import ValueFault, nearest

SCOPES = ("pocket", "cage")


def finite(key: str, value: Any) -> float:
    """Return ``value`` as a float.

    Raises ValueFault unless it is a finite real number (True and False are none).
    """
    if isinstance(value, bool) or not hasattr(value, "__float__") or not math.isfinite(float(value)):
        raise ValueFault(key, _shown(value), "a finite number")
    return float(value)


def within(key: str, value: Any, low: float, high: float) -> float:
    """Return ``value`` as a float; raises ValueFault unless low ≤ value ≤ high."""
    number = finite(key, value)
    if not low <= number <= high:
        raise ValueFault(key, f"{number:g}", f"a number from {low:g} to {high:g}")
    return number


def positive(key: str, value: Any) -> float:
    """Return ``value`` as a float; raises ValueFault unless it is above 0."""
    number = finite(key, value)
    if number <= 0:
        raise ValueFault(key, f"{number:g}", "a number above 0")
    return number


def not_negative(key: str, value: Any) -> float:
    """Return ``value`` as a float; raises ValueFault where it is below 0."""
    number = finite(key, value)
    if number < 0:
        raise ValueFault(key, f"{number:g}", "0 or a number above 0")
    return number


def pair(key: str, value: Any) -> tuple[float, float]:
    """Return two finite numbers; raises ValueFault for anything else."""
    if not isinstance(value, Iterable) or isinstance(value, str):
        raise ValueFault(key, _shown(value), "two numbers")
    numbers = tuple(finite(f"{key}[{i}]", item) for i, item in enumerate(value))
    if len(numbers) != 2:
        raise ValueFault(key, f"{len(numbers)} numbers", "two numbers")
    return numbers[0], numbers[1]


def whole(key: str, value: Any, least: int) -> int:
    """Return ``value`` as an int; raises ValueFault unless it is a whole number of at least ``least``."""
    number = finite(key, value)
    if number != int(number) or number < least:
        raise ValueFault(key, f"{number:g}", f"a whole number, at least {least}")
    return int(number)


def one_of(key: str, value: Any, allowed: Iterable[str]) -> str:
    """Return ``value``; raises ValueFault, with the nearest word, unless it is one of ``allowed``."""
    words = tuple(allowed)
    if value not in words:
        near = nearest(str(value), words)
        hint = f" (did you mean {near}?)" if near else ""
        raise ValueFault(key, _shown(value), ", ".join(words) + hint)
    return str(value)


def _shown(value: Any) -> str:
    return value if isinstance(value, str) else repr(value)
