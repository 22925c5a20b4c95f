"""What a right case file comes to: dimensions, chains, requirements, and the model that engines receive."""

from __future__ import annotations

import hashlib
import math
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sympy
from case_texts import FILES, LEAST

import stackup.case
from stackup.cage import KINDS, Given, Kind, kind
from stackup.case import Case, changed, from_mapping, json_schema, read, whole
from stackup.case.nominal import evaluate_at_nominal
from stackup.chain.model import Allowance, Model
from stackup.chain.symbols import symbol
from stackup.dimension import MeasuredSize, MeasuredZone, OneSided, Size, Zone
from stackup.errors import CaseError, ValueFault

ReadText = Callable[[str], Case]


@pytest.fixture(scope="module")
def cage() -> Case:
    """Return the case that uses most keys."""
    return read(FILES / "every_key_cage.toml")


def made(case: Case) -> Model:
    """Return the model of the only row as made."""
    (row,) = case.models()
    return row.states["made"]


def words(model: Model) -> set[str]:
    """Return the names of all symbols in the steps of a model."""
    return {str(item) for step in model.steps for item in sympy.sympify(step.formula).free_symbols}


def formula(model: Model, name: str) -> Any:
    """Return the formula of one step."""
    return next(step.formula for step in model.steps if step.name == name)


# Dimensions -------------------------------------------------------------------------------------------------


def test_size(cage: Case) -> None:
    """A class of ISO 286-1 gives the deviations; the slot gives part, scope and feature."""
    pin = cage.dimensions["pin_diameter"]
    assert isinstance(pin, Size)
    assert (pin.nominal[0], pin.lower, pin.upper) == (17.4, -0.018, 0.0)  # 17.4 h7, ISO 286-1
    assert (pin.part, pin.scope, pin.feature, pin.unit, pin.pockets) == ("pin", "pocket", "shaft", "mm", 8)
    assert (pin.process.cp, pin.process.shift, pin.process.inspected) == (1.33, 0.002, False)


def test_plus_minus_and_exact(cage: Case, read_text: ReadText) -> None:
    """One number is plus-minus; without a tolerance a size is exact; ring_phase has nominal 0."""
    phase = cage.dimensions["ring_phase"]
    assert isinstance(phase, Size)
    assert (phase.nominal[0], phase.lower, phase.upper, phase.scope) == (0.0, -0.05, 0.05, "cage")
    exact = read_text(LEAST).dimensions["pin_diameter"]
    assert exact.half_width == 0.0


def test_zone_and_bonus(cage: Case) -> None:
    """A bonus counts from the maximum material size: the least of a hole."""
    zone = cage.dimensions["hole_position_b"]
    assert isinstance(zone, Zone)
    assert zone.bonus is not None
    assert (zone.diameter, zone.bonus.feature, zone.bonus.kind) == (0.10, "ring_hole_b", "hole")
    assert zone.bonus.maximum_material_size == 17.7


def test_bonus_of_a_shaft(read_text: ReadText) -> None:
    """The maximum material size of a shaft is its greatest; the feature may stand anywhere in the file."""
    text = "[dimensions.pin_seat_a]\nzone = 0.1\nbonus_from = 'pin_diameter'\n" + LEAST
    zone = read_text(text.replace("17.4\n", "17.4\ntolerance = 0.1\n")).dimensions["pin_seat_a"]
    assert isinstance(zone, Zone)
    assert zone.bonus is not None
    assert zone.bonus.maximum_material_size == pytest.approx(17.5, abs=1e-12)


def test_one_sided(cage: Case) -> None:
    """A runout keeps the limit as entered."""
    runout = cage.dimensions["roller_bore_runout"]
    assert isinstance(runout, OneSided)
    assert (runout.limit, runout.process.sigma, runout.process.inspected) == (0.03, 0.4, True)


def test_degrees(cage: Case) -> None:
    """An angle is entered in degrees and is in rad in formulas."""
    lead = cage.dimensions["pin_lead"]
    assert lead.unit == "rad"
    assert lead.nominal == (pytest.approx(math.radians(0.2)),)
    assert lead.half_width == pytest.approx(math.radians(0.05))


