"""Fractions in words: a non-zero fraction never reads 0, one below 1 never reads 100 %."""

from __future__ import annotations

import math

from stackup.engine.result import Fraction, Sampled

#: digits of a fraction that is known exactly
EXACT_DIGITS = 3
#: a smaller fraction is told as less than this: no process is known so well
LEAST = 1e-8
#: from here on a fraction is told in per cent
IN_PERCENT = 0.01
#: fewer failures forecast no number of cages, only a least one; more cages than this cannot be asked for
FEW, MOST_CAGES = 10, 10**9


def share(fraction: Fraction, least: float = LEAST) -> str:
    """Return a fraction in ppm or per cent with the digits its interval allows; ``≤ 37 ppm`` when none was seen."""
    if is_none_seen(fraction):
        return f"≤ {upper_end(fraction)}"
    return parts(fraction.out_of_spec, (fraction.high - fraction.low) / 2, least)


def is_none_seen(fraction: Fraction) -> bool:
    """Tell whether nothing was out of spec in what was drawn, which is not nothing."""
    return fraction.out_of_spec == 0 and fraction.high > 0


def upper_end(fraction: Fraction) -> str:
    """Return the upper end of the interval with two digits, never less than it is."""
    return _rounded_up(fraction.high)


def doubt_if_independent(sampled: Sampled | None) -> float:
    """Return the half-width of what independent pockets would have said of cages, from that of the pockets."""
    pockets, cages = (sampled.pockets, sampled.cages) if sampled else (None, None)
    if not (pockets and cages and cages.if_independent and pockets.out_of_spec):
        return 0.0
    return (pockets.high - pockets.low) / 2 / pockets.out_of_spec * cages.if_independent


def of_what(population: str, alone: bool) -> str:
    """Return the word for a population; a stack that stands ``alone``, without a cage, is each of them."""
    return "stacks" if alone else population


def cages_to_try(total: int, failed: float) -> str:
    """Return which number of cages to ask for, two digits rounded up, where ``total`` would decide.

    ``failed`` is how many cages were out of spec of those drawn.
    """
    step = 10 ** max(len(str(total)) - 2, 0)
    asked = -(-total // step) * step
    if asked > MOST_CAGES:
        return f"more than --cages {MOST_CAGES} would be needed"
    return f"try --cages {asked}{' at least' if failed < FEW else ''}"


def state_in_words(state: str) -> str:
    """Return a state of the bearing in words: ``made`` is as made, ``hot_worn`` hot and worn."""
    return "as made" if state == "made" else state.replace("_", " and ")


def thousands(count: int) -> str:
    """Return a number with a space between thousands."""
    return f"{count:,}".replace(",", " ")


def interval(fraction: Fraction) -> str:
    """Return the 95 % interval, both ends in the unit of the estimate; in words where there is none to tell."""
    if fraction.low == fraction.high:
        return "exact for these laws"
    if fraction.out_of_spec == 0:
        return "none seen"
    factor, unit = _unit(fraction.out_of_spec)
    doubt = (fraction.high - fraction.low) / 2
    low, high = (_end(end, factor, doubt) for end in (fraction.low, fraction.high))
    return f"{low} … {high}{unit}"


def _end(value: float, factor: float, doubt: float) -> str:
    """Return one end of an interval, 0 for next to nothing; in per cent it is 100 only where it is all."""
    if value < LEAST:
        return "0"
    text = _digits(value * factor, doubt * factor)
    return _near_one(value).removesuffix(" %") if factor == 100 and value < 1 and float(text) >= 100 else text


def parts(value: float, doubt: float = 0.0, least: float = LEAST) -> str:
    """Return ``value`` (0…1) in ppm, from 1 % on in per cent, rounded to two digits of its ``doubt``.

    What is less than ``least`` is told as less.
    """
    if value in (0.0, 1.0):
        return "0" if value == 0 else "100 %"
    if value < least:
        return f"<{least * 1e6:.2g} ppm".replace("e-0", "e-")
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
    """Return ``value`` ≠ 0 with two digits of ``doubt``, at least one and at most four digits of its own."""
    own = math.floor(math.log10(abs(value)))
    places = own - EXACT_DIGITS + 1
    if doubt > 0:
        places = min(max(math.floor(math.log10(doubt)) - 1, own - 3), own)
    if own < -3:
        return f"{value:.{max(own - places, 0)}e}".replace("e-0", "e-")
    return f"{round(value, -places):.{max(-places, 0)}f}"
