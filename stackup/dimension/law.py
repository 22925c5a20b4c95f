"""How the values of a dimension come out: what engines may ask of any law.

A law is the prediction beside the region, which is the grant.  Every value is one per pocket (scope
pocket) or one per cage (scope cage); what all pockets of a cage share and what each draws anew are told
apart, because two values are correlated only through draws they share.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stackup.dimension.numeric import Moments
from stackup.dimension.region import Array, Column
from stackup.dimension.tables import Scratch


class Law(Protocol):
    """What engines and chains may ask; c components (1, or 2 for a zone), Z pockets.

    ``own_moments`` and ``shared_moments`` are the moments of the two parts of value = shared + own,
    shared the mean of the value given what its cage shares.  For normal laws both parts are normal and
    independent; else they are uncorrelated, and ``own`` is what is left on average over cages.
    """

    @property
    def mean(self) -> tuple[Column, ...]:
        """Means of the components: a number, or a column (Z,)."""

    @property
    def own(self) -> Array:
        """Covariance (c, c) of the part drawn anew for each pocket; 0 at scope cage."""

    @property
    def shared(self) -> Array:
        """Covariance (c, c) of the values of two pockets of one cage."""

    @property
    def moments(self) -> tuple[Moments, ...]:
        """Central moments of orders 2..8 of each component, about its own pocket's mean."""

    @property
    def own_moments(self) -> tuple[Moments, ...]:
        """Central moments of the part drawn anew for each pocket."""

    @property
    def shared_moments(self) -> tuple[Moments, ...]:
        """Central moments of the part that all pockets of a cage share."""

    @property
    def is_normal(self) -> bool:
        """True where the value and both its parts are exactly (jointly) normal."""

    @property
    def needs(self) -> str | None:
        """Name of the feature whose values ``sample`` must be given (inspected zones with a bonus)."""

    @property
    def anchor(self) -> tuple[Column, ...]:
        """When the tolerance shrinks by f with cp kept, a value x becomes anchor + f·(x − anchor)."""

    @property
    def moves(self) -> bool:
        """False where the process does not follow the tolerance (measured, as built)."""

    def sample(
        self,
        rng: np.random.Generator,
        out: tuple[Array, ...],
        scratch: Scratch,
        departure: Array | None = None,
    ) -> None:
        """Fill ``out``, one C-contiguous array (Z, n) or (1, n) per component, from ``rng`` alone.

        ``scratch``: two arrays like out[0], free to use.  ``departure``: the values of ``needs``.
        """

    def quantile(self, u: Array, pocket: int | None = None) -> Array:
        """Return the values of a scalar dimension with the fraction ``u`` below, after inspection.

        Where the mean differs from pocket to pocket: of one ``pocket``, or (None) of all together.
        """

    def cdf(self, x: Array, pocket: int | None = None) -> Array:
        """Return the fraction of a scalar dimension's values at or below ``x``, after inspection."""

    def from_scores(self, *scores: Array) -> tuple[Array, ...]:
        """Return the values, without what differs from pocket to pocket, behind normal scores.

        One array of scores for each component; the mean column is that of pocket 0.
        """


@dataclass(frozen=True)
class Parts:
    """Variances and moments of value = shared + own, per component."""

    own: Array
    shared: Array
    own_moments: tuple[Moments, ...]
    shared_moments: tuple[Moments, ...]


def placed(out: Array, scale: float, place: Column) -> None:
    """Turn standard values (Z, n) into place + scale·x, in place; ``place`` a number or a column (Z,)."""
    if scale != 1.0:
        out *= scale
    if isinstance(place, np.ndarray):
        out += place[:, None]
    elif place != 0.0:
        out += place


def first(column: Column) -> float:
    """Return a column's value at pocket 0, or the number itself."""
    return float(column[0]) if isinstance(column, np.ndarray) else float(column)