def test_measured_columns(cage: Case) -> None:
    """Columns of a file become measured laws."""
    runout, seat = cage.dimensions["roller_end_runout"], cage.dimensions["pin_seat_a"]
    square = cage.dimensions["pin_squareness_a"]
    for dimension, shape, how in (
        (runout, (6,), "smoothed"),
        (seat, (6, 2), "resampled"),
        (square, (6,), "smoothed"),
    ):
        assert isinstance(dimension, OneSided | Zone)
        assert dimension.process.measured is not None
        assert dimension.process.measured.values.shape == shape
        assert dimension.process.measured.how == how
    assert isinstance(runout, OneSided)
    assert runout.process.measured is not None
    assert list(runout.process.measured.subgroup) == ["early"] * 3 + ["late"] * 3
    assert runout.process.measured.uncertainty == 0.001
    assert runout.process.measured.source == "measured.csv#end_runout"
    assert isinstance(square, Zone)
    assert square.process.measured is not None
    assert square.process.measured.diameter


def test_values(cage: Case) -> None:
    """Measured values are columns of the model."""
    shrinkage, common = cage.dimensions["weld_shrinkage"], cage.dimensions["hole_position_common"]
    assert isinstance(shrinkage, MeasuredSize)
    assert isinstance(common, MeasuredZone)
    assert (shrinkage.part, shrinkage.uncertainty, shrinkage.nominal[0].shape) == ("pin", 0.002, (8,))  # type: ignore[union-attr]
    assert common.values.shape == (8, 2)


def test_values_of_a_runout(read_text: ReadText) -> None:
    """Measured values of a one-sided slot stay one-sided."""
    text = LEAST + "[dimensions.roller_bore_runout]\nvalues = [0, 0, 0.01, 0, 0, 0, 0, 0]\n"
    assert read_text(text).dimensions["roller_bore_runout"].kind == "one-sided"


def test_round_the_ring(cage: Case) -> None:
    """Patterns and drifts of sizes and zones are kept."""
    hole, position = cage.dimensions["ring_hole_b"], cage.dimensions["hole_position_a"]
    assert isinstance(hole, Size)
    assert isinstance(position, Zone)
    assert (hole.process.pattern[0].amplitude, hole.process.pattern[0].phase_deg, hole.process.drift) == (
        0.002,
        10,
        0.003,
    )
    (term,) = position.process.pattern
    assert (term.order, term.r, term.t, term.phase_deg) == (2, 0.01, 0.005, 30)
    assert (position.process.drift, position.process.offset) == ((0.0, 0.004), (0.001, 0.0))


def test_keys_of_later_commands_are_kept(cage: Case) -> None:
    """Cost, choices and steps are read, checked and kept."""
    entry: Any = cage.entries["pin_diameter"]
    assert (entry.cost.rate, entry.steps, entry.locked, entry.nominal_range) == (
        0.012,
        "IT",
        False,
        [17.3, 17.5],
    )
    assert [choice.name for choice in entry.choices] == ["turned", "ground"]


def test_own_forms() -> None:
    """Own dimensions are of scope pocket and of no part; numbers make a size, pairs a zone."""
    case = read(FILES / "every_key_plain.toml")
    assert [dimension.kind for dimension in case.dimensions.values()] == [
        "size", "size", "size", "zone", "one-sided", "size", "zone",
    ]  # fmt: skip
    assert {dimension.part for dimension in case.dimensions.values()} == {"none"}
    assert case.dimensions["load"].unit == "N"


# The case as a whole ----------------------------------------------------------------------------------------


def test_head(cage: Case) -> None:
    """Title, kind, rollers, run, options, digest."""
    data = (FILES / "every_key_cage.toml").read_bytes()
    assert cage.title == "Crusher main shaft (invented)"
    assert (cage.kind, cage.rollers) == ("cylindrical", 8)
    assert cage.digest == hashlib.sha256(data).hexdigest()
    assert cage.document == data.decode()
    assert cage.options == {"weld_fixture": "squares", "pin_modulus": 206000}
    assert (cage.run.seed, cage.run.cages, cage.run.inflation, cage.run.mean_shift) == (7, 20000, 1.5, 0.2)
    assert cage.run.mean_shift_rule == "statistical"


