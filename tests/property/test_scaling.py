"""A drawing has no scale of its own: longer everywhere, the cage is the same cage."""

from __future__ import annotations

from dataclasses import replace

import pytest
from cages import Table, cages, every_gap, longer, model_of
from comparing import assert_near, assert_same_extremes
from hypothesis import given, settings

from stackup.chain.model import Model
from stackup.engine import monte_carlo, rss, worst_case
from stackup.engine.result import Histogram, Sampled
from stackup.engine.settings import Settings

DRAWN = Settings(cages=600)
#: an inch's worth, and a power of two, which is exact in the arithmetic of floats
FACTORS = (2.0, 25.4)


def _factors(model: Model, factor: float) -> dict[str, float]:
    """By gap: lengths follow the factor; skew, tilt and stresses do not know of it."""
    return {gap.name: factor if gap.unit == "mm" else 1.0 for gap in model.gaps}


def _times(record: Sampled, factor: float) -> Sampled:
    return replace(
        record,
        mean=record.mean * factor,
        sd=record.sd * factor,
        quantiles={key: value * factor for key, value in record.quantiles.items()},
        histogram=Histogram(tuple(e * factor for e in record.histogram.edges), record.histogram.counts),
        least=record.least * factor,
        greatest=record.greatest * factor,
    )


@pytest.mark.parametrize("factor", FACTORS)
@given(cages())
def test_scaling_scales_what_is_sampled(factor: float, tables: Table) -> None:
    """Scaling all lengths scales all gaps in mm of the same seed; skew, tilt and stresses stay."""
    one, other = model_of(tables), model_of(longer(tables, factor))
    found = monte_carlo.run(one, every_gap(one), DRAWN).records
    scaled = monte_carlo.run(other, every_gap(other), DRAWN).records
    for name, times in _factors(one, factor).items():
        expected, record = _times(found[name], times), scaled[name]
        size = max(abs(expected.least), abs(expected.greatest), 1e-9)
        # a value on the edge of a bin may fall to either side: only a power of two leaves every bit alone
        # and a gap that is 0 in every cage has bins of a width of their own
        has_bins = factor == 2.0 and (expected.least, expected.greatest) != (0.0, 0.0)
        bins = {} if has_bins else {"histogram": record.histogram, "quantiles": record.quantiles}
        shape = {"skewness": record.skewness, "kurtosis": record.kurtosis} if expected.sd < 1e-9 * size else {}
        assert_near(replace(expected, **bins, **shape), record, rel=1e-7, absolute=1e-10 * size, where=name)


@settings(max_examples=4)
@given(cages())
def test_scaling_scales_rss(tables: Table) -> None:
    """Scaling all lengths scales mean and sd of every RSS in mm, and leaves its fraction."""
    one, other = model_of(tables), model_of(longer(tables, 25.4))
    times = _factors(one, 25.4)
    found, notes = rss.run(one, every_gap(one), DRAWN)
    low = {name: record.mean - 2 * record.sd if record else 0.0 for name, record in found.items()}
    before = [replace(r, min=low[r.name]) for r in every_gap(one)]
    after = [replace(r, min=low[r.name] * times[r.name]) for r in every_gap(other)]
    found, notes = rss.run(one, before, DRAWN)
    scaled, scaled_notes = rss.run(other, after, DRAWN)
    assert notes == scaled_notes
    for name, record in found.items():
        k, more = times[name], scaled[name]
        if record is None or more is None:
            assert record is more, name
            continue
        assert_near((record.mean * k, record.sd * k), (more.mean, more.sd), 1e-7, 1e-9 * k, name)
        if record.sd > 1e-9:
            assert_near(record.out_of_spec, more.out_of_spec, 1e-5, 1e-9, name)


@settings(max_examples=4)
@given(cages(bonus=False))
def test_scaling_scales_the_worst_case(tables: Table) -> None:
    """Scaling all lengths scales both ends of every worst case in mm and leaves those of skew and stresses."""
    one, other = model_of(tables), model_of(longer(tables, 25.4))
    budget = Settings(boxes=40)
    found = worst_case.run(one, every_gap(one), budget)
    scaled = worst_case.run(other, every_gap(other), budget)
    for name, times in _factors(one, 25.4).items():
        width = found[name].bound_high - found[name].bound_low
        assert_same_extremes(found[name], scaled[name], times, 1e-4 * max(1.0, width), name)
        if found[name].linear_low is None:  # of the whole cage
            assert scaled[name].linear_low is None
            continue
        ends = found[name].linear_low * times, found[name].linear_high * times
        assert_near(ends, (scaled[name].linear_low, scaled[name].linear_high), 1e-7, 1e-9 * times, name)
