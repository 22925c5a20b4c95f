"""The best pose of rings over pins and of centring: speed against a general solver, errors, and wrong decisions.

Run: ``OPENBLAS_NUM_THREADS=1 python tests/benchmarks/minimax.py [CAGES [PAIRS]]``.  Writes ``docs/study_minimax.md``.
"""

from __future__ import annotations

import datetime
import os
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import numpy as np
import scipy

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from pose_twin import best_pose_twin, cage, centring, proof, ring_fit, slsqp  # noqa: E402

from stackup.chain.pose import best_margin, best_pose  # noqa: E402 - the twin stands beside the tests

SEED = 1
BLOCK = 512  # cages in one call, as the engine calls
CALLS, TIMED = 8, 20  # blocks and cages of SLSQP timed in one pair
TWINS, NEAREST = 100, 150
KINDS: dict[str, Callable[[np.random.Generator, int], tuple]] = {
    "ring fit, 48 pins, 3 unknowns": ring_fit,
    "centring, 48 pockets (192 cones), 3 unknowns": centring,
}


@dataclass(frozen=True)
class Study:
    """What was found for one kind; lengths in mm."""

    ratio: float
    ratio_helped: float
    cages_a_second: float
    error: float
    gap: float
    proved: int
    asked: int
    wrong: int
    nearest: float


def speed(draw: Callable, pairs: int) -> tuple[float, float, float]:
    """Return the times per cage of SLSQP without and with gradients against the blocks', done in turn; cages/s.

    Processor time of one thread, for the machine is shared.  A run of blocks is timed, as the engine does them.
    """
    problem = draw(np.random.default_rng(SEED), CALLS * BLOCK)
    begins = np.linalg.lstsq(np.concatenate(problem[3:]), np.concatenate(problem[1:3]), rcond=None)[0]
    blocks = [tuple(np.ascontiguousarray(x[:, i : i + BLOCK]) for x in problem[:3])
              for i in range(0, CALLS * BLOCK, BLOCK)]  # fmt: skip
    plain, helped, rates = [], [], []
    for pair in range(pairs):
        start = time.process_time()
        for block in blocks:
            best_margin(*block, *problem[3:])
        mine = (time.process_time() - start) / (CALLS * BLOCK)
        for gradients, ratios in ((False, plain), (True, helped)):
            start = time.process_time()
            for index in range(pair * TIMED, (pair + 1) * TIMED):
                which = index % (CALLS * BLOCK)
                slsqp(*cage(problem, which), begins[:, which], 1e-10, gradients)
            ratios.append((time.process_time() - start) / TIMED / mine)
        rates.append(1 / mine)
    return median(plain), median(helped), median(rates)


def error(draw: Callable) -> float:
    """Return the largest difference of the margin from the twin's."""
    problem = draw(np.random.default_rng(SEED + 1), TWINS)
    margins = best_pose(*problem).margin
    return max(abs(best_pose_twin(*cage(problem, index))[0] - margins[index]) for index in range(TWINS))


