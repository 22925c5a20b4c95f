"""How often 95 % intervals hold the exact fraction where scatter is mostly shared: the longer study.

Run: ``python tests/benchmarks/coverage.py``.  Writes ``docs/study_coverage.md``.
"""

from __future__ import annotations

import datetime
import math
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "property")]

from sharing import OWN, POCKETS, SHARED, coverage, exact  # noqa: E402 - stands beside the tests

SEEDS, FIRST = 200, 1001
#: limit in shared standard deviations below the middle, cages drawn
SETTINGS = ((0.0, 500), (0.5, 500), (1.0, 500), (2.0, 500), (2.0, 5000), (3.0, 5000))


def rows() -> list[str]:
    """Return one row of the table for each setting."""
    found = []
    for sigmas, cages in SETTINGS:
        limit = 0.6 - sigmas * SHARED
        pockets, whole = exact(limit)
        held = coverage(limit, cages, SEEDS, FIRST)
        shares = [f"{100 * n / SEEDS:.1f} %" for n in (held.pockets, held.cages, held.binomial)]
        found.append(f"| {cages} | {pockets:.3g} | {whole:.3g} | " + " | ".join(shares) + " |")
        print(found[-1])
    return found


def main() -> None:
    """Write the study."""
    error = 100 * math.sqrt(0.95 * 0.05 / SEEDS)
    text = (
        f"""# Coverage of the intervals, measured

Written by `python tests/benchmarks/coverage.py`, {datetime.datetime.now(datetime.UTC):%Y-%m-%d},
seeds {FIRST} to {FIRST + SEEDS - 1}, {SEEDS} runs for each row.

An interval of 95 % should hold the exact fraction in 95 of 100 runs. The case is one whose scatter is mostly
shared: {POCKETS} pockets, the bore one draw per cage (sd {SHARED} mm), the pin one per pocket (sd {OWN} mm), so that
the pockets of a cage fail together. Given the bore they are independent: both exact fractions are integrals over
one normal number. The last column is what a binomial interval over all pockets, taken for independent, would hold.
The standard error of a coverage of 95 % is {error:.1f} % here.

| cages drawn | exact fraction of pockets | of cages | interval of pockets holds it | of cages | binomial on pockets |
|---:|---:|---:|---:|---:|---:|
"""
        + "\n".join(rows())
        + "\n"
    )
    (ROOT / "docs" / "study_coverage.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
