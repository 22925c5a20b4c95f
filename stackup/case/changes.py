"""Changes of a case by key path: ``{"dimensions.pin_diameter.tolerance": [-0.01, 0.0]}``."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, MutableMapping
from typing import Any

from stackup.case.scanner import Path
from stackup.errors import ValueFault

#: New values by key path; None takes the key away.
Changes = Mapping[str, Any]

_PART = re.compile(r"([A-Za-z0-9_-]+)((?:\[[0-9]+\])*)")


def path_of(key: str) -> Path:
    """Return the path that ``dimensions.pin_diameter.tolerance[1]`` writes.  Raises ValueFault."""
    path: list[str | int] = []
    for part in key.split("."):
        found = _PART.fullmatch(part)
        if not found:
            raise ValueFault(key, f'"{part}"', "names with dots between them, [0] for the first of a list")
        path += [found[1], *map(int, re.findall("[0-9]+", found[2]))]
    return tuple(path)


def _plain_table(_: Any) -> dict[str, Any]:
    return {}


def apply(
    tables: MutableMapping[str, Any], changes: Changes, new_table: Callable[[Any], Any] = _plain_table
) -> None:
    """Make ``changes`` in nested ``tables``; ``new_table(place)`` makes tables that are missing in ``place``.

    Raises ValueFault where a path goes through something that is no table and no list.
    """
    for key, value in changes.items():
        path = path_of(key)
        place: Any = tables
        for part in path[:-1]:
            place = _below(place, part, key, new_table)
        _put(place, path[-1], value, key)


def _below(place: Any, part: str | int, key: str, new_table: Any) -> Any:
    if isinstance(part, str) and isinstance(place, MutableMapping):
        if part not in place:
            place[part] = new_table(place)
        return place[part]
    if isinstance(part, int) and isinstance(place, list) and part < len(place):
        return place[part]
    raise ValueFault(key, f"no {part}", "a path through tables and lists of the case")


def _put(place: Any, part: str | int, value: Any, key: str) -> None:
    fits = isinstance(place, MutableMapping) if isinstance(part, str) else isinstance(place, list)
    is_there = fits and (part in place if isinstance(part, str) else part < len(place))
    if not fits or (isinstance(part, int) and not is_there):
        raise ValueFault(key, f"no {part}", "a path through tables and lists of the case")
    if value is not None:
        place[part] = value
    elif is_there:
        del place[part]
