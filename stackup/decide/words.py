"""Fractions in words: a non-zero fraction never reads 0, one below 1 never reads 100 %."""

from __future__ import annotations

import math

from stackup.engine.result import Fraction

#: digits of a fraction that is known exactly
EXACT_DIGITS = 3
#: a law's tail beyond this is the noise of its arithmetic
NOISE = 1e-15
#: from here on a fraction is told in per cent
IN_PERCENT = 0.01


def share(fraction: Fraction) -> str:
    """Return a fraction in ppm or per cent with the digits its interval allows; ``≤ 37 ppm`` when none was seen."""
    if fraction.out_of_spec == 0 and fraction.high > 0:
        return f"≤ {_rounded_up(fraction.high)}"
    return parts(fraction.out_of_spec, (fraction.high - fraction.low) / 2)


def interval(fraction: Fraction) -> str:
    """Return the 95 % interval, both ends in the unit of the estimate; in words where there is none to tell."""
    if fraction.low == fraction.high:
        return "exact"
    if fraction.out_of_spec == 0:
        return "none seen"
    factor, unit = _unit(fraction.out_of_spec or fraction.high)
    doubt = (fraction.high - fraction.low) / 2
    low, high = (_end(end, factor, doubt) for end in (fraction.low, fraction.high))
    return f"{low} … {high}{unit}"


def _end(value: float, factor: float, doubt: float) -> str:
    """Return one end of an interval; in per cent it is 100 only where it is all."""
    text = _digits(value * factor, doubt * factor)
    return _near_one(value).removesuffix(" %") if factor == 100 and value < 1 and float(text) >= 100 else text


def parts(value: float, doubt: float = 0.0) -> str:
    """Return ``value`` (0…1) in ppm, from 1 % on in per cent, rounded to two digits of its ``doubt``."""
    if value in (0.0, 1.0):
        return "0" if value == 0 else "100 %"
    if value < NOISE:
        return f"<{NOISE * 1e6:.0e} ppm".replace("e-0", "e-")
    if value > 0.99:
        return _near_one(value)
    factor, unit = _unit(value)
    return _digits(value * factor, doubt * factor) + unit


def _rounded_up(value: float) -> str:
    """Return an upper end with two digits or to the unit, never less than it is."""
    factor, unit = _unit(value)
    step = 10.0 ** min(math.floor(math.log10(value * factor)) - 1, 0)
    return f"{math.ceil(value * factor / step - 1e-9) * step:.10g}{unit}"


def _unit(value: float) -> tuple[float, str]:
    return (100.0, " %") if value >= IN_PERCENT else (1e6, " ppm")


def _near_one(value: float) -> str:
    """Return a fraction near 1 in per cent with two digits of what is missing."""
    missing = 100.0 * (1.0 - value)
    decimals = 1 - math.floor(math.log10(missing))
    return f"{100.0 * value:.{decimals}f} %"


def _digits(value: float, doubt: float) -> str:
    """Return ``value`` with two digits of ``doubt``, at least one and at most four digits of its own."""
    if value == 0:
        return "0"
    own = math.floor(math.log10(abs(value)))
    places = own - EXACT_DIGITS + 1
    if doubt > 0:
        places = min(max(math.floor(math.log10(doubt)) - 1, own - 3), own)
    if own < -3:
        return f"{value:.{max(own - places, 0)}e}".replace("e-0", "e-")
    return f"{round(value, -places):.{max(-places, 0)}f}"
