"""Slow twins: the cylindrical pinned cage, pocket by pocket, in plain Python and from plain numbers.

Everything here restates the model (the numbers in the docstrings are its sections and gaps) and shares no
line with the package; where the two differ, one of them has misread it. Lengths in mm, stresses in
N/mm2, pin_skew and pin_tilt in mrad. A zone's value is the pair (r, t) in the pocket's axes, (x, y) for a
zone of the whole cage; inside this file such a pair is the complex number r + i·t, its length is `abs`.
"""

import math
import random
from collections.abc import Callable
from statistics import NormalDist, fmean

Number = float
Pair = tuple[float, float]
Values = dict[str, Number | Pair]

CAGE_SLOTS = frozenset({
    "hole_pitch_diameter", "hole_pitch_diameter_b", "pitch_shrinkage_b", "ring_offset", "ring_phase",
    "ring_spacing", "ring_parallelism", "inner_raceway", "radial_internal_clearance", "outer_guide",
    "ring_outside", "ring_inside", "inner_guide", "ring_concentricity",
})  # fmt: skip


# -- Section 3: what the gaps are made of ----------------------------------------------------------------


def vector(values: Values, slot: str) -> complex:
    """Section 1: a zone's value as r + i·t; a zone left out counts as zero."""
    r, t = values.get(slot, (0.0, 0.0))
    return complex(r, t)


def ring_shift(cage: Values, angle: float) -> complex:
    """Section 3, ε_i: offset and phase of ring B against ring A, in the pocket's axes (`angle` in rad)."""
    x, y = cage.get("ring_offset", (0.0, 0.0))
    arc = cage.get("ring_phase", 0.0)
    return complex(
        x * math.cos(angle) + y * math.sin(angle),
        -x * math.sin(angle) + y * math.cos(angle) + arc,
    )


def pitch_diameters(cage: Values) -> Pair:
    """Section 1, D_hA and D_hB as bored; ring B has that of ring A where it has none of its own."""
    a = cage["hole_pitch_diameter"]
    return a, cage.get("hole_pitch_diameter_b", a)


def pitch_diameter(cage: Values) -> float:
    """Section 3, D_h = (D_hA + D_hB − x_w)/2."""
    a, b = pitch_diameters(cage)
    return (a + b - cage.get("pitch_shrinkage_b", 0.0)) / 2


def pin_ends(cage: Values, pocket: Values, angle: float) -> tuple[complex, complex]:
    """Section 3, **A** and **B**: the pin's axis at ring A and ring B, against the pitch circle D_h."""
    a, b = pitch_diameters(cage)
    kappa = (b - a - cage.get("pitch_shrinkage_b", 0.0)) / 4
    common = vector(pocket, "hole_position_common")
    shift = ring_shift(cage, angle)
    end_a = common + vector(pocket, "hole_position_a") + vector(pocket, "pin_seat_a") - shift / 2 - kappa
    end_b = common + vector(pocket, "hole_position_b") + vector(pocket, "pin_seat_b") + shift / 2 + kappa
    return end_a, end_b


def pin_stations(cage: Values, pocket: Values, angle: float) -> tuple[complex, complex, complex]:
    """Section 3, **P**(x): the pin's axis at the roller's first end, its middle and its second end."""
    end_a, end_b = pin_ends(cage, pocket, angle)
    bow = vector(pocket, "pin_straightness")
    half = pocket["roller_length"] / cage["ring_spacing"] / 2
    first, middle, second = (
        end_a + x * (end_b - end_a) + 8 * x * (1 - x) * bow for x in (0.5 - half, 0.5, 0.5 + half)
    )
    return first, middle, second


def eccentricity(pocket: Values) -> float:
    """Section 1, e: half the bore's runout."""
    return pocket.get("roller_bore_runout", 0.0) / 2


def play_kept(pocket: Values) -> float:
    """Section 3, c: what the pin may be out of place without touching over a whole turn of the roller."""
    return (pocket["roller_bore"] - pocket["pin_diameter"]) / 2 - eccentricity(pocket)


