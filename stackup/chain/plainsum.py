"""The exact least value of sizes less lengths of sums of zones: no search is needed for it.

|Σ Mₖ·vₖ + w| ≤ Σ σₖ·radiusₖ + |w|, σₖ the greatest stretch of Mₖ, with equality where all point one way, which
they can wherever the zones are only turned and scaled.  It is what fastener formulas say (ASME Y14.5, appendix B), and
a limit that equals the worst case is met by it to the last digit, which no search within a tolerance can tell.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from stackup.chain.forms import Block, Form, Rows
from stackup.chain.region import ROUNDING, Region

Array = Any


def least(form: Form, region: Region, sign: float) -> Array:
    """Return a bound (columns,) of ``sign``·output from below; −∞ where the output is more than sizes and lengths."""
    columns = region.low.shape[1]
    root = _Row(form.root, 0, region)
    weights = sign * root.atoms
    more = [block for block in form.blocks if not _plain(block, root.inputs)]
    if any(np.any(weights[:, b.first - root.inputs : b.first - root.inputs + b.count]) for b in more):
        return np.full(columns, -np.inf)
    total = sign * root.constant
    size = np.abs(total)
    pull = np.zeros((len(region.discs), columns))  # what a mm of a disc's radius takes off
    for block in form.blocks:
        for k in range(block.count):
            weight = np.minimum(weights[:, block.first - root.inputs + k], 0.0)
            if np.any(weight):
                rest, stretch = _length(block.rows, (k, k + block.count), region)
                total, size, pull = total + weight * rest, size + np.abs(weight) * rest, pull - weight * stretch
    pull += np.sqrt(root.by_disc[0] ** 2 + root.by_disc[1] ** 2).T
    ends = np.stack((region.low, region.high), axis=2)[region.single]  # (singles, columns, 2)
    terms = sign * root.singles.T[:, :, None] * ends
    for i, disc in enumerate(region.discs):
        total, size = total - pull[i] * region.radius[i], size + pull[i] * region.radius[i]
        feature = region.place.get(str(disc.feature))
        if feature is not None:
            own = int(np.flatnonzero(region.single == feature)[0])
            terms[own] -= pull[i][:, None] * np.maximum(disc.slope * (ends[own] - disc.at), 0.0)
        else:
            total = total - pull[i] * (region.most[i] - region.radius[i])
    # less the growth of a disc a size counts by a concave function: least at one of its ends
    found = total + terms.min(axis=2).sum(axis=0)
    return found - ROUNDING * (size + np.abs(terms).max(axis=2).sum(axis=0))


def _plain(block: Block, inputs: int) -> bool:
    """Tell whether a block holds lengths of sums of inputs only."""
    return block.op == "length" and not np.any(block.rows.matrix[:, :, inputs:])


class _Row:
    """One row in parts, all with columns first: constant (with the discs' centres), singles, discs, atoms."""

    def __init__(self, rows: Rows, row: int, region: Region) -> None:
        """Take row ``row`` apart."""
        columns = region.low.shape[1]
        matrix = np.broadcast_to(rows.matrix[:, row], (columns, rows.matrix.shape[2]))
        self.inputs = len(region.place)
        held = np.concatenate((matrix[:, : self.inputs], np.zeros((columns, 1))), axis=1)
        self.singles = held[:, region.single]
        self.by_disc = held[:, region.r], held[:, region.t]
        centres = sum((part * centre.T).sum(axis=1) for part, centre in zip(self.by_disc, region.centre, strict=True))
        self.constant = np.broadcast_to(rows.constant[:, row], columns) + centres
        self.atoms = matrix[:, self.inputs :]


def _length(rows: Rows, pair: tuple[int, int], region: Region) -> tuple[Array, Array]:
    """Return the greatest length (columns,) of what is no disc, and the greatest stretch (discs, columns) of each."""
    first, second = (_Row(rows, row, region) for row in pair)
    far = []
    for row in (first, second):
        ends = np.stack((region.low, region.high), axis=2)[region.single] * row.singles.T[:, :, None]
        reach = row.constant + ends.min(axis=2).sum(axis=0), row.constant + ends.max(axis=2).sum(axis=0)
        far.append(np.maximum(np.abs(reach[0]), np.abs(reach[1])))
    turned = np.stack((np.stack(first.by_disc, axis=-1), np.stack(second.by_disc, axis=-1)), axis=-2)
    return np.sqrt(far[0] ** 2 + far[1] ** 2), np.linalg.norm(turned, ord=2, axis=(-2, -1)).T
