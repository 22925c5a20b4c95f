"""Draws one figure for every built-in gap: ``python docs/figures/make.py`` writes NAME.svg beside this file.

Standard library only, and the same bytes on every machine.  Clearances are drawn much larger than the parts;
each figure says so.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))  # the pen and the other kinds stand beside this file

import tapered
import whole_cage
from drawing import AIR, FAINT, GAP, INK, PIN, RACE, RING, ROLLER, Figure, Point, on


def bore_clearance() -> Figure:
    """Gap 1: the pin lies in the bore, the whole play is on one side."""
    note = "Seen along the axis. Not to scale: clearance much enlarged."
    f = Figure("bore_clearance = d_{b} − d_{p}", note)
    f.circle((330, 215), 165, ROLLER)
    f.circle((330, 215), 92, AIR)
    f.circle((330, 239), 68, PIN)
    f.text((330, 92), "roller", "middle")
    f.text((330, 222), "pin", "middle")
    f.dim((262, 239), (398, 239))
    f.text((330, 258), "d_{p}", "middle")
    for y in (123, 307):
        f.lead((330, y), (112, y))
    f.dim((118, 123), (118, 307))
    f.text((108, 220), "d_{b}", "end")
    f.gap((330, 123), (330, 171))
    f.lead((336, 147), (520, 147), GAP)
    f.name((526, 152), "bore_clearance")
    f.text((526, 174), "on diameter: the pin lies", size=13, colour=FAINT)
    f.text((526, 191), "against one side of the bore", size=13, colour=FAINT)
    return f


def _side(f: Figure, x: float, top: float, bottom: float, words: str) -> None:
    f.box(x, top, 26, bottom - top, RING)
    f.text((x + 13, bottom + 18), words, "middle")


def running_clearance() -> Figure:
    """Gap 2: what is left between where the pin stands and where the roller would push it."""
    title = "running_clearance = c − √((|P_{r} − ρ − G_{r}/4| + G_{r}/4)² + (P_{t} − τ)²)"
    note = "Left: seen along the axis, at one station. Right: the three stations. Not to scale."
    f = Figure(title, note)
    inner, outer, pin, reach = (190, 250), (190, 205), (244, 172), 134
    f.circle(inner, reach, "#f4f7fb")
    f.circle(outer, reach, "none", FAINT, "5 4")
    f.axis((190, 60), (190, 390))
    f.cross(inner)
    f.cross(outer, FAINT)
    for k, words in enumerate(("roller axis", "on the inner", "raceway (ρ, τ)")):
        f.text((178, 240 + 16 * k), words, "end", size=13)
    f.text((178, 192), "on the outer", "end", size=13, colour=FAINT)
    f.text((178, 208), "raceway", "end", size=13, colour=FAINT)
    away = math.degrees(math.atan2(inner[1] - pin[1], pin[0] - inner[0]))
    f.line(inner, pin, INK, 1.6)
    f.gap(pin, on(inner, reach, away))
    f.cross(pin)
    f.text((212, 154), "pin axis P", "middle", size=13)
    f.lead((262, 140), (334, 104), GAP)
    f.name((296, 92), "running_clearance")
    f.lead((244, 178), (244, 330))
    f.dim((190, 322), (244, 322))
    f.text((216, 341), "P_{t} − τ", "middle", size=14)
    f.lead((250, 172), (360, 172))
    f.lead((196, 250), (360, 250))
    f.dim((352, 172), (352, 250))
    f.text((360, 208), "misfit,", size=14)
    f.text((360, 225), "radially", size=14)
    f.line(inner, on(inner, reach, 222), INK, 1.0)
    f.head(on(inner, reach, 222), math.radians(180 - 42), INK)
    f.text((126, 318), "c", size=15)
    f.box(500, 130, 180, 170, ROLLER)
    f.axis((440, 215), (744, 215))
    f.text((590, 284), "roller", "middle", size=14)
    f.text((740, 234), "ρ", "end", size=14)
    _side(f, 468, 90, 330, "A")
    _side(f, 686, 90, 330, "B")
    bow = [(494 + 192 * k / 20, 196 - 28 * k / 20 - 24 * 4 * (k / 20) * (1 - k / 20)) for k in range(21)]
    f.curve(bow, "#a06a00", 2.4)
    for k in (1, 10, 19):
        f.line(bow[k], (bow[k][0], 215), GAP, 1.6)
    f.text((590, 366), "pin axis with its bow,", "middle", size=13)
    f.text((590, 383), "at three stations", "middle", size=13)
    return f


def roller_spacing() -> Figure:
    """Gap 3: two neighbours that have drifted towards each other."""
    title = "roller_spacing = chord(R_{i}, R_{i+1}, Δ) − (D_{w,i} + D_{w,i+1})/2"
    note = "Seen along the axis. Not to scale: pitch circle much too small, clearances much enlarged."
    f = Figure(title, note)
    centre, pitch, half, size = (380.0, 640.0), 430.0, 18.8, 102.0
    pins = [on(centre, pitch, 90 + s * half) for s in (1, -1)]
    drift = [on(centre, pitch + s, 90 + k * (half - 3.2)) for k, s in ((1, 8), (-1, -6))]
    for pin, roller in zip(pins, drift, strict=True):
        f.circle(roller, size, ROLLER)
        f.circle(roller, 54, AIR)
        f.circle(pin, 29, PIN)
        f.cross(pin, "#a06a00", 5)
        f.cross(roller)
    for pin, words, x, side in zip(pins, ("i", "i+1"), (112, 648), (1, -1), strict=True):
        anchor = "end" if side > 0 else "start"
        f.text((x, 150), f"roller {words}", anchor, size=14)
        f.lead((x + 4 * side, 146), (x + 92 * side, 180))
        f.text((x, 214), f"pin {words}", anchor, size=14)
        f.lead((x + 4 * side, 212), (pin[0], pin[1] + 9))
    f.curve([on(centre, pitch, 90 + d) for d in range(-46, 47, 2)], FAINT, 1.0, "12 3 2 3")
    f.text((748, 300), "pitch circle", "end", FAINT, size=13)
    a, b = drift
    d = math.dist(a, b)
    u = ((b[0] - a[0]) / d, (b[1] - a[1]) / d)
    f.gap((a[0] + size * u[0], a[1] + size * u[1]), (b[0] - size * u[0], b[1] - size * u[1]))
    f.name((380, 106), "roller_spacing", "middle")
    f.lead((380, 112), ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2 - 4), GAP)
    for roller in drift:
        toward = math.atan2(centre[1] - roller[1], centre[0] - roller[0])
        f.line(roller, (roller[0] + 166 * math.cos(toward), roller[1] + 166 * math.sin(toward)), INK, 1.0)
    f.curve([on(centre, 292, 90 + k / 2) for k in range(-31, 32)], INK, 1.2)
    f.text((380, 372), "Δ", "middle")
    f.text((744, 378), "Δ = 2π/Z + α^{−}_{i+1} − α^{+}_{i}", "end")
    f.text((292, 344), "R_{i}", "end", size=14)
    f.text((469, 344), "R_{i+1}", size=14)
    why = "Each roller has gone as far towards the other as its pin lets it:"
    f.text((16, 58), why, size=13, colour=FAINT)
    f.text((16, 76), "the pin bears on the bore on the far side.", size=13, colour=FAINT)
    return f


def end_clearance() -> Figure:
    """Gap 4: axially between the ring faces."""
    title = "end_clearance = W + p_{x} cosθ + p_{y} sinθ − h_{w} − k_{f} − |p|·D_{w}/D_{h} − L_{w} − k_{r}"
    f = Figure(title, "Side view in the r–z plane. Not to scale: tilt and clearance much enlarged.")
    f.area([(60, 90), (100, 90), (100, 330), (60, 330)], RING)
    f.area([(500, 90), (544, 90), (578, 330), (534, 330)], RING)
    f.text((80, 120), "A", "middle")
    f.text((528, 120), "B", "middle")
    f.box(100, 188, 418, 34, PIN)
    f.box(100, 108, 350, 190, ROLLER)
    f.line((100, 188), (450, 188), FAINT, 1.0, "6 4")
    f.line((100, 222), (450, 222), FAINT, 1.0, "6 4")
    f.axis((40, 205), (610, 205))
    f.text((275, 160), "roller, pushed against ring A", "middle", size=14)
    f.gap((450, 112), (503, 112))
    f.lead((477, 106), (477, 72), GAP)
    f.name((477, 66), "end_clearance", "middle")
    f.lead((100, 330), (100, 384))
    f.lead((450, 298), (450, 356))
    f.dim((100, 348), (450, 348))
    f.text((275, 343), "L_{w}", "middle")
    f.lead((517, 222), (517, 386))
    f.dim((100, 378), (517, 378))
    f.text((330, 373), "W + p_{x} cosθ + p_{y} sinθ − h_{w}", "middle", size=14)
    f.text((572, 104), "the tilted face is nearest", size=13, colour=FAINT)
    f.text((572, 121), "at the roller's edge:", size=13, colour=FAINT)
    f.text((572, 138), "|p|·D_{w}/D_{h}", size=13, colour=FAINT)
    f.lead((568, 108), (508, 113))
    f.text((594, 262), "form of the faces k_{f},", size=13, colour=FAINT)
    f.text((594, 279), "of the roller's ends k_{r}", size=13, colour=FAINT)
    return f


def _lean(title: str, axis: str, view: str, name: str) -> Figure:
    """Gap 5: lean of the pin."""
    f = Figure(title, f"{view} Not to scale: lean much enlarged.")
    for x, words in ((130, "ring A"), (590, "ring B")):
        f.box(x, 80, 40, 250, RING)
        f.text((x + (10 if x < 400 else 32), 352), words, "middle", size=14)
    a, b = (170, 232), (590, 122)
    f.area([(170, 214), (590, 104), (590, 140), (170, 250)], PIN)
    f.axis((90, 268), (690, 268))
    f.line(a, b, "#a06a00", 1.8)
    f.text((240, 122), "pin axis (straight:", size=14)
    f.text((240, 140), "without its bow)", size=14)
    f.lead((300, 146), (330, 189))
    f.dim((196, 268), (196, 232))
    f.text((204, 292), f"A_{{{axis}}}", size=15)
    f.lead((170, 232), (204, 232))
    f.lead((590, 122), (664, 122))
    f.dim((652, 268), (652, 122))
    f.text((662, 200), f"B_{{{axis}}}")
    f.line(a, (590, 232), GAP, 1.2, "6 4")
    arc = [on(a, 250, d) for d in (0, 2, 4, 6, 8, 10, 12, 14, 14.7)]
    f.curve(arc, GAP, 2.2)
    f.head(arc[-1], math.radians(-104), GAP)
    f.name((432, 210), name)
    f.lead((170, 268), (170, 392))
    f.lead((590, 268), (590, 392))
    f.dim((170, 384), (590, 384))
    f.text((380, 379), "W", "middle")
    f.text((470, 288), "nominal axis", size=13, colour=FAINT)
    return f


def pin_skew() -> Figure:
    """Gap 5, tangential."""
    view = "Seen from outside, in the t–z plane."
    return _lean("pin_skew = 1000·(B_{t} − A_{t})/W  in mrad", "t", view, "pin_skew")


def pin_tilt() -> Figure:
    """Gap 5, radial."""
    view = "Side view, in the r–z plane."
    return _lean("pin_tilt = 1000·(B_{r} − A_{r})/W  in mrad", "r", view, "pin_tilt")


def pin_entry() -> Figure:
    """Gap 6: the free end of the pin against its hole in ring B."""
    title = "pin_entry = (d_{hB} − d_{p})/2 − |v|,  v = a + s + n − (b + ε_{i}) + ((D_{hA} − D_{hB})/2, 0)"
    note = "Left: side view of the pin fixed in ring A. Right: its end in the hole of ring B. Not to scale."
    f = Figure(title, note)
    f.box(40, 80, 34, 260, RING)
    f.box(300, 80, 34, 82, RING)
    f.box(300, 262, 34, 78, RING)
    f.text((57, 360), "ring A", "middle", size=14)
    f.text((317, 360), "ring B", "middle", size=14)
    f.area([(40, 226), (352, 176), (352, 218), (40, 268)], PIN)
    f.axis((24, 247), (270, 247))
    f.axis((262, 212), (400, 212))
    f.text((170, 232), "pin", "middle")
    f.text((170, 288), "nominal axis", "middle", FAINT, size=13)
    f.dim((376, 212), (376, 197))
    f.lead((340, 197), (384, 197))
    f.text((388, 192), "v")
    f.text((362, 256), "axis of", size=13, colour=FAINT)
    f.text((362, 272), "the hole", size=13, colour=FAINT)
    hole, pin = (590, 222), (612, 194)
    f.circle(hole, 130, RING)
    f.circle(hole, 112, AIR)
    f.circle(pin, 58, PIN)
    f.cross(hole)
    f.cross(pin, "#a06a00")
    f.arrow(hole, (609, 198), INK, 1.8)
    f.text((592, 206), "v", "end")
    away = math.degrees(math.atan2(hole[1] - pin[1], pin[0] - hole[0]))
    f.gap(on(pin, 58, away), on(hole, 112, away))
    f.name((648, 78), "pin_entry")
    f.lead((672, 84), (656, 130), GAP)
    f.dim(hole, on(hole, 112, 250))
    f.text((560, 296), "d_{hB}/2", "end", size=14)
    f.dim(pin, on(pin, 58, 325))
    f.text((636, 262), "d_{p}/2", size=14)
    f.text((590, 376), "ring B", "middle", size=14)
    return f


def _bent(f: Figure, x: float, top: float, squared: bool, colour: str = PIN) -> list[Point]:
    """Return the centre line of a bent pin 250 long and 60 high, and draw it."""
    line = []
    for k in range(31):
        t = k / 30
        sag = t * t * (3 - 2 * t) if squared else t * t * (3 - t) / 2
        line.append((x + 250 * t, top - 60 * sag))
    f.area([(px, py - 13) for px, py in line] + [(px, py + 13) for px, py in reversed(line)], colour)
    return line


def entry_stress() -> Figure:
    """Gap 6: a pin that is forced into its hole is a cantilever."""
    title = "entry_stress = 3·E·d_{p}·δ/(2W²),  δ = max(0, −pin_entry)"
    f = Figure(title, "Side view. Not to scale: deflection much enlarged.")
    f.box(150, 90, 60, 250, RING)
    f.text((170, 360), "ring A", "middle")
    f.text((162, 378), "(fixed end)", "middle", FAINT, size=13)
    f.area([(210, 237), (560, 237), (560, 263), (210, 263)], AIR, FAINT, 0.9)
    line = []
    for k in range(31):
        t = k / 30
        line.append((210 + 350 * t, 250 - 70 * t * t * (3 - t) / 2))
    f.area([(px, py - 13) for px, py in line] + [(px, py + 13) for px, py in reversed(line)], PIN)
    f.box(560, 90, 40, 74, RING)
    f.box(560, 206, 40, 134, RING)
    f.text((594, 360), "ring B", "middle")
    f.text((400, 284), "where the free pin would stand", "middle", FAINT, size=13)
    f.dim((626, 250), (626, 180))
    f.lead((560, 250), (634, 250))
    f.lead((560, 180), (634, 180))
    f.text((636, 220), "δ")
    f.text((652, 220), "forced", size=13, colour=FAINT)
    for y, s in ((234, -1), (266, 1)):
        f.line((206, y), (224, y), GAP, 5)
        f.lead((214, y + 4 * s), (262, y + 50 * s), GAP)
    f.name((262, 178), "entry_stress")
    f.text((262, 332), "bending stress at the skin, where", size=13, colour=FAINT)
    f.text((262, 348), "the pin leaves ring A", size=13, colour=FAINT)
    f.lead((210, 340), (210, 398))
    f.lead((560, 340), (560, 398))
    f.dim((210, 390), (560, 390))
    f.text((500, 385), "W", "middle")
    f.dim((300, 229), (300, 255))
    f.text((308, 246), "d_{p}", size=14)
    return f


def weld_stress() -> Figure:
    """Gap 6: the deflection that the weld locks in."""
    title = "weld_stress = 3·E·d_{p}·δ/(2W²)  (centres),  twice as much (squares)"
    note = "Side view. δ = |b + q + ε_{i} − (a + s + n) + ((D_{hB} − D_{hA})/2, 0)|. Not to scale."
    f = Figure(title, note)
    for x, squared, words in ((30, False, "centres"), (396, True, "squares")):
        f.text((x + 150, 72), f'weld_fixture = "{words}"', "middle", size=14)
        f.box(x, 100, 36, 220, RING)
        f.area([(x + 36, 237), (x + 286, 237), (x + 286, 263), (x + 36, 263)], AIR, FAINT, 0.9)
        _bent(f, x + 36, 250, squared)
        f.box(x + 274, 100, 30, 76, RING)
        f.box(x + 274, 204, 30, 116, RING)
        f.area([(x + 304, 168), (x + 318, 176), (x + 304, 178)], GAP, GAP)
        f.area([(x + 304, 212), (x + 318, 204), (x + 304, 202)], GAP, GAP)
        f.text((x + 18, 340), "A", "middle")
        f.text((x + 289, 340), "B", "middle")
        f.dim((x + 334, 250), (x + 334, 190))
        f.lead((x + 286, 250), (x + 340, 250))
        f.text((x + 322, 226), "δ", "end")
        ends = [(x + 46, 237)] if not squared else [(x + 46, 237), (x + 262, 204)]
        for at in ends:
            f.line((at[0] - 9, at[1]), (at[0] + 9, at[1]), GAP, 5)
        f.name((x + 60, 150), "weld_stress")
        f.lead((x + 100, 156), (x + 50, 232), GAP)
        if squared:
            f.lead((x + 152, 156), (x + 258, 204), GAP)
    f.text((180, 368), "end held in place, free to lean", "middle", FAINT, size=13)
    f.text((546, 368), "end held in place and square", "middle", FAINT, size=13)
    return f


def _weld(title: str, name: str, widest: bool) -> Figure:
    """Gap 7: the pin stands off the middle of its hole by q."""
    f = Figure(title, "Seen along the axis, at ring B. Not to scale: play much enlarged.")
    hole, pin = (330, 218), (364, 201)
    f.circle(hole, 168, RING)
    f.circle(hole, 132, AIR)
    f.circle(pin, 74, PIN)
    f.cross(hole)
    f.cross(pin, "#a06a00")
    f.arrow(hole, (359, 203), INK, 1.8)
    f.text((340, 200), "q", "end")
    f.text((372, 228), "pin", size=14)
    f.text((330, 376), "ring B", "middle", size=14)
    toward = math.degrees(math.atan2(hole[1] - pin[1], pin[0] - hole[0]))
    side = toward + 180 if widest else toward
    a, b = on(pin, 74, side), on(hole, 132, side)
    f.gap(a, b)
    middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    if widest:
        f.name((150, 268), name, "end")
        f.lead((152, 264), (middle[0] - 4, middle[1] + 4), GAP)
        f.text((150, 290), "most to fill", "end", FAINT, size=13)
    else:
        f.name((540, 110), name)
        f.lead((536, 108), (middle[0] + 4, middle[1] - 6), GAP)
        f.text((540, 132), "least for the weld", size=13, colour=FAINT)
    f.dim((330, 218), on(hole, 132, 290))
    f.text((342, 306), "d_{hB}/2", "end", size=14)
    return f


def weld_gap() -> Figure:
    """Gap 7, least."""
    return _weld("weld_gap = (d_{hB} − d_{p})/2 − |q|", "weld_gap", widest=False)


def weld_gap_widest() -> Figure:
    """Gap 7, widest."""
    return _weld("weld_gap_widest = (d_{hB} − d_{p})/2 + |q|", "weld_gap_widest", widest=True)


def roller_wall() -> Figure:
    """Gap 8: the bore is eccentric by e."""
    note = "Seen along the axis. Not to scale: eccentricity much enlarged."
    f = Figure("roller_wall = (D_{w} − d_{b})/2 − e", note)
    axis, bore = (330, 218), (366, 218)
    f.circle(axis, 160, ROLLER)
    f.circle(bore, 72, AIR)
    f.axis((150, 218), (520, 218))
    f.cross(axis)
    f.cross(bore, "#a06a00")
    f.gap((438, 218), (490, 218))
    f.lead((464, 212), (536, 152), GAP)
    f.name((540, 150), "roller_wall")
    f.lead((330, 224), (330, 268))
    f.lead((366, 224), (366, 268))
    f.dim((330, 258), (366, 258))
    f.text((348, 252), "e", "middle")
    f.dim(on(axis, 160, 125), axis)
    f.text((262, 156), "D_{w}/2", "end")
    f.dim(bore, on(bore, 72, 65))
    f.text((374, 176), "d_{b}/2", "end", size=14)
    f.text((540, 240), "e is half the runout", size=13, colour=FAINT)
    f.text((540, 257), "of the bore (TIR, 2e)", size=13, colour=FAINT)
    return f


def _ring(outer: bool) -> Figure:
    """Gap 9: the cage shifted until rollers stop it; the inner side is the outer one mirrored."""
    where = "outer" if outer else "inner"
    parts = "(ring_inside − inner_guide)/2 − (c_{+} − ρ)"
    if outer:
        parts = "(outer_guide − ring_outside)/2 − (c_{+} + ρ + G_{r}/2)"
    note = "Section in the r–z plane; the cage has moved as far as the rollers let it. Not to scale."
    f = Figure(f"ring_clearance_{where} = {parts} − |o|", note)

    def y(up: float) -> float:
        """Return the picture's y of a height above the roller axis, mirrored for the inner side."""
        return 278 - 1.7 * up if outer else 168 + 1.7 * up

    def slab(x0: float, x1: float, low: float, high: float, fill: str) -> None:
        f.area([(x0, y(low)), (x1, y(low)), (x1, y(high)), (x0, y(high))], fill)

    slab(120, 548, 84, 122, RACE)
    slab(120, 192, 66, 84.6, RACE)
    slab(476, 548, 66, 84.6, RACE)
    slab(204, 464, -60, 84, ROLLER)
    slab(204, 464, -38, 38, AIR)
    slab(136, 532, -14, 38, PIN)
    slab(130, 182, -34, 50, RING)
    slab(486, 538, -34, 50, RING)
    f.text((334, y(103) + 5), f"{where} ring, raceway", "middle", size=14)
    f.text((334, y(61) + 5), "roller, on this raceway", "middle", size=14)
    f.text((334, y(24) + 5), "pin, against the bore", "middle", size=14)
    f.axis((196, y(0)), (596, y(0)))
    f.axis((196, y(12)), (596, y(12)))
    f.text((602, y(-1) + (12 if outer else 0)), "roller axis", size=13, colour=FAINT)
    f.text((602, y(13) + (0 if outer else 12)), "pin axis, c_{+} beyond it", size=13, colour=FAINT)
    f.gap((512, y(50)), (512, y(66)))
    f.lead((518, y(58)), (560, y(58)), GAP)
    f.name((564, y(58) + 5), f"ring_clearance_{where}")
    f.text((156, y(-24) + 5), "A", "middle")
    f.text((512, y(-24) + 5), "B", "middle")
    f.text((114, y(75) + 5), "shoulder", "end", size=14)
    f.text((124, y(30) + 5), "cage ring", "end", size=14)
    f.arrow((60, y(-44)), (60, y(-4)), INK, 1.8)
    f.text((60, y(-58) + 5), "cage moves", "middle", size=13)
    return f


