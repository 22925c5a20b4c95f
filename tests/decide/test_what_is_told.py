"""What a check tells beside its numbers, on cases made for it: no guess of what a cage shares, no silent NaN."""

from __future__ import annotations

import io
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from rich.console import Console
from scipy.stats import norm

import stackup
from stackup.decide.check import settings_of
from stackup.decide.words import interval, share
from stackup.engine.result import Fraction


def test_pockets_that_differ_round_the_ring() -> None:
    """Closed form: pocket i is out with p_i = Φ((limit − mean_i)/sd); a random pocket with their mean.

    The pockets are drawn anew, but not alike: 1 − (1 − p)^6 is not the fraction of cages, which is 1 − ∏(1 − p_i).
    """
    wave = {"pattern": [{"order": 1, "amplitude": 0.02, "phase": 0.0}], "cp": 1.0}
    case = stackup.from_mapping(
        {
            "cage": {"kind": "cylindrical", "rollers": 6},
            "dimensions": {
                "roller_diameter": {"nominal": 20.0},
                "roller_length": {"nominal": 30.0},
                "roller_bore": {"nominal": 8.0, "tolerance": 0.03, "process": wave},
                "pin_diameter": {"nominal": 7.5, "tolerance": 0.04},
                "hole_pitch_diameter": {"nominal": 120.0},
                "ring_spacing": {"nominal": 31.0},
                "inner_raceway": {"nominal": 100.0},
            },
            "requirements": {"bore_clearance": {"min": 0.46, "allow": {"ppm": 30_000, "of": "pockets"}}},
        }
    )
    fraction = stackup.check(case, settings_of(case, cages=4000))["bore_clearance"].fraction
    assert fraction is not None
    assert fraction.pockets is not None
    assert fraction.cages is not None
    means = 0.5 + 0.02 * np.cos(np.arange(6) * math.pi / 3)
    out = norm.cdf((0.46 - means) / (math.hypot(0.03, 0.04) / 3))
    assert fraction.pockets == Fraction.exact(pytest.approx(out.mean(), rel=1e-9))
    cages = 1 - np.prod(1 - out)
    assert fraction.cages.method == "sampled"
    assert abs(fraction.cages.out_of_spec - cages) < 5 * math.sqrt(cages * (1 - cages) / 4000)


def plain(formula: str, sizes: dict[str, Any], **requirement: Any) -> stackup.Case:
    """Return a case of one chain."""
    return stackup.from_mapping(
        {
            "cage": {"kind": "none"},
            "dimensions": sizes,
            "chains": {"gap": {"formula": formula}},
            "requirements": {"gap": requirement} if requirement else {},
        }
    )


def test_values_that_are_not_finite_are_counted_and_told() -> None:
    """Closed form: √a has no value where a < 0, with a normal about 3 sd: Φ(−3) of the cages; 5 sigma of 20 000."""
    sizes = {"a": {"nominal": 0.03, "tolerance": 0.03, "process": {"cp": 1.0}}}
    case = plain("sqrt(a)", sizes, max=1.0, allow={"ppm": 5000, "of": "cages"})
    result = stackup.check(case, settings_of(case, cages=20_000))
    sampled = result["gap"].monte_carlo
    assert sampled is not None
    assert sampled.cages is not None
    p = norm.cdf(-3.0)
    assert abs(sampled.not_finite - 20_000 * p) < 5 * math.sqrt(20_000 * p)
    assert sampled.cages.out_of_spec == sampled.not_finite / 20_000
    assert f"gap: {sampled.not_finite} sampled values are not finite; they count as out of spec" in map(
        str, result.notes
    )


@pytest.mark.parametrize("power", [0.3, 1.7, -0.7])
def test_powers_that_are_no_whole_numbers(power: float) -> None:
    """Closed form: a^k is monotone, so its ends are those of a, and it is out where a passes 2 + 1.5 sd: Φ(−1.5)."""
    limit = 2.15**power
    wanted = {"max" if power > 0 else "min": limit, "allow": {"ppm": 9e5, "of": "cages"}}
    case = plain(f"a**({power})", {"a": {"nominal": 2.0, "tolerance": 0.3, "process": {"cp": 1.0}}}, **wanted)
    record = stackup.check(case, settings_of(case, cages=20_000))["gap"]
    assert record.worst_case is not None
    assert (record.worst_case.low, record.worst_case.high) == pytest.approx(sorted((1.7**power, 2.3**power)))
    assert record.monte_carlo is not None
    assert record.monte_carlo.cages is not None
    p = norm.cdf(-1.5)
    assert abs(record.monte_carlo.cages.out_of_spec - p) < 5 * math.sqrt(p * (1 - p) / 20_000)


def test_what_the_worst_case_leaves_open() -> None:
    """With one box the bound of a wavy formula is wide; a limit between found and bound is neither met nor missed."""
    sizes = {name: {"nominal": 1.0, "tolerance": 0.5} for name in ("b", "c")}
    formula = "sin(9*b)*cos(8*b*c) + sin(7*c*c)*b"
    free = plain(formula, sizes)
    hasty = replace(settings_of(free, cages=200), boxes=1)
    found = stackup.check(free, hasty)["gap"].worst_case
    assert found is not None
    assert not found.certified_high
    case = plain(formula, sizes, max=(found.high + found.bound_high) / 2)
    result = stackup.check(case, hasty)
    assert result["gap"].verdict == result.verdict == "undecided"
    assert any(
        note.about == "gap" and "found lies within the limits, the guaranteed bound does not" in note.text
        for note in result.notes
    )


def test_an_interval_that_begins_at_nothing() -> None:
    """An end at 0 reads 0, in the unit of the estimate; the estimate itself never does."""
    fraction = Fraction(1e-4, 0.0, 3e-4)
    assert interval(fraction).startswith("0 … ")
    assert interval(fraction).endswith(" ppm")
    assert share(fraction) == "100 ppm"


def test_a_pole_within_the_tolerances() -> None:
    """1/a has no bound where a may be 0: the worst case says so in words, and neither end is guaranteed."""
    case = plain("1/a", {"a": {"nominal": 0.1, "tolerance": 0.2}}, min=0.0)
    result = stackup.check(case, settings_of(case, cages=500))
    found = result["gap"].worst_case
    assert found is not None
    assert not (found.certified_low or found.certified_high)
    assert any("unbounded: the formula has a pole" in note.text for note in result.notes if note.about == "gap")
    assert result["gap"].to_dict()["worst_case"]["bound_high"] is None


def test_results_show_themselves_through_rich() -> None:
    """Printed by rich a check and an explanation are the pages of the command line."""
    case = plain("a - 0.5", {"a": {"nominal": 1.0, "tolerance": 0.1}}, min=0.2)
    for result, word in (
        (stackup.check(case, settings_of(case, cages=200)), "MET"),
        (stackup.explain(case), "a - 0.5"),
    ):
        console = Console(width=120, file=io.StringIO())
        console.print(result)
        assert word in console.file.getvalue()  # type: ignore[attr-defined]
