"""What is kept of cages whose rings were set: counts and sums in constant memory, merged in the order of the run."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from functools import reduce
from typing import Any

import numpy as np

from stackup.chain.pose import Pose
from stackup.chain.whole import Cones
from stackup.engine.entering import Jams
from stackup.engine.fractions import of_cages
from stackup.engine.result import Closing, Estimate, Missing, Spread

Array = Any

#: cages that cannot be closed whose cones are kept, the first of the run: an order is chosen from them
KEPT = 300


@dataclass(frozen=True)
class Sums:
    """Number, mean and sum of squared deviations of some columns of values: (d,) each."""

    count: int
    mean: Array
    squares: Array

    @classmethod
    def of(cls, values: Array) -> Sums:
        """Take values (d, n) of n cages."""
        count = values.shape[1]
        mean = np.add.reduce(values, axis=1) / max(count, 1)
        return cls(count, mean, np.add.reduce((values - mean[:, None]) ** 2, axis=1))

    def joined(self, other: Sums) -> Sums:
        """Return both together."""
        count = self.count + other.count
        apart, share = other.mean - self.mean, other.count / max(count, 1)
        squares = self.squares + other.squares + apart * apart * share * self.count
        return Sums(count, self.mean + share * apart, squares)

    def spreads(self) -> Iterator[Spread]:
        """Yield mean and standard deviation, which fewer than two cages have not."""
        for mean, squares in zip(self.mean, self.squares, strict=True):
            sd = float(np.sqrt(squares / (self.count - 1))) if self.count > 1 else None
            yield Spread(float(mean), sd)

    def estimates(self) -> Iterator[Estimate]:
        """Yield mean and its standard error, which fewer than two cages have not."""
        for one in self.spreads():
            yield Estimate(one.mean, None if one.sd is None else one.sd / self.count**0.5)


@dataclass(frozen=True)
class Tally:
    """What some cages say.

    Of all: ``drawn``, and ``stuck`` (Z,), how many jam after 0 … Z − 1 pins.  Of those that can be closed: ``pose``.
    Of the others: ``entered``, pins before the jam; as far as they are finite ``weights`` of their pockets, the room
    ``missing`` and the ``most`` of it; ``kept``, the cones of the first.
    """

    drawn: int
    stuck: Array
    pose: Sums
    entered: Sums
    weights: Sums
    missing: Sums
    most: float
    kept: Cones

    def joined(self, other: Tally) -> Tally:
        """Return both together, this one first."""
        return Tally(
            drawn=self.drawn + other.drawn,
            stuck=self.stuck + other.stuck,
            pose=self.pose.joined(other.pose),
            entered=self.entered.joined(other.entered),
            weights=self.weights.joined(other.weights),
            missing=self.missing.joined(other.missing),
            most=max(self.most, other.most),
            kept=self.kept.followed_by(other.kept.of_cages(slice(max(KEPT - self.kept.play.shape[1], 0)))),
        )

    def record(self, order: tuple[int, ...]) -> Closing:
        """Return the record for pins put in by ``order``."""
        failed, seen = int(self.stuck.sum()), self.weights.count > 0
        return Closing(
            order=order,
            drawn=self.drawn,
            cannot_close=of_cages(failed, self.drawn),
            stuck=tuple(int(count) for count in self.stuck),
            entered=next(self.entered.estimates()) if failed else None,
            blocking=tuple(self.weights.estimates()) if seen else (),
            missing=Missing(float(self.missing.mean[0]), self.most) if seen else None,
            pose=tuple(self.pose.spreads()) if self.pose.count else (),
        )


def tally_of(blocks: Iterable[Cones], order: Array) -> Tally:
    """Return what some blocks of cages say (at least one), pins put in by ``order``."""
    poses, failing = [], []
    drawn = 0
    for cones in blocks:
        solved = cones.solved()
        closes = solved.margin >= 0  # what is not finite does not
        failed = np.flatnonzero(~closes)
        drawn += closes.size
        poses.append(Sums.of(solved.pose[:, closes]))
        failing.append((cones.of_cages(failed), _of_cages(solved, failed)))
    jammed = reduce(Cones.followed_by, (cones for cones, _ in failing))
    return _with_jams(drawn, reduce(Sums.joined, poses), jammed, _joined([solved for _, solved in failing]), order)


def _with_jams(drawn: int, pose: Sums, jammed: Cones, solved: Pose, order: Array) -> Tally:
    """Return the tally of ``drawn`` cages, of which ``jammed`` cannot be closed."""
    entered = Jams(jammed, solved).entered(order)
    finite = np.flatnonzero(np.isfinite(solved.margin))
    missing = -solved.margin[finite]
    return Tally(
        drawn=drawn,
        stuck=np.bincount(entered, minlength=jammed.pockets),
        pose=pose,
        entered=Sums.of(entered[None, :].astype(float)),
        weights=Sums.of(jammed.by_pocket(solved.weights[:, finite])),
        missing=Sums.of(missing[None, :]),
        most=float(missing.max(initial=0.0)),
        kept=jammed.of_cages(slice(KEPT)),
    )


def _of_cages(solved: Pose, cages: Array) -> Pose:
    return Pose(solved.margin[cages], solved.pose[:, cages], solved.weights[:, cages], solved.gap[cages])


def _joined(parts: Sequence[Pose]) -> Pose:
    columns = ([getattr(part, field.name) for part in parts] for field in fields(Pose))
    return Pose(*(np.concatenate(column, axis=-1) for column in columns))
