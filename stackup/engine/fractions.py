"""Intervals of fractions whose sampling unit is the cage.

Pockets of a cage share its rings, so they fail together: a binomial over all pockets covered 54 % instead of
95 % on a case whose scatter is mostly shared.  Cages are independent, so the fraction of cages is binomial
(C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404–413).  The fraction of pockets is a sum over cages of
unequal weights, the number of pockets out in each; its interval is the gamma interval for weighted counts
(M. P. Fay, E. J. Feuer, Statistics in Medicine 16 (1997) 791–801), with the variance of the counts per cage.
"""

from __future__ import annotations

from stackup.engine.result import Fraction

LEVEL = 0.95
_TAIL = (1 - LEVEL) / 2


def of_cages(failed: int, cages: int) -> Fraction:
    """Return the fraction of ``cages`` > 0 that failed, with the exact binomial interval."""
    from scipy.special import betaincinv

    low = 0.0 if failed == 0 else float(betaincinv(failed, cages - failed + 1, _TAIL))
    high = 1.0 if failed == cages else float(betaincinv(failed + 1, cages - failed, 1 - _TAIL))
    return Fraction(failed / cages, low, high)


def of_pockets(total: int, squares: int, most: int, cages: int, pockets: int) -> Fraction:
    """Return the fraction of pockets out, ``total`` of cages·pockets, from the counts per cage.

    ``squares`` is the sum of the squared counts and ``most`` the largest count of one cage.  No pocket out
    gives an upper end from the number of cages, never 0.
    """
    if 2 * total > cages * pockets:
        return _mirrored(total, squares, cages, pockets)
    fraction = total / (cages * pockets)
    low, high = _gamma_interval(fraction, squares, total, most if total else pockets, cages, pockets)
    return Fraction(fraction, min(low, fraction), max(min(high, 1.0), fraction))


def _mirrored(total: int, squares: int, cages: int, pockets: int) -> Fraction:
    """Return the fraction by way of the pockets that are within limits, where those are fewer."""
    good = cages * pockets - total
    good_squares = cages * pockets**2 - 2 * pockets * total + squares
    inside = of_pockets(good, good_squares, pockets, cages, pockets)
    return Fraction(total / (cages * pockets), 1 - inside.high, 1 - inside.low)


def _gamma_interval(
    fraction: float, squares: int, total: int, most: int, cages: int, pockets: int
) -> tuple[float, float]:
    """Return the ends of Fay and Feuer's interval, eq. (4) and (5) there, weights 1/(cages·pockets) per pocket."""
    from scipy.special import gammaincinv

    unit = 1.0 / (cages * pockets)
    variance = max(squares - total * total / cages, 0.0) * unit**2
    heaviest = most * unit
    low = 0.0
    if total and variance > 0:
        low = variance / fraction * float(gammaincinv(fraction**2 / variance, _TAIL))
    elif total:
        low = fraction
    up_variance, up_mean = variance + heaviest**2, fraction + heaviest
    high = up_variance / up_mean * float(gammaincinv(up_mean**2 / up_variance, 1 - _TAIL))
    return low, high
