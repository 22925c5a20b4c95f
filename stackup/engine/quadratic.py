"""Moments of a quadratic form in independent numbers of any law, and its tail by Cornish–Fisher.

G = Σ a_k u_k + ½ Σ h_kl u_k u_l with independent u of mean 0.  With p_k = a_k u_k + ½ h_kk (u_k² − μ₂) and the
cross terms C = Σ_{k<l} h_kl u_k u_l, the moments of P + C to order four are written out; every expectation that
is not zero pairs each number of a cross term with another factor.  Source: own derivation in
``docs/engines.md``, checked against enumeration; for normal numbers it equals the cumulants of the quadratic
form, κ_r = 2^{r−1}(r−1)!·(tr(HS)^r/2 …).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

Array = Any


@dataclass(frozen=True)
class FormMoments:
    """Mean, variance, third and fourth central moments (NaN where the numbers' own moments do not exist)."""

    mean: float
    variance: float
    third: float
    fourth: float


def _single(a: Array, d: Array, m: Array) -> dict[tuple[int, int], Array]:
    """Return E[p^i u^j] per number, p = a·u + d·(u² − μ₂), from the moments m[:, order] of u (order 0…8)."""
    found = {}
    for i in range(5):
        for j in range(5 - i):
            total = np.zeros_like(a)
            for s in range(i + 1):
                for q in range(i - s + 1):
                    # p^i: s factors a·u, q factors d·u², the rest −d·μ₂
                    rest = i - s - q
                    count = math.comb(i, s) * math.comb(i - s, q)
                    order = s + 2 * q + j
                    if order > 8:
                        continue
                    total = total + count * a**s * d**q * (-d * m[:, 2]) ** rest * m[:, order]
            found[i, j] = total
    return found


def form_moments(a: Array, h: Array, m: Array) -> FormMoments:
    """Return the moments of a·u + ½ uᵀhu; ``m`` (n, 9) holds E[u^k] of each number, k = 0…8, mean 0."""
    d = 0.5 * np.diag(h)
    c = h - np.diag(np.diag(h))
    e = _single(a, d, m)
    m2, m3, m4 = m[:, 2], m[:, 3], m[:, 4]
    mean = float((d * m2).sum())
    c2 = c * c
    variance_p, variance_c = e[2, 0].sum(), 0.5 * m2 @ c2 @ m2
    q, r = e[1, 1], e[1, 2]
    third = (
        e[3, 0].sum()
        + 3 * (q @ c @ q)
        + 3 * (r @ c2 @ m2)
        + np.trace(np.linalg.multi_dot([_scaled(c, m2)] * 3))
        + 0.5 * m3 @ (c2 * c) @ m3
    )
    fourth = (
        _fourth_of_sum(e)
        + 4 * _three_and_one(e, c)
        + 6 * _two_and_two(e, c, m)
        + 4 * _one_and_three(e, c, m)
        + _fourth_of_cross(c, m2, m3, m4)
    )
    return FormMoments(mean, float(variance_p + variance_c), float(third), float(fourth))


def _scaled(c: Array, m2: Array) -> Array:
    root = np.sqrt(np.maximum(m2, 0.0))
    return root[:, None] * c * root[None, :]


def _fourth_of_sum(e: Any) -> float:
    """E[P⁴] for independent p_k of mean 0."""
    second = e[2, 0]
    return float(e[4, 0].sum() + 3 * (second.sum() ** 2 - (second**2).sum()))


def _three_and_one(e: Any, c: Array) -> float:
    """E[P³C]: the pair (k, l) of C takes p_k²·p_l in three orders; a p aside has mean 0."""
    return float(3 * (e[2, 1] @ c @ e[1, 1]))


def _two_and_two(e: Any, c: Array, m: Array) -> float:
    """E[P²C²] by the numbers that the two cross terms share."""
    m2 = m[:, 2]
    q, r, second = e[1, 1], e[1, 2], e[2, 0]
    w = e[2, 2]
    c2 = c * c
    # both cross terms the same pair (k, l): the two p on k and l together, or both aside
    same = w @ c2 @ m2 + r @ c2 @ r
    total = 0.5 * (m2 @ c2 @ m2)
    aside = second.sum() * total - second @ (c2 @ m2 * m2)
    # pairs (k, l) and (k, j), l ≠ j: u_l and u_j each need a p; u_k² stands alone
    through = c @ np.diag(m2) @ c
    np.fill_diagonal(through, 0.0)
    chained = 2 * (q @ through @ q)
    return float(same + aside + chained)


def _one_and_three(e: Any, c: Array, m: Array) -> float:
    """E[PC³]: p on a number of a triangle, of a triple pair, or of a pair taken twice with a third."""
    m2, m3 = m[:, 2], m[:, 3]
    q, r, x = e[1, 1], e[1, 2], e[1, 3]
    c2, c3 = c * c, c * c * c
    triple = x @ c3 @ m3
    triangle = 3 * float(r @ np.diag(c @ np.diag(m2) @ c @ np.diag(m2) @ c))
    # (k,l)²(k,j): u_j single needs p_j; u_k³·u_l²: 3·Σ c_kl² c_kj m3_k m2_l q_j, l ≠ j
    row = (c2 @ m2) * m3
    double = 3 * (row @ c @ q - (m3 @ (c3 @ (m2 * q))))
    # and (k,l)²(l..) with p on j where j = l: u_l³, u_k³ counted in triple
    return float(triple + triangle + double)


def _fourth_of_cross(c: Array, m2: Array, m3: Array, m4: Array) -> float:
    """E[C⁴]: one pair four times, two pairs twice, a pair twice in a triangle, four-cycles."""
    c2, c4 = c * c, c**4
    once = 0.5 * (m4 @ c4 @ m4)
    # two different pairs, each twice: disjoint (m2⁴) or sharing a number (m4·m2²)
    total = 0.5 * (m2 @ c2 @ m2)
    row = c2 @ m2
    same = 0.5 * ((m2**2) @ c4 @ (m2**2))
    shared_all = 0.5 * float((row**2 - c4 @ (m2**2)) @ (m2**2))
    shared_m4 = 0.5 * float((row**2 - c4 @ (m2**2)) @ m4)
    disjoint_pairs = 0.5 * (total**2 - same) - shared_all
    double = 6 * (disjoint_pairs + shared_m4)
    # pair (k,l) twice with (k,j) and (l,j): u_k³ u_l³ u_j²
    triangle = 12 * 0.5 * float(m3 @ (c2 * (c @ np.diag(m2) @ c)) @ m3)
    # four-cycles of four different numbers: 24/8 of the closed walks of length 4 without repeats
    s = _scaled(c, m2)
    s2 = s @ s
    walks = float(np.trace(s2 @ s2))
    degree = np.diag(s2)
    repeats = 2 * float((degree**2).sum()) - float(((s**2) ** 2).sum())
    cycles = 3 * (walks - repeats)
    return float(once + double + triangle + cycles)


def cornish_fisher_below(x: float, skewness: float, kurtosis: float) -> float | None:
    """Return P(X ≤ x) of a standardised X by the Cornish–Fisher expansion to the fourth moment.

    None where x lies outside the range on which the expansion rises.  Source: E. A. Cornish, R. A. Fisher,
    Rev. Int. Stat. Inst. 5 (1938) 307–320; w = z + γ(z²−1)/6 + (κ−3)(z³−3z)/24 − γ²(2z³−5z)/36.
    """
    from scipy.special import ndtr

    excess = kurtosis - 3

    def quantile(z: Array) -> Array:
        return z + skewness * (z * z - 1) / 6 + excess * (z**3 - 3 * z) / 24 - skewness**2 * (2 * z**3 - 5 * z) / 36

    z = np.linspace(-12.0, 12.0, 4801)
    w = quantile(z)
    middle = len(z) // 2
    rising = np.diff(w) > 0
    if not rising[middle]:
        return None
    first, last = middle, middle
    while first > 0 and rising[first - 1]:
        first -= 1
    while last < len(rising) and rising[last]:
        last += 1
    if not w[first] <= x <= w[last]:
        return None
    place = int(np.clip(np.searchsorted(w[first : last + 1], x), 1, last - first)) + first
    a, b = z[place - 1], z[place]
    for _ in range(60):
        c = 0.5 * (a + b)
        a, b = (c, b) if float(quantile(np.float64(c))) < x else (a, c)
    return float(ndtr(0.5 * (a + b)))
