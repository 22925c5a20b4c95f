"""Direct geometry of one pocket and its neighbour: lines, cylinders, cones, spheres and planes in space.

Nothing here knows a formula of the model: parts are put where their sizes put them, and distances are found by
search (dense grids that close in on the best point, bracketing).  It shares no line with the package nor with the
slow twins.  Lengths in mm, angles in rad (roller_taper in degrees as in a case file), the bearing axis is z, the
inner face of ring A lies in z = 0.  Slots bear their names; those left out count as zero.

What stands firm: raceways, rings, rollers and pins are rigid; a roller lies on the inner raceway along a whole
generator, so its axis leans by the raceway's angle and its own taper; radial internal clearance moves it outward
as it is.  A roller's mid-length stands midway between the two inner faces at its pin.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import brentq, minimize, minimize_scalar

Vector = np.ndarray
Values = dict[str, Any]
#: a whole turn and a little more, so that a search can close in on its ends from both sides
TURN = (-0.5, 2 * math.pi + 0.5)
Z_AXIS = np.array([0.0, 0.0, 1.0])


def outward(angle: float) -> Vector:
    """The unit vector away from the bearing axis at `angle`."""
    return np.array([math.cos(angle), math.sin(angle), 0.0])


def around(angle: float) -> Vector:
    """The unit vector anticlockwise at `angle`."""
    return np.array([-math.sin(angle), math.cos(angle), 0.0])


def leaning(angle: float, tilt: float) -> Vector:
    """The unit vector that leans outward from the bearing axis by `tilt`, in the meridian plane at `angle`."""
    return math.sin(tilt) * outward(angle) + math.cos(tilt) * Z_AXIS


def turned(points: Vector, axis: Vector, turn: float) -> Vector:
    """Points (…, 3) turned by `turn` about an axis through the origin."""
    k = axis / np.linalg.norm(axis)
    along = (points @ k)[..., None] * k
    return along + math.cos(turn) * (points - along) + math.sin(turn) * np.cross(k, points)


def from_line(points: Vector, base: Vector, direction: Vector) -> tuple[Vector, Vector]:
    """Where points (…, 3) stand to a line: along it from `base`, and the vector square to it."""
    along = (points - base) @ direction
    return along, points - base - along[..., None] * direction


def least(f: Callable[..., Vector], ranges: list[tuple[float, float]], count: int = 41, rounds: int = 6) -> float:
    """The least of f over a box: a grid that closes in on its best point, `rounds` times, by a factor count/4."""
    low, high = np.array(ranges, dtype=float).T
    bottom, top = low.copy(), high.copy()
    best = math.inf
    for _ in range(rounds):
        grids = np.meshgrid(*(np.linspace(a, b, count) for a, b in zip(low, high, strict=True)), indexing="ij")
        values = f(*grids)
        at = np.unravel_index(np.argmin(values), values.shape)
        best = min(best, float(values[at]))
        centre = np.array([grid[at] for grid in grids])
        room = 2 * (high - low) / (count - 1)
        low, high = np.maximum(bottom, centre - room), np.minimum(top, centre + room)
    return best


# -- Parts -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Frame:
    """What the drawing fixes for all parts."""

    tilt: float  # of the pins to the bearing axis
    drilled: float  # of the holes: from hole to hole with the rings on their spacers
    finished: float  # spacing of the planes in which the raceways are measured
    face: str = "flat"
    face_circles: tuple[float, float] = (0.0, 0.0)  # diameters on which inclined faces meet their ring's plane


@dataclass(frozen=True)
class Roller:
    """A body of revolution: `base` is the middle of its axis, `axis` points to its large end."""

    base: Vector
    axis: Vector
    length: float
    middle: float  # diameter at mid-length
    taper: float  # half-angle
    bore: float
    off: float  # eccentricity of the bore

    def radius(self, along: Vector) -> Vector:
        """The outside radius at a distance from mid-length."""
        return self.middle / 2 + along * math.tan(self.taper)

    def outside(self, points: Vector) -> Vector:
        """How far points are outside the (endless) cone, square to its surface."""
        along, away = from_line(points, self.base, self.axis)
        return (np.linalg.norm(away, axis=-1) - self.radius(along)) * math.cos(self.taper)

    def ring(self, along: Vector, turn: Vector, radius: Vector | None = None) -> Vector:
        """Points on the cone, or at `radius` from its axis, at a distance from mid-length and a turn."""
        one = np.cross(self.axis, Z_AXIS + np.array([1.0, 0.3, 0.0]))
        one /= np.linalg.norm(one)
        two = np.cross(self.axis, one)
        out = np.cos(turn)[..., None] * one + np.sin(turn)[..., None] * two
        reach = self.radius(along) if radius is None else radius
        return self.base + along[..., None] * self.axis + reach[..., None] * out


@dataclass(frozen=True)
class Pin:
    """A round pin about a curved axis from ring A to ring B."""

    at_a: Vector
    at_b: Vector
    bow: Vector  # at mid-length, off the straight line
    diameter: float

    def axis(self, part: Vector) -> Vector:
        """Points (…, 3) of its axis at fractions of the way."""
        part = np.asarray(part, dtype=float)[..., None]
        return self.at_a + part * (self.at_b - self.at_a) + 4 * part * (1 - part) * self.bow

    def surface(self, part: Vector, turn: Vector) -> Vector:
        """Points of its surface, square to its axis there."""
        along = self.at_b - self.at_a + (4 - 8 * part)[..., None] * self.bow
        along /= np.linalg.norm(along, axis=-1, keepdims=True)
        one = np.cross(along, Z_AXIS + np.array([1.0, 0.3, 0.0]))
        one /= np.linalg.norm(one, axis=-1, keepdims=True)
        two = np.cross(along, one)
        out = np.cos(turn)[..., None] * one + np.sin(turn)[..., None] * two
        return self.axis(part) + self.diameter / 2 * out


def vector_of(pocket: Values, *slots: str) -> Vector:
    """The sum of zones, (r, t)."""
    return np.sum([pocket.get(slot, (0.0, 0.0)) for slot in slots], axis=0)


def square_to_hole(frame: Frame, angle: float, zone: Vector) -> Vector:
    """A zone's (r, t) in space: its r lies in the meridian plane, square to the hole."""
    across = math.cos(frame.tilt) * outward(angle) - math.sin(frame.tilt) * Z_AXIS
    return zone[0] * across + zone[1] * around(angle)


