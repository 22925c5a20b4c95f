"""The figures of the tapered cage: its layout, its gaps, and the faces of its rings.

Leans, tapers and errors are drawn much larger than they are; each figure says so.
"""

from __future__ import annotations

import math

from drawing import FAINT, GAP, INK, PIN, RACE, RING, ROLLER, Figure, Point, on

#: the bearing axis, and the apex of the cone on it
AXIS = 380.0
APEX = (46.0, AXIS)
LEAN = math.radians(24)
TAPER = math.radians(4.5)
#: the planes of the inner faces
FACE_A, FACE_B = 280.0, 560.0
PIN_INK = "#a06a00"


def along(distance: float, off: float = 0.0, lean: float = LEAN) -> Point:
    """Return the point at a distance from the apex along the pins' nominal axis, ``off`` outward of it."""
    return turned(APEX, distance, off, lean)


def turned(origin: Point, t: float, off: float, lean: float) -> Point:
    """Return the point ``t`` along a line that leans outward from ``origin``, ``off`` square to it."""
    x = origin[0] + t * math.cos(lean) - off * math.sin(lean)
    return x, origin[1] - t * math.sin(lean) - off * math.cos(lean)


def at_plane(x: float, lean: float = LEAN) -> Point:
    """Return where a line from the apex cuts the plane at x."""
    return x, APEX[1] - (x - APEX[0]) * math.tan(lean)


def _roller(f: Figure, start: float = 296.0, end: float = 546.0, fill: str = ROLLER) -> tuple[float, float]:
    """Draw the roller between two distances from the apex; return its half diameters."""
    small, large = start * math.tan(TAPER), end * math.tan(TAPER)
    f.area([along(start, -small), along(end, -large), along(end, large), along(start, small)], fill)
    return small, large


def _rings(f: Figure) -> None:
    for x, side, words in ((FACE_A, -1, "A"), (FACE_B, 1, "B")):
        y = at_plane(x)[1]
        f.box(min(x, x + 24 * side), y - 46, 24, 92, RING)
        f.text((x + 12 * side, y - 54), words, "middle", weight="bold")


def _raceway(f: Figure) -> None:
    """Draw the inner raceway: a cone about the same apex."""
    lean = LEAN - TAPER
    a, b = at_plane(238, lean), at_plane(612, lean)
    f.area([a, b, (b[0], b[1] + 24), (a[0], a[1] + 24)], RACE)


def tapered_layout() -> Figure:
    """Everything that makes the cone: both pitch circles, spacing, roller, raceway."""
    f = Figure(
        "tanβ = (D_{hB} − x_{w} − D_{hA})/(2W_{0}),   W_{0} = W − h_{w}, all nominal",
        "Meridian plane of a pocket. Not to scale: apex much too near, angles too large.",
    )
    f.axis((20, AXIS), (740, AXIS))
    _raceway(f)
    _rings(f)
    _roller(f)
    f.line(APEX, at_plane(640), PIN_INK, 1.6)
    f.line(APEX, at_plane(640, LEAN - TAPER), FAINT, 0.9, "5 4")
    f.line(APEX, at_plane(640, LEAN + TAPER), FAINT, 0.9, "5 4")
    f.cross(APEX)
    f.text((40, 366), "apex", "middle", size=13)
    f.curve([along(120, 0, LEAN * k / 12) for k in range(13)], INK)
    f.text((176, 366), "β")
    f.curve([along(222, 0, LEAN + TAPER * k / 6) for k in range(7)], INK)
    f.text((236, 262), "ν", size=15)
    f.lead((244, 266), along(224, 9))
    for x, words in ((FACE_A, "D_{hA}/2"), (FACE_B, "D_{hB}/2")):
        f.dim((x, AXIS), at_plane(x), INK)
        f.text((x + 8, AXIS - 24), words, size=14)
    f.lead(at_plane(FACE_A), (FACE_A, 84))
    f.lead(at_plane(FACE_B), (FACE_B, 84))
    f.dim((FACE_A, 92), (FACE_B, 92))
    f.text(((FACE_A + FACE_B) / 2, 82), "W_{0}", "middle")
    f.text((632, at_plane(640)[1] + 26), "pin axis", size=13, colour=PIN_INK)
    f.text((616, 272), "inner raceway,", size=13)
    f.text((616, 288), "F_{A}, F_{B} in the planes", size=13)
    f.text((616, 304), "of the inner faces", size=13)
    return f