def play_reached(pocket: Values) -> float:
    """Section 3, c₊: the farthest the roller can move from its pin at some moment of the turn."""
    return (pocket["roller_bore"] - pocket["pin_diameter"]) / 2 + eccentricity(pocket)


def inner_seat(cage: Values, pocket: Values) -> float:
    """Section 3, ρ: the radius of the roller's axis on the inner raceway, less the pitch radius."""
    return (cage["inner_raceway"] + pocket["roller_diameter"]) / 2 - pitch_diameter(cage) / 2


def seat_range(cage: Values) -> float:
    """Section 3: G_r/2, the way from the inner seat to the outer; a preload counts as no clearance."""
    return max(0.0, cage.get("radial_internal_clearance", 0.0)) / 2


# -- Section 3: the gaps ---------------------------------------------------------------------------------


def bore_clearance(pocket: Values) -> float:
    """Gap 1."""
    return pocket["roller_bore"] - pocket["pin_diameter"]


def running_clearance(cage: Values, pocket: Values, angle: float) -> float:
    """Gap 2: over the three stations and both seats, with τ the mean of P_t at the roller's ends."""
    stations = pin_stations(cage, pocket, angle)
    settled = (stations[0].imag + stations[2].imag) / 2
    inner = inner_seat(cage, pocket)
    seats = (inner, inner + seat_range(cage))
    worst = max(math.hypot(p.real - seat, p.imag - settled) for p in stations for seat in seats)
    return play_kept(pocket) - worst


def roller_drift(cage: Values, pocket: Values, angle: float) -> tuple[float, float, float]:
    """Gap 3: R of the roller's axis and the angles α⁻, α⁺ [rad] between which its pin lets it drift."""
    stations = pin_stations(cage, pocket, angle)
    pitch_radius = pitch_diameter(cage) / 2
    lowest = (cage["inner_raceway"] + pocket["roller_diameter"]) / 2
    highest = lowest + seat_range(cage)
    radius = min(max(pitch_radius + stations[1].real, lowest), highest)
    play = play_reached(pocket)
    backward, forward = [], []
    for p in stations:
        misfit = pitch_radius + p.real - radius
        free = 0.0 if abs(misfit) >= play else math.sqrt(play**2 - misfit**2)
        backward.append((p.imag - free) / radius)
        forward.append((p.imag + free) / radius)
    return radius, max(backward), min(forward)


def roller_spacing(cage: Values, pocket: Values, follower: Values, angle: float, step: float) -> float:
    """Gap 3 from a pocket to the next one, `step` = 2π/Z [rad] further on."""
    radius, _, forward = roller_drift(cage, pocket, angle)
    radius_next, backward, _ = roller_drift(cage, follower, angle + step)
    between = step + backward - forward
    chord = math.sqrt(radius**2 + radius_next**2 - 2 * radius * radius_next * math.cos(between))
    return chord - (pocket["roller_diameter"] + follower["roller_diameter"]) / 2


def end_clearance(cage: Values, pocket: Values, angle: float) -> float:
    """Gap 4."""
    tilt_x, tilt_y = cage.get("ring_parallelism", (0.0, 0.0))
    spacing = cage["ring_spacing"] + tilt_x * math.cos(angle) + tilt_y * math.sin(angle)
    spacing -= pocket.get("weld_shrinkage", 0.0)
    lost = pocket.get("ring_face_flatness", 0.0) + pocket.get("roller_end_runout", 0.0)
    lost += math.hypot(tilt_x, tilt_y) * pocket["roller_diameter"] / pitch_diameter(cage)
    return spacing - lost - pocket["roller_length"]


def pin_skew(cage: Values, pocket: Values, angle: float) -> float:
    """Gap 5, along the circumference [mrad]."""
    end_a, end_b = pin_ends(cage, pocket, angle)
    return 1000 * (end_b.imag - end_a.imag) / cage["ring_spacing"]


def pin_tilt(cage: Values, pocket: Values, angle: float) -> float:
    """Gap 5, outward [mrad]."""
    end_a, end_b = pin_ends(cage, pocket, angle)
    return 1000 * (end_b.real - end_a.real) / cage["ring_spacing"]


