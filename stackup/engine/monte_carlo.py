"""Monte Carlo: all pockets of all cages, in blocks that stay in cache.

Cages are drawn in chunks of fixed size.  In chunk i the dimension called ``name`` draws from a stream of its own,
keyed by the seed, the name and i: the result does not depend on the order of the dimensions or on the number of
workers, and another dimension's change leaves all other draws as they were.  Chunks are merged in order.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

from stackup.chain.arrays import Machine
from stackup.chain.model import Model, Requirement
from stackup.chain.program import Program, pitch_angles
from stackup.chain.together import Together, together
from stackup.engine.counter import CLOSELY, Counter, Watch, in_states, watches
from stackup.engine.result import AnyRequirement, MonteCarlo, Sampled
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.tally import QUANTILES, Scale, merged
from stackup.errors import Interrupted

Array = Any

CHUNK = 4096
#: values of one register (numerics.md: blocks that stay in cache, large enough for threads)
BLOCK_VALUES = 24_576
PILOT = 256
#: one of so many blocks of a chunk computes numbers of the whole cage that limit nothing; all of these look closely
SELDOM = 2 * CLOSELY
#: the state of a model that is run by itself
ALONE = ""


def stream(seed: int, name: str, chunk: int) -> np.random.Generator:
    """Return the generator of one dimension in one chunk."""
    key = int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "big")
    sequence = np.random.SeedSequence(entropy=seed, spawn_key=(key, chunk))
    return np.random.Generator(np.random.PCG64DXSM(sequence))


def block_size(pockets: int) -> int:
    """Return how many cages a block holds, a divisor of the chunk."""
    size = CHUNK
    while size > 1 and size * pockets > BLOCK_VALUES:
        size //= 2
    return size


class Drawer:
    """Fills the registers of a machine with the dimensions' values, chunk by chunk."""

    def __init__(self, model: Model, seed: int) -> None:
        """Take the laws of the model's dimensions."""
        self.laws = {name: d.law for name, d in model.dimensions.items()}
        self.seed = seed
        self.streams: dict[str, np.random.Generator] = {}
        self.chunk = 0
        self._scratch: dict[tuple[int, ...], tuple[Array, Array]] = {}

    def start(self, chunk: int) -> None:
        """Begin chunk ``chunk``."""
        self.streams.clear()
        self.chunk = chunk

    def __call__(self, name: str, out: tuple[Array, ...], needed: Array | None) -> None:
        """Fill ``out`` with the next values of the dimension ``name``."""
        if name not in self.streams:
            self.streams[name] = stream(self.seed, name, self.chunk)
        shape = out[0].shape
        if shape not in self._scratch:
            self._scratch[shape] = (np.empty(shape), np.empty(shape))
        self.laws[name].sample(self.streams[name], out, self._scratch[shape], needed)


class Sampler:
    """One worker: machines for full blocks and for the last, shorter one."""

    def __init__(self, model: Model, joined: Together, seen: Sequence[Watch], seed: int) -> None:
        """Lay out nothing yet; machines are made when first needed.

        ``model``: any of the states of ``joined``, which all draw the same.  A number of the whole cage costs as much
        as all others together: where it limits nothing in ``seen``, few blocks compute it.
        """
        self.model, self.joined = model, joined
        self.always = _always_asked(joined.program, seen)
        self.drawer = Drawer(model, seed)
        self.angles = np.array(pitch_angles(model.pockets))
        self._machines: dict[tuple[int, bool], Machine] = {}

    def machine(self, cages: int, everything: bool = True) -> Machine:
        """Return the machine for blocks of ``cages`` cages, of ``everything`` or of what every block needs."""
        key = (cages, everything or not self.always)
        if key not in self._machines:
            joined = self.joined
            program = joined.program if key[1] else joined.program.only(self.always)
            self._machines[key] = Machine(program, self.model.dimensions, self.angles, joined.parameters, cages)
        return self._machines[key]

    def chunk(self, index: int, cages: int, counter: Counter) -> Counter:
        """Draw chunk ``index`` of ``cages`` cages into ``counter``."""
        size = block_size(self.model.pockets)
        self.drawer.start(index)
        with np.errstate(all="ignore"):
            for block, start in enumerate(range(0, cages, size)):
                here = min(size, cages - start)
                counter.begin(here, block)
                self.machine(here, block % SELDOM == 0).run(self.drawer, counter.sink)
                counter.end()
        return counter

    def pilot(self, seen: Sequence[Watch]) -> dict[tuple[str, str], Scale]:
        """Return the scales of all tallies from the first cages of chunk 0."""
        found: dict[tuple[str, str], Scale] = {}

        def sink(gap: str, values: Array) -> None:
            for watch in seen:
                if watch.gap == gap:
                    found[watch.place] = Scale.of(watch.folded(values, PILOT))

        self.drawer.start(0)
        with np.errstate(all="ignore"):
            self.machine(PILOT).run(self.drawer, sink)
        return found


def _always_asked(program: Program, seen: Sequence[Watch]) -> list[str]:
    """Return the outputs that every block needs: all but numbers of the whole cage that limit nothing."""
    limiting = {w.gap for w in seen if any(r.min is not None or r.max is not None for r in w.requirements)}
    return [name for name in program.outputs if name in limiting or not program.is_whole(name)]


