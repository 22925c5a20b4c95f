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
from stackup.decide.fractions import of_row
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


def test_the_best_estimate_is_the_exact_one(stacked: dict[str, Rss | None]) -> None:
    """A fraction is taken from its law where that is known: pockets of both, cages of what pockets do not share."""
    model, wanted = demo()
    for gap in ("weld_gap", "pin_entry"):
        pockets, cages = of_row(model, wanted[gap], stacked[gap], None)
        assert pockets is not None
        assert pockets.method == "exact"
        printed, rounding = DEMO_EXACT[gap]["pockets"]
        assert 1e6 * pockets.out_of_spec == pytest.approx(printed, abs=1.02 * rounding)
        if gap == "pin_entry":
            assert cages is None, "the rings' offset is one of a cage"
        else:
            assert cages is not None
            printed, rounding = DEMO_EXACT[gap]["cages"]
            assert 1e6 * cages.out_of_spec == pytest.approx(printed, abs=1.02 * rounding)


def test_no_tail_is_nothing() -> None:
    """What lies beyond the reach of a quadrature is little, not 0."""
    model, _ = demo()
    requirement = Requirement("weld_gap", "weld_gap", min=-1.0)
    pockets, cages = of_row(model, requirement, rss.run(model, [requirement], Settings())[0]["weld_gap"], None)
    assert pockets is not None
    assert 0 < pockets.out_of_spec < 1e-12
    assert cages is not None
    assert 0 < cages.out_of_spec < 1e-12


def test_one_normal_zone() -> None:
    """*Closed form.* A length of one zone alone, far out: exp(−r²/2σ²) of pockets beyond r, σ = (t/2)/3.4393."""
    zone = {"hole_position_a": {"zone": 0.1}, "pin_seat_b": {"zone": 0.06}}
    sizes = {"roller_diameter": 40.0, "roller_length": 60.0, "roller_bore": 14.0, "pin_diameter": 13.3,
             "hole_pitch_diameter": 486.12, "ring_spacing": 61.0, "inner_raceway": 446.0,
             "ring_hole_b": 13.5}  # fmt: skip
    dimensions = zone | {name: {"nominal": value} for name, value in sizes.items()}
    tables = {"cage": {"kind": "cylindrical", "rollers": 12}, "dimensions": dimensions}
    model = from_mapping(tables).models()[0].states["made"]
    for gap, least, diameter in (("pin_entry", 0.019, 0.1), ("weld_gap", 0.05, 0.06)):
        requirement = Requirement(gap, gap, min=least)
        pockets, cages = of_row(model, requirement, rss.run(model, [requirement], Settings())[0][gap], None)
        sigma = diameter / 2 / math.sqrt(-2 * math.log(0.0027))
        expected = math.exp(-((((13.5 - 13.3) / 2 - least) / sigma) ** 2) / 2)
        assert pockets is not None
        assert pockets.out_of_spec == pytest.approx(expected, rel=1e-5)
        assert cages is not None
        assert cages.out_of_spec == pytest.approx(-math.expm1(12 * math.log1p(-expected)), rel=1e-5)


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
