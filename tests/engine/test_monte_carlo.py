"""Monte Carlo: blocks and chunks, streams, small shapes, and the fraction failing any requirement."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest
from cages import Table, cages, case_of, every_gap, model_of, plain_stack
from comparing import assert_near
from hypothesis import given, settings

from stackup.chain.arrays import walk
from stackup.chain.fold import FOLDS
from stackup.chain.model import Model, Requirement
from stackup.chain.program import bindings, compile_model, pitch_angles
from stackup.engine import monte_carlo
from stackup.engine.monte_carlo import CHUNK, block_size, stream
from stackup.engine.settings import Settings
from stackup.errors import Interrupted

COUNTS = (1, 511, 512, CHUNK, CHUNK + 1)


def drawn_again(model: Model, seed: int, count: int) -> dict[str, np.ndarray]:
    """Every input as the run draws it: chunk by chunk, block by block, each dimension from its own stream."""
    inputs: dict[str, list[np.ndarray]] = {}
    for chunk, start in enumerate(range(0, count, CHUNK)):
        streams = {name: stream(seed, name, chunk) for name in model.dimensions}
        here, size = min(CHUNK, count - start), block_size(model.pockets)
        for first in range(0, here, size):
            cages_drawn = min(size, here - first)
            values: dict[str, tuple[np.ndarray, ...]] = {}
            for name, dimension in sorted(model.dimensions.items(), key=lambda d: d[1].law.needs is not None):
                shape = (model.pockets if dimension.scope == "pocket" else 1, cages_drawn)
                values[name] = tuple(np.empty(shape) for _ in dimension.components)
                needed = values[dimension.law.needs][0] if dimension.law.needs else None
                dimension.law.sample(streams[name], values[name], (np.empty(shape), np.empty(shape)), needed)
                for part, array in zip(dimension.components, values[name], strict=True):
                    inputs.setdefault(part, []).append(array)
    return {part: np.concatenate(arrays, axis=1) for part, arrays in inputs.items()}


@pytest.mark.parametrize("count", COUNTS)
@settings(max_examples=2)
@given(cages(most=6))
def test_blocks_and_chunks_lose_nothing(count: int, tables: Table) -> None:
    """1, 511, 512, 4096 and 4097 cages: the run is the plain walk over the same draws, counts and moments."""
    model = model_of(tables)
    gaps = ("bore_clearance", "running_clearance", "end_clearance")
    with np.errstate(all="ignore"):
        whole = walk(compile_model(model), drawn_again(model, 3, count), pitch_angles(model.pockets), bindings(model))
    middle = {gap: float(np.mean(whole[gap])) for gap in gaps}
    wanted = [Requirement(f"{gap}_{over}", gap, over, min=middle[gap]) for gap in gaps for over in ("each", "least")]
    found = monte_carlo.run(model, wanted, Settings(3, count))
    assert found.cages == count
    for requirement in wanted:
        every = np.broadcast_to(whole[requirement.gap], (model.pockets, count))
        values = FOLDS[requirement.over].value(every)
        record = found.records[requirement.name]
        room = 1e-9 * max(1.0, float(np.abs(values).max()))
        assert record.drawn == count
        assert abs(record.mean - values.mean()) <= room
        assert abs(record.sd - values.std()) <= room
        assert (record.least, record.greatest) == (values.min(), values.max())
        bad = values < middle[requirement.gap]
        assert record.cages is not None
        assert math.isclose(record.cages.out_of_spec, bad.any(axis=0).mean())
        if requirement.over == "each":
            assert record.pockets is not None
            assert math.isclose(record.pockets.out_of_spec, bad.mean())
        else:
            assert record.pockets is None
    bad = np.zeros((model.pockets, count), dtype=bool)
    for gap in gaps:
        bad |= np.broadcast_to(whole[gap] < middle[gap], bad.shape)
    overall = found.any_requirement
    assert overall.pockets is not None
    assert overall.cages is not None
    assert math.isclose(overall.pockets.out_of_spec, bad.mean())
    assert math.isclose(overall.cages.out_of_spec, bad.any(axis=0).mean())


def sizes(**changes: Mapping[str, object]) -> Table:
    """A plain cage of 6 pockets, some of its dimensions changed."""
    entries = {
        "roller_diameter": {"nominal": 30.0}, "roller_length": {"nominal": 60.0}, "roller_bore": {"nominal": 9.6},
        "pin_diameter": {"nominal": 9.0}, "hole_pitch_diameter": {"nominal": 63.2},
        "ring_spacing": {"nominal": 60.9}, "inner_raceway": {"nominal": 33.1},
    }  # fmt: skip
    return {"cage": {"kind": "cylindrical", "rollers": 6}, "dimensions": {**entries, **changes}}


@pytest.mark.parametrize("scope", ["pocket", "cage"])
def test_a_gap_that_all_pockets_share(scope: str) -> None:
    """A gap of the pocket that holds only what the cage shares fails in all pockets of a cage or in none."""
    bore = {"nominal": 9.6, "tolerance": 0.03, "scope": scope}
    model = model_of(sizes(roller_bore=bore))
    wanted = [Requirement(over, "bore_clearance", over, min=0.61) for over in ("each", "least", "mean")]
    wanted.append(Requirement("spread", "bore_clearance", "spread", max=0.0))
    found = monte_carlo.run(model, wanted, Settings(cages=20_000))
    each = found.records["each"]
    assert each.pockets is not None
    assert each.cages is not None
    chance = 0.8413447460685429  # Φ(1): the middle lies one sigma below the limit
    error = math.sqrt(chance * (1 - chance) / 20_000)
    assert abs(each.pockets.out_of_spec - chance) <= 5 * error
    if scope == "cage":
        assert math.isclose(each.pockets.out_of_spec, each.cages.out_of_spec)
        assert found.records["spread"].greatest == 0.0
        assert math.isclose(found.records["mean"].sd, each.sd, rel_tol=1e-9)
        assert found.any_requirement.pockets is not None
        assert math.isclose(found.any_requirement.pockets.out_of_spec, each.pockets.out_of_spec)
    assert sum(each.histogram.counts) % 6 == 0


def test_a_gap_without_draws() -> None:
    """A gap of exact sizes is a number: out of spec everywhere or nowhere."""
    model = model_of(sizes())
    bore = Requirement("bore", "bore_clearance", min=0.7)
    found = monte_carlo.run(model, [bore], Settings(cages=600)).records["bore"]
    assert found.pockets is not None
    assert found.cages is not None
    assert (found.pockets.out_of_spec, found.cages.out_of_spec, found.sd) == (1.0, 1.0, 0.0)


def test_values_that_are_not_finite() -> None:
    """A sampled value that is not finite counts as out of spec and is reported."""
    tables = plain_stack({"a": {"nominal": 1.0, "tolerance": 3.0}}, "log(a)")
    record = monte_carlo.run(model_of(tables), [Requirement("total", "total", min=-50.0)], Settings(cages=9000))
    found = record.records["total"]
    chance = 0.15865525393145707  # Φ(−1): a below 0
    assert found.pockets is not None
    assert abs(found.pockets.out_of_spec - chance) <= 5 * math.sqrt(chance * (1 - chance) / 9000)
    assert found.not_finite == round(found.pockets.out_of_spec * 9000)
    assert np.isfinite([found.mean, found.sd, found.least, found.greatest]).all()


def test_without_limits() -> None:
    """A requirement without limits is tallied; it has no fractions."""
    model = model_of(sizes(roller_bore={"nominal": 9.6, "tolerance": 0.03}))
    found = monte_carlo.run(model, every_gap(model), Settings(cages=600))
    assert all(r.pockets is None and r.cages is None for r in found.records.values())
    assert found.any_requirement.pockets is None
    assert found.any_requirement.cages is None


def test_only_folds_have_no_pockets() -> None:
    """Where every requirement is on whole cages there is no fraction of pockets that fail any."""
    model = model_of(sizes(roller_bore={"nominal": 9.6, "tolerance": 0.03}))
    found = monte_carlo.run(model, [Requirement("s", "bore_clearance", "spread", max=0.03)], Settings(cages=600))
    assert found.any_requirement.pockets is None
    assert found.any_requirement.cages is not None
    assert found.any_requirement.cages.out_of_spec == found.records["s"].cages.out_of_spec  # type: ignore[union-attr]


def test_one_gap_under_two_requirements() -> None:
    """Two requirements on one gap share its moments and count for themselves."""
    model = model_of(sizes(roller_bore={"nominal": 9.6, "tolerance": 0.03}))
    wanted = [Requirement("a", "bore_clearance", min=0.59), Requirement("b", "bore_clearance", max=0.62)]
    found = monte_carlo.run(model, wanted, Settings(cages=3000)).records
    alone = monte_carlo.run(model, wanted[:1], Settings(cages=3000)).records
    assert_near(found["a"], alone["a"], 0.0, 0.0)
    assert found["a"].mean == found["b"].mean
    assert found["a"].pockets != found["b"].pockets


def test_streams_are_keyed() -> None:
    """Seed, name and chunk each make a stream of their own; the same three make the same."""
    keys = [(1, "a", 0), (2, "a", 0), (1, "b", 0), (1, "a", 1)]
    first = [stream(*key).random() for key in keys]
    assert len(set(first)) == 4
    assert first == [stream(*key).random() for key in keys]


@pytest.mark.parametrize("pockets", [1, 5, 40, 48, 100, 1000])
def test_block_size(pockets: int) -> None:
    """A block is a divisor of the chunk, and stays in cache."""
    size = block_size(pockets)
    assert CHUNK % size == 0
    assert size * pockets <= monte_carlo.BLOCK_VALUES or size == 1


def test_stopped_before_anything() -> None:
    """A run stopped within its first chunk has no records."""
    model = model_of(sizes(roller_bore={"nominal": 9.6, "tolerance": 0.03}))

    class Stopping(monte_carlo.Sampler):
        def chunk(self, *_: object) -> monte_carlo.Counter:
            raise KeyboardInterrupt

    kept, monte_carlo.Sampler = monte_carlo.Sampler, Stopping  # type: ignore[misc]
    try:
        with pytest.raises(Interrupted) as stopped:
            monte_carlo.run(model, every_gap(model), Settings(cages=10))
    finally:
        monte_carlo.Sampler = kept  # type: ignore[misc]
    assert stopped.value.records is None


def test_progress_counts_chunks() -> None:
    """Progress is told after every chunk, in order, how many there are."""
    told: list[tuple[float, float, str]] = []
    model = model_of(sizes())
    monte_carlo.run(model, every_gap(model), Settings(cages=2 * CHUNK + 1), lambda *what: told.append(what))
    assert told == [(1, 3, "cages"), (2, 3, "cages"), (3, 3, "cages")]


def test_a_case_names_its_numbers() -> None:
    """The case of kind none is one pocket that is the cage: pockets and cages are the same fraction."""
    case = case_of(plain_stack({"a": {"nominal": 5.0, "tolerance": 0.3}}, "a"))
    model = case.models()[0].states["made"]
    found = monte_carlo.run(model, [Requirement("total", "total", max=5.1)], Settings(cages=5000)).records["total"]
    assert found.cages is not None
    assert found.pockets is None or math.isclose(found.pockets.out_of_spec, found.cages.out_of_spec)