def hole(frame: Frame, angle: float, pitch: float, zone: Vector) -> Vector:
    """Where the axis of a hole, displaced square to itself by its zone, cuts the face z = 0 of its ring."""
    moved = pitch / 2 * outward(angle) + square_to_hole(frame, angle, zone)
    along = leaning(angle, frame.tilt)
    return moved - moved[2] / along[2] * along


def ring_motion(cage: Values, pitch: float, sign: int) -> Callable[[Vector], Vector]:
    """The motion of ring A (−1) or B (+1) in its own plane: half of the offset and half of the turn."""
    x, y = cage.get("ring_offset", (0.0, 0.0))
    turn = cage.get("ring_phase", 0.0) / pitch  # half the arc over the pitch radius
    return lambda point: turned(point, Z_AXIS, sign * turn) + sign * np.array([x, y, 0.0]) / 2


def unmoved(cage: Values, pitch: float, sign: int, points: Vector) -> Vector:
    """Points back in the frame of ring A (−1) or B (+1), before `ring_motion`."""
    x, y = cage.get("ring_offset", (0.0, 0.0))
    turn = cage.get("ring_phase", 0.0) / pitch
    return turned(points - sign * np.array([x, y, 0.0]) / 2, Z_AXIS, -sign * turn)


def leaned_ring(cage: Values, pitch: float, spacing: float) -> Callable[[Vector], Vector]:
    """The motion that sets ring B on its spacers: up by `spacing`, turned about a line across its own centre."""
    x, y = cage.get("ring_parallelism", (0.0, 0.0))
    size = math.hypot(x, y)

    def moved(point: Vector) -> Vector:
        if size == 0:
            return point + spacing * Z_AXIS
        return turned(point, np.array([y, -x, 0.0]), math.atan(size / (pitch / 2))) + spacing * Z_AXIS

    return moved


