"""A tapered cage of plausible magnitudes (invented), by sampling: the package against the table.

Source: the cage values to check against, "A tapered cage of plausible magnitudes (invented)", 240 000 cages and more by
programs that are independent of the package (OWN).  Here 20 000 cages are sampled, the cage being the unit;
``tests/benchmarks/demo_table_study.py`` samples 240 000 and writes what it finds.
"""

from __future__ import annotations

import pytest
from demo_compare import Line
from tapered_compare import compare_tapered
from tapered_table import CROSSING, TAPERED_TABLE, tapered_tables

from stackup.case import from_mapping
from stackup.engine import monte_carlo
from stackup.engine.settings import Settings

CAGES = 20_000
LINES = [(gap, of) for gap, row in TAPERED_TABLE.items() for of in ("pockets", "cages") if of in row]
LINES += [("apex_crossing", what) for what in CROSSING]


@pytest.fixture(scope="module")
def lines() -> dict[tuple[str, str], Line]:
    case = from_mapping(tapered_tables())
    model = case.models()[0].states["made"]
    found = monte_carlo.run(model, case.requirements, Settings(seed=20, cages=CAGES))
    return {(line.gap, line.what): line for line in compare_tapered(found)}


@pytest.mark.parametrize(("gap", "what"), LINES)
def test_sampled_table(lines: dict[tuple[str, str], Line], gap: str, what: str) -> None:
    line = lines[gap, what]
    assert line.agrees, line