def ring_clearance_outer() -> Figure:
    """Gap 9 towards the outer ring."""
    return _ring(outer=True)


def ring_clearance_inner() -> Figure:
    """Gap 9 towards the inner ring."""
    return _ring(outer=False)


def pitch_difference() -> Figure:
    """Three neighbouring pins of the finished cage: two pitches, and by how much they differ."""
    f = Figure(
        "pitch_difference = |P_{t,i+2} − 2P_{t,i+1} + P_{t,i}|, at mid-length",
        "Seen along the axis. Not to scale: pitch circle much too small, the pins' errors much enlarged.",
    )
    centre, pitch = (380.0, 790.0), 560.0
    f.curve([on(centre, pitch, 90 + d / 2) for d in range(-76, 77, 2)], FAINT, 1.0, "12 3 2 3")
    f.text((748, 376), "pitch circle", "end", FAINT, size=13)
    true, stand = (28.0, 0.0, -28.0), (26.5, -3.6, -27.2)
    for k, (place, angle) in enumerate(zip(true, stand, strict=True)):
        f.axis(on(centre, pitch - 70, 90 + place), on(centre, pitch + 46, 90 + place))
        pin = on(centre, pitch, 90 + angle)
        f.circle(pin, 26, PIN)
        f.cross(pin, "#a06a00", 5)
        f.text(on(centre, pitch - 88, 90 + place), ("i", "i+1", "i+2")[k], "middle", size=14)
        f.line(on(centre, pitch + 4, 90 + angle), on(centre, pitch + 112, 90 + angle), INK, 0.9)
    laid_back = -3.6 + 23.6
    for a, b, out, label, words in (
        (26.5, -3.6, 60, 38, "pitch i to i+1"),
        (-3.6, -27.2, 60, 30, "pitch i+1 to i+2"),
        (laid_back, -3.6, 104, 114, "pitch i+1 to i+2, laid back"),
    ):
        f.curve([on(centre, pitch + out, 90 + a + (b - a) * k / 20) for k in range(21)])
        for end, turn in ((a, 90), (b, -90)):
            f.head(on(centre, pitch + out, 90 + end), math.radians(-(90 + end) - turn), INK)
        f.text(on(centre, pitch + label, 90 + (a + b) / 2), words, "middle", size=13)
    f.line(on(centre, pitch + 98, 90 + laid_back), on(centre, pitch + 116, 90 + laid_back), INK, 0.9)
    f.gap(on(centre, pitch + 104, 90 + laid_back), on(centre, pitch + 104, 90 + 26.5))
    f.name((16, 96), "pitch_difference")
    f.lead((92, 104), on(centre, pitch + 106, 90 + 24), GAP)
    return f


