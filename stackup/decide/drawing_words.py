"""What a drawing says, in words: a tolerance, a process, a whole dimension."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

NOTHING = "nothing"
#: what holds where no process is stated
NO_PROCESS = "centred, cp = 1"


def in_words(value: Any, key: str = "") -> str:
    """Return what ``key`` of a drawing says: ``±0.02``, ``-0.027 … 0``, ``cp 1.33, inspected``, ``15.4``."""
    if value is None:
        return NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"±{value:.10g}" if key == "tolerance" else f"{value:.10g}"
    if isinstance(value, list | tuple):
        return _list(value, key)
    return _table(value, key) if isinstance(value, Mapping) else str(value)


def _list(values: Sequence[Any], key: str) -> str:
    if key == "tolerance" and len(values) == 2:
        return f"{in_words(values[0])} … {in_words(values[1])}"
    return f"[{', '.join(map(in_words, values))}]" if len(values) <= 3 else f"{len(values)} values"


def _table(table: Mapping[str, Any], key: str) -> str:
    if not table:
        return NO_PROCESS if key == "process" else NOTHING
    if table.keys() == {"ppm", "of"}:
        return f"{in_words(table['ppm'])} ppm of {table['of']}"
    return ", ".join(_pair(name, value) for name, value in table.items())


def _pair(name: str, value: Any) -> str:
    """Return a key and what it says; the shortest words that leave no doubt."""
    if value is None:
        return f"no {name}"
    if name == "inspected":
        return "inspected" if value else "not inspected"
    if name in ("shape", "nominal"):
        return in_words(value)
    said = in_words(value, name.rpartition(" ")[2])
    return said if name == "tolerance" else f"{name.removesuffix('_from')} {said}"


def line_of(entry: Any) -> str:
    """Return the line of the drawing: ``15.4 -0.027 … 0``, ``zone 0.1``."""
    if not isinstance(entry, Mapping):
        return in_words(entry)
    kept = [key for key in ("nominal", "tolerance", "zone", "limit", "values") if key in entry]
    return " ".join(_pair(key, entry[key]) for key in kept) or NOTHING
