"""The cages of plausible magnitudes with as many cages as the references: the tables, line by line.

Run: ``python tests/benchmarks/demo_table_study.py [--cages 240000] [--seed 1] [--workers 1] [-o FILE.md]``.
Writes ``docs/study_demo_table.md`` with date, seed and result, and ends with 1 where a line does not agree.
"""

from __future__ import annotations

import argparse
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # the tables stand beside the rooms

from demo_compare import Line, compare
from demo_table import DEMO_CHANGED, DEMO_EXACT, REFERENCE_CAGES, demo_tables
from tapered_compare import compare_tapered
from tapered_table import tapered_tables

from stackup.case import from_mapping
from stackup.chain.model import Model, Requirement
from stackup.engine import monte_carlo, rss
from stackup.engine.result import MonteCarlo
from stackup.engine.settings import Settings

HERE = Path(__file__).resolve()
UNITS = {"pockets": " ppm", "cages": " ppm"}


def model_of(tables: dict) -> tuple[Model, tuple[Requirement, ...]]:
    """Return the model of a case's only row, and its requirements."""
    case = from_mapping(tables)
    return case.models()[0].states["made"], case.requirements


def number(value: float) -> str:
    """Return five digits at most."""
    return f"{value:.5g}"


def row(line: Line) -> str:
    """Return one line of the table."""
    span = f"{number(line.low)} … {number(line.high)}"
    unit = UNITS.get(line.what, "")
    verdict = "yes" if line.agrees else "**no**"
    return f"| {line.gap} | {line.what}{unit} | {number(line.printed)} | {number(line.found)} | {span} | {verdict} |"


def quadrature(model: Model, requirements: tuple[Requirement, ...]) -> list[str]:
    """Return the lines on what RSS gives where the source has exact values."""
    wanted = [r for r in requirements if r.name in DEMO_EXACT]
    records, _ = rss.run(model, wanted, Settings())
    lines = []
    for name, values in DEMO_EXACT.items():
        found = records[name]
        assert found is not None
        ppm = None if found.out_of_spec is None else 1e6 * found.out_of_spec
        have = {"mean": found.mean, "sd": found.sd, "pockets": ppm}
        for what in values.keys() & have.keys():
            lines.append(f"| {name} | {what}{UNITS.get(what, '')} | {number(values[what][0])} | {number(have[what])} |")
    return sorted(lines)


def changed(seed: int, workers: int) -> list[str]:
    """Return the lines on the changed cages."""
    lines = []
    for name, change in DEMO_CHANGED.items():
        model, requirements = model_of(demo_tables(change["spec"]))
        wanted = [r for r in requirements if r.name == change["gap"]]
        found = monte_carlo.run(model, wanted, Settings(seed=seed, cages=40_000, workers=workers))
        pockets = found.records[change["gap"]].pockets
        assert pockets is not None
        ends = f"{number(1e6 * pockets.low)} … {number(1e6 * pockets.high)}"
        said = number(change["pockets"])
        lines.append(f"| {name} | {change['gap']} | {said} | {number(1e6 * pockets.out_of_spec)} | {ends} |")
    return lines


def cone(lines: list[Line], cages: int) -> list[str]:
    """Return the section on the tapered cage."""
    return [
        "## The tapered cage",
        "",
        "The table stands in `tests/tapered_table.py` (240 000 cages and more by two independent programs; the cage "
        f"is invented). {cages} cages here, by the same rule. **{sum(line.agrees for line in lines)} of {len(lines)} "
        "numbers agree.** The last three are the standard deviation of a pin's apex crossing, that of a cage's mean, "
        "and the mean of its spread over a cage.",
        "",
        "| gap | what | printed | found | may lie in | agrees |",
        "|---|---|---|---|---|---|",
        *map(row, lines),
        "",
    ]


def page(found: MonteCarlo, lines: list[Line], cone_lines: list[Line], seed: int, workers: int, seconds: float) -> str:
    """Return the study as Markdown."""
    model, requirements = model_of(demo_tables())
    agree = sum(line.agrees for line in lines)
    return "\n".join(
        [
            "# The cage of plausible magnitudes, sampled",
            "",
            f"{datetime.now(UTC):%Y-%m-%d}, seed {seed}, {found.cages} cages of {model.pockets} pockets, "
            f"{seconds:.0f} s with {workers} worker{'s' * (workers > 1)}. Made by "
            "`python tests/benchmarks/demo_table_study.py`.",
            "",
            f"The table stands in `tests/demo_table.py` ({REFERENCE_CAGES} cages by three programs that are "
            "independent of the package; the cage is invented). *May lie in* is 4 standard errors of both runs "
            "together, the cage being the unit, and what rounding can hide, or a tenth of a fraction above 50 ppm "
            "where that is more; a factor of two, and the counts' own error, where fewer than 20 cages of the "
            "reference failed.",
            "",
            f"**{agree} of {len(lines)} numbers agree.**",
            "",
            "| gap | what | printed | found | may lie in | agrees |",
            "|---|---|---|---|---|---|",
            *map(row, lines),
            "",
            *cone(cone_lines, found.cages),
            "## Where the source has exact values",
            "",
            "RSS beside quadrature: exact for chains of normals and for a size less the length of a normal vector; "
            "end_clearance and ring_clearance_outer hold one-sided dimensions, whose moments alone it takes over.",
            "",
            "| gap | what | exact | RSS |",
            "|---|---|---|---|",
            *quadrature(model, requirements),
            "",
            "## The same cage, changed",
            "",
            "Ring B bored 0.15 smaller than ring A; both rings' holes bored together for nine tenths of the variance "
            "of their positions. 40 000 cages each, ppm of pockets.",
            "",
            "| change | gap | printed, about | found | 95 % interval |",
            "|---|---|---|---|---|",
            *changed(seed, workers),
            "",
        ]
    )


def main() -> int:
    """Sample, compare, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cages", type=int, default=REFERENCE_CAGES)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("-o", "--output", type=Path, default=HERE.parents[2] / "docs" / "study_demo_table.md")
    given = parser.parse_args()
    model, requirements = model_of(demo_tables())
    start = time.perf_counter()
    settings = Settings(seed=given.seed, cages=given.cages, workers=given.workers)
    found = monte_carlo.run(model, requirements, settings)
    seconds = time.perf_counter() - start
    lines = list(compare(found))
    model, requirements = model_of(tapered_tables())
    cone_lines = list(compare_tapered(monte_carlo.run(model, requirements, settings)))
    given.output.write_text(page(found, lines, cone_lines, given.seed, given.workers, seconds), encoding="utf-8")
    both = [*lines, *cone_lines]
    print(f"{sum(line.agrees for line in both)} of {len(both)} numbers agree: {given.output}")
    return 0 if all(line.agrees for line in both) else 1


if __name__ == "__main__":
    raise SystemExit(main())
