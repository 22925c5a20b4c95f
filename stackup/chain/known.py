"""Ramps that are linear in a box: rows that hold them, written without, have narrower intervals."""

from __future__ import annotations

from typing import Any

import numpy as np

from stackup.chain.forms import Block, Rows
from stackup.chain.ground import Boxes
from stackup.chain.region import Region

Array = Any


class Known:
    """Ramps whose sign is known in a box: there they are linear, and rows that hold them get narrower intervals."""

    def __init__(self, region: Region) -> None:
        """Know of no ramp yet."""
        self.region = region
        self.blocks: list[tuple[Block, Array]] = []

    def learn(self, block: Block, low: Array) -> None:
        """Remember where the ramps of a block are linear."""
        over = low >= 0
        if np.any(over):
            self.blocks.append((block, over))

    def sharpened(
        self, rows: Rows, lo: Array, hi: Array, low: Array, high: Array, boxes: Boxes
    ) -> tuple[Array, Array]:
        """Return the intervals of rows with ramps that equal their argument written as such."""
        for block, _ in self.blocks:
            if np.any(rows.matrix[:, :, block.atoms]):
                break
        else:
            return lo, hi
        origin = boxes.origin
        count = len(origin)
        matrix = rows.matrix[origin] if len(rows.matrix) > 1 else np.repeat(rows.matrix, count, axis=0)
        shift = rows.constant[origin] if len(rows.constant) > 1 else np.repeat(rows.constant, count, axis=0)
        matrix, shift = matrix.copy(), shift.copy()
        for block, over in reversed(self.blocks):
            part = np.where(over.T[:, None, :], matrix[:, :, block.atoms], 0.0)
            if not np.any(part):
                continue
            matrix[:, :, block.atoms] -= part
            if len(block.rows.matrix) == 1:
                matrix += part @ block.rows.matrix[0]
                shift += part @ block.rows.constant[0]
            else:
                matrix += part @ block.rows.matrix[origin]
                shift += np.einsum("brk,bk->br", part, block.rows.constant[origin])
        less, more = self.region.ends(matrix, shift, low, high, boxes)
        return np.maximum(lo, less), np.minimum(hi, more)