def test_defaults(read_text: ReadText) -> None:
    """What is left out has its default; a case without requirements is right."""
    case = read_text(LEAST)
    assert (case.title, case.requirements, case.chains) == ("", (), {})
    assert (case.run.seed, case.run.cages, case.run.precision) == (1, 100_000, 0.1)
    assert (case.run.inflation, case.run.mean_shift, case.run.mean_shift_rule) == (None, None, "added")
    assert case.options == {"weld_fixture": "centres", "pin_modulus": 206000.0}


def test_requirements(cage: Case) -> None:
    """A requirement names its gap, or is named by it."""
    running, entry, total = cage.requirements
    assert (running.gap, running.over, running.min, running.max) == ("running_clearance", "each", 0.02, 0.40)
    assert running.allow == Allowance(100, "pockets")
    assert (entry.name, entry.gap, entry.over, entry.max) == ("entry_of_a_cage", "pin_entry", "least", None)
    assert (total.gap, total.allow) == ("total_gap", None)


def test_notes(read_text: ReadText) -> None:
    """Gaps left out are said once with their slots, a lone cpk once with its dimensions."""
    text = LEAST.replace("17.4\n", "17.4\nprocess.cpk = 1.2\n").replace("18.0\n", "18.0\nprocess.cpk = 1.2\n")
    notes = read_text(text).notes
    assert sum("ring_clearance_outer" in note and "outer_guide, ring_outside" in note for note in notes) == 1
    (note,) = [note for note in notes if "cpk" in note]
    assert "roller_bore, pin_diameter" in note
    assert "true centre is unstated" in note


