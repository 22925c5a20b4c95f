"""A density of normal numbers fitted to the part of their space where something fails: a cloud, and caps.

The cloud lies wherever failures lie, be it all round, as of a length; a cap lies beyond one plane, as of a sum or
of each of several numbers of which the greatest counts.  Points are drawn from a fixed sequence.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from stackup.engine.points import normals, summed

Array = Any

#: the part of the cloud that is normal whatever radii were found; how much wider than found every part is made
BULK, WIDER = 0.1, 2.0
#: least and greatest standard deviation of a cap across its plane
NARROW, WIDE = 0.05, 1.5
#: shape of the law of the cloud's radius: least part of the normal law's, and greatest
FLAT, SHARP = 0.5, 400.0
#: a cap below this share is dropped, the cloud never falls below this one; fewer effective points fit no cap
SMALL, LEAST_CLOUD, MOST_CLOUD, FEW = 0.003, 0.1, 0.8, 10.0
#: what is added to a covariance, in parts of its size, so that it has a root; exponents of densities stay below
RIDGE, GREATEST = 1e-12, 600.0
#: normal numbers for which radii are tabled
TABLE = np.linspace(-6.0, 6.0, 241)


@dataclass(frozen=True)
class Mixture:
    """Shares (2 + n,) of a cloud, sharp and normal, and of n caps, in d standard normal numbers.

    Cloud: ``centre`` (d,); ``root`` (d, d) maps round points onto it.  There the squared radius has a gamma law
    of ``shape`` and ``scale`` (Z. Wang, J. Song, Structural Safety 59 (2016) 42), for the normal share the chi-square
    law; ``radii`` (2, places) are both quantiles.  Caps: normal laws with ``centres`` (d, n), standard deviations
    ``widths`` (n,) along the unit vectors ``across`` (d, n) and 1 otherwise.
    """

    shares: Array
    centre: Array
    root: Array
    shape: float
    scale: float
    radii: Array
    across: Array
    centres: Array
    widths: Array

    def excess(self, points: Array) -> Array:
        """Return the logarithm (2 + n, points) of each part's density over that of the standard normal law."""
        from scipy.special import gammaln

        half = 0.5 * len(points)
        round_ = np.linalg.inv(self.root) @ (points - self.centre[:, None])
        square = np.einsum("ij,ij->j", round_, round_)
        normal = 0.5 * (np.einsum("ij,ij->j", points, points) - square) - np.log(np.diag(self.root)).sum()
        level = gammaln(half) + half * np.log(2) - gammaln(self.shape) - self.shape * np.log(self.scale)
        sharp = normal + level - square * (1 / self.scale - 0.5)
        sharp += (self.shape - half) * np.log(np.maximum(square, 1e-300))
        # a cap's exponent is a quadratic along its normal and linear aside
        along, middle = self.across.T @ points, np.einsum("ij,ij->j", self.across, self.centres)
        aside = self.centres - self.across * middle
        bend, tilt = 0.5 - 0.5 / self.widths**2, middle / self.widths**2
        level = np.log(self.widths) + 0.5 * np.einsum("ij,ij->j", aside, aside) + 0.5 * middle * tilt
        caps = (bend[:, None] * along + tilt[:, None]) * along + aside.T @ points - level[:, None]
        return np.concatenate((np.minimum((sharp, normal), GREATEST), caps))

    def weigh(self, points: Array) -> tuple[Array, Array]:
        """Return the standard normal density over the mixture's (n,), and each part's over it (parts, n)."""
        parts = self.excess(points)
        np.exp(parts, out=parts)
        weights = 1 / (self.shares @ parts)
        return weights, parts

    def draw(self, block: int, count: int) -> Array:
        """Return ``count`` points (d, count) of a block of the sequence, a stretch of it for each part."""
        rank = len(self.centre)
        points = normals(rank + 1, block, count)
        drawn = np.empty((rank, count))
        begin = 0
        for part, end in enumerate(np.round(np.cumsum(self.shares) * count).astype(int)):
            own = points[:, begin:end]
            if part < 2:
                # the first number is the radius: what depends on it alone is summed evenly
                radius = np.interp(own[0], TABLE, self.radii[part])
                aim = own[1:] * (radius / np.sqrt(np.einsum("ij,ij->j", own[1:], own[1:])))
                drawn[:, begin:end] = self.centre[:, None] + self.root @ aim
            elif end > begin:
                cap = part - 2
                along = np.concatenate((own[:1] * self.widths[cap], own[1:-1]))
                drawn[:, begin:end] = self.centres[:, [cap]] + _mirrored(self.across[:, cap], along)
            begin = end
        return drawn


def _mirrored(direction: Array, points: Array) -> Array:
    """Return points (d, n) mirrored so that the first axis becomes the unit vector ``direction``."""
    normal = -direction
    normal[0] += 1.0
    size = float(normal @ normal)
    return points if size < 1e-20 else points - np.outer(2 / size * normal, normal @ points)


def effective(weights: Array) -> float:
    """Return how many equal weights scatter as these."""
    return float(weights.sum() ** 2 / max(float((weights * weights).sum()), 1e-300))


