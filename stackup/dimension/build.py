"""From what a user states to a law: the one place where drawing, process and shape meet.

``judge_…`` raise ValueFault for what a kind of dimension does not take; ``…_law`` make the law.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from stackup.dimension.law import Law
from stackup.dimension.measured import column
from stackup.dimension.numeric import gauss_legendre
from stackup.dimension.offset import OffsetZone
from stackup.dimension.pairs import ResampledPairs, SmoothedPairs
from stackup.dimension.process import Process
from stackup.dimension.radial import MeasuredRadius, NormalRadius, Radius, UniformRadius
from stackup.dimension.region import Array, Classes, Column, Disc
from stackup.dimension.ring import RingLaw, SortedLaw
from stackup.dimension.scalar import Constant, ScalarLaw
from stackup.dimension.shape import Shape
from stackup.dimension.shapes import absolute_shape, judge_keys, scalar_shape, spelling
from stackup.dimension.unbounded import RADIUS_INSIDE
from stackup.dimension.zones import About, NormalZone, RadialZone, is_centred
from stackup.errors import ValueFault

if TYPE_CHECKING:
    from stackup.dimension.kinds import OneSided, Size, Zone

#: What inspection leaves must be at least this share of what the process makes.
LEAST_KEPT = 1e-9
#: The same for zones that can only be drawn again and again.
LEAST_KEPT_ROWS = 1e-3
#: What a process cannot state beside a law of the value itself.
STANDARD_KEYS = ("cp", "cpk", "toward", "shift", "offset", "a", "b", "flat", "mode", "sigma")


def judge_size(process: Process) -> None:
    """Raise ValueFault for what the process of a size cannot state."""
    _refuse(process, ("offset",), "only zones have an offset; sizes take shift")
    _judge_scalar("size", process)
    _judge_pattern(process, ("r", "t"), "amplitude: it is a size")
    if isinstance(process.drift, tuple | list | np.ndarray):
        raise ValueFault("drift", str(process.drift), "one number: it is a size")


def judge_one_sided(process: Process) -> None:
    """Raise ValueFault for what the process of a one-sided value cannot state."""
    _refuse(process, ("offset", "shift", "cpk", "toward"), "nothing: it has no centre that moves")
    _refuse(process, ("pattern", "drift"), "only sizes and zones have a pattern round the ring")
    _judge_scalar("one-sided", process)
    if process.measured is not None and process.measured.values.min() < 0:
        raise ValueFault(
            "data", f"{process.measured.values.min():g}", "numbers of 0 or more: it is one-sided"
        )


def judge_zone(process: Process, lot_share: float) -> None:
    """Raise ValueFault for what the process of a zone cannot state."""
    _refuse(process, ("shift",), "only sizes have a shift; zones take offset")
    _refuse(process, ("cpk", "toward"), "only sizes")
    _judge_pattern(process, ("amplitude",), "r and t: it is a zone")
    if process.drift is not None and not isinstance(process.drift, tuple | list | np.ndarray):
        raise ValueFault("drift", str(process.drift), "two numbers [r, t]: it is a zone")
    if process.measured is None:
        judge_keys(spelling("zone", process), (), process)
        return
    _judge_absolute(process)
    if process.measured.values.ndim == 1 and not process.measured.diameter:
        raise ValueFault("data", "one column", "two columns, or one of position diameters")
    if lot_share:
        raise ValueFault(
            "lot_share", f"{lot_share:g} of a measured zone", "none: measured rows have no scores"
        )


def _refuse(process: Process, keys: tuple[str, ...], allowed: str) -> None:
    for key in keys:
        if key in process.given():
            raise ValueFault(key, str(getattr(process, key)), allowed)


def _judge_scalar(kind: str, process: Process) -> None:
    if process.measured is not None and (process.measured.values.ndim != 1 or process.measured.diameter):
        raise ValueFault("data", "columns of a zone", "one column of values")
    if absolute_shape(process, -math.inf) is None:
        scalar_shape(kind, process)
    else:
        _judge_absolute(process)


def _judge_absolute(process: Process) -> None:
    _refuse(process, STANDARD_KEYS, "nothing beside data or a law of the value itself")
    if process.measured is not None and process.shape not in (None, "measured"):
        raise ValueFault("shape", str(process.shape), 'no shape beside measured values, or "measured"')


def _judge_pattern(process: Process, others: tuple[str, ...], allowed: str) -> None:
    for term in process.pattern:
        for key in others:
            if getattr(term, key):
                raise ValueFault("pattern", f"{key} = {getattr(term, key):g}", allowed)


def size_law(size: Size) -> Law:
    """Return the law of a size: sorted, inspected, with a pattern round the ring, or as the process makes it.

    Raises ValueFault where next to nothing of the process lies inside the drawing.
    """
    low, high = size.limits
    shape, place, scale, anchor = _size_parts(size)
    fixed = None if isinstance(place, np.ndarray) else float(place)
    if isinstance(size.region, Classes) and high > low and fixed is not None:
        edges = [(edge - fixed) / scale for edge in size.region.edges]
        return SortedLaw(_kept(shape, edges[0], edges[-1]), fixed, scale, edges, anchor)
    if not process_cuts(size):
        return ScalarLaw(shape, place, scale, size.scope, share=size.lot_share, anchor=anchor)
    if fixed is not None:
        cut = _kept(shape, (low - fixed) / scale, (high - fixed) / scale)
        return ScalarLaw(cut, fixed, scale, size.scope, share=size.lot_share, anchor=anchor)
    return RingLaw([_of_pocket(size, (shape, p, scale, a)) for p, a in _rows(place, anchor)])


def _of_pocket(size: Size, parts: tuple[Shape, float, float, float | None]) -> ScalarLaw:
    """Return the law of one pocket, cut to the drawing."""
    shape, place, scale, anchor = parts
    cut = _kept(shape, *((limit - place) / scale for limit in size.limits))
    return ScalarLaw(cut, place, scale, size.scope, share=size.lot_share, anchor=anchor)


def process_cuts(size: Size) -> bool:
    """Return True where inspection may leave less than the process makes."""
    return bool(size.process.inspected) or size.sorted_to is not None


def _rows(place: Column, anchor: Column | None) -> list[tuple[float, float | None]]:
    places = np.asarray(place).tolist()
    anchors = [None] * len(places) if anchor is None else np.broadcast_to(anchor, len(places)).tolist()
    return list(zip(places, anchors, strict=True))


def _size_parts(size: Size) -> tuple[Shape, Column, float, Column | None]:
    """Return shape, place, scale and anchor of a size before inspection, in the unit of formulas."""
    process, factor, half = size.process, size.factor, size.half_width
    round_the_ring = process.column(size.pockets)
    own = absolute_shape(process, -math.inf)
    if own is not None:
        return own, round_the_ring * factor, factor, None
    centre = 0.5 * sum(size.limits)
    moved = process.shift + round_the_ring
    anchor = centre + moved * factor
    place = centre + (process.displacement(half / factor) + round_the_ring) * factor
    if half == 0.0:
        return Constant(), place, 1.0, anchor
    shape = scalar_shape("size", process)
    return shape, place, half / process.cp / shape.reach, anchor


def one_sided_law(dimension: OneSided) -> Law:
    """Return the law of a one-sided value; raises ValueFault where inspection leaves next to nothing."""
    limit, process = dimension.tolerance, dimension.process
    shape, scale, anchor = absolute_shape(process, 0.0), dimension.factor, None
    if shape is None:
        standard = scalar_shape("one-sided", process)
        shape = standard if limit > 0 else Constant()
        scale, anchor = limit / process.cp / standard.reach if limit > 0 else 1.0, 0.0
    if process.inspected:
        shape = _kept(shape, 0.0, limit / scale)
    return ScalarLaw(shape, 0.0, scale, dimension.scope, share=dimension.lot_share, anchor=anchor)


def _kept(shape: Shape, low: float, high: float) -> Shape:
    """Return what inspection leaves; raises ValueFault where that is next to nothing."""
    cut, share = _cut(shape, low, high)
    if not share >= LEAST_KEPT:
        raise ValueFault(
            "inspected", f"a share of {share:.1e} inside the drawing", f"at least {LEAST_KEPT:g}"
        )
    return cut


@lru_cache(maxsize=256)
def _cut(shape: Shape, low: float, high: float) -> tuple[Shape, float]:
    """Return the cut shape and its share; kept, so that alike dimensions share their tables."""
    return shape.cut(low, high), shape.share(low, high)


def zone_law(zone: Zone) -> Law:
    """Return the law of a zone; raises ValueFault where inspection leaves next to nothing."""
    process, factor = zone.process, zone.factor
    added = process.columns(zone.pockets)
    means = (process.offset[0] + added[0]) * factor, (process.offset[1] + added[1]) * factor
    disc = zone.region if process.inspected else None
    if process.measured is not None and not process.measured.diameter:
        return _pairs(zone, process.measured.values * factor, means, disc)
    radius = _radius(zone)
    if radius is None:
        return _still(zone, means, disc)
    if isinstance(radius, NormalRadius) and disc is None:
        return NormalZone(radius.sigma, About(means, zone.scope, zone.lot_share))
    about = About(means, zone.scope, zone.lot_share, moves=process.measured is None)
    if disc is None or is_centred(means):
        return RadialZone(radius, about, disc, _limits(zone))
    law = OffsetZone(radius, about, disc, _limits(zone))
    _judge_kept(law.kept, LEAST_KEPT)
    return law


def _radius(zone: Zone) -> Radius | None:
    """Return the law of the distance from the process's mean; None where there is none."""
    process = zone.process
    if process.measured is not None:
        values = 0.5 * process.measured.values * zone.factor
        return MeasuredRadius(column(values, process.measured.how, floor=0.0))
    width = zone.half_width / process.cp
    if width == 0.0:
        return None
    return (
        UniformRadius(width)
        if spelling("zone", process) == "uniform"
        else NormalRadius(width / RADIUS_INSIDE)
    )


