"""Numbers of a whole cage in symbols: a ring set over its pins, a cage that centres itself (``docs/model.md``, gap 10).

Both are the greatest, over a pose, of the least room of all pockets (``BestPose`` in ``chain/symbols.py``).  The proofs
of their floors and ceilings stand in ``docs/proofs.md``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import sympy
from sympy import Tuple

from stackup.chain.symbols import ANGLE, BestPose, Length, Magnitude, symbol

COSINE, SINE = sympy.cos(symbol(ANGLE)), sympy.sin(symbol(ANGLE))


def ring_fit(play: Any, radial: Any, tangential: Any, tilt: Any = 1, left: tuple[Any, Any] = (0, 0)) -> Any:
    """Return ring_entry: pins (radial, tangential) off their holes, to be met by a shift (x, y) and a turn of ring B.

    ``tilt`` is cosβ where the plane of the holes leans: a shift counts there by tilt·x.  ``left`` is what the pose of
    the floor leaves in every pocket of what all pockets share (a ring that leans), 0 for the pose 0.
    """
    cone = Tuple(play, radial, tangential, Tuple(tilt * COSINE, tilt * SINE, 0), Tuple(-SINE, COSINE, 1))
    outward = play - Magnitude(radial)
    floor = play - Length(radial + left[0], tangential + left[1])
    return BestPose(Tuple(cone), floor, Tuple(outward, play), Tuple(outward))


@dataclass(frozen=True)
class Station:
    """A place on the roller: radial misfit ``middle`` ± ``half`` over ends and seats, ``aside`` along the circle."""

    middle: Any
    half: Any
    aside: Any


def centring(play: Any, stations: Sequence[Station], moves: Sequence[Any], floor: Any, ceiling: Any) -> Any:
    """Return cage_float: |misfit| + half is the greater of both signs, so each station has two cones.

    ``moves`` is what each part of the pose adds to a misfit; ``floor`` is the running clearance of a cage not shifted,
    ``ceiling`` a room of a pocket whose mean over the pockets no shift changes.
    """
    along = Tuple(*[-move for move in moves])
    none = Tuple(*[0] * len(moves))
    cones = [
        Tuple(play, one.middle + sign * one.half, one.aside, along, none) for one in stations for sign in (1, -1)
    ]
    return BestPose(Tuple(*cones), floor, Tuple(ceiling, play), Tuple())
