"""Decisions on bearings whose rows differ and run warm: every row and state counts, a row's own dimension is apart."""

from __future__ import annotations

from typing import Any

import pytest
from cages import REQUIRED, sizes_of
from scipy.optimize import minimize_scalar

import stackup
from stackup.case import Case, changed, from_mapping
from stackup.case.statements import GRANTS, PROCESS, statements
from stackup.decide.allocate import allocate
from stackup.decide.capability import capability, put_in
from stackup.decide.review import review
from stackup.decide.rollers import rollers
from stackup.decide.trial import judge_case
from stackup.decide.verdict import worst
from stackup.engine.settings import Settings
from stackup.errors import CaseError

FEW = Settings(cages=2000)
#: expansion of the warm pins, by 100 K
WARM = 1 + 12e-6 * 100


def tables(**more: Any) -> dict[str, Any]:
    """A small cage (invented): one row "inner", two rows "outer" with pins of their own; the pins run warm."""
    sizes = sizes_of(REQUIRED, 6, 30.0)
    sizes["roller_bore"] = {"nominal": 10.0, "tolerance": 0.03, "cost": reciprocal(1.0)}
    sizes["pin_diameter"] = {"nominal": 9.5, "tolerance": 0.03, "cost": reciprocal(1.0), "process": {"cp": 1.1}}
    outer = {"nominal": 9.55, "tolerance": [-0.02, 0.02]}
    return {
        "cage": {"kind": "cylindrical", "rollers": 6},
        "dimensions": sizes,
        "row": [{"name": "inner"}, {"name": "outer", "count": 2, "dimensions": {"pin_diameter": outer}}],
        "operating": {"parts": {"pin": {"temperature": 120, "expansion": 12e-6}}},
        "requirements": {"bore_clearance": {"min": 0.3}},
    } | more


def reciprocal(rate: float) -> dict[str, Any]:
    return {"model": "reciprocal", "fixed": 0.0, "rate": rate}


def of_bearings(ppm: float) -> dict[str, Any]:
    return {"bore_clearance": {"min": 0.395, "allow": {"ppm": ppm, "of": "bearings"}}}


# --- what reaches a row -------------------------------------------------------------------------------------


def test_statements() -> None:
    """The outer rows have a tolerance of their own, their process is that of all; what they say has its own path."""
    case = from_mapping(tables())
    grants = {one.label: one for one in statements(case, GRANTS)}
    own = grants["pin_diameter (row outer)"]
    assert (own.path, own.rows, own.count) == ("row[1].dimensions.pin_diameter", (1,), 2)
    assert (grants["pin_diameter"].rows, grants["pin_diameter"].count) == ((0,), 1)
    assert (grants["roller_bore"].rows, grants["roller_bore"].count) == ((0, 1), 3)
    assert "pin_diameter (row outer)" not in {one.label for one in statements(case, PROCESS)}
    made = changed(case, {f"{own.path}.tolerance": 0.01}).models()
    assert [row.dimensions["pin_diameter"].tolerance for row in made] == pytest.approx([0.03, 0.01])


# --- allocate -------------------------------------------------------------------------------------------------


def test_allocation_in_rows_and_states() -> None:
    """Closed form: 3/b + 1/p + 2/q least, b + w·p and b + w·q used up in the warm state, w the warm pin's scale."""
    case = from_mapping(tables())
    result = allocate(case, FEW)
    assert result.works
    rooms = [10.0 - 0.3 - WARM * pin for pin in (9.5, 9.55)]

    def cost(bore: float) -> float:
        return 3 / bore + sum(count * WARM / (room - bore) for count, room in zip((1, 2), rooms, strict=True))

    best = minimize_scalar(cost, bounds=(1e-4, min(rooms) - 1e-4), method="bounded", options={"xatol": 1e-10})
    lines = {line.name: line.after for line in result.dimensions if not line.locked}
    assert result.cost_after == pytest.approx(best.fun, rel=1e-3)
    assert lines["roller_bore"] == pytest.approx(best.x, rel=1e-2)
    assert lines["pin_diameter"] == pytest.approx((rooms[0] - best.x) / WARM, rel=1e-2)
    assert lines["pin_diameter (row outer)"] == pytest.approx((rooms[1] - best.x) / WARM, rel=1e-2)
    assert "row[1].dimensions.pin_diameter.tolerance" in result.changes
    (asked,) = result.requirements
    assert (asked.verdict, asked.state) == ("met", "hot")
    assert stackup.check(changed(case, result.changes), FEW, all_gaps=False).verdict == "met"


def test_the_drawing_as_made_alone_would_be_wider() -> None:
    """Without the warm state the same case allows more: what the state takes is 9.5·0.0012 and more."""
    cold = {key: value for key, value in tables().items() if key != "operating"}
    assert allocate(from_mapping(cold), FEW).cost_after < allocate(from_mapping(tables()), FEW).cost_after  # type: ignore[operator]


def test_an_allowance_of_bearings_counts_every_row() -> None:
    """1 % of bearings of three rows: what is answered is met by ``check``; of one row of the kind more is allowed."""
    wide = {**tables(), "requirements": of_bearings(10_000)}
    result = allocate(from_mapping(wide), Settings(cages=20_000))
    assert result.works
    assert result.optimal == "local"
    assert any("shared equally by the 3 rows" in note.text for note in result.notes)
    checked = stackup.check(changed(from_mapping(wide), result.changes), Settings(cages=20_000), all_gaps=False)
    assert checked.verdict == "met"


