"""The one table that names every scalar shape, and the reading of a process into a shape.

A new shape is one class (``bounded``, ``unbounded``, ``measured`` or a file of its own) and one line here.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from stackup.dimension.bounded import Beta, Trapezoid, Triangular, Uniform, UniformFromZero
from stackup.dimension.check import one_of
from stackup.dimension.measured import Given, column
from stackup.dimension.process import Process
from stackup.dimension.shape import Shape
from stackup.dimension.unbounded import HalfNormal, LogNormal, Normal, Rayleigh
from stackup.errors import ValueFault

#: kind of dimension → spelling → class; the first spelling of a kind is its default.
#: Beside these: a measured column ("smoothed" | "resampled"), any of them inspected (truncated), and any
#: object with mean, moments and quantile.
SHAPES: dict[str, dict[str, type[Shape]]] = {
    "size": {
        "normal": Normal,
        "uniform": Uniform,
        "triangular": Triangular,
        "trapezoid": Trapezoid,
        "beta": Beta,
    },
    "one-sided": {
        "rayleigh": Rayleigh,
        "half-normal": HalfNormal,
        "lognormal": LogNormal,
        "uniform": UniformFromZero,
    },
}
#: Spellings of the laws of a zone; their classes are in ``zones``.
ZONE_SHAPES = ("normal", "uniform")
#: Every key of a process that belongs to a shape.
SHAPE_KEYS = ("a", "b", "flat", "mode", "sigma")


def is_law(shape: Any) -> bool:
    """Return True for an object that says what it is by mean, moments and quantile."""
    return all(hasattr(shape, name) for name in ("mean", "moments", "quantile"))


def spelling(kind: str, process: Process) -> str:
    """Return the name of the shape of ``process`` for a ``kind`` ("size", "one-sided", "zone").

    Raises ValueFault, with the nearest name, for a shape that the kind does not have.
    """
    names = tuple(SHAPES.get(kind, ZONE_SHAPES))
    default = ZONE_SHAPES[0] if kind == "zone" else names[0]
    return one_of("shape", default if process.shape is None else process.shape, names)


def scalar_shape(kind: str, process: Process) -> Shape:
    """Return the standard shape that ``process`` names for a ``kind`` ("size" or "one-sided").

    Raises ValueFault for a shape of another kind, a missing parameter, or one the shape does not take.
    """
    name = spelling(kind, process)
    made = SHAPES[kind][name]
    judge_keys(name, made.keys, process)
    return _made(name, kind, tuple(float(getattr(process, key)) for key in made.keys))


@cache
def _made(name: str, kind: str, parameters: tuple[float, ...]) -> Shape:
    """Return one shape for all dimensions that are alike, so that they share its tables."""
    return SHAPES[kind][name](*parameters)


def judge_keys(name: str, keys: tuple[str, ...], process: Process) -> None:
    """Raise ValueFault unless ``process`` gives exactly the parameters that the shape ``name`` takes."""
    given = process.given()
    for key in SHAPE_KEYS:
        if key in given and key not in keys:
            raise ValueFault(key, f"{getattr(process, key):g} with shape {name}", _owners(key))
    for key in keys:
        if getattr(process, key) is None:
            raise ValueFault(key, "nothing", f"a number: the shape {name} has no default for it")


def _owners(key: str) -> str:
    names = [name for table in SHAPES.values() for name, made in table.items() if key in made.keys]
    return f"only with shape {', '.join(names)}"


def absolute_shape(process: Process, floor: float) -> Shape | None:
    """Return the law of the value itself where ``process`` is measured or an object of its own, else None.

    ``floor``: no value below it (0 for one-sided values, −inf for sizes), in the dimension's unit.
    """
    if process.measured is not None:
        return column(process.measured.values, process.measured.how, floor)
    if process.shape is None or isinstance(process.shape, str):
        return None
    if not is_law(process.shape):
        raise ValueFault("shape", repr(process.shape), "a name, or an object with mean, moments and quantile")
    return Given(process.shape)
