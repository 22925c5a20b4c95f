"""The slow twins held against direct geometry, gap by gap, each with the size of what the model leaves out.

A `Comparison` says how far direct geometry is from the model's formula in one pocket, and between which limits that
must lie.  The limits are the terms left out, from the pocket's own values: δ = (angle of the raceway) + ν − β, by which
rollers lean from what the model takes; the bow between two stations; lengths that a whole turn round the bearing axis
bends (x²/R); whatever else is of second order.  Lengths in mm.
"""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import geometry
import tapered_draws
import tapered_twin
import twins
from demo_table import DEMO_SPEC

Values = dict[str, Any]
PLAN = tapered_draws.PLAN
NO_FORM = ("ring_face_flatness", "roller_end_runout")
ENDS = {"small": (-0.5, 0.0), "large": (0.0, 0.5)}


@dataclass(frozen=True)
class Comparison:
    """Direct geometry less the model [mm], and the limits of that."""

    name: str
    difference: float
    low: float
    high: float


@dataclass(frozen=True)
class Pocket:
    """One pocket, the next one, and what both say of each other."""

    cage: Values
    here: Values
    follower: Values
    angle: float
    step: float

    @property
    def at(self) -> tuple[tapered_twin.Layout, Values, Values, float]:
        """What the twin's functions ask for."""
        return PLAN, self.cage, self.here, self.angle

    def on_raceway(self) -> tapered_twin.Layout:
        """The layout with seats formed by the raceway's own angle."""
        return replace(PLAN, raceway=geometry.raceway_angle(tapered_draws.frame(), self.cage))

    def leans(self) -> float:
        """δ [rad]: by how much the roller's axis leans more than β."""
        slope = geometry.raceway_angle(tapered_draws.frame(), self.cage)
        return slope + math.radians(self.here["roller_taper"]) - PLAN.tilt

    def ring(self) -> tuple[tapered_twin.Pin, tapered_twin.Roller]:
        return tapered_twin.pin_of(*self.at), tapered_twin.roller_of(*self.at)

    def turn(self) -> float:
        """The roller's place along the circumference that the model takes [rad]."""
        pin, roller = self.ring()
        small, _, large = roller.parts
        return (pin.at(small).imag + pin.at(large).imag) / (roller.seats[0] + roller.seats[2])

    def between_stations(self) -> float:
        """A quarter of the bow's height over half a roller: 2·reach²|w|/4."""
        _, roller = self.ring()
        reach = roller.parts[2] - roller.parts[0]
        return reach**2 * abs(complex(*self.here["pin_straightness"])) / 2

    def seat_shift(self) -> float:
        """How far seats by the raceway's own angle are from those by β − ν, square to the roller."""
        on = tapered_twin.roller_of(self.on_raceway(), *self.at[1:]).seats
        pairs = zip(self.ring()[1].seats, on, strict=True)
        return max(abs(one - two) for one, two in pairs) * math.cos(PLAN.tilt)

    def second_order(self) -> float:
        """Arcs taken for straight lines, an oblique pin's section, ends that slide along the pin."""
        pin, roller = self.ring()
        aside = max(abs(pin.at(part).imag) for part in roller.parts) + abs(self.cage["ring_phase"])
        lean = abs(pin.at_b - pin.at_a - (pin.at_b - pin.at_a).real) / pin.spacing
        lean += abs(tapered_twin.pin_tilt(*self.at)) / 1000 + 8 * abs(pin.bow) / pin.spacing
        off = max(tapered_twin.needs(*self.at))
        delta = abs(self.leans())
        slid = off * (lean + delta) + self.here["roller_length"] * math.tan(math.radians(0.76)) * delta
        return (
            aside**2 / roller.seats[0]
            + self.here["pin_diameter"] * lean**2 / 2
            + slid * math.sin(PLAN.tilt)
            + self.here["roller_length"] * delta**2
        )


def pocket_of(seed: int, play: float = 0.0) -> tuple[Pocket, geometry.Frame]:
    """One pocket and its follower of the cage of a seed; every seed looks at another place of the ring."""
    cage, pockets = tapered_draws.drawn(seed)
    cage["radial_internal_clearance"] = play
    i = 7 * seed % (len(pockets) - 1)
    step = 2 * math.pi / len(pockets)
    return Pocket(cage, pockets[i], pockets[i + 1], i * step, step), tapered_draws.frame()


