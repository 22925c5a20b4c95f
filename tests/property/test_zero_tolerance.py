"""What has no tolerance does nothing."""

from __future__ import annotations

import copy
from dataclasses import replace

from cages import CAGE_ZONES, ONE_SIDED, POCKET_ZONES, Table, cages, every_gap, model_of
from comparing import assert_near, assert_same_extremes
from hypothesis import given, settings
from hypothesis import strategies as st

from stackup.chain.model import Requirement
from stackup.chain.program import compile_model
from stackup.engine import contributions, monte_carlo, rss, worst_case
from stackup.engine.settings import Settings

ZONES = (*POCKET_ZONES, *CAGE_ZONES)
NAMES = st.sampled_from([*ZONES, *ONE_SIDED])
DRAWN = Settings(cages=500)
#: what a law with kinks may be off where it is summed over points: moments, and small tails (docs/engines.md)
POINTS = 1e-2


def without(tables: Table, name: str) -> Table:
    """The cage without a slot."""
    found = copy.deepcopy(tables)
    found["dimensions"].pop(name, None)
    return found


def with_nothing(tables: Table, name: str) -> Table:
    """The cage with a zone or a limit of 0 in the slot."""
    found = copy.deepcopy(tables)
    found["dimensions"][name] = {"zone" if name in ZONES else "limit": 0.0}
    return found


@settings(max_examples=5)
@given(cages(), NAMES)
def test_a_zone_of_nothing_is_a_slot_left_out(tables: Table, name: str) -> None:
    """Zero tolerance contributes nothing: every engine says what it says without the slot."""
    left_out, nothing = model_of(without(tables, name)), model_of(with_nothing(tables, name))
    wanted = every_gap(left_out, min=0.0)
    one, other = (monte_carlo.run(m, wanted, DRAWN) for m in (left_out, nothing))
    assert_near(one, other, rel=1e-7, absolute=1e-9)
    first, second = (rss.run(m, wanted, DRAWN) for m in (left_out, nothing))
    for gap, law in first[0].items():
        more = second[0][gap]
        if law is not None and more is not None and law.sd == 0:
            more = replace(more, exact=law.exact, known=law.known)  # what does not scatter is exact, however reckoned
        summed = law is not None and law.second_order is None and not law.known
        assert_near(law, more, rel=POINTS if summed else 1e-5, absolute=1e-7, where=gap)
    assert first[1] == second[1]
    few = [Requirement(gap, gap) for gap in ("running_clearance", "end_clearance", "pin_skew")]
    found, same = (worst_case.run(m, few, Settings(boxes=40)) for m in (left_out, nothing))
    for gap, record in found.items():
        assert_same_extremes(record, same[gap], 1.0, 1e-3, gap)
        linear = record.linear_low, record.linear_high
        assert_near(linear, (same[gap].linear_low, same[gap].linear_high), 1e-9, 1e-9, gap)


@settings(max_examples=5)
@given(cages(), NAMES)
def test_what_has_no_tolerance_has_no_share(tables: Table, name: str) -> None:
    """Zero tolerance contributes nothing: no share of the variance or the width, no change of a fraction."""
    model = model_of(with_nothing(tables, name))
    for record in contributions.run(model, every_gap(model, min=0.0), DRAWN).values():
        for contribution in record:
            if contribution.dimension == name:
                assert contribution.variance_share in (None, 0.0)
                assert contribution.width_share in (None, 0.0)
                assert contribution.tighter in (None, 0.0)


def test_a_cage_without_any_tolerance_is_its_nominal() -> None:
    """Where nothing scatters every engine gives the nominal."""
    from cages import REQUIRED, sizes_of

    entries = {name: {"nominal": entry["nominal"]} for name, entry in sizes_of(REQUIRED, 8, 30.0).items()}
    entries |= {
        "hole_position_a": {"zone": 0.0},
        "roller_bore_runout": {"limit": 0.0},
        "ring_offset": {"zone": 0.0},
    }
    model = model_of({"cage": {"kind": "cylindrical", "rollers": 8}, "dimensions": entries})
    wanted = every_gap(model, min=0.0)
    drawn = monte_carlo.run(model, wanted, DRAWN).records
    first, _ = rss.run(model, wanted, DRAWN)
    found = worst_case.run(model, wanted, Settings(boxes=40))
    shares = contributions.run(model, wanted, DRAWN)
    for name, record in drawn.items():
        value = record.mean
        rounding = 1e-9 * max(1.0, abs(value))
        assert record.sd <= rounding
        law = first[name]
        assert (law is None) == compile_model(model, [name]).is_whole(name)
        assert law is None or max(abs(law.mean - value), law.sd) <= rounding
        ends = found[name]
        assert max(abs(ends.low - value), abs(ends.high - value)) <= rounding
        assert not any(c.variance_share or c.width_share or c.tighter for c in shares[name])
