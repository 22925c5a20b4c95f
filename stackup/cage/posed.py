"""Numbers of a whole cage in symbols: a ring set over its pins, a cage that centres itself (``docs/model.md``, 11, 12).

Both are the greatest, over a pose, of the least room of all pockets (``BestPose`` in ``chain/symbols.py``).  The proofs
of their floors and ceilings stand in ``docs/proofs.md``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import sympy
from sympy import Tuple

from stackup.chain.symbols import ANGLE, BestPose, Greatest, Length, Magnitude, symbol

COSINE, SINE = sympy.cos(symbol(ANGLE)), sympy.sin(symbol(ANGLE))
#: what the pose of a floor takes of the ring's lean, and of its offset: the worst case chooses them
LEAN_SHARE, OFFSET_SHARE = "lean_share", "offset_share"
#: their values where nobody chooses
SHARES = {LEAN_SHARE: 0.0, OFFSET_SHARE: 0.0}
#: the pose of ring_fit: ring B against ring A, as ring_offset and ring_phase (arc at the pitch radius) measure it [mm]
RING_MOVES = ("ring B along x", "ring B along y", "arc of ring B")


@dataclass(frozen=True)
class Cone:
    """The lean β of the holes: cosβ, sinβ, and the lean (r, t) of ring B, by which it is out of parallel."""

    cosine: Any
    sine: Any
    lean: tuple[Any, Any]


def ring_fit(play: Any, radial: Any, tangential: Any, cone: Cone | None = None) -> Any:
    """Return ring_entry: pins (radial, tangential) off their holes, to be met by a shift (x, y) and a turn of ring B.

    On a cone a shift counts radially by cosβ, and the lean p of the ring adds p_r sinβ to ``radial``.  The floor
    shifts ring B by k·p; the best k, between 0 and tanβ, is for the worst case to choose (docs/proofs.md).
    """
    tilt, off, floor, shares = sympy.Integer(1), radial, (radial, tangential), Tuple()
    if cone is not None:
        tilt, off, k = cone.cosine, radial + cone.sine * cone.lean[0], symbol(LEAN_SHARE)
        floor = (radial + (cone.sine - k * tilt) * cone.lean[0], tangential - k * cone.lean[1])
        shares = Tuple(Tuple(k, 0, 1))
    meets = Tuple(Tuple(play, off, tangential, Tuple(tilt * COSINE, tilt * SINE, 0), Tuple(-SINE, COSINE, 1)))
    outward = play - Magnitude(radial)
    return BestPose(meets, play - Length(*floor), Tuple(outward, play), Tuple(outward), shares)


@dataclass(frozen=True)
class Station:
    """A place on the roller: radial misfit ``middle`` ± ``half`` over ends and seats, ``aside`` along the circle."""

    middle: Any
    half: Any
    aside: Any


@dataclass(frozen=True)
class Place:
    """One end or the middle as the floor sees it: |``misfit``| + half the play of the seats, and ``aside``."""

    misfit: Any
    aside: Any


def centring(play: Any, stations: Sequence[Station], moves: Sequence[Any], floor: Any, ceiling: Any) -> Any:
    """Return cage_float: |misfit| + half is the greater of both signs, so each station has two cones.

    ``moves`` is what each part of the pose adds to a misfit; ``floor`` is the running clearance of a cage shifted by
    what all its pockets share (``shifted``), ``ceiling`` a room of a pocket whose mean no shift changes.
    """
    along = Tuple(*[-move for move in moves])
    none = Tuple(*[0] * len(moves))
    meets = [
        Tuple(play, one.middle + sign * one.half, one.aside, along, none) for one in stations for sign in (1, -1)
    ]
    share = Tuple(symbol(OFFSET_SHARE), sympy.Rational(-1, 2), sympy.Rational(1, 2))
    return BestPose(Tuple(*meets), floor, Tuple(ceiling, play), Tuple(), Tuple(share))


def shifted(play: Any, places: Sequence[Place], half_play: Any, swing: Any) -> Any:
    """Return the running clearance of a cage that moves by a share of its ring offset, ``swing`` in this pocket."""
    move = symbol(OFFSET_SHARE) * swing
    return play - Greatest(*[Length(Magnitude(one.misfit + move) + half_play, one.aside) for one in places])