def pin_of(frame: Frame, cage: Values, pocket: Values, angle: float) -> Pin:
    """The pin of a finished cage."""
    pitch_a = cage["hole_pitch_diameter_a"]
    pitch_b = cage["hole_pitch_diameter_b"] - cage.get("pitch_shrinkage_b", 0.0)
    zone_a = vector_of(pocket, "hole_position_common", "hole_position_a", "pin_seat_a")
    zone_b = vector_of(pocket, "hole_position_common", "hole_position_b", "pin_seat_b")
    spacing = cage["ring_spacing"] - pocket.get("weld_shrinkage", 0.0)
    at_a = ring_motion(cage, pitch_a, -1)(hole(frame, angle, pitch_a, zone_a))
    at_b = ring_motion(cage, pitch_b, 1)(hole(frame, angle, pitch_b, zone_b))
    at_b = leaned_ring(cage, pitch_b, spacing)(at_b)
    bow = square_to_hole(frame, angle, 2 * vector_of(pocket, "pin_straightness"))
    return Pin(at_a, at_b, bow, pocket["pin_diameter"])


def raceway_angle(frame: Frame, cage: Values) -> float:
    """The half-angle of the inner raceway's cone."""
    return math.atan((cage["inner_raceway_b"] - cage["inner_raceway_a"]) / 2 / frame.finished)


def roller_of(frame: Frame, cage: Values, pocket: Values, pin: Pin, angle: float, moved: float = 0.0) -> Roller:
    """The roller on its raceway, in the meridian plane at `angle`; `moved` outward as it is."""
    slope, taper = raceway_angle(frame, cage), math.radians(pocket["roller_taper"])
    middle = pocket["roller_diameter"] - pocket["roller_length"] * math.tan(taper)
    height = (pin.at_a[2] + pin.at_b[2]) / 2
    raceway = cage["inner_raceway_a"] / 2 + height * math.tan(slope)
    # both straight lines touch: square to the raceway it is as far to the axis as, square to the cone, from the axis
    radius = raceway + middle / 2 * math.cos(taper) / math.cos(slope) + moved
    return Roller(
        base=radius * outward(angle) + height * Z_AXIS,
        axis=leaning(angle, slope + taper),
        length=pocket["roller_length"],
        middle=middle,
        taper=taper,
        bore=pocket["roller_bore"],
        off=pocket.get("roller_bore_runout", 0.0) / 2,
    )


# -- Pin in roller ---------------------------------------------------------------------------------------


def parts_inside(pin: Pin, roller: Roller, ends: tuple[float, float] = (-0.5, 0.5), count: int = 41) -> Vector:
    """Fractions of the pin's way at which its axis is inside the roller, between `ends` of the roller's length."""

    def beyond(part: float, end: float) -> float:
        return float(from_line(pin.axis(part), roller.base, roller.axis)[0]) - end * roller.length

    low, high = (brentq(beyond, -0.5, 1.5, args=(end,), xtol=1e-13) for end in ends)
    return np.linspace(low, high, count)


def farthest(pin: Pin, roller: Roller, parts: Vector) -> float:
    """The greatest distance of the pin's surface from the roller's axis, `parts` of the pin's way."""
    turns = np.linspace(0, 2 * math.pi, 256, endpoint=False)
    points = pin.surface(parts[:, None] + 0 * turns, turns + 0 * parts[:, None])
    return float(np.linalg.norm(from_line(points, roller.base, roller.axis)[1], axis=-1).max())