def cloud(points: Array, weights: Array) -> Mixture:
    """Return a cloud alone, fitted to weighted points (d, n).

    The covariance is drawn towards a round one by as much as scatter alone would set it apart (O. Ledoit,
    M. Wolf, Journal of Multivariate Analysis 88 (2004) 365), and made wider where it is narrower than the normal law:
    tails too thin would leave failures out.  For the same reason the radius scatters more than was found.
    """
    rank = len(points)
    weights = weights / weights.sum()
    centre = summed(points, weights)
    off = points - centre[:, None]
    spread = (off * weights) @ off.T
    size = float(np.trace(spread)) / rank
    unlike = float(((spread - size * np.eye(rank)) ** 2).sum())
    scatter = size**2 * rank * (rank + 1) / effective(weights)
    drawn = min(1.0, scatter / max(unlike, 1e-300))
    spread = (1 - drawn) * spread + ((drawn + RIDGE) * size + 1e-300) * np.eye(rank)
    variances, axes = np.linalg.eigh(spread)
    variances = np.minimum(WIDER * variances, np.maximum(variances, 1.0))
    root = np.linalg.cholesky((axes * variances) @ axes.T)
    round_ = np.linalg.inv(root) @ off
    square = np.einsum("ij,ij->j", round_, round_)
    mean = float((square * weights).sum())
    found = mean**2 / max(float(((square - mean) ** 2 * weights).sum()), 1e-300)
    shape = float(np.clip(found / WIDER, max(FLAT * rank / 2, min(found, rank / 2)), SHARP))
    scale = mean / shape
    radii = np.stack((_radii(shape, scale), _normal_radii(rank)))
    none = np.zeros((rank, 0))
    return Mixture(np.array([1 - BULK, BULK]), centre, root, shape, scale, radii, none, none, np.zeros(0))


def _radii(shape: float, scale: float) -> Array:
    """Return the quantiles of a radius whose square has a gamma law, at the chances of ``TABLE``."""
    from scipy.special import gammaincinv, ndtr

    return np.sqrt(scale * gammaincinv(shape, ndtr(TABLE)))


@cache
def _normal_radii(rank: int) -> Array:
    return _radii(rank / 2, 2.0)


def fitted(old: Mixture, points: Array, weights: Array, parts: Array, caps_too: bool = True) -> Mixture:
    """Return a mixture nearer to weighted points (d, n), by one step of expectation and maximisation.

    ``parts`` (parts, n) are the densities of the old one's parts over the standard normal one, as by ``weigh``.  Caps
    are fitted too, and dropped where few points are theirs, or kept as they are.
    """
    parts = parts * (old.shares[:, None] / (old.shares @ parts))
    shares = summed(parts, weights) / weights.sum()
    own = weights * (parts[0] + parts[1])
    new = cloud(points, own if effective(own) >= 2 * len(points) else weights)
    if not caps_too:
        return _with_old_caps(new, old, float(shares[:2].sum()))
    kept = np.flatnonzero(shares[2:] > SMALL)
    if not kept.size:
        return new
    across, centres, widths = old.across[:, kept], old.centres[:, kept], old.widths[kept]
    for place, cap in enumerate(kept):
        own = weights * parts[cap + 2]
        if effective(own) > FEW:
            own = own / own.sum()
            centres[:, place] = summed(points, own)
            off = across[:, place] @ (points - centres[:, [place]])
            widths[place] = np.clip(np.sqrt(WIDER * (off * off * own).sum()), NARROW, WIDE)
    first, others = max(float(shares[:2].sum()), LEAST_CLOUD), shares[2:][kept]
    shares = np.concatenate((first * new.shares, (1 - first) * others / others.sum()))
    return replace(new, shares=shares, across=across, centres=centres, widths=widths)


def _with_old_caps(new: Mixture, old: Mixture, share: float) -> Mixture:
    """Return a cloud, with about a share of the whole, beside the caps of an old mixture."""
    if not old.widths.size:
        return new
    share = float(np.clip(share, LEAST_CLOUD, MOST_CLOUD))
    caps = old.shares[2:] / old.shares[2:].sum()
    shares = np.concatenate((share * new.shares, (1 - share) * caps))
    return replace(new, shares=shares, across=old.across, centres=old.centres, widths=old.widths)


def with_caps(old: Mixture, across: Array, parts: Array, distances: Array, share: float) -> Mixture:
    """Return a mixture of which a share lies beyond planes at distances (n,) ≥ 0 from the middle.

    Their normals have the directions ``across`` (d, n) here, but only ``parts`` (n,) of their length.  To each as
    much as the normal law has beyond it, with the mean and up to twice the variance that it has there (after
    A. B. Owen, Y. Maximov, M. Chertkov, Electronic Journal of Statistics 13 (2019) 231).
    """
    from scipy.special import ndtr

    beyond = ndtr(-distances)
    middle = np.exp(-0.5 * distances**2) / np.sqrt(2 * np.pi) / beyond
    variances = 1 - parts**2 * middle * (middle - distances)
    return replace(
        old,
        shares=np.concatenate(((1 - share) * old.shares, share * beyond / beyond.sum())),
        across=np.concatenate((old.across, across), axis=1),
        centres=np.concatenate((old.centres, across * (parts * middle)), axis=1),
        widths=np.concatenate((old.widths, np.sqrt(np.minimum(WIDER * variances, 1.0)))),
    )
