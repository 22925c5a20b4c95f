"""Measures what the model of the cylindrical cage leaves out, on cages like those of ``cases/demo.toml``.

Run: ``python docs/neglected.py`` (numpy only, half a minute).  It shares no line with the package.  The numbers
it prints are those of "What is neglected" in ``docs/model.md``.  Lengths in mm; all numbers are invented.
"""

from __future__ import annotations

from typing import Any

import numpy as np

Z, CAGES = 48, 3000
RNG = np.random.default_rng(5)
SHAPE = (Z, CAGES)


def zone(diameter: float, pockets: int = Z) -> Any:
    """Draw vectors with P(|v| ≤ t/2) = 0.9973."""
    return RNG.normal(0, diameter / 2 / 3.4393, (2, pockets, CAGES))


def size(middle: float, half: float, pockets: int = Z) -> Any:
    """Draw sizes with 3σ = half."""
    return RNG.normal(middle, half / 3, (pockets, CAGES))


def runout(limit: float) -> Any:
    """Draw one-sided values with P(x ≤ limit) = 0.9973 (Rayleigh)."""
    return limit * np.sqrt(np.log(1 - RNG.random(SHAPE)) / np.log(1 - 0.9973))


a, b, s, q, w = zone(0.12), zone(0.12), zone(0.04), zone(0.06), zone(0.03)
n = zone(0.10) + np.array([0.004, 0.0])[:, None, None]
roller = 49.99 + RNG.uniform(-0.01, 0.01, (1, CAGES)) + RNG.uniform(-0.002, 0.002, SHAPE)
bore = 16.035 + 0.07 / 6 * (np.sqrt(0.4) * RNG.normal(size=CAGES) + np.sqrt(0.6) * RNG.normal(size=SHAPE))
e, pin_size = runout(0.04) / 2, size(15.3878, 0.0135 / 1.33)
pitch, play = size(800.13, 0.05, 1), size(0.33, 0.07, 1) / 2
low = (size(749.975, 0.025, 1) + roller) / 2
theta = 2 * np.pi * np.arange(Z)[:, None] / Z
x, y = zone(0.10, 1)
shift = np.array([x * np.cos(theta) + y * np.sin(theta), y * np.cos(theta) - x * np.sin(theta)])
shift[1] += size(0, 0.04, 1)
reach = 108.973 / size(109.9, 0.15, 1)
at_a, at_b = a + s - shift / 2, b + q + shift / 2
room, most = (bore - pin_size) / 2 - e, (bore - pin_size) / 2 + e
seat = low - pitch / 2


def pin(part: Any, bent: float = 0.0) -> Any:
    """Return the pin axis at the fraction ``part`` of the way; ``bent`` 1: with a rigid seat in ring A."""
    straight = at_a + part * (at_b - at_a) + 8 * part * (1 - part) * w
    locked = b + q + shift - a - s - n
    return straight + bent * locked * (part**2 * (3 - part) / 2 - part)


def stations(count: int, bent: float = 0.0) -> list[Any]:
    """Return the pin axis at ``count`` places from one end of the roller to the other."""
    return [pin((1 + u * reach) / 2, bent) for u in np.linspace(-1, 1, count)]


def running(places: list[Any], tau: Any) -> Any:
    """Return the running clearance with the roller's axis at ``tau`` along the circumference."""
    needs = [np.hypot(np.abs(p[0] - seat - play / 2) + play / 2, p[1] - tau) for p in places]
    return room - np.maximum.reduce(needs)


def best_running(places: list[Any], tau: Any) -> Any:
    """Return the greatest running clearance over ``tau`` (golden section)."""
    lo, hi, ratio = tau - 0.1, tau + 0.1, (5**0.5 - 1) / 2
    for _ in range(40):
        one, two = hi - ratio * (hi - lo), lo + ratio * (hi - lo)
        left = running(places, one) > running(places, two)
        lo, hi = np.where(left, lo, one), np.where(left, two, hi)
    return running(places, (lo + hi) / 2)


def turns(places: list[Any], radius: Any) -> tuple[Any, Any]:
    """Return how far back and ahead (rad) a roller at ``radius`` can go."""
    off = [pitch / 2 + p[0] - radius for p in places]
    way = [np.sqrt(np.maximum(most**2 - m**2, 0)) for m in off]
    back = np.maximum.reduce([p[1] - f for p, f in zip(places, way, strict=True)])
    ahead = np.minimum.reduce([p[1] + f for p, f in zip(places, way, strict=True)])
    return back / radius, ahead / radius


def spacing(one: tuple[Any, Any, Any], two: tuple[Any, Any, Any]) -> Any:
    """Return the gap of roller i (radius, back, ahead) to roller i + 1, both given per pocket."""
    radius, other, back = one[0], np.roll(two[0], -1, 0), np.roll(two[1], -1, 0)
    delta = 2 * np.pi / Z + back - one[2]
    chord = np.sqrt((other - radius) ** 2 + 4 * radius * other * np.sin(delta / 2) ** 2)
    found = chord - (roller + np.roll(roller, -1, 0)) / 2
    possible = (one[2] >= one[1]) & np.roll(two[2] >= two[1], -1, 0)
    return np.where(possible, found, np.inf)


def main() -> None:
    """Print every difference in µm."""
    three, many = stations(3), stations(41)
    tau = (three[0][1] + three[2][1]) / 2
    said = running(three, tau)
    _say("running_clearance, best τ less mean of the ends", best_running(three, tau) - said)
    _say("running_clearance, 41 stations less 3", running(many, tau) - said)
    rigid = stations(3, bent=1.0)
    _say("running_clearance, bent pin less straight", running(rigid, (rigid[0][1] + rigid[2][1]) / 2) - said)
    nearest = np.clip(pitch / 2 + three[1][0], low, low + play)
    model = (nearest, *turns(three, nearest))
    radii = [low + play * k / 20 for k in range(21)]
    ways = [(r, *turns(many, r)) for r in radii]
    least = np.minimum.reduce([spacing(one, two) for one in ways for two in ways])
    _say("roller_spacing, least over both radii less model", least - spacing(model, model))


def _say(what: str, difference: Any) -> None:
    um = 1000 * difference[np.isfinite(difference)]
    print(f"{what}: mean {um.mean():+.1f}, from {um.min():+.1f} to {um.max():+.1f} µm")


if __name__ == "__main__":
    main()
