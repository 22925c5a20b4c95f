"""A sum of normal numbers is normal: the one case in which everything is known."""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Any

from cages import Table, model_of, plain_stack
from hypothesis import given
from hypothesis import strategies as st

from stackup.chain.model import Requirement
from stackup.engine import monte_carlo, rss
from stackup.engine.settings import Settings

SIGMAS = 5.0
LETTERS = "abcdefgh"


@st.composite
def stacks(draw: st.DrawFn) -> tuple[Table, float, float]:
    """A linear chain of normals, its mean and its standard deviation worked out by hand."""
    count = draw(st.integers(1, 8))
    dimensions: dict[str, dict[str, Any]] = {}
    terms, mean, variance = [], 0.0, 0.0
    for letter in LETTERS[:count]:
        nominal, half = draw(st.integers(1, 500)) / 10, draw(st.integers(1, 200)) / 1000
        skewed, cp = draw(st.integers(-100, 100)) / 1000, draw(st.sampled_from([0.8, 1.0, 1.33, 2.0]))
        shift, weight = (
            draw(st.integers(-20, 20)) / 1000,
            draw(st.sampled_from([-2.0, -1.0, -0.5, 0.25, 1.0, 3.0])),
        )
        dimensions[letter] = {
            "nominal": nominal,
            "tolerance": [skewed - half, skewed + half],
            "process": {"cp": cp, "shift": shift},
        }
        terms.append(f"{weight}*{letter}")
        mean += weight * (nominal + skewed + shift)
        variance += (weight * half / (3 * cp)) ** 2
    return plain_stack(dimensions, " + ".join(terms)), mean, math.sqrt(variance)


@given(stacks(), st.integers(-5, 5), st.integers(1, 6))
def test_rss_is_the_exact_law(stack: tuple[Table, float, float], off: int, width: int) -> None:
    """RSS of a linear normal chain equals its exact law: mean, sd, both tails, and it says that it is exact."""
    tables, mean, sd = stack
    low = mean + off * sd / 2
    high = low + width * sd
    wanted = Requirement("total", "total", min=low, max=high)
    found = rss.run(model_of(tables), [wanted], Settings())[0]["total"]
    assert found is not None
    assert found.exact
    assert math.isclose(found.mean, mean, rel_tol=1e-12, abs_tol=1e-11)
    assert math.isclose(found.sd, sd, rel_tol=1e-11)
    law = NormalDist(mean, sd)
    assert found.out_of_spec is not None
    assert math.isclose(found.out_of_spec, law.cdf(low) + 1 - law.cdf(high), rel_tol=1e-8)
    second = found.second_order
    assert second is not None
    assert second.skewness is not None
    assert second.kurtosis is not None
    assert second.out_of_spec is not None
    assert abs(second.skewness) < 1e-9
    assert abs(second.kurtosis - 3) < 1e-9
    assert math.isclose(second.out_of_spec, found.out_of_spec, rel_tol=1e-7)


@given(stacks(), st.integers(1, 1000))
def test_monte_carlo_converges_to_it(stack: tuple[Table, float, float], seed: int) -> None:
    """Monte Carlo converges to the exact law within its standard error."""
    tables, mean, sd = stack
    cages = 40_000
    law = NormalDist(mean, sd)
    wanted = Requirement("total", "total", min=mean - 2 * sd, max=mean + 2.5 * sd)
    record = monte_carlo.run(model_of(tables), [wanted], Settings(seed=seed, cages=cages)).records["total"]
    assert abs(record.mean - mean) <= SIGMAS * sd / math.sqrt(cages)
    assert abs(record.sd - sd) <= SIGMAS * sd / math.sqrt(2 * cages)
    # a part of the blocks is looked at closely: a quarter of the values at least
    close = cages / 4
    assert record.skewness is not None
    assert record.kurtosis is not None
    assert abs(record.skewness) <= SIGMAS * math.sqrt(6 / close)
    assert abs(record.kurtosis - 3) <= SIGMAS * math.sqrt(24 / close)
    for key, value in record.quantiles.items():
        p = float(key)
        error = math.sqrt(p * (1 - p) / close) / (law.pdf(law.inv_cdf(p)))
        assert abs(value - law.inv_cdf(p)) <= SIGMAS * error + sd / 200
    outside = law.cdf(mean - 2 * sd) + 1 - law.cdf(mean + 2.5 * sd)
    for fraction in (record.pockets, record.cages):
        assert fraction is not None
        assert abs(fraction.out_of_spec - outside) <= SIGMAS * math.sqrt(outside * (1 - outside) / cages)


@given(st.sampled_from([0.0, 0.3, 1.0]), st.integers(5, 12))
def test_neighbours_of_one_lot(share: float, rollers: int) -> None:
    """RSS of a − a.next knows what two pockets share: variance 2σ²(1 − s)."""
    tables = {
        "cage": {"kind": "cylindrical", "rollers": rollers},
        "dimensions": {
            "roller_diameter": {"nominal": 30.0},
            "roller_length": {"nominal": 60.0},
            "roller_bore": {"nominal": 9.6, "tolerance": 0.03, "lot_share": share},
            "pin_diameter": {"nominal": 9.0},
            "hole_pitch_diameter": {"nominal": 1.02 * 30 / math.sin(math.pi / rollers)},
            "ring_spacing": {"nominal": 60.9},
            "inner_raceway": {"nominal": 1.02 * 30 / math.sin(math.pi / rollers) - 30.1},
        },
        "chains": {"step": {"formula": "roller_bore - roller_bore.next"}},
    }
    found = rss.run(model_of(tables), [Requirement("step", "step")], Settings())[0]["step"]
    assert found is not None
    assert math.isclose(found.sd, 0.01 * math.sqrt(2 * (1 - share)), abs_tol=1e-12)