def _running(end: str) -> Figure:
    """Pin and roller axis at the stations, and along the axis what is left of the bore."""
    title = f"running_clearance_{end} = c − max over {'S, M' if end == 'small' else 'M, L'} of √(misfit² + tangential²)"
    f = Figure(title, "Left: seen along the roller. Right: meridian plane, three stations. Not to scale.")
    seat, pin, reach = (170, 236), (222, 182), 120
    f.circle(seat, reach, "#f4f7fb")
    f.cross(seat)
    f.text((160, 258), "roller axis", "end", size=13)
    away = math.degrees(math.atan2(seat[1] - pin[1], pin[0] - seat[0]))
    f.line(seat, pin, INK, 1.6)
    f.gap(pin, on(seat, reach, away))
    f.cross(pin, PIN_INK)
    f.text((196, 172), "pin axis", "middle", size=13, colour=PIN_INK)
    f.name((18, 76), f"running_clearance_{end}")
    f.lead((190, 82), (238, 160), GAP)
    f.lead(pin, (222, 320))
    f.dim((170, 312), (222, 312))
    f.text((196, 332), "tangential", "middle", size=13)
    f.lead(pin, (318, 182))
    f.lead(seat, (318, 236))
    f.dim((312, 182), (312, 236))
    f.text((320, 206), "misfit =", size=13)
    f.text((320, 223), "(R − r) cosβ", size=13)
    f.line(seat, on(seat, reach, 222), INK, 1.0)
    f.head(on(seat, reach, 222), math.radians(180 - 42), INK)
    f.text((112, 298), "c")
    _tapered_stations(f, end)
    return f


def _tapered_stations(f: Figure, end: str) -> None:
    """Draw roller axis and bowed pin axis with the misfits that count."""
    start, lean = (440.0, 330.0), math.radians(20)

    def at(t: float, off: float) -> Point:
        return turned(start, t, off, lean)

    f.area([at(20, -44), at(270, -64), at(270, 64), at(20, 44)], ROLLER)
    f.axis(at(-16, 0), at(300, 0))
    f.lead(at(206, 0), (690, 370))
    f.text((690, 388), "roller axis", "middle", size=13)
    f.text(at(120, 44), "pin axis", "middle", PIN_INK, size=13)
    for place in (0.0, 290.0):
        f.line(at(place, -74), at(place, 74), INK, 5)
    f.text(at(-8, 84), "A", "middle")
    f.text(at(298, 84), "B", "middle")
    bow = [at(290 * k / 30, 6 + 20 * k / 30 + 22 * 4 * (k / 30) * (1 - k / 30)) for k in range(31)]
    f.curve(bow, PIN_INK, 2.4)
    for t, words in ((20.0, "S"), (145.0, "M"), (270.0, "L")):
        counts = words in ("M", "S" if end == "small" else "L")
        x = t / 290
        f.line(at(t, 0), at(t, 6 + 20 * x + 22 * 4 * x * (1 - x)), GAP if counts else FAINT, 2.4 if counts else 1.2)
        f.text(at(t, -18), words, "middle", GAP if counts else FAINT, size=14)


def running_clearance_small() -> Figure:
    """Mid-length and small end."""
    return _running("small")


def running_clearance_large() -> Figure:
    """Mid-length and large end."""
    return _running("large")


