"""Monte Carlo: all pockets of all cages, in blocks that stay in cache.

Cages are drawn in chunks of fixed size.  In chunk i the dimension called ``name`` draws from a stream of its own,
keyed by the seed, the name and i: the result does not depend on the order of the dimensions or on the number of
workers, and another dimension's change leaves all other draws as they were.  Chunks are merged in order.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.arrays import Machine
from stackup.chain.fold import FOLDS
from stackup.chain.model import Model, Requirement
from stackup.chain.program import Program, bindings, compile_model, pitch_angles
from stackup.engine.result import AnyRequirement, MonteCarlo, Sampled
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.tally import QUANTILES, Failures, Moments, Room, Scale, may_fail, merged, within
from stackup.errors import Interrupted

Array = Any

CHUNK = 4096
#: values of one register (numerics.md: blocks that stay in cache, large enough for threads)
BLOCK_VALUES = 24_576
#: one of so many blocks of a chunk is looked at closely (``Moments``); counts, mean and sd take all
CLOSELY = 4
PILOT = 256


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


@dataclass(frozen=True)
class Watch:
    """One number that is tallied: an output of the program under a fold, and the requirements on it."""

    gap: str
    over: str
    rows: int
    requirements: tuple[Requirement, ...]

    def folded(self, values: Array, cages: int) -> Array:
        """Return the numbers (rows, cages) that are tallied; an output without draws or pockets is smaller."""
        found = FOLDS[self.over].value(values)
        return found if found.shape == (self.rows, cages) else np.broadcast_to(found, (self.rows, cages))


def watches(model: Model, requirements: Sequence[Requirement]) -> list[Watch]:
    """Return what is tallied, each (gap, fold) once."""
    found: dict[tuple[str, str], list[Requirement]] = {}
    for requirement in requirements:
        found.setdefault((requirement.gap, requirement.over), []).append(requirement)
    return [
        Watch(
            gap,
            over,
            1 if FOLDS[over].of_cage or model.gap(gap).scope == "cage" else model.pockets,
            tuple(each),
        )
        for (gap, over), each in found.items()
    ]


class Counter:
    """Tallies of one chunk."""

    def __init__(self, model: Model, seen: Sequence[Watch], scales: Mapping[tuple[str, str], Scale]) -> None:
        """Prepare empty tallies."""
        self.pockets = model.pockets
        self.by_gap: dict[str, list[Watch]] = {}
        for watch in seen:
            self.by_gap.setdefault(watch.gap, []).append(watch)
        self.moments = {(w.gap, w.over): Moments(scales[w.gap, w.over]) for w in seen}
        self.failures = {r.name: Failures() for w in seen for r in w.requirements}
        self.any_pockets, self.any_cages = Failures(), Failures()
        self._room: dict[tuple[int, ...], Room] = {}
        self._bad_pockets: Array | None = None
        self._bad_cages: Array | None = None

    def begin(self, cages: int, block: int) -> None:
        """Begin block number ``block`` of the chunk, ``cages`` cages."""
        self.cages, self._closely = cages, block % CLOSELY == 0
        self._bad_pockets = self._bad_cages = None

    def sink(self, gap: str, values: Array) -> None:
        """Tally one output of the block."""
        for watch in self.by_gap.get(gap, ()):
            folded = watch.folded(values, self.cages)
            moments = self.moments[watch.gap, watch.over]
            least, greatest = moments.add(folded, self._room_for(folded.shape), self._closely)
            for requirement in watch.requirements:
                self._judge(requirement, watch, folded, least, greatest)

    def _room_for(self, shape: tuple[int, ...]) -> Room:
        if shape not in self._room:
            self._room[shape] = Room.of(shape)
        return self._room[shape]

    def _judge(self, requirement: Requirement, watch: Watch, values: Array, least: float, greatest: float) -> None:
        failures = self.failures[requirement.name]
        if not may_fail(least, greatest, requirement.min, requirement.max):
            failures.cages += self.cages
            return
        bad = ~within(values, requirement.min, requirement.max)
        counts = np.broadcast_to(bad.sum(axis=0), (self.cages,))
        failures.add(counts)
        failed = counts > 0
        self._bad_cages = failed if self._bad_cages is None else self._bad_cages | failed
        if watch.rows == self.pockets and watch.over == "each":
            self._bad_pockets = bad if self._bad_pockets is None else self._bad_pockets | bad

    def end(self) -> None:
        """End the block: count what failed any requirement."""
        for bad, failures in ((self._bad_pockets, self.any_pockets), (self._bad_cages, self.any_cages)):
            if bad is None:
                failures.cages += self.cages
            else:
                failures.add(bad.sum(axis=0) if bad.ndim == 2 else bad.astype(np.int64))

    def merge(self, other: Counter) -> None:
        """Add another chunk's tallies."""
        for key, moments in self.moments.items():
            moments.merge(other.moments[key])
        for name, failures in self.failures.items():
            failures.merge(other.failures[name])
        self.any_pockets.merge(other.any_pockets)
        self.any_cages.merge(other.any_cages)