def raceway_clearance() -> Figure:
    """A roller on the inner raceway, cold and warm: what it leaves of the outer raceway, of either side one half."""
    title = "raceway_clearance = s_{o} (F_{w} + 2D_{w} + G_{r}) − s_{i} F_{w} − 2 s_{r} D_{w}"
    f = Figure(title, "Half of a section across the axis. Not to scale: clearance and growth much enlarged.")
    for x, words, inner, roller, low in ((60, "as made, 20 °C", 300, 120, 166), (360, "warm", 286, 126, 152)):
        middle, top = x + 110, inner - roller
        f.text((middle, 64), words, "middle", weight="bold")
        f.box(x, inner, 220, 352 - inner, RACE)
        f.text((middle, inner + 30), "inner ring", "middle", size=14)
        f.box(x, low - 82, 220, 82, RACE)
        f.text((middle, low - 48), "outer ring", "middle", size=14)
        f.circle((middle, inner - roller / 2), roller / 2, ROLLER)
        f.cross((middle, inner - roller / 2))
        f.line((middle - 70, top), (middle + 104, top), INK, 0.9)
        f.axis((x, 366), (x + 220, 366))
        if x < 100:
            f.dim((middle + 92, low), (middle + 92, top))
            f.text((middle + 106, (low + top) / 2 + 5), "G_{r}/2", size=14)
        else:
            f.gap((middle + 92, low), (middle + 92, top))
            f.name((592, 150), "raceway_clearance")
            f.text((592, 168), "half of it on this side", size=13, colour=FAINT)
        f.text((middle, 384), "bearing axis", "middle", FAINT, size=13)
    return f


FIGURES = {
    made.__name__: made
    for made in (
        bore_clearance,
        running_clearance,
        roller_spacing,
        end_clearance,
        pin_skew,
        pin_tilt,
        pin_entry,
        entry_stress,
        weld_stress,
        weld_gap,
        weld_gap_widest,
        roller_wall,
        ring_clearance_outer,
        ring_clearance_inner,
        pitch_difference,
        raceway_clearance,
    )
}
FIGURES |= tapered.FIGURES | whole_cage.FIGURES


def main(folder: Path) -> None:
    """Write all figures into ``folder``."""
    for name, draw in FIGURES.items():
        (folder / f"{name}.svg").write_text(draw().svg(), encoding="utf-8")


if __name__ == "__main__":
    main(Path(__file__).parent)
