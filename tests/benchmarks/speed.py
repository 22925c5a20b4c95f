"""How long things take, as ratios within one run: medians of paired runs.

Run: ``OPENBLAS_NUM_THREADS=1 python tests/benchmarks/speed.py [PAIRS [PART …]]``.  Writes ``docs/study_speed.md``; with
parts named (``sampling``, ``checking``, ``tapered``, ``states``, ``doubling``, ``starting``, ``memory``) only their
rows of it.

The floor is the time that numpy's PCG64DXSM needs to draw, with ``standard_normal(out=)`` and on one thread, one
standard normal number for every scalar variate of the model.
"""

from __future__ import annotations

import datetime
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from statistics import median

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from states import WEAR, operated

from stackup.case import changed, read
from stackup.case.case import Case
from stackup.chain.model import Model, Requirement
from stackup.chain.program import compile_model
from stackup.decide.check import check
from stackup.engine import monte_carlo
from stackup.engine.monte_carlo import block_size
from stackup.engine.settings import Settings

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "cases" / "demo.toml"
TAPERED = ROOT / "cases" / "tapered.toml"
STUDY = ROOT / "docs" / "study_speed.md"
SEED, CAGES = 1, 8 * 4096
COMMANDS = ("new", "check", "explain", "allocate", "rollers", "capability", "review", "slots", "iso286", "schema")
IMPORTS = "import numpy, scipy.stats, scipy.optimize, sympy"
EMPTY = "import typer\napp = typer.Typer()\n@app.command()\ndef main() -> None: ...\napp()\n"
Row = tuple[str, str, str]


def timed(run: Callable[[], object]) -> float:
    """Return seconds."""
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def paired(one: Callable[[], object], other: Callable[[], object], pairs: int) -> float:
    """Return the median ratio of the times of two things, done in turn."""
    return median(timed(one) / timed(other) for _ in range(pairs))


def variates(model: Model) -> tuple[int, int]:
    """Return the scalar variates of one pocket and of one cage."""
    counts = {"pocket": 0, "cage": 0}
    for dimension in model.dimensions.values():
        counts[dimension.scope] += len(dimension.components)
    return counts["pocket"], counts["cage"]