def running(
    frame: Frame, cage: Values, pocket: Values, angle: float, turn: float, ends: tuple[float, float], count: int = 41
) -> float:
    """What is left between pin and bore over a whole turn of the roller, the lesser over both seats.

    The roller's meridian plane stands `turn` [rad] ahead of its pocket; `ends` bound the part of its length.
    `count` places of the pin are looked at, 2 for the ends alone.
    """
    pin = pin_of(frame, cage, pocket, angle)
    play = max(0.0, cage.get("radial_internal_clearance", 0.0)) / 2
    left = []
    for moved in (0.0, play) if play else (0.0,):
        roller = roller_of(frame, cage, pocket, pin, angle + turn, moved)
        parts = parts_inside(pin, roller, ends, count)
        left.append(roller.bore / 2 - roller.off - farthest(pin, roller, parts))
    return min(left)


def best_running(
    frame: Frame, cage: Values, pocket: Values, angle: float, ends: tuple[float, float], near: float
) -> float:
    """The greatest of `running` over the roller's place along the circumference, looked for about `near`."""
    room = 0.5 / cage["hole_pitch_diameter_a"]
    found = minimize_scalar(
        lambda turn: -running(frame, cage, pocket, angle, turn, ends),
        bounds=(near - room, near + room),
        method="bounded",
        options={"xatol": 1e-9},
    )
    return -float(found.fun)


# -- Roller to roller ------------------------------------------------------------------------------------


def pressed(pin: Pin, roller: Roller) -> float:
    """How far the pin is from having room in the bore, at the best moment of the roller's turn: below 0 it has.

    At one moment the bore's axis is off the roller's by the same vector at all places of its length.
    """
    parts = parts_inside(pin, roller)
    away = from_line(pin.axis(parts), roller.base, roller.axis)[1]
    mean = away.mean(axis=0)
    one = mean / np.linalg.norm(mean)
    two = np.cross(roller.axis, one)
    plane = np.stack([away @ one, away @ two])

    def most(turn: Vector) -> Vector:
        x, y = roller.off * np.cos(turn), roller.off * np.sin(turn)
        return np.hypot(plane[0] - x[..., None], plane[1] - y[..., None]).max(axis=-1)

    return least(most, [(-1.5, 1.5)], count=31, rounds=5) - (roller.bore - pin.diameter) / 2


def drifted(frame: Frame, cage: Values, pocket: Values, angle: float, sign: int, moved: float) -> Roller:
    """The roller turned about the bearing axis, ahead (+1) or back (−1), until its pin stops it."""
    pin = pin_of(frame, cage, pocket, angle)
    middle = pin.axis(0.5)
    start = math.atan2(middle @ around(angle), middle @ outward(angle))
    reach = sign * pocket["roller_bore"] / cage["hole_pitch_diameter_a"]

    def lack(turn: float) -> float:
        return pressed(pin, roller_of(frame, cage, pocket, pin, angle + turn, moved))

    turn = brentq(lack, start, start + reach, xtol=1e-12)
    return roller_of(frame, cage, pocket, pin, angle + turn, moved)


def circle_to_cone(roller: Roller, other: Roller, end: float) -> float:
    """The least distance of a circle on a roller, at `end` of its length, from the other's cone."""
    return least(lambda turn: other.outside(roller.ring(0 * turn + end * roller.length, turn)), [TURN])


def between(one: Roller, two: Roller, end: float) -> float:
    """The least distance of two rollers at one end, from either's circle there to the other's cone."""
    return min(circle_to_cone(one, two, end), circle_to_cone(two, one, end))


def bodies_apart(one: Roller, two: Roller) -> float:
    """The least distance of two rollers over the whole of their lengths."""
    return least(
        lambda end, turn: two.outside(one.ring(end * one.length, turn)), [(-0.5, 0.5), TURN], count=61
    )


def spacing(frame: Frame, cage: Values, pockets: tuple[Values, Values], angle: float, step: float, end: float) -> float:
    """The distance of two neighbours that have drifted towards each other; each at the share of the clearance
    nearest to its pin (0 without clearance)."""
    moved = [nearest_share(frame, cage, p, a) for p, a in zip(pockets, (angle, angle + step), strict=True)]
    return between(
        drifted(frame, cage, pockets[0], angle, 1, moved[0]),
        drifted(frame, cage, pockets[1], angle + step, -1, moved[1]),
        end,
    )