def free_pin_end(pocket: Values) -> complex:
    """Gap 6, a + s + n: where the end of the free pin stands at ring B."""
    slots = ("hole_position_a", "pin_seat_a", "pin_squareness_a")
    return sum((vector(pocket, slot) for slot in slots), 0j)


def pin_entry(cage: Values, pocket: Values, angle: float) -> float:
    """Gap 6: hole clearance less the distance of the free pin's end from its hole in ring B."""
    a, b = pitch_diameters(cage)
    pin = free_pin_end(pocket)
    hole = vector(pocket, "hole_position_b") + ring_shift(cage, angle)
    return (pocket["ring_hole_b"] - pocket["pin_diameter"]) / 2 - abs(pin - hole + (a - b) / 2)


def cantilever_stress(cage: Values, pocket: Values, deflection: float, modulus: float) -> float:
    """Gap 6, 3·E·d_p·δ/(2W²)."""
    return 3 * modulus * pocket["pin_diameter"] * deflection / (2 * cage["ring_spacing"] ** 2)


def entry_stress(cage: Values, pocket: Values, angle: float, modulus: float) -> float:
    """Gap 6: bending the pin's end by what pin_entry lacks."""
    return cantilever_stress(cage, pocket, max(0.0, -pin_entry(cage, pocket, angle)), modulus)


def weld_stress(cage: Values, pocket: Values, angle: float, modulus: float, fixture: str) -> float:
    """Gap 6: bending the pin's end to where the fixture centres it in ring B (or squares it as well)."""
    a, b = pitch_diameters(cage)
    pin = free_pin_end(pocket)
    goal = vector(pocket, "hole_position_b") + vector(pocket, "pin_seat_b") + ring_shift(cage, angle)
    factor = {"centres": 1, "squares": 2}[fixture]
    return factor * cantilever_stress(cage, pocket, abs(goal - pin + (b - a) / 2), modulus)


def weld_gap(pocket: Values, sign: int) -> float:
    """Gap 7: the annular gap where it is narrowest (`sign` −1) or widest (+1)."""
    return (pocket["ring_hole_b"] - pocket["pin_diameter"]) / 2 + sign * abs(vector(pocket, "pin_seat_b"))


def roller_wall(pocket: Values) -> float:
    """Gap 8."""
    return (pocket["roller_diameter"] - pocket["roller_bore"]) / 2 - eccentricity(pocket)


def ring_clearance_outer(cage: Values, pocket: Values) -> float:
    """Gap 9, outer shoulder: the cage is stopped by rollers on the outer raceway."""
    shoulder = (cage["outer_guide"] - cage["ring_outside"]) / 2
    travel = play_reached(pocket) + inner_seat(cage, pocket) + seat_range(cage)
    return shoulder - travel - abs(vector(cage, "ring_concentricity"))


def ring_clearance_inner(cage: Values, pocket: Values) -> float:
    """Gap 9, inner shoulder: the cage is stopped by rollers on the inner raceway."""
    shoulder = (cage["ring_inside"] - cage["inner_guide"]) / 2
    travel = play_reached(pocket) - inner_seat(cage, pocket)
    return shoulder - travel - abs(vector(cage, "ring_concentricity"))


def pitch_differences(cage: Values, here: list[tuple[Values, float]]) -> list[float]:
    """By how much the pitch from each pin to the next differs from the one after, at mid-length."""
    along = [pin_stations(cage, pocket, angle)[1].imag for pocket, angle in here]
    pitches = [after - before for before, after in zip(along, [*along[1:], along[0]], strict=True)]
    return [abs(after - before) for before, after in zip(pitches, [*pitches[1:], pitches[0]], strict=True)]


