"""How parts come out of a process, as a user states it: shape, capability, centre, pattern round the ring.

Everything here is data that was checked by itself; what a shape needs, and what a size, a zone or a
one-sided value may carry, is judged where both are known (``kinds``).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from stackup.dimension.check import finite, not_negative, one_of, pair, positive, whole, within
from stackup.dimension.region import Array, Column
from stackup.errors import ValueFault

HOW = ("smoothed", "resampled")
TOWARD = ("upper", "lower")


class Unstated(float):
    """A number nobody wrote: behaves as its default and remembers that it is one."""


@dataclass(frozen=True)
class Harmonic:
    """One term of a pattern round the ring: amplitude·cos(order·θ − phase).

    Zones take ``r`` (cos) and ``t`` (sin), sizes ``amplitude`` (cos), all in the dimension's unit;
    ``phase_deg`` in degrees, ``order`` a whole number ≥ 0.  Raises ValueFault otherwise.
    """

    order: int
    r: float = 0.0
    t: float = 0.0
    amplitude: float = 0.0
    phase_deg: float = 0.0

    def __post_init__(self) -> None:
        """Judge every number."""
        whole("pattern.order", self.order, 0)
        for key in ("r", "t", "amplitude"):
            finite(f"pattern.{key}", getattr(self, key))
        finite("pattern.phase", self.phase_deg)

    def parts(self, pockets: int) -> tuple[Array, Array, Array]:
        """Return the columns (Z,) of this term along r, along t, and of a size."""
        angle = self.order * 2 * np.pi * np.arange(pockets) / pockets - np.radians(self.phase_deg)
        return self.r * np.cos(angle), self.t * np.sin(angle), self.amplitude * np.cos(angle)


@dataclass(frozen=True, eq=False)
class Measured:
    """A measured column: ``values`` (n,), or (n, 2) for the two parts of a zone, in the dimension's unit.

    ``how`` is "smoothed" or "resampled"; ``diameter`` says that one column holds position diameters,
    of uniform direction; ``subgroup`` labels each row; ``uncertainty`` (standard, of the measurement)
    is kept for capability and moves no number here; ``source`` is where the column came from, ``lines`` where in
    it each row stands (empty: the rows are counted from 1).
    Raises ValueFault for fewer than two rows, for numbers that are not finite, and for a negative
    position diameter.
    """

    values: Array
    how: str = "smoothed"
    diameter: bool = False
    subgroup: Any = None
    uncertainty: float | None = None
    source: str = ""
    lines: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        """Keep the values as an array of its own and judge them."""
        one_of("how", self.how, HOW)
        values = np.array(self.values, dtype=float)
        object.__setattr__(self, "values", values)
        self._judge_values(values)
        if self.uncertainty is not None:
            not_negative("uncertainty", self.uncertainty)
        if self.subgroup is not None and len(self.subgroup) != len(values):
            rows = f"one for each of the {len(values)} rows"
            raise ValueFault("subgroup", f"{len(self.subgroup)} labels", rows)

    def line(self, place: int) -> int:
        """Return the line of the file in which the row at ``place`` (from 0) stands."""
        return self.lines[place] if self.lines else place + 1

    def _judge_values(self, values: Array) -> None:
        columns = (1,) if self.diameter else (1, 2)
        if values.ndim not in columns or values.shape[1:] not in ((), (2,)):
            raise ValueFault("data", f"an array of shape {values.shape}", "one column, or two for a zone")
        if len(values) < 2:
            raise ValueFault("data", f"{len(values)} rows", "at least 2 rows")
        if not np.isfinite(values).all():
            raise ValueFault("data", "a number that is not finite", "finite numbers")
        if self.diameter and values.min() < 0:
            raise ValueFault("data", f"a position diameter of {values.min():g}", "diameters of 0 or more")


@dataclass(frozen=True)
class Process:
    """How the values of one dimension come out (model.md, section 2).

    ``shape``: a name, None (the default of the kind), or any object with ``mean``, ``moments`` (central,
    from order 2) and ``quantile``, a law of the value itself.  ``cp`` > 0; ``cpk`` alone is centred with
    cp = cpk, beside ``cp`` it moves the mean ``toward`` "upper" or "lower".  ``shift`` (sizes) and
    ``offset`` (zones) in the dimension's unit.  ``inspected``: nothing outside the drawing is used.
    ``a``, ``b``, ``flat``, ``mode``, ``sigma``: parameters of shapes.  ``pattern`` and ``drift`` move the
    mean round the ring.

    Raises ValueFault for numbers that are not finite or outside their range, cpk above cp, cpk beside
    shift, and a direction ``toward`` that is missing or idle.
    """

    shape: Any = None
    cp: float = Unstated(1.0)
    cpk: float | None = None
    toward: str | None = None
    shift: float = 0.0
    offset: tuple[float, float] = (0.0, 0.0)
    inspected: bool = False
    a: float | None = None
    b: float | None = None
    flat: float | None = None
    mode: float = 0.0
    sigma: float | None = None
    measured: Measured | None = None
    pattern: tuple[Harmonic, ...] = ()
    drift: float | tuple[float, float] | None = None

    def __post_init__(self) -> None:
        """Judge what can be judged without knowing the kind of dimension."""
        object.__setattr__(self, "pattern", tuple(self.pattern))
        object.__setattr__(self, "offset", pair("offset", self.offset))
        finite("shift", self.shift)
        self._judge_capability()
        self._judge_parameters()
        if self.drift is not None:
            _drift(self.drift)
        if not isinstance(self.inspected, bool | np.bool_):
            raise ValueFault("inspected", repr(self.inspected), "true or false")

    def _judge_capability(self) -> None:
        if isinstance(self.cp, Unstated):
            centred = 1.0 if self.cpk is None else positive("cpk", self.cpk)
            object.__setattr__(self, "cp", Unstated(centred))
        positive("cp", self.cp)
        if self.toward is not None:
            one_of("toward", self.toward, TOWARD)
        if self.cpk is None:
            if self.toward is not None:
                raise ValueFault("toward", self.toward, "only beside cp and cpk")
            return
        self._judge_cpk(finite("cpk", self.cpk))

    def _judge_cpk(self, cpk: float) -> None:
        if cpk > self.cp:
            raise ValueFault("cpk", f"{cpk:g}", f"at most cp ({self.cp:g})")
        if self.shift != 0:
            raise ValueFault("cpk", f"{cpk:g} beside shift {self.shift:g}", "cpk or shift, not both")
        if self.toward is None and cpk < self.cp:
            raise ValueFault("toward", "nothing", '"upper" or "lower", where cpk stands beside cp')
        if self.toward is not None and isinstance(self.cp, Unstated):
            raise ValueFault("toward", self.toward, "only beside cp and cpk (cpk alone is centred)")

    def _judge_parameters(self) -> None:
        within("mode", self.mode, -1.0, 1.0)
        if self.flat is not None:
            within("flat", self.flat, 0.0, 1.0)
        for key in ("a", "b", "sigma"):
            if getattr(self, key) is not None:
                positive(key, getattr(self, key))

    @property
    def centre_unstated(self) -> bool:
        """True where cpk stands alone: the true centre of the process is not known (said on the screen)."""
        return self.cpk is not None and isinstance(self.cp, Unstated)

    def displacement(self, half_width: float) -> float:
        """Return how far the mean of a size stands from the middle of its tolerance ±``half_width``."""
        if self.cpk is None or self.toward is None:
            return self.shift
        sign = 1.0 if self.toward == "upper" else -1.0
        return sign * half_width * (1.0 - self.cpk / self.cp)

    def column(self, pockets: int) -> Column:
        """Return what pattern and drift add to the mean of a size: 0.0 or a column (Z,)."""
        if not self.moves_round:
            return 0.0
        total = np.zeros(pockets)
        for term in self.pattern:
            total += term.parts(pockets)[2]
        return total + _drift(self.drift)[0] * np.arange(pockets) / pockets

    def columns(self, pockets: int) -> tuple[Column, Column]:
        """Return what pattern and drift add to the mean of a zone along r and t: 0.0 or columns (Z,)."""
        if not self.moves_round:
            return 0.0, 0.0
        total = np.zeros((2, pockets))
        for term in self.pattern:
            total += np.asarray(term.parts(pockets)[:2])
        total += np.outer(_drift(self.drift), np.arange(pockets) / pockets)
        return total[0], total[1]

    @property
    def moves_round(self) -> bool:
        """True where the mean differs from pocket to pocket."""
        return bool(self.pattern) or self.drift is not None

    def given(self) -> set[str]:
        """Return the names of the keys that differ from their defaults."""
        return {f.name for f in fields(self) if not _same(getattr(self, f.name), f.default)}


def _drift(drift: float | tuple[float, float] | None) -> tuple[float, float]:
    if drift is None:
        return 0.0, 0.0
    if isinstance(drift, tuple | list | np.ndarray):
        return pair("drift", drift)
    return finite("drift", drift), 0.0


def _same(value: Any, default: Any) -> bool:
    if isinstance(value, np.ndarray) or isinstance(default, np.ndarray):
        return False
    return value is default or isinstance(value, Unstated) or bool(value == default)
