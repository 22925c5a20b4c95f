"""How a dimension keeps its nominal as entered, and travels to another process."""

from __future__ import annotations

from typing import Any

from stackup.dimension.check import finite
from stackup.dimension.region import Column


class NominalTuple(tuple[Column, ...]):
    """The nominal in the unit of formulas, remembering what was entered (so that ``replace`` works)."""

    entered: float


class NominalField:
    """The field ``nominal`` of a size: takes the number entered, gives a tuple in the unit of formulas."""

    def __get__(self, size: Any, owner: type) -> tuple[Column, ...]:
        """Return (nominal·factor,)."""
        if size is None:
            raise AttributeError("nominal")
        values = NominalTuple((size.__dict__["_entered"] * size.factor,))
        values.entered = size.__dict__["_entered"]
        return values

    def __set__(self, size: Any, value: float | tuple[Column, ...]) -> None:
        """Keep the number as entered."""
        entered = value.entered if isinstance(value, NominalTuple) else value
        size.__dict__["_entered"] = finite("nominal", entered)


class Lean:
    """Travels to another process without its law and tables, which are built again where they are used."""

    def __getstate__(self) -> dict[str, Any]:
        """Return the fields only."""
        return {key: value for key, value in self.__dict__.items() if key not in ("law", "region")}
