"""How numbers are written: they never flatter, and their digits follow what is known of them.

Fractions of a population are written by ``stackup.decide.words``, which notes use as well.
"""

from __future__ import annotations

import math

from stackup.chain.model import Allowance, Requirement
from stackup.decide.words import interval, parts, share

__all__ = [
    "allowed",
    "decimals",
    "interval",
    "limits",
    "number",
    "parts",
    "percent",
    "room",
    "sensitivity",
    "share",
    "span",
    "spark",
    "tail",
]

#: what stands for a number that does not exist
NONE = "–"
#: less room than this is not told in digits
LEAST_ROOM = 1e-9
#: blocks of a histogram in one line
SPARKS = 32
_BLOCKS = " ▁▂▃▄▅▆▇█"


def decimals(width: float) -> int:
    """Return the decimals that show a value of a spread ``width`` to about a thousandth of it, 0 to 9."""
    if not (math.isfinite(width) and width > 0):
        return 4
    return min(max(round(3 - math.log10(width)), 0), 9)


def number(value: float | None, places: int) -> str:
    """Return ``value`` with ``places`` decimals; a dash for what does not exist, never a negative zero."""
    if value is None or not math.isfinite(value):
        return NONE
    text = f"{value:.{places}f}"
    return text.removeprefix("-") if not text.strip("-0.") else text


def span(low: float | None, high: float | None, places: int) -> str:
    """Return ``low … high``, or a dash where neither exists."""
    if low is None and high is None:
        return NONE
    return f"{number(low, places)} … {number(high, places)}"


def limits(requirement: Requirement, unit: str = "") -> str:
    """Return the limits as the case states them: ``≥ 0.02 mm``, ``0.02 … 0.4 mm``."""
    low, high = requirement.min, requirement.max
    after = f" {unit}" if unit else ""
    if low is not None and high is not None:
        return f"{low:.10g} … {high:.10g}{after}"
    if low is None and high is None:
        return NONE
    return f"≥ {low:.10g}{after}" if high is None else f"≤ {high:.10g}{after}"


def allowed(allow: Allowance) -> str:
    """Return what a requirement allows: ``100 ppm``, ``2 %``."""
    return f"{allow.ppm / 1e4:.10g} %" if allow.ppm >= 1e4 else f"{allow.ppm:.10g} ppm"


def room(value: float, unit: str) -> str:
    """Return how far inside or outside a limit: less is written of what is inside, more of what is outside."""
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "without bound"
    if value == 0:
        return "at the limit"
    side = "inside" if value > 0 else "outside"
    if abs(value) < LEAST_ROOM:
        return f"<{LEAST_ROOM:.0e} {unit} {side}".replace("e-0", "e-")
    places = 1 - math.floor(math.log10(abs(value)))
    scaled = abs(value) * 10.0**places * (1 + math.copysign(1e-6, value))
    steps = math.floor(scaled) if value > 0 else math.ceil(scaled)
    return f"{steps / 10.0**places:.{max(places, 0)}f} {unit} {side}"


def tail(value: float) -> str:
    """Return the fraction beyond the limits by a law, which is never quite nothing."""
    return parts(max(value, 1e-300))


def percent(part: float | None) -> str:
    """Return a share of 1 in whole per cent; ``<1 %`` for what is not nothing."""
    if part is None or not math.isfinite(part):
        return NONE
    if 0 < abs(part) < 0.005:
        return "<1 %" if part > 0 else ">-1 %"
    return f"{100 * part:.0f} %"


def sensitivity(value: float | None) -> str:
    """Return a derivative with three digits and its sign."""
    if value is None or not math.isfinite(value):
        return NONE
    return f"{value:+.3g}"


def spark(counts: tuple[int, ...]) -> str:
    """Return a histogram as one line of at most SPARKS blocks; one with anything in it is never blank."""
    merged = -(-len(counts) // SPARKS)
    counts = tuple(sum(counts[start : start + merged]) for start in range(0, len(counts), merged))
    most = max(counts, default=0)
    if most == 0:
        return ""
    return "".join(_BLOCKS[math.ceil(8 * count / most)] for count in counts)
