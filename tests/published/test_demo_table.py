"""A cage of plausible magnitudes (invented), by sampling and by quadrature: the package against the table.

Source: the cage values to check against, "A cage of plausible magnitudes", 240 000 cages by three programs that
are independent of the package (OWN); figures by quadrature there are exact.  Here 20 000 cages are sampled, the
cage being the unit; ``tests/benchmarks/demo_table_study.py`` samples 240 000 and writes what it finds.
"""

from __future__ import annotations

import math
from typing import Any

import pytest
from demo_compare import Line, compare
from demo_table import DEMO_CHANGED, DEMO_EXACT, DEMO_SPEC, DEMO_TABLE, IF_INDEPENDENT, demo_tables

from stackup.case import from_mapping
from stackup.chain.model import Model, Requirement
from stackup.engine import monte_carlo, rss
from stackup.engine.result import MonteCarlo, Rss
from stackup.engine.settings import Settings

CAGES = 20_000


def demo(spec: dict[str, Any] = DEMO_SPEC) -> tuple[Model, dict[str, Requirement]]:
    case = from_mapping(demo_tables(spec))
    return case.models()[0].states["made"], {each.name: each for each in case.requirements}


@pytest.fixture(scope="module")
def sampled() -> MonteCarlo:
    model, wanted = demo()
    return monte_carlo.run(model, tuple(wanted.values()), Settings(seed=20, cages=CAGES))


@pytest.fixture(scope="module")
def lines(sampled: MonteCarlo) -> dict[tuple[str, str], Line]:
    return {(line.gap, line.what): line for line in compare(sampled)}


@pytest.mark.parametrize("what", ["mean", "sd", "pockets", "cages"])
@pytest.mark.parametrize("gap", DEMO_TABLE)
def test_sampled_table(lines: dict[tuple[str, str], Line], gap: str, what: str) -> None:
    line = lines[gap, what]
    assert line.agrees, line


def test_what_independence_would_have_said(sampled: MonteCarlo) -> None:
    """Shared errors make pockets fail together: 2 200 ppm of cages where independence says 8 700."""
    cages = sampled.records["end_clearance"].cages
    assert cages is not None
    assert cages.if_independent is not None
    assert cages.if_independent > 2 * cages.out_of_spec
    pockets = sampled.records["end_clearance"].pockets
    assert pockets is not None
    ends = (1 - (1 - p) ** DEMO_SPEC["rollers"]["nominal"] for p in (pockets.low, pockets.high))
    low, high = (1e6 * end for end in ends)
    assert low <= IF_INDEPENDENT["end_clearance"] <= high


# --- exact values by quadrature -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def stacked() -> dict[str, Rss | None]:
    model, wanted = demo()
    records, _ = rss.run(model, [wanted[gap] for gap in DEMO_TABLE], Settings())
    return records


#: gaps that are linear in normals, or a size less the length of a normal vector: RSS is their exact law
EXACT_BY_RSS = ("bore_clearance", "pin_skew", "pin_entry", "weld_gap")


@pytest.mark.parametrize("gap", EXACT_BY_RSS)
def test_exact_values(stacked: dict[str, Rss | None], gap: str) -> None:
    """Mean, sd and ppm of pockets to the digits printed."""
    found = stacked[gap]
    assert found is not None
    expected = DEMO_EXACT[gap]
    for what in ("mean", "sd"):
        if what in expected:
            printed, rounding = expected[what]
            assert getattr(found, what) == pytest.approx(printed, abs=1.02 * rounding), what
    printed, rounding = expected["pockets"]
    assert found.out_of_spec is not None
    assert 1e6 * found.out_of_spec == pytest.approx(printed, abs=1.02 * rounding)


@pytest.mark.parametrize("gap", ["end_clearance", "ring_clearance_outer"])
def test_exact_moments(stacked: dict[str, Rss | None], gap: str) -> None:
    """Gaps that hold one-sided dimensions as well: RSS has their moments, to a thousandth of the sd."""
    found = stacked[gap]
    assert found is not None
    room = 1e-3 * DEMO_EXACT[gap]["sd"][0]
    assert found.mean == pytest.approx(DEMO_EXACT[gap]["mean"][0], abs=room)
    assert found.sd == pytest.approx(DEMO_EXACT[gap]["sd"][0], abs=room)


def test_exact_share_of_cages() -> None:
    """weld_gap has nothing that pockets share: 18.5 ppm of cages are 48 pockets at 0.386 ppm (closed form)."""
    pockets, cages = DEMO_EXACT["weld_gap"]["pockets"], DEMO_EXACT["weld_gap"]["cages"]
    assert 1e6 * -math.expm1(48 * math.log1p(-1e-6 * pockets[0])) == pytest.approx(cages[0], abs=cages[1])


# --- the same cage, changed ---------------------------------------------------------------------------------


def test_ring_b_bored_smaller() -> None:
    """Ring B 0.15 smaller than ring A: running_clearance ≥ 0.13 fails for the order of 7 %."""
    model, wanted = demo(DEMO_CHANGED["ring_b_smaller"]["spec"])
    found = monte_carlo.run(model, [wanted["running_clearance"]], Settings(cages=4_000))
    pockets = found.records["running_clearance"].pockets
    assert pockets is not None
    assert 0.05 <= pockets.out_of_spec <= 0.10


def test_holes_bored_together() -> None:
    """Nine tenths of the variance of the positions common: about 4 ppm of pin_entry, exactly by RSS."""
    model, wanted = demo(DEMO_CHANGED["bored_together"]["spec"])
    records, _ = rss.run(model, [wanted["pin_entry"]], Settings())
    found = records["pin_entry"]
    assert found is not None
    assert found.out_of_spec is not None
    assert 3e-6 <= found.out_of_spec <= 5e-6
