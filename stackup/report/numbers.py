"""How numbers are written: they never flatter, and their digits follow what is known of them.

Fractions of a population are written by ``stackup.decide.words``, which notes use as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from stackup.chain.model import Allowance, Requirement
from stackup.decide.words import interval, parts, share
from stackup.engine.result import Contribution

__all__ = [
    "allowed",
    "decimals",
    "interval",
    "limits",
    "means_of_sensitivities",
    "number",
    "parts",
    "percent",
    "room",
    "sensitivity",
    "share",
    "span",
    "spark",
    "tail",
    "written_decimals",
]

#: what stands for a number that does not exist
NONE = "–"
#: from here on all digits of a number would fill the screen
HUGE = 1e15
#: less room than this is not told in digits
LEAST_ROOM = 1e-9
#: what stands below a table with any sensitivity without a sign
RMS = "rms: root mean square of the slope over the population; behind a kink it has no sign"
#: a mean derivative of this part of the root mean square has a sign
DETERMINED = 0.9
#: blocks of a histogram in one line
SPARKS = 32
_BLOCKS = " ▁▂▃▄▅▆▇█"


def decimals(width: float) -> int:
    """Return the decimals that show a value of a spread ``width`` to about a thousandth of it, 0 to 9.

    A spread of nothing but round-off tells nothing: four.
    """
    if not (math.isfinite(width) and width >= LEAST_ROOM):
        return 4
    return min(max(round(3 - math.log10(width)), 0), 9)


def number(value: float | None, places: int) -> str:
    """Return ``value`` with ``places`` decimals; a dash for what does not exist, never a negative zero."""
    if value is None or not math.isfinite(value):
        return NONE
    text = f"{value:.{places}f}" if abs(value) < HUGE else f"{value:.6g}"
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


def room(value: float, unit: str, places: int | None = None) -> str:
    """Return how far inside or outside a limit.

    With ``places`` decimals it is rounded as the numbers of a table beside it, but never to nothing.  Else less is
    written of what is inside, more of what is outside.
    """
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "without bound"
    if value == 0:
        return "at the limit"
    side = "inside" if value > 0 else "outside"
    least = LEAST_ROOM if places is None else 10.0**-places
    if abs(value) < (least if places is None else 0.55 * least):
        shown = f"{least:.0e}".replace("e-0", "e-") if places is None else f"{least:.{max(places, 0)}f}"
        return f"<{shown} {unit} {side}"
    if places is not None:
        return f"{abs(value):.{places}f} {unit} {side}"
    places = 1 - math.floor(math.log10(abs(value)))
    scaled = abs(value) * 10.0**places * (1 + math.copysign(1e-6, value))
    steps = math.floor(scaled) if value > 0 else math.ceil(scaled)
    return f"{steps / 10.0**places:.{max(places, 0)}f} {unit} {side}"


def written_decimals(value: float | None) -> int:
    """Return with how many decimals a number of a case file is written, 0 for none."""
    return len(f"{value:.9f}".rstrip("0").partition(".")[2]) if value is not None else 0


def tail(value: float) -> str:
    """Return the fraction beyond the limits by a law, which is never quite nothing."""
    return parts(max(value, 1e-300))


def percent(part: float | None) -> str:
    """Return a share of 1 in whole per cent; ``<1 %`` for what is not nothing."""
    if part is None or not math.isfinite(part):
        return NONE
    if 0 < part < 0.005:
        return "<1 %"
    return f"{100 * part:.0f} %".replace("-0 %", "0 %")


def sensitivity(one: Contribution) -> str:
    """Return a sensitivity with three digits: with its sign, or ``0.35 rms`` where it has none.

    Behind a kink the mean derivative is told where it is well determined: nearly as large as the root mean square.
    """
    value, mean = one.sensitivity, one.mean_sensitivity
    if not math.isfinite(value):
        return NONE
    if not one.signed and mean is not None and abs(mean) >= DETERMINED * value:
        value = mean
    elif not one.signed:
        return f"{value:.3g} rms"
    return f"{value:+.3g}" if value else "0"


def means_of_sensitivities(contributions: Iterable[Contribution]) -> str:
    """Return what ``rms`` means where any sensitivity is written with it, else nothing."""
    return RMS if any(sensitivity(one).endswith(" rms") for one in contributions) else ""


def spark(counts: tuple[int, ...]) -> str:
    """Return a histogram as one line of at most SPARKS blocks; one with anything in it is never blank."""
    merged = -(-len(counts) // SPARKS)
    counts = tuple(sum(counts[start : start + merged]) for start in range(0, len(counts), merged))
    most = max(counts, default=0)
    if most == 0:
        return ""
    return "".join(_BLOCKS[math.ceil(8 * count / most)] for count in counts)
