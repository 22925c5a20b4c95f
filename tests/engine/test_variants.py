"""Variants count what the sampler counts on the changed model, to the last cage."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stackup.case import from_mapping, read
from stackup.chain.model import Model
from stackup.dimension import Dimension
from stackup.engine import monte_carlo, variants
from stackup.engine.crossings import crossings, may_cross
from stackup.engine.settings import Settings
from stackup.engine.variants import Variant, held_by

CASES = Path(__file__).parents[2] / "cases"
#: a whole chunk and a part of one, the last block of which is short
SETTINGS = Settings(seed=3, cages=4096 + 300)


def model_of(name: str) -> tuple[Model, list[Any]]:
    case = read(CASES / name)
    return case.models()[0].states["made"], [r for r in case.requirements if r.allow is not None]


def wider(dimension: Dimension, factor: float) -> Dimension:
    """Return the dimension with its spread times ``factor``."""
    process = dimension.process  # type: ignore[attr-defined]
    cpk = None if process.cpk is None else process.cpk / factor
    return replace(dimension, process=replace(process, cp=process.cp / factor, cpk=cpk))  # type: ignore[type-var]


CHANGED = [
    ("demo.toml", "roller_diameter", 1.6),  # sorted: one class a cage
    ("demo.toml", "roller_length", 1.6),  # inspected
    ("demo.toml", "ring_hole_b", 1.6),
    ("demo.toml", "ring_offset", 0.5),  # of the cage
    ("demo.toml", "weld_shrinkage", 2.0),  # a shared lot
    ("every_key_cage.toml", "hole_position_a", 1.3),  # a pattern round the ring
    ("every_key_cage.toml", "roller_bore_runout", 1.3),
    ("bush_stack.toml", "pivot_seat", 1.5),
]


@pytest.mark.parametrize(("file", "name", "factor"), CHANGED)
def test_the_counts_of_the_sampler(file: str, name: str, factor: float) -> None:
    """As it is, and with one dimension changed: every requirement, and the cages that fail any."""
    model, wanted = model_of(file)
    changed = wider(model.dimensions[name], factor)
    base, (other,) = variants.run(model, wanted, [Variant(changed)], SETTINGS)
    for found, made in ((base, model), (other, model.with_dimensions({name: changed}))):
        drawn = monte_carlo.run(made, wanted, SETTINGS)
        assert found.any_cages.of_cages() == drawn.any_requirement.cages
        for requirement, failures in found.failures.items():
            record = drawn.records[requirement]
            assert record.cages is not None
            assert failures.of_cages().out_of_spec == record.cages.out_of_spec
            if record.pockets is not None:
                assert failures.of_pockets(model.pockets) == record.pockets
    assert set(other.failures) == {r.name for r in wanted if name in held_by(model, r)}


def test_a_zone_whose_limit_grows_with_another_feature() -> None:
    """The zone is drawn again where its feature changes, though the feature enters no gap itself."""
    dimensions = {
        "hole": {"nominal": 10.0, "tolerance": [0.0, 0.1], "feature": "hole"},
        "place": {"zone": 0.05, "bonus_from": "hole", "process": {"cp": 0.6, "inspected": True}},
        "pin": {"nominal": 9.9, "tolerance": 0.01},
    }
    case = from_mapping({
        "cage": {"kind": "none"},
        "dimensions": dimensions,
        "chains": {"gap": {"formula": "hypot(place.r, place.t) + 0*hole + pin"}},
        "requirements": {"gap": {"max": 9.94, "allow": {"ppm": 100, "of": "cages"}}},
    })  # fmt: skip
    model, (requirement,) = case.models()[0].states["made"], case.requirements
    assert "hole" in held_by(model, requirement)
    changed = wider(model.dimensions["hole"], 2.0)
    base, (other,) = variants.run(model, [requirement], [Variant(changed)], SETTINGS)
    drawn = monte_carlo.run(model.with_dimensions({"hole": changed}), [requirement], SETTINGS)
    assert other.any_cages.of_cages() == drawn.any_requirement.cages
    assert other.any_cages.failed != base.any_cages.failed > 0


def test_what_is_counted() -> None:
    """``only`` leaves the other requirements uncounted; they keep what they had among the cages that fail any."""
    model, wanted = model_of("demo.toml")
    name = next(n for n in model.dimensions if all(n in held_by(model, r) for r in wanted[-2:]))
    asked = wanted[-1].name
    variant = Variant(wider(model.dimensions[name], 1.2), only=frozenset([asked]))
    _, (found,) = variants.run(model, wanted, [variant], replace(SETTINGS, cages=600))
    assert list(found.failures) == [asked]


def test_workers_change_nothing() -> None:
    model, wanted = model_of("bush_stack.toml")
    asked = [Variant(wider(model.dimensions["arm"], 1.4), 1.4)]
    settings, kept = replace(SETTINGS, cages=20_000), {r.name: 50 for r in wanted}
    one, two = (
        variants.run(model, wanted, asked, replace(settings, workers=workers), kept=kept) for workers in (1, 2)
    )
    assert one[0].failures == two[0].failures
    assert one[1][0].failures == two[1][0].failures
    for name, found in one[1][0].crossings.items():
        np.testing.assert_array_equal(found, two[1][0].crossings[name])


def test_progress_and_interruption() -> None:
    model, wanted = model_of("bush_stack.toml")
    seen = []
    variants.run(model, wanted, [], SETTINGS, lambda done, of, what: seen.append((done, of, what)))
    assert seen == [(1, 2, "cages"), (2, 2, "cages")]

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        variants.run(model, wanted, [], SETTINGS, stop)


def test_crossings_of_a_linear_chain() -> None:
    """a + b fails above a limit from the factor (limit − a)/b on, b from its mean: a slow twin with all draws."""
    case = from_mapping({
        "cage": {"kind": "none"},
        "dimensions": {"a": {"nominal": 0.0, "tolerance": 0.3}, "b": {"nominal": 0.0, "tolerance": 0.3}},
        "chains": {"gap": {"formula": "a + b"}},
        "requirements": {"gap": {"max": 0.5, "allow": {"ppm": 100, "of": "cages"}}},
    })  # fmt: skip
    model, (requirement,) = case.models()[0].states["made"], case.requirements
    settings = Settings(seed=5, cages=4096)
    variant = Variant(wider(model.dimensions["b"], 3.0), 3.0)
    _, (found,) = variants.run(model, [requirement], [variant], settings, kept={"gap": 40})
    drawn = {n: np.empty((1, 4096)) for n in ("a", "b")}
    for n, values in drawn.items():
        scratch = np.empty_like(values), np.empty_like(values)
        model.dimensions[n].law.sample(monte_carlo.stream(5, n, 0), (values,), scratch)
    with np.errstate(divide="ignore"):
        factors = np.where(drawn["b"] > 0, (0.5 - drawn["a"]) / drawn["b"], np.inf)
    np.testing.assert_allclose(found.crossings["gap"], np.sort(factors.ravel())[:40], rtol=1e-9)


margins = st.lists(st.floats(-2, 2), min_size=8, max_size=8).map(lambda values: np.array(values).reshape(2, 4))


@given(before=margins, after=margins, growth=st.sampled_from([-0.999, -0.4, 0.5, 9.0]), limit=st.floats(-1, 20))
def test_nothing_near_is_overlooked(before: Any, after: Any, growth: float, limit: float) -> None:
    """What crosses below the limit is among what may cross there."""
    with np.errstate(all="ignore"):
        below = crossings(before, after, growth) < limit * (1 - 1e-9) - 1e-9
        near = may_cross(before, after, growth, limit)
    assert not (below & ~near).any()


def test_crossing_where_the_margin_is_nothing() -> None:
    """At 1 + growth·before/(before − after); never where a margin grows and holds; always where it never holds."""
    before, after = np.array([1.0, 1.0, 0.2, -1.0, np.nan]), np.array([-1.0, 2.0, 0.1, -0.5, np.nan])
    with np.errstate(all="ignore"):
        np.testing.assert_allclose(crossings(before, after, 2.0), [2.0, np.inf, 5.0, -np.inf, -np.inf])
