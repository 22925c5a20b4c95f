"""Records of the engines: frozen, complete at birth; what does not exist is None and a note says why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Fraction:
    """A fraction of a population out of spec with its 95 % interval.

    ``method`` is "exact" (low = high = out_of_spec) or "sampled"; ``if_independent`` is what independent
    pockets would have said of cages.
    """

    out_of_spec: float
    low: float
    high: float
    method: str = "sampled"
    if_independent: float | None = None

    @classmethod
    def exact(cls, value: float) -> Fraction:
        """Return a fraction that is known."""
        return cls(value, value, value, "exact")


@dataclass(frozen=True)
class Histogram:
    """``edges`` (n + 1) in the gap's unit and ``counts`` (n) of values between them."""

    edges: tuple[float, ...]
    counts: tuple[int, ...]


@dataclass(frozen=True)
class Sampled:
    """Monte Carlo of one requirement: moments over all pockets of all cages, and the fractions out of spec.

    ``pockets`` is None for a number of the cage; both fractions are None for a gap without limits.
    """

    mean: float
    sd: float
    skewness: float | None
    kurtosis: float | None
    quantiles: dict[str, float]
    histogram: Histogram
    pockets: Fraction | None
    cages: Fraction | None
    not_finite: int
    drawn: int
    least: float
    greatest: float


@dataclass(frozen=True)
class WorstCase:
    """Both ends: value found, guaranteed bound, whether they differ by at most the tolerance, and linearised.

    ``low_shares`` and ``high_shares`` say what part of an end each dimension's tolerance takes (parts of 1).
    """

    low: float
    high: float
    bound_low: float
    bound_high: float
    certified_low: bool
    certified_high: bool
    linear_low: float | None
    linear_high: float | None
    low_shares: Mapping[str, float] = field(default_factory=dict)
    high_shares: Mapping[str, float] = field(default_factory=dict)

    @property
    def certified(self) -> bool:
        """Tell whether both ends are certified."""
        return self.certified_low and self.certified_high


@dataclass(frozen=True)
class Normal:
    """Mean, standard deviation and fraction out of spec of one variant of RSS."""

    mean: float
    sd: float
    out_of_spec: float | None


@dataclass(frozen=True)
class SecondOrder:
    """Second-order moments and the tail by Cornish–Fisher (None outside its monotone range)."""

    mean: float
    sd: float
    skewness: float | None
    kurtosis: float | None
    out_of_spec: float | None


@dataclass(frozen=True)
class Rss:
    """RSS of one requirement; ``exact`` tells that the first order is the exact law (a linear chain of normals).

    ``known`` tells that the fraction is that of the law itself, to 1e-5 of it: of lengths of such chains too.
    """

    mean: float
    sd: float
    out_of_spec: float | None
    inflated: Normal | None
    shifted: Normal | None
    second_order: SecondOrder | None
    exact: bool
    known: bool = False

    @property
    def low(self) -> float:
        """Return mean − 3 sd."""
        return self.mean - 3 * self.sd

    @property
    def high(self) -> float:
        """Return mean + 3 sd."""
        return self.mean + 3 * self.sd


@dataclass(frozen=True)
class Contribution:
    """What one dimension does to one requirement.

    ``sensitivity`` is the derivative at the mean, all pockets together; where ``signed`` is False, for a zone or behind
    a kink that is reached, it is the root mean square over the population, without sign.  ``mean_sensitivity`` is the
    mean derivative over the population with its sign, None for a zone.  Shares are parts of 1; ``tighter`` is the
    relative change of the fraction when the tolerance falls by 10 %.
    """

    dimension: str
    sensitivity: float
    signed: bool
    mean_sensitivity: float | None
    variance_share: float | None
    width_share: float | None
    tighter: float | None


@dataclass(frozen=True)
class AnyRequirement:
    """The fraction failing any requirement: of pockets (pocket requirements only) and of cages."""

    pockets: Fraction | None
    cages: Fraction | None


@dataclass(frozen=True)
class MonteCarlo:
    """What one run of the sampler found, by requirement, and of any requirement."""

    records: dict[str, Sampled]
    any_requirement: AnyRequirement
    cages: int
    extra: Any = None


@dataclass(frozen=True)
class Estimate:
    """A mean over cages and its standard error, None of one cage alone."""

    mean: float
    standard_error: float | None


@dataclass(frozen=True)
class Spread:
    """Mean and standard deviation over cages, None of one cage alone."""

    mean: float
    sd: float | None


@dataclass(frozen=True)
class Missing:
    """What room cages lack that cannot be closed, mean and greatest: so much more for every pin closes them."""

    mean: float
    greatest: float


@dataclass(frozen=True)
class Closing:
    """Whether the rings of ``drawn`` cages can be closed, and where the others jam.

    ``order`` is that in which pins are put in; ``stuck[n]`` is the number of cages of which n pins enter together and
    the next does not, n = 0 … Z − 1: all together are those that ``cannot_close``; ``entered`` is the mean of n over
    them.  ``blocking``: by pocket, the mean over them of the multipliers of the best pose, which are the pins between
    which the ring is caught (sum 1).  ``pose``: the best pose of cages that can be closed.  Lengths in the unit of the
    gap.  Empty or None where there is no such cage.
    """

    order: tuple[int, ...]
    drawn: int
    cannot_close: Fraction
    stuck: tuple[int, ...]
    entered: Estimate | None
    blocking: tuple[Estimate, ...]
    missing: Missing | None
    pose: tuple[Spread, ...]


@dataclass(frozen=True)
class Ordering:
    """The best order of the pockets found for ``cages`` that cannot be closed, and what it is worth.

    ``given`` and ``best``: pins that enter in vain, by the order that was given and by ``order``, on these cages;
    ``saving_here`` their difference, cage by cage, on the cages that the order was chosen from; ``saving`` what orders
    chosen from half of them save on the other half.  None without such cages, ``saving`` with fewer than four.
    ``natural``: as ``given``, by the natural order 0, 1, 2 …  ``proved``: no order has less on these cages.
    """

    order: tuple[int, ...]
    proved: bool
    cages: int
    given: Estimate | None
    best: Estimate | None
    saving_here: Estimate | None
    saving: Estimate | None
    natural: Estimate | None
