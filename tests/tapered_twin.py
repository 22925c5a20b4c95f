"""Slow twin: the tapered pinned cage, pocket by pocket, in plain Python and from plain numbers.

Everything here restates section 4 of the model and shares no line with the package.  What section 4 takes over
from section 3 unchanged comes from the cylindrical twin.  Lengths in mm, stresses in N/mm2, pin_skew and pin_tilt
in mrad, roller_taper in degrees as in a case file.  A zone's value is the pair (r, t) in the pocket's axes, (x, y)
for a zone of the whole cage; inside this file such a pair is the complex number r + i·t.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import twins
from twins import Pair, Values, eccentricity, free_pin_end, play_kept, play_reached, ring_shift, seat_range, vector

CAGE_SLOTS = twins.CAGE_SLOTS - {"hole_pitch_diameter", "inner_raceway"} | {
    "hole_pitch_diameter_a", "inner_raceway_a", "inner_raceway_b",
}  # fmt: skip
#: what the layout is made of; ring_shift and what follows need no other nominal
LAYOUT_SLOTS = ("hole_pitch_diameter_a", "hole_pitch_diameter_b", "pitch_shrinkage_b", "ring_spacing", "weld_shrinkage")
PLACES = ("small", "middle", "large")


@dataclass(frozen=True)
class Layout:
    """Section 4, Layout: what stays the same for every cage of a drawing, as made."""

    tilt: float  # β [rad]
    finished_spacing: float  # W₀
    spacing: float  # nominal W
    pitch_step: float  # nominal (D_hB − D_hA)/2
    crossing: float  # nominal distance of the apex before plane A
    raceway: float | None = None  # half-angle of the raceway that seats are formed with; the model takes β − ν


def layout(nominals: Values) -> Layout:
    """Section 4, Layout: from the nominals of LAYOUT_SLOTS; both shrinkages may be left out."""
    a, b = nominals["hole_pitch_diameter_a"], nominals["hole_pitch_diameter_b"]
    finished = nominals["ring_spacing"] - nominals.get("weld_shrinkage", 0.0)
    rise = (b - nominals.get("pitch_shrinkage_b", 0.0) - a) / 2
    return Layout(
        tilt=math.atan(rise / finished),
        finished_spacing=finished,
        spacing=nominals["ring_spacing"],
        pitch_step=(b - a) / 2,
        crossing=math.inf if rise == 0 else a / 2 * finished / rise,
    )


# -- What the gaps are made of -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Pin:
    """Where a pin stands between its rings: radius R + i·P_t in planes square to the bearing axis."""

    at_a: complex
    at_b: complex
    bow: complex  # w, its radial part already /cosβ
    spacing: float  # W_i

    def at(self, part: float) -> complex:
        """R + i·P_t at the fraction λ of the way from ring A to ring B."""
        return self.at_a + part * (self.at_b - self.at_a) + 8 * part * (1 - part) * self.bow


@dataclass(frozen=True)
class Roller:
    """The roller of a pocket, station by station: small end, mid-length, large end."""

    parts: tuple[float, float, float]  # λ
    diameters: tuple[float, float, float]
    seats: tuple[float, float, float]  # r of its axis on the cone raceway


def leaned(cage: Values, angle: float) -> float:
    """p_x cosθ + p_y sinθ."""
    x, y = cage.get("ring_parallelism", (0.0, 0.0))
    return x * math.cos(angle) + y * math.sin(angle)


def spacing(cage: Values, pocket: Values, angle: float) -> float:
    """W_i of the finished cage at this pocket."""
    return cage["ring_spacing"] + leaned(cage, angle) - pocket.get("weld_shrinkage", 0.0)


def in_plane(square_to_hole: complex, tilt: float) -> complex:
    """A vector square to the hole, cut by a plane square to the bearing axis."""
    return complex(square_to_hole.real / math.cos(tilt), square_to_hole.imag)


def pin_of(plan: Layout, cage: Values, pocket: Values, angle: float) -> Pin:
    """Section 4, Layout: R_A, R_B, P_t,A, P_t,B and the bow."""
    shift = ring_shift(cage, angle)
    common = vector(pocket, "hole_position_common")
    own_a = common + vector(pocket, "hole_position_a") + vector(pocket, "pin_seat_a")
    own_b = common + vector(pocket, "hole_position_b") + vector(pocket, "pin_seat_b")
    pitch_b = cage["hole_pitch_diameter_b"] - cage.get("pitch_shrinkage_b", 0.0)
    return Pin(
        at_a=cage["hole_pitch_diameter_a"] / 2 + in_plane(own_a, plan.tilt) - shift / 2,
        at_b=pitch_b / 2 + in_plane(own_b, plan.tilt) + shift / 2,
        bow=in_plane(vector(pocket, "pin_straightness"), plan.tilt),
        spacing=spacing(cage, pocket, angle),
    )


def roller_of(plan: Layout, cage: Values, pocket: Values, angle: float) -> Roller:
    """Section 4, Layout: stations S, M, L midway between the rings, their diameters and seats."""
    taper = math.radians(pocket["roller_taper"])
    between = spacing(cage, pocket, angle)
    half = pocket["roller_length"] * math.cos(plan.tilt) / between / 2
    parts = (0.5 - half, 0.5, 0.5 + half)
    loss = 2 * pocket["roller_length"] * math.tan(taper)
    diameters = tuple(pocket["roller_diameter"] - share * loss for share in (1.0, 0.5, 0.0))
    at_a, at_b = cage["inner_raceway_a"], cage["inner_raceway_b"]
    widths = (at_a + (at_b - at_a) * part * between / plan.finished_spacing for part in parts)
    slope = math.cos(taper) / math.cos(plan.tilt - taper if plan.raceway is None else plan.raceway)
    seats = tuple(width / 2 + diameter / 2 * slope for width, diameter in zip(widths, diameters, strict=True))
    return Roller(parts, diameters, seats)


# -- The gaps ----------------------------------------------------------------------------------------------


def apex_crossing(plan: Layout, cage: Values, pocket: Values, angle: float) -> float:
    """Gap 1."""
    pin = pin_of(plan, cage, pocket, angle)
    rise = pin.at_b.real - pin.at_a.real
    return pin.at_a.real * pin.spacing / rise - plan.crossing


def apex_miss(plan: Layout, cage: Values, pocket: Values, angle: float) -> float:
    """Gap 2."""
    pin = pin_of(plan, cage, pocket, angle)
    cross = pin.at_a.real * pin.at_b.imag - pin.at_b.real * pin.at_a.imag
    return abs(cross) / abs(pin.at_b - pin.at_a)


def aside(pin: Pin, roller: Roller) -> tuple[float, float, float]:
    """Gap 3, tangential: what a turn about the bearing axis leaves at S, M and L."""
    first, middle, last = (pin.at(part).imag for part in roller.parts)
    small, mean, large = roller.seats
    ends = abs(first * large - last * small) / (small + large)
    return ends, abs(middle - mean * (first + last) / (small + large)), ends


def needs(
    plan: Layout, cage: Values, pocket: Values, angle: float, moved: float = 0.0, off: float = 0.0
) -> tuple[float, float, float]:
    """Gap 3: how far the pin is off the roller's axis at S, M and L, the larger over both seats.

    ``moved`` is added to every radius R, ``off`` to every misfit (gap 8, the shift of a floating cage).
    """
    pin, roller = pin_of(plan, cage, pocket, angle), roller_of(plan, cage, pocket, angle)
    play = seat_range(cage)
    found = []
    for part, seat, beside in zip(roller.parts, roller.seats, aside(pin, roller), strict=True):
        outward = pin.at(part).real + moved
        misfits = ((outward - r) * math.cos(plan.tilt) + off for r in (seat, seat + play))
        found.append(max(math.hypot(misfit, beside) for misfit in misfits))
    small, middle, large = found
    return small, middle, large


def running_clearance(plan: Layout, cage: Values, pocket: Values, angle: float, end: str) -> float:
    """Gap 3: c less the larger of mid-length and the end, ``"small"`` or ``"large"``."""
    off = dict(zip(PLACES, needs(plan, cage, pocket, angle), strict=True))
    return play_kept(pocket) - max(off[end], off["middle"])


def crowning(radius: float | None, x: float) -> float:
    """Gap 4, u(x): how far a spherical end stands back at the distance x from the axis; a flat one not."""
    return 0.0 if radius is None else radius - math.sqrt(radius**2 - x**2)


def face_loss(face: str, radius: float | None, reach: Pair, tilt: float, pitch_b: float | None) -> float:
    """Gap 4, κ of one end: ``reach`` = (d_b/2, D/2); ``pitch_b`` is D_hB at ring B, None at ring A."""
    inside, outside = reach
    if face == "flat":
        nearest = outside if radius is None else min(max(radius * math.sin(tilt), inside), outside)
        return crowning(radius, nearest) - nearest * math.tan(tilt)
    if face == "square":
        return crowning(radius, inside)
    if face != "conical":
        raise ValueError(face)
    if pitch_b is None:
        return 0.0
    return min(crowning(radius, x) - x**2 * math.sin(tilt) / pitch_b for x in reach)


def end_clearance(plan: Layout, cage: Values, pocket: Values, angle: float, face: str) -> float:
    """Gap 4, along the roller axis."""
    pitch_b = cage["hole_pitch_diameter_b"]
    small, _, large = roller_of(plan, cage, pocket, angle).diameters
    bore = pocket["roller_bore"] / 2
    lost = pocket.get("ring_face_flatness", 0.0) + pocket.get("roller_end_runout", 0.0)
    lost += math.hypot(*cage.get("ring_parallelism", (0.0, 0.0))) * pocket["roller_diameter"] / pitch_b
    kappa = face_loss(face, None, (bore, small / 2), plan.tilt, None)
    kappa += face_loss(face, pocket.get("roller_sphere_radius"), (bore, large / 2), plan.tilt, pitch_b)
    return spacing(cage, pocket, angle) / math.cos(plan.tilt) - lost - pocket["roller_length"] + kappa


@dataclass(frozen=True)
class Drift:
    """Gap 5: the radii at S, M and L at which a roller drifts, and the angles α⁻, α⁺ [rad] it can reach."""

    radii: tuple[float, float, float]
    backward: float
    forward: float


def roller_drift(plan: Layout, cage: Values, pocket: Values, angle: float) -> Drift:
    """Gap 5: a roller turned about the bearing axis as far as its pin lets it at some turn of its own."""
    pin, roller = pin_of(plan, cage, pocket, angle), roller_of(plan, cage, pocket, angle)
    share = min(max(pin.at(0.5).real - roller.seats[1], 0.0), seat_range(cage))
    small, middle, large = (seat + share for seat in roller.seats)
    backward, forward = [], []
    for part, radius in zip(roller.parts, (small, middle, large), strict=True):
        place = pin.at(part)
        misfit = (place.real - radius) * math.cos(plan.tilt)
        play = play_reached(pocket)
        free = 0.0 if abs(misfit) >= play else math.sqrt(play**2 - misfit**2)
        backward.append((place.imag - free) / radius)
        forward.append((place.imag + free) / radius)
    return Drift((small, middle, large), max(backward), min(forward))


def roller_spacing(
    plan: Layout, cage: Values, pocket: Values, follower: Values, angle: float, step: float, end: str
) -> float:
    """Gap 5 from a pocket to the next one, `step` = 2π/Z [rad] further on, at one end of the rollers."""
    k = PLACES.index(end)
    one, two = roller_drift(plan, cage, pocket, angle), roller_drift(plan, cage, follower, angle + step)
    between = step + two.backward - one.forward
    half_turn = math.sin(plan.tilt) * math.sin(between / 2)  # sin(ψ/2)
    radius, other = one.radii[k], two.radii[k]
    chord = math.sqrt(radius**2 + other**2 - 2 * radius * other * math.cos(between))
    diameters = (
        roller_of(plan, cage, pocket, angle).diameters[k]
        + roller_of(plan, cage, follower, angle + step).diameters[k]
    )
    return chord - math.sqrt(1 - half_turn**2) * diameters / 2


def roller_wall(plan: Layout, cage: Values, pocket: Values, angle: float) -> float:
    """Gap 6: at the small end."""
    small = roller_of(plan, cage, pocket, angle).diameters[0]
    return (small - pocket["roller_bore"]) / 2 - eccentricity(pocket)


def pin_skew(plan: Layout, cage: Values, pocket: Values, angle: float) -> float:
    """Gap 6 [mrad]."""
    pin = pin_of(plan, cage, pocket, angle)
    return 1000 * (pin.at_b - pin.at_a).imag * math.cos(plan.tilt) / pin.spacing


def pin_tilt(plan: Layout, cage: Values, pocket: Values, angle: float) -> float:
    """Gap 6 [mrad]."""
    pin = pin_of(plan, cage, pocket, angle)
    return 1000 * (math.atan((pin.at_b - pin.at_a).real / pin.spacing) - plan.tilt)


def rings_apart(plan: Layout, cage: Values, angle: float) -> complex:
    """Gap 7: the offset, pitch and spacing terms of v."""
    shift = ring_shift(cage, angle)
    pitch = (cage["hole_pitch_diameter_a"] - cage["hole_pitch_diameter_b"]) / 2 + plan.pitch_step
    wider = cage["ring_spacing"] + leaned(cage, angle) - plan.spacing
    outward = (pitch - shift.real) * math.cos(plan.tilt) + wider * math.sin(plan.tilt)
    return complex(outward, -shift.imag)


def entry_vector(plan: Layout, cage: Values, pocket: Values, angle: float) -> complex:
    """Gap 7, v: the free pin's end against its hole in ring B, square to the hole."""
    return free_pin_end(pocket) - vector(pocket, "hole_position_b") + rings_apart(plan, cage, angle)


