"""The order in which dimensions are written is not part of a case."""

from __future__ import annotations

from cages import Table, cages, every_gap, model_of
from comparing import assert_near, assert_same_extremes
from hypothesis import given, settings
from hypothesis import strategies as st

from stackup.engine import contributions, monte_carlo, rss, worst_case
from stackup.engine.settings import Settings

DRAWN = Settings(cages=600)


@st.composite
def _with_another_order(draw: st.DrawFn) -> tuple[Table, Table]:
    tables = draw(cages())
    names = draw(st.permutations(list(tables["dimensions"])))
    return tables, {**tables, "dimensions": {name: tables["dimensions"][name] for name in names}}


@given(_with_another_order())
def test_permuting_dimensions_changes_no_draw(both: tuple[Table, Table]) -> None:
    """Permuting dimensions changes nothing: streams are keyed by name, so every number sampled is the same."""
    one, other = (monte_carlo.run(m, every_gap(m, min=0.0), DRAWN) for m in map(model_of, both))
    assert_near(one, other, rel=1e-9, absolute=1e-12)


@settings(max_examples=4)
@given(_with_another_order())
def test_permuting_dimensions_changes_no_engine(both: tuple[Table, Table]) -> None:
    """Permuting dimensions changes nothing in RSS, contributions and worst case."""
    first, second = map(model_of, both)
    for engine in (rss, contributions):
        one, other = (engine.run(m, every_gap(m, min=0.0), DRAWN) for m in (first, second))
        assert_near(_sorted(one), _sorted(other), rel=1e-7, absolute=1e-9)
    names = {"bore_clearance", "running_clearance", "end_clearance", "pin_skew", "pin_entry"}
    one, other = (
        worst_case.run(m, [r for r in every_gap(m) if r.gap in names], Settings(boxes=40)) for m in (first, second)
    )
    for name, record in one.items():
        assert_same_extremes(record, other[name], 1.0, 1e-3, name)


def _sorted(found: object) -> object:
    """Contributions that are alike may stand in either order."""
    if isinstance(found, dict) and all(isinstance(v, tuple) for v in found.values()):
        return {name: {c.dimension: c for c in record} for name, record in found.items()}
    return found
