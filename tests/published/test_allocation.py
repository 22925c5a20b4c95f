"""Allocation of the shaft-and-housing stack: K. W. Chase, *Tolerance Allocation Methods for Designers*, ADCATS report
99-6, Brigham Young University, 1999 (tables MEM), recomputed in ``shared/reference/check_values.md``, section 1.

The printed optima were stopped early: priced with their own constants they cost exactly what is printed; the true
optima (OWN, confirmed there by another solver) cost 11.077829 and 8.053611.
"""

from __future__ import annotations

from typing import Any

import pytest
from scipy.stats import norm

from stackup.case import Case, from_mapping
from stackup.decide.allocate import allocate
from stackup.decide.limits import limits_of
from stackup.decide.optimise import Problem, solve
from stackup.decide.plan import plan_of
from stackup.engine.settings import Settings

#: part → nominal and tolerance (in), and cost of the free ones: setup, rate, power
PARTS: dict[str, tuple[float, float, tuple[float, float, float] | None]] = {
    "a": (0.0505, 0.0015, None),
    "b": (8.000, 0.008, (1.00, 0.15997, 0.43899)),
    "c": (0.5093, 0.0025, None),
    "d": (0.400, 0.002, (1.00, 0.07202, 0.46823)),
    "e": (7.711, 0.006, (1.00, 0.12576, 0.46537)),
    "f": (0.400, 0.002, (1.00, 0.07202, 0.46823)),
    "g": (0.5093, 0.0025, None),
}
GAP = 0.0199
#: ± 3 standard deviations of a normal gap
THREE_SIGMA = {"ppm": 2e6 * float(norm.sf(3)), "of": "pockets"}


def end_play(limit: float = 0.015, **more: Any) -> Case:
    dimensions = {}
    for name, (nominal, tolerance, cost) in PARTS.items():
        dimensions[name] = {"nominal": nominal, "tolerance": tolerance, "unit": "in"}
        if cost:
            dimensions[name]["cost"] = {"model": "reciprocal", "fixed": cost[0], "rate": cost[1], "power": cost[2]}
    return from_mapping(
        {
            "cage": {"kind": "none"},
            "dimensions": dimensions,
            "chains": {"end_play": {"formula": "-a + b - c + d - e + f - g", "unit": "in"}},
            "requirements": {"end_play": {"min": GAP - limit, "max": GAP + limit, **more}},
        }
    )


def problem(case: Case) -> Problem:
    model = case.models()[0].states["made"]
    return Problem(plan_of(case), limits_of(model, case.requirements, Settings()))


WORST = (0.00253711, 0.00173400, 0.00249489, 0.00173400), 11.077829
RSS = (0.00811423, 0.00638180, 0.00793439, 0.00638180), 8.053611


@pytest.mark.parametrize(("more", "widths", "cost"), [({}, *WORST), ({"allow": THREE_SIGMA}, *RSS)])
def test_the_true_optimum(more: Any, widths: tuple[float, ...], cost: float) -> None:
    """OWN: recomputed to the digits given; proved, by a bound that is as high."""
    found = solve(problem(end_play(**more)))
    assert found is not None
    assert found.proved
    assert found.cost == pytest.approx(cost, abs=5.01e-7)
    assert found.bound == pytest.approx(cost, abs=2e-6)
    for name, width in zip("bdef", widths, strict=True):
        assert found.assigned[name].half == pytest.approx(width, abs=2e-7)  # flat: cost moves by their squares


@pytest.mark.parametrize(
    ("widths", "printed", "cost"),
    [
        ((0.008, 0.002, 0.006, 0.002), 9.34, 9.335887),  # MEM, OWN
        ((0.00254, 0.001736, 0.002498, 0.001736), 11.07, 11.0740),
        ((0.00810, 0.00637, 0.00792, 0.00637), 8.06, 8.0570),
    ],
)
def test_printed_tolerances_cost_what_is_printed(widths: tuple[float, ...], printed: float, cost: float) -> None:
    places = {place.name: place for place in plan_of(end_play())}
    total = 0.0
    for name, width in zip("bdef", widths, strict=True):
        curve = places[name].curve
        assert curve is not None
        total += curve.value(width)
    assert total == pytest.approx(cost, abs=5.01e-5)
    assert round(total, 2) == printed


@pytest.mark.parametrize(
    ("more", "rules"),
    [
        ({}, {"proportional": 11.536734, "precision": 11.295191}),  # OWN
        ({"allow": THREE_SIGMA}, {"proportional": 8.577617, "precision": 8.338131}),
    ],
)
def test_the_whole_answer(more: Any, rules: dict[str, float]) -> None:
    """Cost with half-widths of five digits; the rules of the report; every other rule costs more."""
    case = end_play(**more)
    result = allocate(case, Settings(cages=1000))
    assert result.works
    assert result.optimal == "proved"
    assert result.cost_before == pytest.approx(9.335887, abs=5.01e-7)
    assert result.cost_after == pytest.approx(RSS[1] if more else WORST[1], abs=2e-4)
    costs = {one.rule: one.cost for one in result.rules}
    for rule, cost in rules.items():
        assert costs[rule] == pytest.approx(cost, abs=2e-5)
    assert all(cost is not None and cost >= costs["cost"] for cost in costs.values())


@pytest.mark.parametrize(
    ("more", "factor"),
    [({}, 0.472222222), ({"allow": THREE_SIGMA}, 1.395263151)],  # MEM* printed 0.47222 and 1.39526
)
def test_the_proportional_factor(more: Any, factor: float) -> None:
    """P = (0.015 − 0.0065)/0.018, and √((0.015² − Σ fixed²)/Σ free²): there the limit is used up, not before."""
    posed = problem(end_play(**more))
    for times, room in ((factor, True), (factor * (1 + 1e-6), False)):
        assigned = posed.assigned(posed.finest())
        wider = {p.name: type(assigned[p.name])(p.before * times) for p in posed.places}
        margins = [limit.margin(posed.seen(wider)) for limit in posed.limits]
        assert (min(margins) >= -1e-10) is room