def test_warnings_of_the_kind(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the kind finds doubtful about the dimensions becomes a note."""
    doubtful = replace(
        kind("none"), warnings=lambda dimensions: [f"doubt about {name}" for name in dimensions]
    )
    monkeypatch.setattr(whole, "kind_called", lambda _: doubtful)
    case = from_mapping(
        {"cage": {"kind": "none"}, "dimensions": {"x": {"nominal": 1}}, "chains": {"c": {"formula": "x"}}}
    )
    assert case.notes[0] == "doubt about x"


# The model --------------------------------------------------------------------------------------------------


def test_row(cage: Case) -> None:
    """One row, as made, with the pockets of the case."""
    (row,) = cage.models()
    assert (row.name, row.count, row.rollers, list(row.states)) == ("1", 2, 8, ["made"])
    model = row.states["made"]
    assert model.pockets == 8
    assert model.parameters["weld_factor"] == 2.0
    assert list(model.dimensions) == list(cage.dimensions)


def test_gaps(cage: Case) -> None:
    """Built-in gaps whose slots are given, then the chains of the file."""
    gaps = {gap.name: gap for gap in made(cage).gaps}
    assert "ring_clearance_outer" not in gaps
    assert gaps["pin_skew"].unit == "mrad"
    assert not gaps["pin_entry"].own
    assert gaps["total_gap"].own
    assert list(gaps)[-2:] == ["total_gap", "entry_after_turn"]


def test_slots_left_out_are_zero(read_text: ReadText) -> None:
    """No symbol of a slot left out stays in the steps; one that stands in counts where there is one."""
    model = made(read_text(LEAST))
    given = {component for dimension in model.dimensions.values() for component in dimension.components}
    steps = {step.name for step in model.steps}
    known = given | steps | {"angle", "rollers", *model.parameters}
    assert {name.removesuffix(".next") for name in words(model)} <= known
    assert formula(model, "pitch_radius") == symbol("hole_pitch_diameter") / 2


def test_steps_in_order(cage: Case) -> None:
    """Each step uses only earlier ones, and each is needed."""
    model = made(cage)
    seen: set[str] = set()
    steps = {step.name for step in model.steps}
    assert len(steps) == len(model.steps)
    for step in model.steps:
        uses = {str(item).split(".next")[0] for item in sympy.sympify(step.formula).free_symbols}
        assert uses & steps <= seen
        seen.add(step.name)
    gaps = {gap.step for gap in model.gaps}
    assert steps <= {name.split(".next")[0] for name in words(model)} | gaps


def test_zone_of_a_cage_is_turned(read_text: ReadText) -> None:
    """A pocket's slot set to scope cage has inputs x, y, and r, t turned into the pocket."""
    text = LEAST + "[dimensions.hole_position_a]\nzone = 0.1\nscope = 'cage'\n"
    text += "[chains]\nc.formula = 'hole_position_a.r + hole_position_a.next.t'\n"
    text += "d.formula = 'hole_position_a.x'\n"
    model = made(read_text(text))
    angle, x, y = sympy.Symbol("angle", real=True), symbol("hole_position_a.x"), symbol("hole_position_a.y")
    assert formula(model, "hole_position_a.r") == x * sympy.cos(angle) + y * sympy.sin(angle)
    assert formula(model, "hole_position_a.t") == y * sympy.cos(angle) - x * sympy.sin(angle)
    assert formula(model, "c") == symbol("hole_position_a.r") + symbol("hole_position_a.t.next")
    assert [model.gap(name).scope for name in ("c", "d")] == ["pocket", "cage"]


SCOPES = {
    "ring_spacing - hole_pitch_diameter": "cage",
    "ring_spacing.next": "cage",
    "rollers * ring_spacing": "cage",
    "2 + 3": "cage",
    "ring_offset.x": "cage",
    "ring_offset.r": "pocket",
    "ring_spacing + angle": "pocket",
    "pin_diameter.next": "pocket",
    "bore_clearance": "pocket",
    "common + 1": "cage",
    "single": "pocket",
    "weld_shrinkage + ring_spacing": "cage",
}


@pytest.mark.parametrize(("text", "scope"), SCOPES.items())
def test_scope_of_a_chain(text: str, scope: str, read_text: ReadText) -> None:
    """A chain with nothing of a pocket in it belongs to the cage, also through other chains."""
    chains = (
        f"[chains]\nit.formula = '{text}'\ncommon.formula = 'ring_spacing'\nsingle.formula = 'pin_diameter'\n"
    )
    case = read_text(LEAST + "[dimensions.ring_offset]\nzone = 0.1\n" + chains)
    assert made(case).gap("it").scope == scope
    assert case.chains["it"].scope == scope


def test_chains_of_chains(read_text: ReadText) -> None:
    """Chains may use chains that stand later, and built-in gaps; the case keeps the order of the file."""
    case = read_text(
        LEAST + "[chains]\na.formula = 'b + bore_clearance'\nb.formula = 'c*2'\nc.formula = 'pin_diameter'\n"
    )
    assert list(case.chains) == ["a", "b", "c"]
    values = evaluate_at_nominal(made(case))
    assert values["a"][0, 0] == pytest.approx(2 * 17.4 + 0.6)


def test_own_names_like_inner_steps(read_text: ReadText) -> None:
    """A name that an inner step or parameter of the kind bears too changes nothing in the kind."""
    plain = evaluate_at_nominal(made(read_text(LEAST)))
    inner = [step.name.partition(".")[0] for step in kind("cylindrical").steps(Given(frozenset(), {}))]
    gaps = {gap.name for gap in kind("cylindrical").gaps}
    taken = sorted({*inner, "pin_modulus", "weld_factor"} - gaps)
    own = "".join(f"[dimensions.{name}]\nnominal = {index + 3}\n" for index, name in enumerate(taken))
    case = read_text(f"{LEAST}{own}[chains]\nc.formula = '{'+'.join(taken)}'\n")
    values = evaluate_at_nominal(made(case))
    assert values["c"][0, 0] == sum(range(3, 3 + len(taken)))
    for name, value in plain.items():
        np.testing.assert_array_equal(values[name], value)


def test_nominal_of_as_built(cage: Case) -> None:
    """As-built values enter the gaps at the nominal: end_clearance by the shrinkage of each pin."""
    values = evaluate_at_nominal(made(cage))["end_clearance"][:, 0]
    shrinkage = [0.021, 0.025, 0.019, 0.022, 0.024, 0.02, 0.023, 0.018]
    np.testing.assert_allclose(values, 61.0 - 60.0 - np.array(shrinkage), rtol=0, atol=1e-12)


# From a notebook --------------------------------------------------------------------------------------------


class Law:
    """A law made in Python: all at 17.4."""

    mean = 17.4
    moments = (0.0,) * 7

    def quantile(self, fraction: float) -> float:
        """Return the value below which ``fraction`` of all parts are."""
        return 17.4 + 0.0 * fraction


def test_from_mapping() -> None:
    """Tables, arrays and tuples of a notebook make the same case; a shape may be any law."""
    values = np.array([0.02] * 8)
    tables: dict[str, Any] = {
        "cage": {"kind": "cylindrical", "rollers": np.int64(8)},
        "dimensions": {
            **{slot.name: {"nominal": 50.0} for slot in kind("cylindrical").slots if slot.required},
            "roller_bore": {"nominal": 18.0},
            "pin_diameter": {"nominal": 17.4, "tolerance": (-0.1, 0.1), "process": {"shape": Law()}},
            "weld_shrinkage": {"values": values},
        },
    }
    case = from_mapping(tables)
    pin = case.dimensions["pin_diameter"]
    assert isinstance(pin, Size)
    assert isinstance(pin.process.shape, Law)
    assert (case.path, case.document) == (None, "")
    assert case.digest == from_mapping(tables).digest
    assert isinstance(case.dimensions["weld_shrinkage"], MeasuredSize)


def test_from_mapping_with_text() -> None:
    """With its text a mapping has lines."""
    text = "[cage]\nkind = 'none'\n[run]\nsed = 1\n"
    with pytest.raises(CaseError) as caught:
        from_mapping({"cage": {"kind": "none"}, "run": {"sed": 1}}, "a.toml", text)
    assert [(fault.file, fault.line) for fault in caught.value.faults] == [("a.toml", 4)]


def test_changed(cage: Case) -> None:
    """A changed case is checked like any other, finds its columns, and leaves the first as it was."""
    other = changed(
        cage, {"dimensions.pin_diameter.tolerance": (-0.01, 0.0), "dimensions.bush.tolerance": None}
    )
    assert other.dimensions["pin_diameter"].half_width == pytest.approx(0.005)
    assert other.dimensions["bush"].half_width == 0
    assert cage.dimensions["pin_diameter"].half_width == pytest.approx(0.009)
    with pytest.raises(CaseError, match=r"cage\.rollers"):
        changed(cage, {"cage.rollers": 2})
    with pytest.raises(ValueFault):
        changed(cage, {"title.x": 2})


def test_kinds_offer_what_the_room_needs() -> None:
    """Every option of every kind has its key in the schema for editors; a stand-in is a slot of the kind."""
    keys = json_schema()["$defs"]["CageEntry"]["properties"].keys()
    for name in KINDS:
        found: Kind = kind(name)
        assert {option.name for option in found.options} <= keys
        assert all(slot.stands_in is None or found.slot(slot.stands_in) for slot in found.slots)
        assert all(found.slot(need) for gap in found.gaps for need in gap.needs)


def test_reading_needs_no_writer() -> None:
    """Reading a case imports neither tomlkit nor scipy.stats."""
    code = "import sys, stackup.case as c; c.read(sys.argv[1]); "
    code += "print({'tomlkit', 'scipy.stats'} & {*sys.modules})"
    file = Path(FILES / "every_key_plain.toml")
    done = subprocess.run([sys.executable, "-c", code, str(file)], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


def test_no_such_name() -> None:
    """The room offers what it lists, and says the name that it does not have."""
    assert all(hasattr(stackup.case, name) for name in stackup.case.__all__)
    with pytest.raises(AttributeError, match="raed"):
        stackup.case.raed  # noqa: B018 - the asking is the test
