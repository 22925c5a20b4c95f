"""Can the rings be closed: the pose that leaves most, for every cage drawn, and the pins where it leaves too little.

A cage can be closed where the greatest over the pose of the least room of its pins, the number of the whole cage that
the gap is, is at least 0.  The cages are those of ``monte_carlo.run`` with the same seed: they are drawn in the same
chunks and blocks, and merged in order.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

from stackup.chain.arrays import Machine
from stackup.chain.model import Model
from stackup.chain.program import Program, bindings, compile_model, pitch_angles
from stackup.chain.whole import Cones
from stackup.engine.closing_tally import Tally, tally_of
from stackup.engine.entering import Jams
from stackup.engine.monte_carlo import CHUNK, Drawer, block_size, in_order
from stackup.engine.result import Closing
from stackup.engine.settings import Progress, Settings, silent
from stackup.errors import Interrupted

Array = Any


def run(
    model: Model, gap: str, order: Sequence[int], settings: Settings, progress: Progress = silent
) -> tuple[Closing, Jams]:
    """Draw ``settings.cages`` cages and tell which can be closed, and where the others jam.

    Parameters
    ----------
    model : one row in one state.
    gap : its number of the whole cage, a step by itself, in mm.
    order : a permutation of the pockets, 0 … Z − 1, in which the pins are put in.
    settings : seed, cages ≥ 1, workers ≥ 1; the result does not depend on workers.
    progress : called after every chunk; KeyboardInterrupt from it stops the run.

    Returns
    -------
    The record, and the first cages that cannot be closed (``closing_tally.KEPT`` at most), to choose an order from.

    Raises
    ------
    Interrupted : with both, of the chunks finished so far (None where there is none).
    """
    sizes = [min(CHUNK, settings.cages - start) for start in range(0, settings.cages, CHUNK)]
    total: Tally | None = None
    stopped = False
    try:
        for done, tally in enumerate(_chunks(model, gap, np.array(order), sizes, settings), start=1):
            total = tally if total is None else total.joined(tally)
            progress(done, len(sizes), "cages")
    except KeyboardInterrupt:
        stopped = True
    if total is None:
        raise Interrupted(None)
    found = total.record(tuple(order)), Jams(total.kept)
    if stopped:
        raise Interrupted(found)
    return found


def _chunks(model: Model, gap: str, order: Array, sizes: Sequence[int], settings: Settings) -> Any:
    """Yield the tallies of the chunks in order, by as many threads as there are workers."""
    idle: list[_Worker] = []

    def work(index: int) -> Tally:
        worker = idle.pop() if idle else _Worker(model, gap, settings.seed)
        try:
            return worker.chunk(index, sizes[index], order)
        finally:
            idle.append(worker)

    if settings.workers == 1:
        yield from map(work, range(len(sizes)))
        return
    with ThreadPoolExecutor(settings.workers) as pool:
        yield from in_order(pool, work, len(sizes), 2 * settings.workers)


class _Worker:
    """Draws cages and sets their rings; machines are made when first needed."""

    def __init__(self, model: Model, gap: str, seed: int) -> None:
        """Take the program of what the gap asks of every pocket: its cones."""
        whole = compile_model(model, [gap])
        number = whole.nodes[whole.outputs[gap]]
        self.unknowns, self.parts = int(number.value), [str(place) for place in range(len(number.args))]
        opened = Program(whole.nodes, dict(zip(self.parts, number.args, strict=True)), whole.inputs)
        self.program, self.model = opened.only(self.parts), model
        self.drawer = Drawer(model, seed)
        self._machines: dict[int, Machine] = {}

    def machine(self, cages: int) -> Machine:
        """Return the machine for blocks of ``cages`` cages."""
        if cages not in self._machines:
            model, angles = self.model, np.array(pitch_angles(self.model.pockets))
            made = Machine(self.program, model.dimensions, angles, bindings(model), cages)
            self._machines[cages] = made
        return self._machines[cages]

    def chunk(self, index: int, cages: int, order: Array) -> Tally:
        """Draw chunk ``index`` of ``cages`` cages; pins are put in by ``order``."""
        size = block_size(self.model.pockets)
        self.drawer.start(index)
        with np.errstate(all="ignore"):
            blocks = (self._block(min(size, cages - start)) for start in range(0, cages, size))
            return tally_of(blocks, order)

    def _block(self, cages: int) -> Cones:
        drawn: dict[str, Array] = {}

        def keep(part: str, values: Array) -> None:
            drawn[part] = values.copy()

        self.machine(cages).run(self.drawer, keep)
        return Cones.of([drawn[part] for part in self.parts], self.unknowns)