def nearest_share(frame: Frame, cage: Values, pocket: Values, angle: float) -> float:
    """How far outward, within the radial clearance, a roller has its mid-length nearest to its pin."""
    play = max(0.0, cage.get("radial_internal_clearance", 0.0)) / 2
    pin = pin_of(frame, cage, pocket, angle)
    roller = roller_of(frame, cage, pocket, pin, angle)
    return float(min(max(pin.axis(0.5) @ outward(angle) - roller.base @ outward(angle), 0.0), play))


def least_spacing(
    frame: Frame, cage: Values, pockets: tuple[Values, Values], angle: float, step: float, end: float, shares: int
) -> float:
    """The same, the least over both rollers' shares of the radial clearance (`shares` of each)."""
    play = max(0.0, cage.get("radial_internal_clearance", 0.0)) / 2
    ahead, back = [], []
    for moved in np.linspace(0, play, shares):
        for found, pocket, where, sign in ((ahead, pockets[0], angle, 1), (back, pockets[1], angle + step, -1)):
            try:
                found.append(drifted(frame, cage, pocket, where, sign, float(moved)))
            except ValueError:  # no room for the pin at this radius, wherever the roller stands
                continue
    return min(between(one, two, end) for one in ahead for two in back)


# -- Roller between the rings ----------------------------------------------------------------------------


def to_face(frame: Frame, points: Vector, axis: Vector, circle: float, angle: float, undo: Any) -> Vector:
    """How far points are from a ring's inner face, along `axis`; `undo` brings points into the ring's own frame.

    An inclined face goes through the circle of diameter `circle` in the plane z = 0 of its ring, wherever the holes
    are bored.
    """
    start, end = undo(points), undo(points + axis)
    way = end - start
    if frame.face == "flat":
        return -start[..., 2] / way[..., 2]
    centre, along = circle / 2 * outward(angle), leaning(angle, frame.tilt)
    if frame.face == "square":
        return -((start - centre) @ along) / (way @ along)
    found = np.zeros(points.shape[:-1])
    for _ in range(30):  # Newton on the cone turned about the ring's own axis, its generator square to the pin
        here = start + found[..., None] * way
        radius = np.hypot(here[..., 0], here[..., 1])
        height = (radius - circle / 2) * math.sin(frame.tilt) + here[..., 2] * math.cos(frame.tilt)
        grow = (here[..., 0] * way[..., 0] + here[..., 1] * way[..., 1]) / radius
        found = found - height / (grow * math.sin(frame.tilt) + way[..., 2] * math.cos(frame.tilt))
    return found


def end_play(frame: Frame, cage: Values, pocket: Values, angle: float) -> float:
    """What a roller can move along its axis between both faces, all of them perfect in form."""
    pin = pin_of(frame, cage, pocket, angle)
    middle = pin.axis(0.5)
    turn = math.atan2(middle @ around(angle), middle @ outward(angle))
    roller = roller_of(frame, cage, pocket, pin, angle + turn)
    sphere = pocket.get("roller_sphere_radius")
    pitch_a = cage["hole_pitch_diameter_a"]
    pitch_b = cage["hole_pitch_diameter_b"] - cage.get("pitch_shrinkage_b", 0.0)
    spacing_here = cage["ring_spacing"] - pocket.get("weld_shrinkage", 0.0)

    def undo_a(points: Vector) -> Vector:
        return unmoved(cage, pitch_a, -1, points)

    def undo_b(points: Vector) -> Vector:
        x, y = cage.get("ring_parallelism", (0.0, 0.0))
        down = points - spacing_here * Z_AXIS
        lean = math.atan(math.hypot(x, y) / (pitch_b / 2))
        return unmoved(cage, pitch_b, 1, turned(down, np.array([y, -x, 0.0]), -lean) if lean else down)

    def gap(end: float, x: Vector, turns: Vector) -> Vector:
        back = sphere - np.sqrt(sphere**2 - x**2) if sphere and end > 0 else 0 * x
        points = roller.ring(end * roller.length - np.sign(end) * back, turns, x)
        if end > 0:
            return to_face(frame, points, roller.axis, frame.face_circles[1], angle, undo_b)
        return to_face(frame, points, -roller.axis, frame.face_circles[0], angle, undo_a)

    total = 0.0
    for end in (-0.5, 0.5):
        reach = (roller.bore / 2, float(roller.radius(np.array(end * roller.length))))
        total += least(lambda x, turns, end=end: gap(end, x, turns), [reach, TURN], count=61)
    return total