def _spacing(end: str) -> Figure:
    """Two rollers seen from outside, their axes converging to the apex, turned towards each other."""
    sub = "S" if end == "small" else "L"
    title = f"roller_spacing_{end} = chord(r_{{i}}, r_{{i+1}}, Δ) − cos(ψ/2)·(D_{{{sub},i}} + D_{{{sub},i+1}})/2"
    f = Figure(title, "Seen from outside, towards the bearing axis. Not to scale: apex much too near.")
    apex, half = (60.0, 216.0), math.radians(9.5)
    taper, start, end_at = math.radians(6.6), 330.0, 600.0
    for side, words in ((1, "roller i+1"), (-1, "roller i")):
        turn = half * side
        places = ((start, -1), (end_at, -1), (end_at, 1), (start, 1))
        f.area([turned(apex, t, off * t * math.tan(taper), turn) for t, off in places], ROLLER)
        f.axis(apex, turned(apex, 660, 0, turn))
        at = turned(apex, 400, 0, turn)
        f.text((at[0], at[1] + (-12 if side < 0 else 22)), words, "middle", size=14)
        pin = half * 1.3 * side
        f.line(turned(apex, 270, 0, pin), turned(apex, 660, 0, pin), PIN_INK, 2.0)
    f.cross(apex)
    f.text((60, 246), "apex", "middle", size=13)
    f.curve([turned(apex, 210, 0, half * k / 10) for k in range(-10, 11)], INK)
    f.text((262, 221), "ψ", "end")
    f.text((716, 70), "pin", size=13, colour=PIN_INK)
    t = start + 6 if end == "small" else end_at - 6
    open_ = (half - taper) * t * 0.98
    x = apex[0] + t * math.cos(half - taper)
    f.gap((x, apex[1] - open_), (x, apex[1] + open_))
    f.name((16, 76), f"roller_spacing_{end}")
    f.lead((180, 82), (x - 2, apex[1] - open_ * 0.3), GAP)
    f.text((16, 322), "sin(ψ/2) = sinβ sin(Δ/2)", size=14)
    f.text((16, 344), "Δ = 2π/Z + α^{−}_{i+1} − α^{+}_{i}", size=14)
    f.text((16, 366), "each roller has turned about the bearing axis", size=13, colour=FAINT)
    f.text((16, 383), "towards the other as far as its pin lets it", size=13, colour=FAINT)
    return f


def roller_spacing_small() -> Figure:
    """Between the small ends."""
    return _spacing("small")


def roller_spacing_large() -> Figure:
    """Between the large ends."""
    return _spacing("large")


def apex_crossing() -> Figure:
    """The pin axis in its meridian plane cuts the bearing axis farther from ring A than on the drawing."""
    f = Figure(
        "apex_crossing = R_{A}W_{i}/(R_{B} − R_{A}) − the same of the nominals",
        "Meridian plane of the pin. Not to scale: errors much enlarged, apex much too near.",
    )
    f.axis((20, AXIS), (740, AXIS))
    _rings(f)
    nominal = (150.0, AXIS)
    slope = (AXIS - at_plane(FACE_B)[1]) / (FACE_B - nominal[0])
    f.line(nominal, (640, AXIS - slope * (640 - nominal[0])), FAINT, 1.2, "6 4")
    crossing, less = (70.0, AXIS), slope * 0.865
    a, b = ((x, AXIS - less * (x - crossing[0])) for x in (FACE_A, FACE_B))
    f.line(crossing, (640, AXIS - less * (640 - crossing[0])), PIN_INK, 2.0)
    f.text((420, AXIS - less * 350 - 16), "pin axis", "end", PIN_INK, size=13)
    f.text((646, AXIS - slope * 494 + 14), "nominal", size=13, colour=FAINT)
    for (x, y), words in ((a, "R_{A}"), (b, "R_{B}")):
        f.dim((x, AXIS), (x, y))
        f.text((x + 8, AXIS - 40), words)
    f.lead(at_plane(FACE_A), (FACE_A, 84))
    f.lead(at_plane(FACE_B), (FACE_B, 84))
    f.dim((FACE_A, 92), (FACE_B, 92))
    f.text(((FACE_A + FACE_B) / 2, 82), "W_{i}", "middle")
    for x in (crossing[0], nominal[0]):
        f.lead((x, AXIS), (x, 320))
    f.gap((crossing[0], 328), (nominal[0], 328))
    f.name((20, 286), "apex_crossing")
    f.lead((92, 292), (110, 324), GAP)
    return f