def floor_of(model: Model, cages: int) -> Callable[[], object]:
    """Return what draws as many standard normals as ``cages`` cages have scalar variates, block by block."""
    of_pocket, of_cage = variates(model)
    rng = np.random.Generator(np.random.PCG64DXSM(SEED))
    size = block_size(model.pockets)
    pocket, cage = np.empty((model.pockets, size)), np.empty((1, size))

    def draw() -> None:
        for _ in range(cages // size):
            for _ in range(of_pocket):
                rng.standard_normal(out=pocket)
            for _ in range(of_cage):
                rng.standard_normal(out=cage)

    return draw


def all_gaps(case: Case) -> tuple[Model, list[Requirement]]:
    """Return the model of a case and a requirement on every gap: the limits of the file where it has some."""
    model = case.models()[0].states["made"]
    given = {r.gap: r for r in case.requirements if r.over == "each"}
    return model, [given.get(gap.name, Requirement(gap.name, gap.name)) for gap in model.gaps]


def sampling(pairs: int) -> list[Row]:
    """Return Monte Carlo of the demo against the floor, with two workers, and with numbers of the whole cage."""
    model, wanted = all_gaps(read(DEMO))
    of_pockets = without_whole(model, wanted)

    def run(asked: list[Requirement], workers: int = 1) -> Callable[[], object]:
        return lambda: monte_carlo.run(model, asked, Settings(SEED, CAGES, workers))

    run(wanted)()
    floor = floor_of(model, CAGES)
    of_pocket, of_cage = variates(model)
    each = f"{model.pockets} pockets, {of_pocket} pocket and {of_cage} cage variates"
    both = ", ".join(one.gap for one in wanted if one not in of_pockets)
    return [
        (
            f"Monte Carlo of the demo, one thread ({len(of_pockets)} gaps, {each}), against the floor",
            ratio(paired(run(of_pockets), floor, pairs)),
            "1.6",
        ),
        ("the same, two threads, against the floor of one", ratio(paired(run(of_pockets, 2), floor, pairs)), "–"),
        (f"the same, one thread, with {both}", ratio(paired(run(wanted), floor, pairs)), "–"),
    ]


def without_whole(model: Model, wanted: list[Requirement]) -> list[Requirement]:
    """Return the requirements on gaps that hang on no number of the whole cage."""
    program = compile_model(model)
    return [one for one in wanted if not program.is_whole(one.gap)]


def checking(pairs: int) -> list[Row]:
    """Return a whole check of the demo with limits on both numbers of the whole cage against one without them."""
    case = read(DEMO)
    limits = {"ring_entry": Requirement("rings over pins", "ring_entry", min=0.0),
              "cage_float": Requirement("free play", "cage_float", min=0.0)}  # fmt: skip
    of_pockets = replace(case, requirements=tuple(r for r in case.requirements if r.gap not in limits))
    both = replace(case, requirements=(*of_pockets.requirements, *limits.values()))

    def run(which: Case) -> Callable[[], object]:
        return lambda: check(which, Settings(SEED, CAGES), all_gaps=False)

    run(both)()
    what = f"a check of the demo, {CAGES} cages, with limits on ring_entry and cage_float against one without them"
    return [(what, ratio(paired(run(both), run(of_pockets), pairs)), "4")]


def tapered(pairs: int) -> list[Row]:
    """Return Monte Carlo of the pockets of a tapered cage against that of a cylindrical one, by variate."""
    runs, each = [], []
    for file in (TAPERED, DEMO):
        model, wanted = all_gaps(read(file))
        wanted = [one for one in wanted if model.gap(one.gap).scope == "pocket"]
        of_pocket, of_cage = variates(model)
        each.append(of_pocket * model.pockets + of_cage)
        runs.append(partial(monte_carlo.run, model, wanted, Settings(SEED, CAGES)))
    for run in runs:
        run()
    what = "Monte Carlo of all gaps of a pocket, a tapered cage against a cylindrical one, by variate"
    return [(what, ratio(paired(runs[0], runs[1], pairs) * each[1] / each[0]), "1.5")]


def states(pairs: int) -> list[Row]:
    """Return Monte Carlo of the demo in four states against one of them, numbers of the whole cage left out, and in."""
    case = operated(read(DEMO))
    (row,), (model, wanted) = case.models(), all_gaps(case)
    of_pockets = without_whole(model, wanted)

    def run(asked: list[Requirement], *names: str) -> Callable[[], object]:
        models = {name: row.states[name] for name in names}
        return lambda: monte_carlo.run_states(models, asked, Settings(SEED, CAGES))

    found = []
    for asked, what in ((of_pockets, "without numbers of the whole cage"), (wanted, "with them")):
        one, four = run(asked, "made"), run(asked, *row.states)
        one(), four()
        head = f"four states of the demo (all parts warm or not, {len(WEAR)} sizes worn or not) against one"
        found.append((f"{head}, {len(asked)} gaps, {what}", ratio(paired(four, one, pairs)), "2.3"))
    return found


def doubling(pairs: int) -> list[Row]:
    """Return what twice the cages and twice the pockets cost."""
    case = read(DEMO)
    model, wanted = all_gaps(case)
    # the rings grow with the rollers, so that the cage stays one
    more = {
        f"dimensions.{name}.nominal": case.mapping["dimensions"][name]["nominal"] + 800.13
        for name in (
            "hole_pitch_diameter",
            "inner_raceway",
            "outer_guide",
            "ring_outside",
            "ring_inside",
            "inner_guide",
        )
    }
    large, same = all_gaps(changed(case, {"cage.rollers": 96, **more}))

    def run(which: Model, asked: list[Requirement], cages: int) -> Callable[[], object]:
        return lambda: monte_carlo.run(which, asked, Settings(SEED, cages))

    one = run(model, wanted, CAGES)
    one()
    return [
        ("twice the cages against once", ratio(paired(run(model, wanted, 2 * CAGES), one, pairs)), "2"),
        ("twice the pockets against once", ratio(paired(run(large, same, CAGES), one, pairs)), "2"),
    ]


def command(*words: str) -> Callable[[], object]:
    """Return what runs a command of its own, quietly; its exit code may say "not met"."""
    return lambda: subprocess.run(words, cwd=ROOT, capture_output=True, check=False)


def ratio(value: float) -> str:
    """Return a ratio in words of the table."""
    return f"{value:.2f}"


def starting(pairs: int) -> list[Row]:
    """Return the first run of ``check``, and the help of every command."""
    stackup = Path(sys.executable).with_name("stackup")
    if not (stackup.exists() and (ROOT / "stackup" / "cli.py").exists()):
        return [("stackup check, --help", "not measured: no command line here", "4, 1.5")]
    imports = command(sys.executable, "-c", IMPORTS)
    check = command(str(stackup), "check", str(DEMO))
    check(), imports()
    found = [
        (
            "stackup check on the demo, first run, against the imports",
            ratio(paired(check, imports, pairs)),
            "4",
        )
    ]
    with tempfile.TemporaryDirectory() as folder:
        program = Path(folder) / "empty.py"
        program.write_text(EMPTY, encoding="utf-8")
        empty = command(sys.executable, str(program), "--help")
        for name in ("", *COMMANDS):
            words = [name] if name else []
            helping = command(str(stackup), *words, "--help")
            helping(), empty()
            found.append((f"stackup {name} --help against an empty typer program".replace("  ", " "),
                          ratio(paired(helping, empty, 3 * pairs)), "1.5"))  # fmt: skip
    return found


PEAK = """
import resource, sys
sys.path.insert(0, "tests/benchmarks")
from speed import DEMO, SEED, all_gaps, monte_carlo, read, Settings
model, wanted = all_gaps(read(DEMO))
monte_carlo.run(model, wanted, Settings(SEED, int(sys.argv[1])))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def memory(_: int) -> list[Row]:
    """Return the peak memory of the demo at 10⁴ and 10⁶ cages, each in a process of its own."""
    peaks = []
    for cages in (10**4, 10**6):
        words = (sys.executable, "-c", PEAK, str(cages))
        out = subprocess.run(words, cwd=ROOT, capture_output=True, check=True, text=True).stdout
        peaks.append(int(out) / 1024)
    both = f"{peaks[1]:.0f} and {peaks[0]:.0f} MiB, interpreter and libraries included"
    return [(f"peak memory at 10⁶ cages against 10⁴ ({both})", ratio(peaks[1] / peaks[0]), "1")]


PARTS: dict[str, Callable[[int], list[Row]]] = {
    "sampling": sampling, "checking": checking, "tapered": tapered, "states": states,
    "doubling": doubling, "starting": starting, "memory": memory,
}  # fmt: skip


HEADS = "|---|---:|---:|\n"


def known() -> tuple[str, list[Row]]:
    """Return what stands above the rows of the study, and its rows."""
    head, _, table = STUDY.read_text(encoding="utf-8").partition(HEADS)
    cells = ([cell.strip() for cell in line.strip("|").split(" | ")] for line in table.splitlines())
    return head + HEADS, [(what, found, most) for what, found, most in cells]


def main(pairs: int = 9, *parts: str) -> None:
    """Measure everything, or some parts (with as many pairs as the rest was), and write the study."""
    head, old = known() if parts else (head_of(pairs), [])
    rows = {row[0]: row for row in old}
    for part in parts or PARTS:
        for row in PARTS[part](pairs):
            rows[row[0]] = row
            print(*row, sep=" | ", flush=True)
    table = "".join(f"| {what} | {found} | {most} |\n" for what, found, most in rows.values())
    STUDY.write_text(head + table, encoding="utf-8")


def head_of(pairs: int) -> str:
    """Return what stands above the rows."""
    return f"""# Speed, measured

Written by `python tests/benchmarks/speed.py`, {datetime.datetime.now(datetime.UTC):%Y-%m-%d}, seed {SEED},
{CAGES} cages, medians of {pairs} paired runs (three times as many for `--help`), on a shared
machine of {os.cpu_count()} cores. Everything is a ratio of two things done in turn in one run.

The floor is the time that numpy's generator (PCG64DXSM, `standard_normal(out=)`) needs on one thread to draw one
standard normal number for every scalar variate of the model. The imports are
`python -c '{IMPORTS}'`.

| what | ratio | at most |
{HEADS}"""


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]), *sys.argv[2:])
