"""The figures of the gaps of a whole cage: a ring set over its pins, a cage that centres itself.  Drawn by make.py."""

from __future__ import annotations

import math

from drawing import AIR, FAINT, GAP, INK, PIN, RACE, RING, ROLLER, Figure, Point, on

NOTE = "Seen along the bearing axis. Not to scale: clearances and errors much enlarged."
COUNT = 8
#: a shift (right, up) and a turn that no pin minds, and how far each pin is off besides, in the figure's own unit
SHIFT, TURN = (5.0, 4.0), 5.0
OFF = ((3, 1), (-2, 3), (2, -3), (1, 2), (-3, 1), (2, -2), (1, 3), (3, 0))
#: the play of a pin in its hole
PLAY = 9


def _turn(index: int) -> float:
    return 90 + 360 * index / COUNT


def _place(centre: Point, index: int, radius: float, outward: float = 0.0, along: float = 0.0) -> Point:
    """Return a point at pocket ``index``, moved outward and along the circumference."""
    at, side = on(centre, radius + outward, _turn(index)), on((0, 0), 1, _turn(index) + 90)
    return at[0] + side[0] * along, at[1] + side[1] * along


def _parts(shift: Point, index: int) -> Point:
    """Return a shift (right, up) as a pocket sees it: outward and along the circumference."""
    turn = math.radians(_turn(index))
    right, up = shift
    return right * math.cos(turn) + up * math.sin(turn), up * math.cos(turn) - right * math.sin(turn)


def _ring(f: Figure, centre: Point, words: str, moved: Point = (0, 0), turned: float = 0.0) -> None:
    """Draw ring B with its holes at ``centre`` + ``moved``, turned by so much of the circumference, over all pins."""
    middle = (centre[0] + moved[0], centre[1] - moved[1])
    f.circle(middle, 142, RING)
    f.circle(middle, 72, AIR)
    for k in range(COUNT):
        f.circle(_place(middle, k, 107, 0, turned), 20, AIR)
    for k, off in enumerate(OFF):
        shared = _parts(SHIFT, k)
        pin = _place(centre, k, 107, off[0] + shared[0], off[1] + shared[1] + TURN)
        hole = _place(middle, k, 107, 0, turned)
        away = ((pin[0] - hole[0]) ** 2 + (pin[1] - hole[1]) ** 2) ** 0.5
        f.circle(pin, 11, PIN, GAP if away > PLAY else INK)
    f.cross(centre, FAINT)
    f.cross(middle)
    f.text((centre[0], centre[1] + 175), words, "middle", size=13)


def ring_entry() -> Figure:
    """Gap 11: the same pins against ring B as a fixture sets it, and as it is shifted and turned to where all go in."""
    f = Figure("ring_entry = max over (x, y, φ) of min_{i} pin_entry_{i}", NOTE)
    _ring(f, (170, 215), "rings concentric: red pins do not enter")
    _ring(f, (510, 215), "shifted and turned: all enter", SHIFT, TURN)
    f.arrow((322, 205), (352, 205))
    f.name((512, 192), "ring_entry", "middle")
    f.text((512, 244), "room of the pin", "middle", size=13, colour=FAINT)
    f.text((512, 260), "that has least", "middle", size=13, colour=FAINT)
    return f


def cage_float() -> Figure:
    """Gap 12: the cage hangs to one side; once it has centred itself, the tightest pocket has what is left."""
    f = Figure("cage_float = max over (x, y) of min_{i} running_clearance_{i}", NOTE)
    for centre, moved, words in (
        ((170, 215), (10.0, 5.0), "off to one side: red pins carry their rollers"),
        ((510, 215), (0.0, 0.0), "centred: every pin is free"),
    ):
        f.circle(centre, 148, "none", RACE)
        f.circle(centre, 66, "none", RACE)
        for k in range(COUNT):
            outward, along = _parts(moved, k)  # along the circumference the roller follows its pin
            roller = _place(centre, k, 107, 0, along)
            f.circle(roller, 37, ROLLER)
            f.circle(roller, 21, AIR)
            f.circle(_place(centre, k, 107, outward, along), 11, PIN, GAP if abs(outward) > PLAY else INK)
        cage = (centre[0] + moved[0], centre[1] - moved[1])
        f.circle(cage, 107, "none", FAINT, "5 4")
        f.cross(centre, FAINT)
        f.cross(cage)
        f.text((centre[0], centre[1] + 175), words, "middle", size=13)
    f.arrow((322, 205), (352, 205))
    f.name((510, 192), "cage_float", "middle")
    f.text((510, 244), "room of the", "middle", size=13, colour=FAINT)
    f.text((510, 260), "tightest pocket", "middle", size=13, colour=FAINT)
    return f


FIGURES = {"ring_entry": ring_entry, "cage_float": cage_float}