def apex_miss() -> Figure:
    """Seen along the bearing axis: the pin axis passes it."""
    f = Figure(
        "apex_miss = |R_{A} P_{t,B} − R_{B} P_{t,A}|/√((R_{B} − R_{A})² + (P_{t,B} − P_{t,A})²)",
        "Seen along the bearing axis, from ring B. Not to scale: errors much enlarged.",
    )
    centre = (200.0, 250.0)
    f.cross(centre, INK, 9)
    f.text((186, 238), "bearing axis", "end", size=13)
    f.axis((60, 250), (740, 250))
    f.text((738, 270), "the pocket's r", "end", FAINT, size=13)
    a, b = (430.0, 216.0), (650.0, 148.0)
    slope = (b[1] - a[1]) / (b[0] - a[0])
    f.line((80, a[1] + slope * (80 - a[0])), (720, a[1] + slope * (720 - a[0])), PIN_INK, 1.8)
    f.text((668, 118), "pin axis", size=13, colour=PIN_INK)
    for point, words, here in ((a, "A", "P_{t,A}"), (b, "B", "P_{t,B}")):
        f.circle(point, 15, PIN)
        f.cross(point, PIN_INK, 5)
        f.text((point[0], point[1] - 24), words, "middle")
        f.dim((point[0], 250), point)
        f.text((point[0] + 10, (point[1] + 262) / 2), here, size=14)
        f.lead((point[0], 250), (point[0], 350))
    f.lead((200, 290), (200, 392))
    f.dim((200, 340), (430, 340))
    f.text((316, 330), "R_{A}", "middle")
    f.lead((650, 340), (650, 392))
    f.dim((200, 376), (650, 376))
    f.text((480, 366), "R_{B}", "middle")
    # the foot of the perpendicular from the bearing axis on the pin axis
    t = ((centre[0] - a[0]) + (centre[1] - a[1]) * slope) / (1 + slope * slope)
    f.gap(centre, (a[0] + t, a[1] + slope * t))
    f.name((16, 150), "apex_miss")
    f.lead((92, 156), (200, 262), GAP)
    return f


def tapered_ends() -> Figure:
    """The three forms of the rings' inner faces, at ring B."""
    f = Figure(
        "end_clearance along the roller axis: where the large end is nearest to ring B",
        "Left and middle: meridian plane. Right: seen towards the bearing axis. Not to scale.",
    )
    lean, length = math.radians(16), 120.0
    for k, words in enumerate(("flat: one plane", "square: a spot face at each pin")):
        foot = (40.0 + 250 * k, 290.0)

        def at(t: float, off: float, foot: Point = foot) -> Point:
            return turned(foot, t, off, lean)

        edge = 72.0
        sphere = [at(length + 10 - 26 * (s / edge) ** 2, s) for s in (edge * (2 * i / 20 - 1) for i in range(21))]
        f.area([at(0, -edge + 8), *sphere, at(0, edge - 8)], ROLLER)
        f.axis(at(-12, 0), at(length + 70, 0))
        if k == 0:
            x = at(length + 44, 0)[0]
            f.box(x, 130, 26, 220, RING)
            touch = at(length + 10 - 26 * (0.78) ** 2, -0.78 * edge)
            f.gap(touch, (x, touch[1]))
        else:
            f.area([at(length + 34, -92), at(length + 64, -92), at(length + 64, 92), at(length + 34, 92)], RING)
            inner = length + 10 - 26 * 0.4**2
            for off in (-0.4 * edge, 0.4 * edge):
                f.line(at(40, off), at(inner, off), FAINT, 1.0, "5 4")
            f.gap(at(inner, 0.4 * edge), at(length + 34, 0.4 * edge))
        f.text((foot[0] + 104, 84), words, "middle", size=13)
    f.text((130, 380), "nearest towards the bearing axis", "middle", size=13, colour=FAINT)
    f.text((396, 380), "nearest at the rim of the bore", "middle", size=13, colour=FAINT)
    centre, edge = (640.0, 230.0), 80.0
    spots = [edge * (2 * i / 20 - 1) for i in range(21)]
    sphere = [(centre[0] - 40 - 26 * (s / edge) ** 2, centre[1] + s) for s in spots]
    f.area([(centre[0] - 150, centre[1] - edge), *sphere, (centre[0] - 150, centre[1] + edge)], ROLLER)
    face = [(centre[0] + 6 - 15 * (s / edge) ** 2, centre[1] + s) for s in (110 * (2 * i / 20 - 1) for i in range(21))]
    f.area([*face, (centre[0] + 36, centre[1] + 110), (centre[0] + 36, centre[1] - 110)], RING)
    f.axis((centre[0] - 164, centre[1]), (centre[0] + 60, centre[1]))
    f.gap((centre[0] - 40 - 26 * 0.16, centre[1] + 0.4 * edge), (centre[0] + 6 - 15 * 0.16, centre[1] + 0.4 * edge))
    f.text((622, 84), "conical: one turned cone", "middle", size=13)
    f.text((622, 380), "hollow towards the roller: x² sinβ/D_{hB}", "middle", size=13, colour=FAINT)
    return f


FIGURES = {
    made.__name__: made
    for made in (
        tapered_layout,
        running_clearance_small,
        running_clearance_large,
        roller_spacing_small,
        roller_spacing_large,
        tapered_ends,
        apex_crossing,
        apex_miss,
    )
}
