"""The states of a bearing: as made, hot, worn, hot and worn, each a set of parameters for the same chains."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from stackup.chain.symbols import SCALE

#: the state of a bearing without operating conditions
MADE = "made"
#: a parameter ``slot.wear``: what wear takes off a size or adds to it, mm
WEAR = "wear"
#: the parameter of rotation: growth of a pitch circle over its cube, 1/mm²
GROWTH = "rotation.growth"


@dataclass(frozen=True)
class Operating:
    """What a case says of operation: ``scales`` by part, ``wear`` by slot, mm (> 0), ``growth`` in 1/mm² or None."""

    scales: Mapping[str, float] = field(default_factory=dict)
    wear: Mapping[str, float] = field(default_factory=dict)
    growth: float | None = None

    def __bool__(self) -> bool:
        """Tell whether there is any state but as made."""
        return bool(self.scales or self.wear or self.growth is not None)

    def states(self) -> dict[str, dict[str, float]]:
        """Return the parameters of each state by its name, the bearing as made first."""
        hot = {f"{part}.{SCALE}": value for part, value in self.scales.items()}
        hot |= {} if self.growth is None else {GROWTH: self.growth}
        worn = {f"{slot}.{WEAR}": value for slot, value in self.wear.items()}
        cold = {name: 0.0 if name == GROWTH else 1.0 for name in hot}
        new = dict.fromkeys(worn, 0.0)
        found = {MADE: cold | new}
        if hot:
            found["hot"] = hot | new
        if worn:
            found["worn"] = cold | worn
        if hot and worn:
            found["hot_worn"] = hot | worn
        return found