# -- Single bodies and lines -----------------------------------------------------------------------------


def wall(roller: Roller) -> float:
    """The least thickness of a roller between its bore, off by its eccentricity, and its outside."""

    def thickness(outer: Vector, inner: Vector) -> Vector:
        """Between points of the outside and the bore in the meridian plane where both come nearest."""
        x = roller.radius(outer * roller.length) - (roller.bore / 2 + roller.off)
        return np.hypot(x, (outer - inner) * roller.length)

    return least(thickness, [(-0.5, 0.5), (-0.5, 0.5)], count=61)


def lines_apart(pin: Pin) -> tuple[float, float]:
    """The least distance of the pin's straight line from the bearing axis, and the height z where it is."""

    def away(at: Vector) -> float:
        part, height = at
        return float(np.sum((pin.at_a + part * (pin.at_b - pin.at_a) - height * Z_AXIS) ** 2))

    rise = np.hypot(*pin.at_b[:2]) - np.hypot(*pin.at_a[:2])
    start = -np.hypot(*pin.at_a[:2]) / rise
    found = minimize(away, [start, start * pin.at_b[2]], method="Powell", options={"xtol": 1e-14, "ftol": 1e-18})
    better = minimize(away, found.x, method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-18, "maxiter": 4000})
    return math.sqrt(better.fun), float(better.x[1])


def entry(frame: Frame, cage: Values, pocket: Values, angle: float) -> float:
    """What is left on the radius as a pin, fixed in ring A, comes to its hole in ring B on the spacers."""
    pitch_a, pitch_b = cage["hole_pitch_diameter_a"], cage["hole_pitch_diameter_b"]
    own = vector_of(pocket, "hole_position_a", "pin_seat_a")
    start = ring_motion(cage, pitch_a, -1)(hole(frame, angle, pitch_a, own))
    goal = hole(frame, angle, pitch_b, vector_of(pocket, "hole_position_b"))
    on_spacers = leaned_ring(cage, pitch_b, cage["ring_spacing"])
    moved = ring_motion(cage, pitch_b, 1)
    mouth = on_spacers(moved(goal))
    bored = on_spacers(moved(goal + leaning(angle, frame.drilled))) - mouth
    # a straight and square pin, then its own lean and bow
    pin = start + square_to_hole(frame, angle, vector_of(pocket, "pin_squareness_a"))
    direction = leaning(angle, frame.drilled)
    reach = ((mouth - pin) @ bored) / (direction @ bored)
    return (pocket["ring_hole_b"] - pocket["pin_diameter"]) / 2 - float(np.linalg.norm(pin + reach * direction - mouth))


def without(values: Values, *slots: str) -> Values:
    """The same values with some slots left out."""
    return {name: value for name, value in values.items() if name not in slots}


def cylindrical(cage: Values, pockets: list[Values]) -> tuple[Frame, Values, list[Values]]:
    """A cylindrical cage in the terms of this file: cones of no angle."""
    pitch = cage["hole_pitch_diameter"]
    raceway = cage["inner_raceway"]
    told = without(cage, "hole_pitch_diameter", "inner_raceway") | {
        "hole_pitch_diameter_a": pitch,
        "hole_pitch_diameter_b": cage.get("hole_pitch_diameter_b", pitch),
        "inner_raceway_a": raceway,
        "inner_raceway_b": raceway,
    }
    frame = Frame(0.0, 0.0, cage["ring_spacing"])
    return frame, told, [pocket | {"roller_taper": 0.0} for pocket in pockets]