def cage_gaps(cage: Values, pockets: list[Values], options: dict | None = None) -> dict[str, list[float]]:
    """Section 3, gaps 1 to 9 and the pitch difference of every pocket of one cylindrical cage.

    `cage` and the Z dicts of `pockets` give one number (size, one-sided) or pair (zone) per slot, under the
    slot names of section 1. Zones, one-sided slots, shrinkages, ring_phase and radial_internal_clearance that
    are left out count as zero; a gap of which another slot is left out is itself left out. Pocket i stands at
    2πi/Z, the last is followed by the first. `pin_modulus` [N/mm2] (206 000) and `weld_fixture` ("centres")
    are looked for in `options`, then in `cage`.
    """
    settings = {"pin_modulus": 206_000.0, "weld_fixture": "centres"} | cage | (options or {})
    modulus, fixture = settings["pin_modulus"], settings["weld_fixture"]
    step = 2 * math.pi / len(pockets)
    angles = [i * step for i in range(len(pockets))]
    followers = [*pockets[1:], pockets[0]]
    here = list(zip(pockets, angles, strict=True))
    bore = ("roller_bore", "pin_diameter")
    hole = ("ring_hole_b", "pin_diameter")
    pins = ("hole_pitch_diameter", "ring_spacing")
    seats = ("hole_pitch_diameter", "inner_raceway", "roller_diameter", *bore)
    runs = (*seats, "ring_spacing", "roller_length")
    enters = ("hole_pitch_diameter", *hole)
    table: dict[str, tuple[tuple[str, ...], Callable[[], list[float]]]] = {
        "bore_clearance": (bore, lambda: [bore_clearance(p) for p in pockets]),
        "running_clearance": (runs, lambda: [running_clearance(cage, p, a) for p, a in here]),
        "roller_spacing": (
            runs,
            lambda: [roller_spacing(cage, p, f, a, step) for (p, a), f in zip(here, followers, strict=True)],
        ),
        "end_clearance": (
            (*pins, "roller_diameter", "roller_length"),
            lambda: [end_clearance(cage, p, a) for p, a in here],
        ),
        "pin_skew": (pins, lambda: [pin_skew(cage, p, a) for p, a in here]),
        "pin_tilt": (pins, lambda: [pin_tilt(cage, p, a) for p, a in here]),
        "roller_wall": (("roller_diameter", "roller_bore"), lambda: [roller_wall(p) for p in pockets]),
        "pin_entry": (enters, lambda: [pin_entry(cage, p, a) for p, a in here]),
        "entry_stress": (
            (*enters, "ring_spacing"),
            lambda: [entry_stress(cage, p, a, modulus) for p, a in here],
        ),
        "weld_stress": (
            (*pins, "pin_diameter"),
            lambda: [weld_stress(cage, p, a, modulus, fixture) for p, a in here],
        ),
        "weld_gap": (hole, lambda: [weld_gap(p, -1) for p in pockets]),
        "weld_gap_widest": (hole, lambda: [weld_gap(p, +1) for p in pockets]),
        "ring_clearance_outer": (
            (*seats, "outer_guide", "ring_outside"),
            lambda: [ring_clearance_outer(cage, p) for p in pockets],
        ),
        "ring_clearance_inner": (
            (*seats, "ring_inside", "inner_guide"),
            lambda: [ring_clearance_inner(cage, p) for p in pockets],
        ),
        "pitch_difference": ((*pins, "roller_length"), lambda: pitch_differences(cage, here)),
    }
    return {
        name: values()
        for name, (needed, values) in table.items()
        if all(slot in (cage if slot in CAGE_SLOTS else p) for slot in needed for p in pockets)
    }


def folds(values: list[float]) -> dict[str, float]:
    """Section 3, last paragraph: least, greatest, mean and spread over the pockets of a cage."""
    least, greatest = min(values), max(values)
    return {"least": least, "greatest": greatest, "mean": fmean(values), "spread": greatest - least}


# -- Section 2: slow draws -------------------------------------------------------------------------------

STANDARD = NormalDist()
NATURAL = math.sqrt(-2 * math.log(1 - 0.9973))  # 3.4393: the radius, in sigma, that 0.9973 stay within
DEFAULT_SHAPES = {"size": "normal", "zone": "normal", "one-sided": "rayleigh"}
SHAFTS = frozenset({"pin_diameter", "roller_diameter", "ring_outside", "inner_guide"})
HOLES = frozenset({"roller_bore", "ring_hole_b", "outer_guide", "ring_inside"})


def size_limits(law: dict) -> Pair:
    """Section 2: the least and the greatest size on the drawing."""
    return law["nominal"] + law.get("lower", 0.0), law["nominal"] + law.get("upper", 0.0)


