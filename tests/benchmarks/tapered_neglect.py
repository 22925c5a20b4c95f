"""Measures what the models leave out, against direct geometry; writes docs/study_tapered_geometry.md.

Run from the root: ``python tests/benchmarks/tapered_neglect.py [POCKETS]`` (300: a few minutes of one core).
"""

from __future__ import annotations

import datetime
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests"))

import geometry_compare  # noqa: E402  # stands beside the rooms

HEAD = """# Formulas against geometry, measured

Written by `python tests/benchmarks/tapered_neglect.py`, {date}, seeds 0 to {last}: one pocket of each of {count} random
cages, drawn within the tolerances of an invented tapered cage (52 rollers of 70 mm, β = 13°) and of an invented
cylindrical one (48 rollers of 50 mm). Direct geometry (`tests/geometry.py`) puts cylinders, cones, spheres and planes
where their sizes put them and finds distances by search. Plus: geometry leaves more than the formula says. The last
column is the greatest part that was used of the limits that the terms left out give for the very pocket
(`tests/geometry_compare.py`); the tests fail where it passes 1. All in µm.
"""
COLUMNS = "| gap | mean | sd | from | to | of its limit |\n|---|---:|---:|---:|---:|---:|"
NOTES = """
*running_clearance* of a tapered cage. The formula forms the seats with β − ν; a roller lies on a raceway whose angle is
atan((F_B − F_A)/2W₀). Where both differ by δ the seats are off by (D/2)·cosν·(1/cos(β − ν) − 1/cos(β − ν + δ)), some
8 mm times δ. With the raceway's own angle what is left is a tenth of a µm, but for the bow between stations, at most
reach²·|w|/2, by which geometry has the less. At the place along the circumference where the roller settles, more is
left than the formula says.

*roller_spacing*. The bow between stations stops a roller earlier than three stations say, and a bore out of centre is
off the same way at all of them: on the safe side.

*end_clearance*, flat faces: rollers that lean by δ more than β change it by (W sinβ − (D_S + D_L)/2)/cos²β·δ. Rings out
of parallel are counted at their worst: safe. Inclined faces (square, conical), turned on a circle that stays: they part
along the pin by cosβ, not 1/cosβ, of what the spacing changes, and by sinβ of what the rings are out of centre; the
roller's ends lean by δ, and by sinβ times its own angle from its pocket, which costs that times D_S/2 and d_b/2
(spherical) or D_L/2 (flat): unsafe.

*apex_crossing*: the nearest point of both lines in space instead of the pin's projection, beside 3 mm of scatter.
"""


def rows(pockets: int, compared: Callable[[int], Iterator[geometry_compare.Comparison]]) -> Iterator[str]:
    """Yield the lines of the table."""
    found: dict[str, list[tuple[float, float, float]]] = {}
    for seed in range(pockets):
        for one in compared(seed):
            found.setdefault(one.name, []).append((one.difference, one.low, one.high))
    for name, values in found.items():
        um = 1000 * np.array(values)
        used = np.where(um[:, 0] > 0, um[:, 0] / um[:, 2], um[:, 0] / um[:, 1]).max()
        d = um[:, 0]
        yield f"| {name} | {d.mean():+.3f} | {d.std():.3f} | {d.min():+.3f} | {d.max():+.3f} | {max(used, 0):.2f} |"


def main() -> None:
    """Write the page."""
    pockets = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    parts = [HEAD.format(date=datetime.date.today(), last=pockets - 1, count=pockets)]
    kinds = (("Tapered", geometry_compare.tapered), ("Cylindrical", geometry_compare.cylindrical))
    for title, compared in kinds:
        parts += [f"## {title}\n", COLUMNS, *rows(pockets, compared), ""]
    page = "\n".join(parts) + NOTES
    (ROOT / "docs" / "study_tapered_geometry.md").write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