def running(pocket: Pocket, frame: geometry.Frame) -> Iterator[Comparison]:
    """Gap 3 as the model has it, with seats by the raceway's own angle, and at the roller's best place."""
    bow, more, shift = pocket.between_stations(), pocket.second_order(), pocket.seat_shift()
    turn, on = pocket.turn(), pocket.on_raceway()
    least = math.inf
    for end, part in ENDS.items():
        direct = geometry.running(frame, pocket.cage, pocket.here, pocket.angle, turn, part)
        said = tapered_twin.running_clearance(*pocket.at, end)
        exact = tapered_twin.running_clearance(on, *pocket.at[1:], end)
        least = min(least, exact)
        yield Comparison(f"running_clearance_{end}", direct - said, -shift - bow - more, shift + more)
        yield Comparison(f"running_clearance_{end}, seats by the raceway", direct - exact, -bow - more, more)
    best = geometry.best_running(frame, pocket.cage, pocket.here, pocket.angle, (-0.5, 0.5), turn)
    aside = max(tapered_twin.aside(*pocket.ring()))
    name = "running_clearance at the best place, seats by the raceway"
    yield Comparison(name, best - least, -bow - more, aside + more)


def spacing(pocket: Pocket, frame: geometry.Frame) -> Iterator[Comparison]:
    """Gap 5 as the model has it, and with seats by the raceway's own angle."""
    both = (pocket.here, pocket.follower)
    loss, drag = 0.0, 0.0
    for values, angle in zip(both, (pocket.angle, pocket.angle + pocket.step), strict=True):
        one, two = one_moment(pocket, values, angle)
        loss, drag = loss + one, drag + two
    more = pocket.second_order() + replace(pocket, here=pocket.follower).second_order()
    more += crossing_stations(pocket)
    for end, (low, high) in ENDS.items():
        where = low if end == "small" else high
        direct = geometry.spacing(frame, pocket.cage, both, pocket.angle, pocket.step, where)
        for name, plan, shift in (("", PLAN, drag), (", seats by the raceway", pocket.on_raceway(), 0.0)):
            said = tapered_twin.roller_spacing(plan, pocket.cage, *both, pocket.angle, pocket.step, end)
            yield Comparison(f"roller_spacing_{end}{name}", direct - said, -shift - more, shift + loss + more)


def one_moment(pocket: Pocket, values: Values, angle: float) -> tuple[float, float]:
    """What the model gives away, and what another seat moves, along the circumference.

    At one moment the bore is off the roller the same way at all stations; the model lets it be off towards the pin at
    each.  Where the pin lies η to either side of the mean way, the reach c₊ is less by e(1 − cosη)·c₊/(c₊ − e) in its
    own direction, over cos of that direction's angle along the circumference.  A seat moved by dr moves a roller by
    dr·|m|/f there, and the chord by dr·sin(step/2) for each roller.  Between stations the bow takes from the reach.
    """
    at = (pocket.on_raceway(), pocket.cage, values, angle)
    pin, roller = tapered_twin.pin_of(*at), tapered_twin.roller_of(*at)
    reach, off = twins.play_reached(values), twins.eccentricity(values)
    radii = tapered_twin.roller_drift(*at).radii
    misfits = [(pin.at(part).real - r) * math.cos(PLAN.tilt) for part, r in zip(roller.parts, radii, strict=True)]
    ways = [math.asin(m / reach) for m in misfits]
    apart = (max(ways) - min(ways)) / 2
    steepest = max(abs(way) for way in ways)
    loss = off * (1 - math.cos(apart)) * reach / (reach - off) / math.cos(steepest)
    here = replace(pocket, here=values, angle=angle)
    loss += here.between_stations() / math.cos(steepest)
    moved = here.seat_shift() / math.cos(PLAN.tilt)
    return loss, moved * (math.tan(steepest) + math.sin(pocket.step / 2))