def run(
    model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> MonteCarlo:
    """Draw ``settings.cages`` cages and judge every requirement.

    Parameters
    ----------
    model : one row in one state.
    requirements : what is tallied; a requirement without limits is tallied only.
    settings : seed, cages ≥ 1, workers ≥ 1; the result does not depend on workers.
    progress : called after every chunk; KeyboardInterrupt from it stops the run.

    Raises
    ------
    Interrupted : with the record of the chunks finished so far (None where there is none).
    """
    try:
        return run_states({ALONE: model}, requirements, settings, progress)[ALONE]
    except Interrupted as stopped:
        raise Interrupted(stopped.records and stopped.records[ALONE]) from None


def run_states(
    models: Mapping[str, Model], requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> dict[str, MonteCarlo]:
    """Draw ``settings.cages`` cages once and judge every requirement in every state of a row.

    The records are those of ``run`` on each model, to the bit.  What no state changes is computed and tallied once.

    Parameters
    ----------
    models : one row, by state; they differ in the values of ``parameters`` only (else ValueError).
    requirements, settings, progress : as ``run`` takes them.

    Raises
    ------
    Interrupted : with the records of all states of the chunks finished so far (None where there is none).
    """
    model = next(iter(models.values()))
    asked = watches(model, requirements)
    joined = together(models, [watch.gap for watch in asked])
    seen = in_states(asked, joined)
    scales = Sampler(model, joined, seen, settings.seed).pilot(seen)
    sizes = [min(CHUNK, settings.cages - start) for start in range(0, settings.cages, CHUNK)]
    total: Counter | None = None
    done = 0
    stopped = False
    try:
        for counter in _chunks(model, joined, seen, scales, sizes, settings):
            total = merged((total, counter)) if total is not None else counter
            done += 1
            progress(done, len(sizes), "cages")
    except KeyboardInterrupt:
        stopped = True
    if total is None:
        raise Interrupted(None)
    with np.errstate(all="ignore"):  # sums of values that are hardly numbers any more
        result = {state: _record(model, seen, total, sum(sizes[:done]), state) for state in models}
    if stopped:
        raise Interrupted(result)
    return result


def _chunks(
    model: Model,
    joined: Together,
    seen: Sequence[Watch],
    scales: Mapping[tuple[str, str], Scale],
    sizes: Sequence[int],
    settings: Settings,
) -> Any:
    """Yield the tallies of the chunks in order, drawn by as many threads as there are workers."""
    idle: list[Sampler] = []

    def work(index: int) -> Counter:
        sampler = idle.pop() if idle else Sampler(model, joined, seen, settings.seed)
        try:
            return sampler.chunk(index, sizes[index], Counter(model.pockets, seen, scales))
        finally:
            idle.append(sampler)

    if settings.workers == 1:
        yield from map(work, range(len(sizes)))
        return
    with ThreadPoolExecutor(settings.workers) as pool:
        yield from in_order(pool, work, len(sizes), 2 * settings.workers)


def in_order(pool: ThreadPoolExecutor, work: Callable[[int], Any], count: int, ahead: int) -> Any:
    """Yield results in order with at most ``ahead`` of them under way, so that memory stays constant."""
    waiting = {index: pool.submit(work, index) for index in range(min(ahead, count))}
    try:
        for index in range(count):
            result = waiting.pop(index).result()
            if index + ahead < count:
                waiting[index + ahead] = pool.submit(work, index + ahead)
            yield result
    finally:
        for future in waiting.values():
            future.cancel()


def _record(model: Model, seen: Sequence[Watch], total: Counter, cages: int, state: str) -> MonteCarlo:
    """Return the records of one state."""
    own = [watch for watch in seen if state in watch.states]
    records = {r.name: _sampled(model, watch, total, r) for watch in own for r in watch.requirements}
    limited = [r for w in own for r in w.requirements if r.min is not None or r.max is not None]
    each = [r for r in limited if r.over == "each" and model.gap(r.gap).scope == "pocket"]
    failing = total.any_of[state] if own else None
    overall = AnyRequirement(
        failing.pockets.of_pockets(model.pockets) if failing and each else None,
        failing.cages.of_cages() if failing and limited else None,
    )
    return MonteCarlo(records, overall, cages)


def _sampled(model: Model, watch: Watch, total: Counter, requirement: Requirement) -> Sampled:
    moments, failures = total.moments[watch.place], total.failures[watch.gap, requirement.name]
    mean, sd, skewness, kurtosis = moments.central()
    limited = requirement.min is not None or requirement.max is not None
    each = watch.rows == model.pockets and watch.over == "each"
    return Sampled(
        mean=mean,
        sd=sd,
        skewness=skewness,
        kurtosis=kurtosis,
        quantiles={str(q): moments.quantile(q) for q in QUANTILES},
        histogram=moments.histogram(),
        pockets=failures.of_pockets(model.pockets) if limited and each else None,
        cages=failures.of_cages(model.pockets if each else 0) if limited else None,
        not_finite=moments.not_finite,
        drawn=failures.cages,
        least=moments.least,
        greatest=moments.greatest,
    )