def size_process(law: dict) -> NormalDist:
    """Section 2, Law: the normal process of a size, 3σ = T/cp, before any inspection."""
    low, high = size_limits(law)
    half = (high - low) / 2
    cp = law.get("cp", law.get("cpk", 1.0))
    shift = law.get("shift", 0.0)
    if "cp" in law and "cpk" in law:
        shift = {"upper": 1, "lower": -1}[law["toward"]] * half * (1 - law["cpk"] / cp)
    return NormalDist((low + high) / 2 + shift, half / (3 * cp))


def size_value(law: dict, score: float) -> float:
    """Section 2: the size behind a normal score, of the process as it is or cut off at the drawing."""
    process = size_process(law)
    if process.stdev == 0 or not law.get("inspected"):
        return process.mean + process.stdev * score
    below, within = (process.cdf(limit) for limit in size_limits(law))
    return process.inv_cdf(below + STANDARD.cdf(score) * (within - below))


def one_sided_value(law: dict, score: float) -> float:
    """Section 2: the Rayleigh value behind a normal score, of the process or cut off at the limit."""
    sigma = law["limit"] / law.get("cp", 1.0) / NATURAL
    if not law.get("inspected"):
        return sigma * math.sqrt(-2 * math.log(STANDARD.cdf(-score)))
    within = 1 - math.exp(-((NATURAL * law.get("cp", 1.0)) ** 2) / 2)
    return sigma * math.sqrt(-2 * math.log1p(-STANDARD.cdf(score) * within))


def zone_value(law: dict, scores: complex, radius: float) -> complex:
    """Section 2: the vector behind two normal scores; `radius` is that of the zone with its bonus.

    Inspection shortens the radius by its own distribution function and keeps the direction. Where the mean is
    off the middle as well, that is no longer the process cut off at the zone: `zone_draw` rejects instead.
    """
    sigma = law["zone"] / 2 / law.get("cp", 1.0) / NATURAL
    if not law.get("inspected"):
        return complex(*law.get("offset", (0.0, 0.0))) + sigma * scores
    within = 1 - math.exp(-((radius / sigma) ** 2) / 2)
    inside = -math.expm1(-(abs(scores) ** 2) / 2) * within
    return scores / abs(scores) * sigma * math.sqrt(-2 * math.log1p(-inside))


def zone_draw(law: dict, shared: complex, radius: float, rng: random.Random) -> complex:
    """Section 2: one zone, its scores partly shared with the other pockets of the cage (lot_share)."""
    share = law.get("lot_share", 0.0)
    if law["zone"] == 0:
        return complex(*law.get("offset", (0.0, 0.0)))
    own = complex(rng.gauss(0, 1), rng.gauss(0, 1))
    if share or not law.get("inspected"):
        if law.get("inspected") and any(law.get("offset", ())):
            raise ValueError("the model has no law for an inspected zone with both an offset and a lot share")
        return zone_value(law, math.sqrt(share) * shared + math.sqrt(1 - share) * own, radius)
    process = {key: value for key, value in law.items() if key != "inspected"}
    value = zone_value(process, own, radius)
    while abs(value) > radius:
        value = zone_value(process, complex(rng.gauss(0, 1), rng.gauss(0, 1)), radius)
    return value


def sorted_sizes(law: dict, count: int, rng: random.Random) -> list[float]:
    """Section 2, sorted_to: one part out of the population inside the limits picks the class of the cage,
    whose members are then picked out of the population one by one.
    """
    low, high = size_limits(law)
    process, width = size_process(law), law["sorted_to"]
    first = rng.gauss(process.mean, process.stdev)
    while not low <= first <= high:
        first = rng.gauss(process.mean, process.stdev)
    floor = low + math.floor((first - low) / width) * width
    ceiling = min(floor + width, high)
    members = []
    while len(members) < count:
        part = rng.gauss(process.mean, process.stdev)
        if floor <= part <= ceiling:
            members.append(part)
    return members