def pin_entry(plan: Layout, cage: Values, pocket: Values, angle: float) -> float:
    """Gap 7."""
    room = (pocket["ring_hole_b"] - pocket["pin_diameter"]) / 2
    return room - abs(entry_vector(plan, cage, pocket, angle))


def cantilever_stress(plan: Layout, cage: Values, pocket: Values, deflection: float, modulus: float) -> float:
    """Section 3, gap 6, with W/cosβ for W: 3·E·d_p·δ/(2(W/cosβ)²)."""
    length = cage["ring_spacing"] / math.cos(plan.tilt)
    return 3 * modulus * pocket["pin_diameter"] * deflection / (2 * length**2)


def entry_stress(plan: Layout, cage: Values, pocket: Values, angle: float, modulus: float) -> float:
    """Gap 7: bending the pin's end by what pin_entry lacks."""
    lacking = max(0.0, -pin_entry(plan, cage, pocket, angle))
    return cantilever_stress(plan, cage, pocket, lacking, modulus)


def weld_stress(plan: Layout, cage: Values, pocket: Values, angle: float, modulus: float, fixture: str) -> float:
    """Gap 7: bending the pin's end to where the fixture centres it in ring B (or squares it as well)."""
    goal = vector(pocket, "hole_position_b") + vector(pocket, "pin_seat_b") - free_pin_end(pocket)
    deflection = abs(goal - rings_apart(plan, cage, angle))
    return {"centres": 1, "squares": 2}[fixture] * cantilever_stress(plan, cage, pocket, deflection, modulus)