def crossing_stations(pocket: Pocket) -> float:
    """Rollers whose mid-lengths stand at different heights: half of that times the opening of their gap, twice."""
    heights = [
        tapered_twin.spacing(pocket.cage, values, angle) / 2
        for values, angle in ((pocket.here, pocket.angle), (pocket.follower, pocket.angle + pocket.step))
    ]
    at = PLAN, pocket.cage, pocket.here, pocket.follower, pocket.angle, pocket.step
    opening = tapered_twin.roller_spacing(*at, "large") - tapered_twin.roller_spacing(*at, "small")
    height = abs(heights[0] - heights[1]) + pocket.here["roller_length"] * abs(pocket.leans()) * math.sin(PLAN.tilt)
    gap = tapered_twin.roller_spacing(*at, "large")
    # the least distance of a circle from a cone is square to it: cos of the angle between their surfaces
    return height * abs(opening) / pocket.here["roller_length"] + gap * (gap / pocket.here["roller_diameter"]) ** 2


def end_clearance(pocket: Pocket, face: str, sphere: bool, parallel: bool) -> Comparison:
    """Gap 4 with faces and ends perfect in form."""
    here = geometry.without(pocket.here, *NO_FORM, *(() if sphere else ("roller_sphere_radius",)))
    cage = geometry.without(pocket.cage, "ring_parallelism") if parallel else pocket.cage
    frame, tilt, delta = tapered_draws.frame(face), PLAN.tilt, pocket.leans()
    direct = geometry.end_play(frame, cage, here, pocket.angle)
    said = tapered_twin.end_clearance(PLAN, cage, here, pocket.angle, face)
    small, _, large = pocket.ring()[1].diameters
    between = tapered_twin.spacing(cage, here, pocket.angle)
    more = 2 * (between + large) * delta**2 / math.cos(tilt) ** 3
    tilted = math.hypot(*cage.get("ring_parallelism", (0.0, 0.0))) * here["roller_diameter"]
    tilted /= cage["hole_pitch_diameter_b"]
    name = f"end_clearance, {face} face, {'spherical' if sphere else 'flat'} end" + ", rings parallel" * parallel
    # what is off of the pitch circles tilts nothing here, but puts a pin elsewhere on a leaning ring
    more += (abs(delta) + tilted / large) * 0.2 + tilted * (tilted / large + abs(delta)) + tilted * tilt**2
    if face == "flat":
        lean = (between * math.sin(tilt) - (small + large) / 2) / math.cos(tilt) ** 2 * delta
        return Comparison(name, direct - said, lean - more, lean + 2 * tilted + more)
    # inclined faces part along the pin by cosβ of what the rings do along the bearing axis, not by 1/cosβ, and by sinβ
    # of what they are out of centre
    along = -(between - PLAN.finished_spacing) * math.sin(tilt) * math.tan(tilt)
    along += twins.ring_shift(cage, pocket.angle).real * math.sin(tilt)
    farthest = large / 2 if not sphere or face == "conical" else here["roller_bore"] / 2
    farthest = farthest if parallel else large / 2
    lean = leans_to_face(pocket, delta, -1) * small / 2 + leans_to_face(pocket, delta, 1) * farthest
    return Comparison(name, direct - said, along - lean - more, along + tilted + more)


def leans_to_face(pocket: Pocket, delta: float, ring: int) -> float:
    """How much the roller's axis leans from what an inclined face of ring A (−1) or B (+1) is square to [rad].

    δ in the meridian plane; along the circumference sinβ times the angle from the pocket, as turned with its ring, to
    the pin at mid-length.
    """
    middle = pocket.ring()[0].at(0.5)
    pitch = pocket.cage["hole_pitch_diameter_a" if ring < 0 else "hole_pitch_diameter_b"]
    turn = middle.imag / middle.real - ring * pocket.cage["ring_phase"] / pitch
    return math.hypot(delta, turn * math.sin(PLAN.tilt))