def decisions(draw: Callable, cages: int) -> tuple[float, int, int, int, float]:
    """Return the worst gap, cages proved, cages asked of the twin, wrong signs and the nearest margin to 0.

    The plays are moved so that half the cages fit.  A sign is proved by the pose alone where the cage fits and by the
    weights alone where it does not, both evaluated plainly.  Cages without proof, and those nearest to 0, are solved
    by the twin.
    """
    rng = np.random.default_rng(SEED + 2)
    middle = float(np.median(best_pose(*draw(rng, 4 * BLOCK)).margin))
    worst, proved, wrong = 0.0, 0, 0
    unproved: list[tuple[float, bool, tuple]] = []
    near: list[tuple[float, bool, tuple]] = []
    for _ in range(-(-cages // BLOCK)):
        play, *rest = draw(rng, BLOCK)
        problem = (play - middle, *rest)
        solved = best_pose(*problem)
        worst = max(worst, float(solved.gap.max()))
        lower, upper = proof(problem, solved.pose, solved.weights)
        fits = solved.margin >= 0
        known = (lower >= 0) | (upper < 0)
        proved += int(np.count_nonzero(known))
        wrong += int(np.count_nonzero(known & ((lower >= 0) != fits)))
        unproved += [(abs(solved.margin[i]), bool(fits[i]), cage(problem, i)) for i in np.flatnonzero(~known)]
        near += [
            (abs(solved.margin[i]), bool(fits[i]), cage(problem, i))
            for i in np.argsort(np.abs(solved.margin))[:5]
            if known[i]
        ]
    asked = unproved + sorted(near, key=lambda x: x[0])[:NEAREST]
    wrong += sum((best_pose_twin(*problem)[0] >= 0) != fits for _, fits, problem in asked)
    return worst, proved, len(asked), wrong, float(min(x[0] for x in asked))


def study(draw: Callable, cages: int, pairs: int) -> Study:
    """Measure one kind."""
    ratio, helped, rate = speed(draw, pairs)
    gap, proved, asked, wrong, nearest = decisions(draw, cages)
    return Study(ratio, helped, rate, error(draw), gap, proved, asked, wrong, nearest)


def main(cages: int = 100_352, pairs: int = 15) -> None:
    """Measure everything and write the study."""
    found = {}
    for name, draw in KINDS.items():
        found[name] = study(draw, cages, pairs)
        print(name, found[name], flush=True)
    cages = -(-cages // BLOCK) * BLOCK
    rows: list[tuple[str, Callable[[Study], str]]] = [
        ("time of SLSQP for a cage, by its own differences, against that of the blocks", lambda s: f"{s.ratio:.0f}"),
        ("the same, SLSQP given the gradients", lambda s: f"{s.ratio_helped:.0f}"),
        ("cages a second on one thread of this machine", lambda s: f"{s.cages_a_second:.0f}"),
        (f"largest difference from the twin over {TWINS} cages, mm", lambda s: f"{s.error:.1e}"),
        (f"largest gap that the answers state, {cages} cages, mm", lambda s: f"{s.gap:.1e}"),
        (f"signs proved plainly, of {cages}", lambda s: f"{s.proved}"),
        (f"cages asked of the twin: all without proof and the {NEAREST} nearest to 0", lambda s: f"{s.asked}"),
        ("nearest margin to 0, mm", lambda s: f"{s.nearest:.1e}"),
        (f"wrong decisions among {cages}", lambda s: f"{s.wrong}"),
    ]
    table = "\n".join(f"| {what} | " + " | ".join(show(s) for s in found.values()) + " |" for what, show in rows)
    text = f"""# Best pose, measured

Written by `python tests/benchmarks/minimax.py`, {datetime.datetime.now(datetime.UTC):%Y-%m-%d}, seed {SEED}, blocks of
{BLOCK} cages, on a shared machine of {os.cpu_count()} cores, scipy {scipy.__version__}, numpy {np.__version__}.
Times are processor times of one thread, medians of {pairs} pairs of {CALLS} blocks and {TIMED} cages of SLSQP. The
blocks ask for margins, as the engine does: poses and weights are found, the weights of all cones not laid out.

`stackup/chain/pose.py` solves, for every cage, a convex minimax problem: the pose in which the least of
play − |residual| over all pins is largest. Here it is compared with scipy's SLSQP in epigraph form
(one start from least squares, ftol 1e-10; for the errors up to three starts and 1e-13), in turn within one run.

Ring fit: play 0.1 mm with scatter 0.01, vectors of 0.05 mm. Centring: both sides and both stations of each pocket,
play 0.25 mm with scatter 0.01, √((±(m + s) + h)² + w²) with m of 0.05, w of 0.01 and h up to 0.1 mm. For the decisions
all plays are moved so that half of the cages fit. A cage that fits is proved by its pose, one that does not by its
weights; both are evaluated by a few plain lines that share nothing with the solver. That proof of a misfit is good to
about 1e-6 mm, so cages nearer to 0 are asked of the twin, whose margin is that of a pose: it may be too small, never
too large.

| what | {" | ".join(found)} |
|---|{"---:|" * len(found)}
{table}
"""
    (ROOT / "docs" / "study_minimax.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