def _still(zone: Zone, means: tuple[Column, Column], disc: Disc | None) -> Law:
    if disc is not None and disc.growth is None and not is_centred(means):
        raise ValueFault("inspected", "an offset in a zone of nothing", "a zone that the process can hold")
    return NormalZone(0.0, About(means, zone.scope, zone.lot_share))


def _pairs(zone: Zone, values: Array, means: tuple[Column, Column], disc: Disc | None) -> Law:
    assert zone.process.measured is not None  # noqa: S101 - the caller looked
    made = ResampledPairs if zone.process.measured.how == "resampled" else SmoothedPairs
    law = made(values, About(means, zone.scope, moves=False), disc, _limits(zone))
    _judge_kept(law.kept, LEAST_KEPT_ROWS)
    return law


def _judge_kept(share: float, least: float) -> None:
    if not share >= least:
        raise ValueFault("inspected", f"a share of {share:.1e} inside the zone", f"at least {least:g}")


def _limits(zone: Zone) -> tuple[tuple[float, float], ...]:
    """Return radii and weights over which the moments of an inspected zone are averaged."""
    if zone.bonus is None or zone.bonus.size is None or not zone.process.inspected:
        return ()
    nodes, weights = gauss_legendre(24)
    values = zone.bonus.size.law.quantile(0.5 * (nodes + 1))
    radii = zone.half_width + zone.bonus.growth.of(values)
    return tuple(zip(np.asarray(radii).tolist(), (0.5 * weights).tolist(), strict=True))