def departure(feature: str, law: dict, value: float) -> float:
    """Section 2, material bonus: how far a size is from its maximum material size, not below 0."""
    low, high = size_limits(law)
    if feature in HOLES or law.get("feature") == "hole":
        return max(0.0, value - low)
    if feature in SHAFTS or law.get("feature") == "shaft":
        return max(0.0, high - value)
    raise ValueError(f"{feature} is neither a hole nor a shaft")


def draw_slot(law: dict, count: int, bonus: list[float], rng: random.Random) -> list[float] | list[complex]:
    """Section 2, scope and lot_share: `count` values of one slot, 1 for scope cage, else Z."""
    share = law.get("lot_share", 0.0)
    if law.get("sorted_to"):
        return sorted_sizes(law, count, rng)
    if law["kind"] == "zone":
        shared = complex(rng.gauss(0, 1), rng.gauss(0, 1))
        return [zone_draw(law, shared, (law["zone"] + extra) / 2, rng) for extra in bonus]
    common = rng.gauss(0, 1)
    value = {"size": size_value, "one-sided": one_sided_value}[law["kind"]]
    return [
        value(law, math.sqrt(share) * common + math.sqrt(1 - share) * rng.gauss(0, 1)) for _ in range(count)
    ]


def turned(value: float | complex, angle: float) -> float | complex:
    """Section 3: a vector of the whole cage in the axes of the pocket at `angle`; a number as it is."""
    if not isinstance(value, complex):
        return value
    x, y = value.real, value.imag
    return complex(
        x * math.cos(angle) + y * math.sin(angle),
        -x * math.sin(angle) + y * math.cos(angle),
    )


def plain(value: float | complex) -> float | Pair:
    """A zone's value as the pair that `cage_gaps` reads."""
    return (value.real, value.imag) if isinstance(value, complex) else value


def draw_cage(spec: dict[str, dict], rng: random.Random) -> tuple[Values, list[Values]]:
    """Section 2: one cage drawn from its laws, as the `cage` and `pockets` of `cage_gaps`.

    `spec["rollers"]` = {"kind": "count", "nominal": Z}; every other slot has `kind` "size" (`nominal`,
    `lower`, `upper`), "zone" (`zone`) or "one-sided" (`limit`), and may have `scope` (the slot's own by
    default), `cp`, `cpk`, `toward`, `shift` (sizes), `offset` (zones), `inspected`, `lot_share`, `sorted_to`,
    `bonus_from`. Only the default shapes: normal sizes and zones, Rayleigh one-sided. Zones come as pairs
    (r, t), those of cage slots as (x, y).
    """
    rollers = spec["rollers"]["nominal"]
    drawn: dict[str, list] = {}
    laws = {name: law for name, law in spec.items() if name != "rollers"}
    for name in sorted(laws, key=lambda slot: "bonus_from" in laws[slot]):  # a bonus needs its feature first
        law = laws[name]
        if law.get("shape", DEFAULT_SHAPES[law["kind"]]) != DEFAULT_SHAPES[law["kind"]]:
            raise ValueError(f"{name}: the twin draws the default shapes only")
        whole = law.get("scope", "cage" if name in CAGE_SLOTS else "pocket") == "cage"
        if whole and (law.get("lot_share") or law.get("sorted_to")):
            raise ValueError(f"{name}: lot_share and sorted_to are for dimensions of the pocket")
        count = 1 if whole else rollers
        bonus = [0.0] * count
        if "bonus_from" in law:
            feature = law["bonus_from"]
            if whole and len(drawn[feature]) > 1:
                raise ValueError(f"{name}: one zone of the cage cannot have the bonus of {rollers} pockets")
            sizes = drawn[feature] * (count // len(drawn[feature]))
            bonus = [departure(feature, laws[feature], size) for size in sizes]
        drawn[name] = draw_slot(law, count, bonus, rng)
    cage = {name: plain(values[0]) for name, values in drawn.items() if name in CAGE_SLOTS}
    pockets = [
        {
            name: plain(values[i] if len(values) > 1 else turned(values[0], 2 * math.pi * i / rollers))
            for name, values in drawn.items()
            if name not in CAGE_SLOTS
        }
        for i in range(rollers)
    ]
    return cage, pockets