def pitch_difference(plan: Layout, cage: Values, three: list[Values], angles: list[float]) -> float:
    """|P_t(i+2) − 2P_t(i+1) + P_t(i)| of three pins in a row at mid-length: how uneven two pitches are."""
    one, two, last = (
        pin_of(plan, cage, pocket, angle).at(0.5).imag for pocket, angle in zip(three, angles, strict=True)
    )
    return abs(last - 2 * two + one)


def cage_gaps(
    cage: Values, pockets: list[Values], nominals: Values | Layout, options: dict | None = None
) -> dict[str, list[float]]:
    """Section 4, gaps 1 to 7 of every pocket of one tapered cage.

    `cage` and the Z dicts of `pockets` give one number or pair per slot, `nominals` those of LAYOUT_SLOTS (or the
    layout itself, of a state other than as made).
    Zones, one-sided slots, shrinkages, ring_phase and radial_internal_clearance that are left out count as zero;
    without `ring_hole_b` its gaps are left out; without `roller_sphere_radius` the large end is flat.
    `pin_modulus` (206 000), `weld_fixture` ("centres") and `ring_face` (no default) stand in `options`.
    """
    chosen = {"pin_modulus": 206_000.0, "weld_fixture": "centres"} | (options or {})
    plan = nominals if isinstance(nominals, Layout) else layout(nominals)
    step = 2 * math.pi / len(pockets)
    modulus, fixture, face = chosen["pin_modulus"], chosen["weld_fixture"], chosen["ring_face"]
    here = [(plan, cage, pocket, i * step) for i, pocket in enumerate(pockets)]
    followers = [*pockets[1:], pockets[0]]
    pairs = [(plan, cage, p, f, i * step, step) for i, (p, f) in enumerate(zip(pockets, followers, strict=True))]
    threes = [[(i + k) % len(pockets) for k in range(3)] for i in range(len(pockets))]
    table: dict[str, Callable[[], list[float]]] = {
        "apex_crossing": lambda: [apex_crossing(*h) for h in here],
        "apex_miss": lambda: [apex_miss(*h) for h in here],
        "bore_clearance": lambda: [twins.bore_clearance(p) for p in pockets],
        "running_clearance_small": lambda: [running_clearance(*h, "small") for h in here],
        "running_clearance_large": lambda: [running_clearance(*h, "large") for h in here],
        "end_clearance": lambda: [end_clearance(*h, face) for h in here],
        "roller_spacing_small": lambda: [roller_spacing(*pair, "small") for pair in pairs],
        "roller_spacing_large": lambda: [roller_spacing(*pair, "large") for pair in pairs],
        "roller_wall": lambda: [roller_wall(*h) for h in here],
        "pin_skew": lambda: [pin_skew(*h) for h in here],
        "pin_tilt": lambda: [pin_tilt(*h) for h in here],
        "weld_stress": lambda: [weld_stress(*h, modulus, fixture) for h in here],
        "pitch_difference": lambda: [
            pitch_difference(plan, cage, [pockets[k] for k in three], [k * step for k in three]) for three in threes
        ],
        "pin_entry": lambda: [pin_entry(*h) for h in here],
        "entry_stress": lambda: [entry_stress(*h, modulus) for h in here],
        "weld_gap": lambda: [twins.weld_gap(p, -1) for p in pockets],
        "weld_gap_widest": lambda: [twins.weld_gap(p, +1) for p in pockets],
    }
    of_hole = {"pin_entry", "entry_stress", "weld_gap", "weld_gap_widest"}
    holes = all("ring_hole_b" in pocket for pocket in pockets)
    return {name: values() for name, values in table.items() if holes or name not in of_hole}