def lines(pocket: Pocket, frame: geometry.Frame) -> Iterator[Comparison]:
    """Gaps 1 and 2."""
    pin, _ = pocket.ring()
    rise = pin.at_b - pin.at_a
    miss, height = geometry.lines_apart(geometry.pin_of(frame, pocket.cage, pocket.here, pocket.angle))
    aside = max(abs(pin.at_a.imag), abs(pin.at_b.imag)) + abs(pocket.cage["ring_phase"])
    leaned = abs(complex(*pocket.cage["ring_parallelism"])) / pin.at_b.real  # of ring B, as an angle
    # a turned ring bends arcs into R and turns a hole's own error; a leaning one shortens its radii and turns them too
    radial = aside**2 / pin.at_a.real + pin.at_b.real * leaned**2 + aside * leaned
    own = sum(abs(twins.vector(pocket.here, slot)) for slot in ("hole_position_a", "hole_position_b", "pin_seat_a"))
    own += abs(twins.vector(pocket.here, "pin_seat_b"))
    along = abs(pocket.cage["ring_phase"]) * own / pin.at_a.real + own * leaned
    room = pin.at_b.real / rise.real * along + aside / rise.real * radial
    yield Comparison("apex_miss", miss - tapered_twin.apex_miss(*pocket.at), -room, room)
    slope = rise.imag / rise.real
    turned = pin.at_a.imag * slope - pin.at_a.real * slope**2  # of the nearest point, first term in the slope's square
    turned *= pin.spacing / rise.real
    room = abs(turned) * slope**2 + pin.at_b.real * pin.spacing / rise.real**2 * radial
    direct = -height - PLAN.crossing
    yield Comparison(
        "apex_crossing", direct - tapered_twin.apex_crossing(*pocket.at), turned - room, turned + room
    )


def entry(pocket: Pocket, frame: geometry.Frame) -> Comparison:
    """Gap 7: the hole leans by its drilled angle, the model by β of the finished cage."""
    direct = geometry.entry(frame, pocket.cage, pocket.here, pocket.angle)
    off = abs(twins.free_pin_end(pocket.here)) + abs(twins.vector(pocket.here, "hole_position_b"))
    shift = abs(twins.ring_shift(pocket.cage, pocket.angle)) + abs(tapered_twin.leaned(pocket.cage, pocket.angle))
    wider = abs(pocket.cage["ring_spacing"] - PLAN.spacing) + abs(complex(*pocket.cage["ring_parallelism"]))
    room = (off + shift) ** 2 / pocket.cage["hole_pitch_diameter_a"] * 2
    room += (wider + off + shift) * abs(frame.drilled - PLAN.tilt)
    room += off * abs(complex(*pocket.cage["ring_parallelism"])) / pocket.cage["hole_pitch_diameter_a"] * 2
    return Comparison("pin_entry", direct - tapered_twin.pin_entry(*pocket.at), -room, room)


def wall(pocket: Pocket, frame: geometry.Frame) -> Comparison:
    """Gap 6: exact, found by a grid."""
    pin = geometry.pin_of(frame, pocket.cage, pocket.here, pocket.angle)
    roller = geometry.roller_of(frame, pocket.cage, pocket.here, pin, pocket.angle)
    return Comparison("roller_wall", geometry.wall(roller) - tapered_twin.roller_wall(*pocket.at), -1e-9, 1e-9)


def in_bore(seed: int, play: float = 0.0) -> Iterator[Comparison]:
    """Gaps 3 and 5 of one pocket of a random tapered cage with the radial internal clearance `play`."""
    pocket, frame = pocket_of(seed, play)
    yield from running(pocket, frame)
    yield from spacing(pocket, frame)


def tapered(seed: int) -> Iterator[Comparison]:
    """All comparisons of one pocket of a random tapered cage."""
    pocket, frame = pocket_of(seed)
    yield from in_bore(seed)
    yield from lines(pocket, frame)
    yield entry(pocket, frame)
    yield wall(pocket, frame)
    for face in ("flat", "square", "conical"):
        for sphere in (True, False):
            for parallel in (True, False):
                yield end_clearance(pocket, face, sphere, parallel)


# -- The cylindrical kind ----------------------------------------------------------------------------------


