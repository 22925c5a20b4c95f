"""How long each shape takes to draw, against as many standard normal numbers of the same generator.

Run: ``python tests/benchmarks/sampling.py``.  Ratios are medians of paired runs on blocks of 40 pockets ×
512 cages; a zone's ratio is against two normals for each vector.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median

import numpy as np

from stackup.dimension import Bonus, Dimension, Measured, OneSided, Process, Size, Zone

POCKETS, CAGES, RUNS = 40, 512, 300


def size(**keys: object) -> Dimension:
    """A size of 17.4 −0.02/+0.01 whose process has ``keys``; sorting and lot share beside them."""
    own = {key: keys.pop(key) for key in ("sorted_to", "lot_share") if key in keys}
    return Size("pin", 17.4, -0.02, 0.01, pockets=POCKETS, process=Process(**keys), **own)


def zone(**keys: object) -> Dimension:
    """A position zone ⌀0.1 whose process has ``keys``; bonus and lot share beside them."""
    own = {key: keys.pop(key) for key in ("bonus", "lot_share") if key in keys}
    return Zone("hole", 0.1, pockets=POCKETS, process=Process(**keys), **own)


def one_sided(**keys: object) -> Dimension:
    """A runout of 0…0.03 whose process has ``keys``; lot share beside them."""
    own = {key: keys.pop(key) for key in ("lot_share",) if key in keys}
    return OneSided("runout", 0.03, pockets=POCKETS, process=Process(**keys), **own)


def cases() -> dict[str, Dimension]:
    """Return one dimension for each way of drawing."""
    rng = np.random.default_rng(1)
    column, pairs = rng.normal(17.395, 0.004, 200), rng.normal(0, 0.012, (200, 2))
    bonus = Bonus("ring_hole_b", "hole", 17.5)
    return {
        "normal": size(),
        "normal, lot share": size(lot_share=0.3),
        "uniform": size(shape="uniform"),
        "triangular": size(shape="triangular"),
        "triangular, mode 0.5": size(shape="triangular", mode=0.5),
        "trapezoid": size(shape="trapezoid", flat=0.5),
        "beta": size(shape="beta", a=2, b=3),
        "beta 0.6": size(shape="beta", a=0.6, b=0.6),
        "beta, lot share": size(shape="beta", a=2, b=3, lot_share=0.3),
        "normal, inspected": size(inspected=True),
        "normal, inspected, shifted": size(inspected=True, shift=0.006),
        "normal, sorted": size(sorted_to=0.004),
        "smoothed": size(measured=Measured(column)),
        "resampled": size(measured=Measured(column, "resampled")),
        "rayleigh": one_sided(),
        "rayleigh, lot share": one_sided(lot_share=0.3),
        "rayleigh, inspected": one_sided(inspected=True),
        "half-normal": one_sided(shape="half-normal"),
        "lognormal": one_sided(shape="lognormal", sigma=0.5),
        "uniform, one-sided": one_sided(shape="uniform"),
        "zone": zone(),
        "zone, lot share": zone(lot_share=0.3),
        "zone, offset": zone(offset=(0.01, 0.02)),
        "zone, uniform": zone(shape="uniform"),
        "zone, inspected": zone(inspected=True),
        "zone, inspected, bonus": zone(inspected=True, bonus=bonus),
        "zone, inspected, offset": zone(inspected=True, offset=(0.01, 0.02)),
        "zone, smoothed": zone(measured=Measured(pairs)),
        "zone, resampled": zone(measured=Measured(pairs, "resampled")),
        "zone, diameters": zone(measured=Measured(2 * np.hypot(*pairs.T), diameter=True)),
    }


def timed(run: Callable[[], object]) -> float:
    """Return seconds."""
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def ratio(dimension: Dimension) -> float:
    """Return the median time of a block against standard normals, in paired runs."""
    rng = np.random.Generator(np.random.PCG64DXSM(1))
    shape = (POCKETS, CAGES)
    out = tuple(np.empty(shape) for _ in dimension.components)
    scratch = (np.empty(shape), np.empty(shape))
    departure = np.full(shape, 17.51) if dimension.law.needs else None
    dimension.law.sample(rng, out, scratch, departure)

    def floor() -> None:
        for values in out:
            rng.standard_normal(out=values)

    def draw() -> None:
        dimension.law.sample(rng, out, scratch, departure)

    return median(timed(draw) / timed(floor) for _ in range(RUNS))


def main() -> None:
    """Print the table, and how long the laws of all these dimensions take to build."""
    start = time.perf_counter()
    for dimension in cases().values():
        _ = dimension.law.own, dimension.law.moments
    print(f"{len(cases())} laws with their variances: {1e3 * (time.perf_counter() - start):.0f} ms")
    for name, dimension in cases().items():
        print(f"{name:30s} {ratio(dimension):5.2f}")


if __name__ == "__main__":
    main()
