"""The way from one value of a drawing to another, in steps that a drawing can hold: what a counter-proposal is of.

Lengths go in steps of 1 µm, of 0.1 µm where the whole way is shorter than 2 µm; other units in hundredths to
thousandths of the way.  Every step is rounded towards the beginning, which is the safe side: the drawing's own value.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

#: steps of lengths in mm, and the way from which on the coarser is used
COARSE, FINE, SHORT = 1e-3, 1e-4, 2e-3
#: steps of capabilities, shares and parameters of shapes
OF_RATIOS = 0.01
#: the unit of what is counted
COUNT = "count"
#: the way is looked at in so many points for each step, so that none is missed
FINER = 4
#: no way has more steps
MOST = 2000
#: what a process that does not say a number has
DEFAULTS: Mapping[str, Any] = {"cp": 1.0, "shift": 0.0, "offset": [0.0, 0.0], "mode": 0.0, "inspected": False}
#: numbers of a process that are lengths
LENGTHS = frozenset({"shift", "offset", "drift", "uncertainty"})


def between(before: Any, after: Any, unit: str = "mm") -> list[Any]:
    """Return the values between ``before`` and ``after``, without these; none where there is no way between.

    Numbers, lists of as many numbers, and tables whose texts agree.  Rounded towards ``before``.
    """
    count = _steps(before, after, unit)
    found: list[Any] = []
    for step in range(1, count):
        value = _at(before, after, step / count, unit)
        if value not in (before, after, *found[-1:]):
            found.append(value)
    return found


def of_processes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the processes between two; none where they differ in more than numbers."""
    keys = before.keys() | after.keys()
    old, new = ({**{k: v for k, v in DEFAULTS.items() if k in keys}, **each} for each in (before, after))
    return between(old, new)


def _steps(before: Any, after: Any, unit: str) -> int:
    """Return in how many parts the way is looked at, 0 where there is no way."""
    if isinstance(before, Mapping) and isinstance(after, Mapping) and before.keys() == after.keys():
        return _most((before[key], after[key], "mm" if key in LENGTHS else "") for key in before)
    if isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        return _most((one, other, unit) for one, other in zip(before, after, strict=True))
    if not (_is_number(before) and _is_number(after)) or before == after:
        return 0
    way = abs(float(after) - float(before))
    return FINER * max(math.ceil(way / step_of(way, unit)), 1)


def _most(ways: Iterable[tuple[Any, Any, str]]) -> int:
    """Return the parts of the longest of some ways, 0 where one of them has none."""
    counts = [_steps(before, after, unit) for before, after, unit in ways if before != after]
    return 0 if 0 in counts else max(counts, default=0)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def step_of(way: float, unit: str) -> float:
    """Return the step of a way > 0 in ``unit`` ("" for a ratio)."""
    if unit == COUNT:
        return 1.0
    decade = math.floor(math.log10(way))
    if unit == "mm":
        least = COARSE if way >= SHORT else FINE if way >= 2 * FINE else 10.0 ** (decade - 1)
    else:
        least = OF_RATIOS if unit == "" and way >= 2 * OF_RATIOS else 10.0 ** (decade - 2)
    return max(least, 10.0 ** math.ceil(math.log10(way / MOST)))


def _at(before: Any, after: Any, share: float, unit: str) -> Any:
    if isinstance(before, Mapping):
        return {key: _at(before[key], after[key], share, "mm" if key in LENGTHS else "") for key in before}
    if isinstance(before, list):
        return [_at(a, b, share, unit) for a, b in zip(before, after, strict=True)]
    return before if before == after else _rounded(float(before), float(after), share, unit)


def _rounded(before: float, after: float, share: float, unit: str) -> float | int:
    """Return the number at ``share`` of the way, on a step, towards ``before`` and never beyond it."""
    way = after - before
    step = step_of(abs(way), unit)
    exact = (before + share * way) / step
    steps = math.floor(exact + 1e-6) if way > 0 else math.ceil(exact - 1e-6)
    places = max(-math.floor(math.log10(step)), 0)
    value = round(steps * step, places)
    value = max(value, before) if way > 0 else min(value, before)
    return int(value) if unit == COUNT else value