class Sampler:
    """One worker: machines for full blocks and for the last, shorter one."""

    def __init__(self, model: Model, program: Program, seed: int) -> None:
        """Lay out nothing yet; machines are made when first needed."""
        self.model, self.program = model, program
        self.drawer = Drawer(model, seed)
        self.angles = np.array(pitch_angles(model.pockets))
        self._machines: dict[int, Machine] = {}

    def machine(self, cages: int) -> Machine:
        """Return the machine for blocks of ``cages`` cages."""
        if cages not in self._machines:
            self._machines[cages] = Machine(
                self.program, self.model.dimensions, self.angles, bindings(self.model), cages
            )
        return self._machines[cages]

    def chunk(self, index: int, cages: int, counter: Counter) -> Counter:
        """Draw chunk ``index`` of ``cages`` cages into ``counter``."""
        size = block_size(self.model.pockets)
        self.drawer.start(index)
        with np.errstate(all="ignore"):
            for block, start in enumerate(range(0, cages, size)):
                here = min(size, cages - start)
                counter.begin(here, block)
                self.machine(here).run(self.drawer, counter.sink)
                counter.end()
        return counter

    def pilot(self, seen: Sequence[Watch]) -> dict[tuple[str, str], Scale]:
        """Return the scales of all tallies from the first cages of chunk 0."""
        found: dict[tuple[str, str], Scale] = {}

        def sink(gap: str, values: Array) -> None:
            for watch in seen:
                if watch.gap == gap:
                    found[watch.gap, watch.over] = Scale.of(watch.folded(values, PILOT))

        self.drawer.start(0)
        with np.errstate(all="ignore"):
            self.machine(PILOT).run(self.drawer, sink)
        return found


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
    seen = watches(model, requirements)
    program = compile_model(model, [w.gap for w in seen])
    scales = Sampler(model, program, settings.seed).pilot(seen)
    sizes = [min(CHUNK, settings.cages - start) for start in range(0, settings.cages, CHUNK)]
    total: Counter | None = None
    done = 0
    stopped = False
    try:
        for counter in _chunks(model, program, seen, scales, sizes, settings):
            total = merged((total, counter)) if total is not None else counter
            done += 1
            progress(done, len(sizes), "cages")
    except KeyboardInterrupt:
        stopped = True
    if total is None:
        raise Interrupted(None)
    result = _record(model, seen, total, sum(sizes[:done]))
    if stopped:
        raise Interrupted(result)
    return result


def _chunks(
    model: Model,
    program: Program,
    seen: Sequence[Watch],
    scales: Mapping[tuple[str, str], Scale],
    sizes: Sequence[int],
    settings: Settings,
) -> Any:
    """Yield the tallies of the chunks in order, drawn by as many threads as there are workers."""
    idle: list[Sampler] = []

    def work(index: int) -> Counter:
        sampler = idle.pop() if idle else Sampler(model, program, settings.seed)
        try:
            return sampler.chunk(index, sizes[index], Counter(model, seen, scales))
        finally:
            idle.append(sampler)

    if settings.workers == 1:
        yield from map(work, range(len(sizes)))
        return
    with ThreadPoolExecutor(settings.workers) as pool:
        yield from _in_order(pool, work, len(sizes), 2 * settings.workers)


def _in_order(pool: ThreadPoolExecutor, work: Callable[[int], Counter], count: int, ahead: int) -> Any:
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


def _record(model: Model, seen: Sequence[Watch], total: Counter, cages: int) -> MonteCarlo:
    records = {}
    for watch in seen:
        moments = total.moments[watch.gap, watch.over]
        for requirement in watch.requirements:
            records[requirement.name] = _sampled(model, watch, moments, total.failures[requirement.name], requirement)
    limited = [r for w in seen for r in w.requirements if r.min is not None or r.max is not None]
    each = [r for r in limited if r.over == "each" and model.gap(r.gap).scope == "pocket"]
    overall = AnyRequirement(
        total.any_pockets.of_pockets(model.pockets) if each else None,
        total.any_cages.of_cages() if limited else None,
    )
    return MonteCarlo(records, overall, cages)


def _sampled(model: Model, watch: Watch, moments: Moments, failures: Failures, requirement: Requirement) -> Sampled:
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