def cylindrical(seed: int) -> Iterator[Comparison]:
    """Running clearance and roller spacing of one pocket of a random cylindrical cage, invented too."""
    cage, pockets = twins.draw_cage(DEMO_SPEC, random.Random(seed))  # noqa: S311  # repeatable, no secret
    i, step = 7 * seed % (len(pockets) - 1), 2 * math.pi / len(pockets)
    frame, told, both = geometry.cylindrical(cage, pockets[i : i + 2])
    angle, here = i * step, pockets[i]
    stations = twins.pin_stations(cage, here, angle)
    aside = (stations[0].imag + stations[2].imag) / 2
    radius = (cage["inner_raceway"] + here["roller_diameter"]) / 2
    more, bow = _straight(cage, here, angle), _bow(cage, here)
    said = twins.running_clearance(cage, here, angle)
    direct = geometry.running(frame, told, both[0], angle, aside / radius, (-0.5, 0.5))
    yield Comparison("running_clearance", direct - said, -bow - more, more)
    best = geometry.best_running(frame, told, both[0], angle, (-0.5, 0.5), aside / radius)
    apart = max(abs(p.imag - aside) for p in stations)
    yield Comparison("running_clearance at the best place", best - said, -bow - more, apart + more)
    yield from _cylindrical_spacing(frame, (cage, told), (pockets[i : i + 2], both), angle, step)


def _cylindrical_spacing(
    frame: geometry.Frame, cages: tuple[Values, Values], pairs: Any, angle: float, step: float
) -> Iterator[Comparison]:
    cage, told = cages
    pockets, both = pairs
    said = twins.roller_spacing(cage, *pockets, angle, step)
    loss, held, more = 0.0, 0.0, 0.0
    for values, where, sign in zip(pockets, (angle, angle + step), (1, -1), strict=True):
        stations = twins.pin_stations(cage, values, where)
        radius, backward, forward = twins.roller_drift(cage, values, where)
        reach, off = twins.play_reached(values), twins.eccentricity(values)
        pitch = twins.pitch_diameter(cage) / 2
        ways = [math.asin((pitch + p.real - radius) / reach) for p in stations]
        apart, steepest = (max(ways) - min(ways)) / 2, max(abs(way) for way in ways)
        loss += off * (1 - math.cos(apart)) * reach / (reach - off) / math.cos(steepest)
        loss += _bow(cage, values) / math.cos(steepest)
        # wherever its radius, a roller goes no farther than mid-length lets it, c₊ beside the pin there
        far = forward * radius - stations[1].imag if sign > 0 else stations[1].imag - backward * radius
        held += reach - far
        more += 4 * _straight(cage, values, where) / math.cos(steepest)
    gap = max(said, 0.5)
    # circles and cones stand square to their own axes; rollers at different radii and heights
    more += gap * (gap / 50.0) ** 2
    direct = geometry.spacing(frame, told, both, angle, step, 0.0)
    yield Comparison("roller_spacing", direct - said, -more, loss + more)
    least = geometry.least_spacing(frame, told, both, angle, step, 0.0, shares=7)
    range_of_radii = 2 * math.sin(step / 2) * twins.seat_range(cage)
    name = "roller_spacing, least over all radii"
    yield Comparison(name, least - said, -held - range_of_radii - more, loss + range_of_radii + more)


def _bow(cage: Values, pocket: Values) -> float:
    """A quarter of the bow's height over half a roller."""
    reach = pocket["roller_length"] / cage["ring_spacing"]
    return reach**2 * abs(complex(*pocket["pin_straightness"])) / 2


def _straight(cage: Values, pocket: Values, angle: float) -> float:
    """Arcs taken for straight lines, an oblique pin's section, W for the finished spacing at this pin."""
    stations = twins.pin_stations(cage, pocket, angle)
    end_a, end_b = twins.pin_ends(cage, pocket, angle)
    bow = 8 * abs(complex(*pocket["pin_straightness"]))
    aside = max(abs(p.imag) for p in stations) + abs(cage["ring_phase"])
    across = abs(end_b - end_a) + bow
    narrower = abs(pocket["weld_shrinkage"]) + abs(complex(*cage["ring_parallelism"]))
    return (
        aside**2 / cage["hole_pitch_diameter"] * 2
        + pocket["pin_diameter"] * (across / cage["ring_spacing"]) ** 2 / 2
        + across * narrower / cage["ring_spacing"]
    )