# --- rollers ------------------------------------------------------------------------------------------------------


def test_every_row_is_asked() -> None:
    """A count of one row, the other as it is: the verdicts and fractions of ``check`` on the case so changed."""
    case = from_mapping({**tables(), "requirements": {"roller_spacing": {"min": 1.0}, **of_bearings(2e5)}})
    result = rollers(case, 5, 7, settings=FEW)
    assert [(one.row, one.rollers) for one in result.counts] == [(r, n) for r in ("inner", "outer") for n in (5, 6, 7)]
    for index, row in enumerate(result.rows):
        for one in row.counts:
            if not one.stands:
                continue
            made = stackup.check(changed(case, {f"row[{index}].rollers": one.rollers}), FEW, all_gaps=False)
            for name, judged in one.judgements.items():
                own = [found.verdict for found in made[name].by_state if found.row == row.name and found.verdict]
                assert judged.verdict == worst(own)
            fraction = one.judgements["bore_clearance"].fraction
            assert fraction == made["bore_clearance"].fraction.bearings  # type: ignore[union-attr]
    assert result.largest == min(row.largest for row in result.rows if row.largest)
    assert (result.rollers, result.rating) == (None, None)
    assert result.as_given == judge_case(case, FEW).verdict
    assert [row.rating.rows for row in result.rows] == [1, 2]


# --- capability -----------------------------------------------------------------------------------------------------


def own_process(ppm: float) -> Case:
    """The outer rows state the process of their pins too."""
    said = {**tables(), "requirements": of_bearings(ppm)}
    said["row"][1]["dimensions"]["pin_diameter"]["process"] = {"cp": 0.8}
    return from_mapping(said)


def test_processes_of_rows() -> None:
    """A row's own process is studied apart; the cages out are those of the row and state where most are."""
    case = own_process(50_000)
    result = capability(case, FEW)
    assert {"pin_diameter", "pin_diameter (row outer)"} <= {one.name for one in result.dimensions}
    assert (result["pin_diameter"].cp, result["pin_diameter (row outer)"].cp) == (1.1, 0.8)
    assert result.cages_out_at == ("outer", "hot")
    trial = judge_case(case, FEW)
    assert trial.place == ("outer", "hot")
    assert result.cages_out == trial.any_requirement.cages
    (asked,) = result.requirements
    assert asked.verdict == trial.verdict
    assert asked.fraction == trial.judgements["bore_clearance"].fraction


def test_the_needed_index_of_a_row() -> None:
    """Put in, the case is met; 1 % less is not: in the row's own table, all rows and states judged."""
    case = own_process(50_000)
    needed = capability(case, FEW)["pin_diameter (row outer)"].needed
    assert needed.index is not None
    for times, works in ((1.0, True), (0.985, False)):
        made = put_in(case, "pin_diameter (row outer)", times * needed.index)
        assert made.models()[0].dimensions["pin_diameter"] is not None
        assert judge_case(made, FEW).works == works


# --- review -----------------------------------------------------------------------------------------------------------


def test_a_proposal_for_one_row() -> None:
    """A wider pin of the outer rows: a change of its own, judged in the warm state, countered as far as it goes."""
    case = from_mapping(tables())
    rows = [{"name": "inner"}, {"name": "outer", "count": 2, "dimensions": {"pin_diameter": {"nominal": 9.55,
            "tolerance": [-0.2, 0.2]}}}]  # fmt: skip
    result = review(case, {"row": rows}, FEW)
    (change,) = result.changes
    assert (change.dimension, change.what, change.decision) == ("pin_diameter (row outer)", "tolerance", "limit")
    # 10 − 0.03 − 1.0012·(9.55 + t) ≥ 0.3
    most = (10 - 0.03 - 0.3) / WARM - 9.55
    assert most - 0.01 < change.counter <= most
    (cause,) = change.causes
    assert (cause.after.row, cause.after.state) == ("outer", "hot")
    (asked,) = result.requirements
    assert asked.agreed is not None
    assert asked.agreed.verdict == "met"


def test_a_change_that_a_row_says_otherwise() -> None:
    """A wider pin for all rows does not reach the outer ones, which say their own; a wider bore reaches both."""
    case = from_mapping(tables())
    sizes = {"pin_diameter": {"nominal": 9.5, "tolerance": 0.035}, "roller_bore": {"nominal": 10.0, "tolerance": 0.035}}
    said = [note.text for note in review(case, {"dimensions": sizes}, FEW).notes if "for itself" in note.text]
    assert said == ["pin_diameter, tolerance: row outer says it for itself and keeps it; the worst row may be that one"]


def test_which_rows_there_are_is_the_drawings() -> None:
    """One row more, and another operation: faults, for a proposal is held to the drawing's."""
    case = from_mapping(tables())
    more = [{"name": "inner", "count": 2}, tables()["row"][1]]
    cooler = {"parts": {"pin": {"temperature": 20, "expansion": 12e-6}}}
    with pytest.raises(CaseError) as caught:
        review(case, {"row": more, "operating": cooler}, FEW)
    faults = {fault.key: fault for fault in caught.value.faults}
    assert faults.keys() == {"row", "operating"}
    assert (faults["row"].found, faults["row"].allowed) == (
        "rows 2 × inner, 2 × outer", "the rows of the drawing: 1 × inner, 2 × outer"
    )  # fmt: skip
