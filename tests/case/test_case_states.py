"""States of a bearing: the same chains with other parameters; a state is a bearing made with the sizes it then has."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from case_texts import LEAST

from stackup.cage import kind
from stackup.case import Case, from_mapping, read
from stackup.case.nominal import evaluate_at_nominal
from stackup.chain.model import Model
from stackup.chain.program import compile_model

ReadText = Callable[[str], Case]

PARTS = """
[operating.parts]
roller = { temperature = 90, expansion = 12.5e-6 }
pin = { temperature = 80, expansion = 11.5e-6 }
ring_a = { temperature = 70, expansion = 11.5e-6 }
ring_b = { temperature = 60, expansion = 11.0e-6 }
inner_ring = { temperature = 95, expansion = 12.0e-6 }
outer_ring = { temperature = 75, expansion = 12.0e-6 }
"""
WEAR = """
[operating.wear]
pin_diameter = 0.1
roller_bore = 0.05
roller_length = 0.2
"""
TURNING = """
[operating.rotation]
speed = 600
density = 7850
modulus = 206000
pin_mass_ratio = 1.5
"""
#: gaps of every sort, with all that they take
WHOLE = (
    LEAST
    + """
[dimensions.hole_pitch_diameter_b]
nominal = 150.06
[dimensions.pitch_shrinkage_b]
nominal = 0.05
[dimensions.weld_shrinkage]
nominal = 0.04
[dimensions.ring_hole_b]
nominal = 17.8
[dimensions.radial_internal_clearance]
nominal = 0.2
[dimensions.roller_bore_runout]
limit = 0.02
[dimensions.outer_guide]
nominal = 220
[dimensions.ring_outside]
nominal = 215
[dimensions.ring_inside]
nominal = 95
[dimensions.inner_guide]
nominal = 90
[dimensions.bush]
nominal = 4
part = "pin"
[dimensions.cap]
nominal = 3
[chains.recess]
formula = "ring_spacing - roller_length - 2*bush.next + cap - pin_diameter*angle"
"""
)


def states(case: Case) -> dict[str, Model]:
    """Return the models of the only row by state."""
    (row,) = case.models()
    return dict(row.states)


@pytest.mark.parametrize(
    ("more", "names"),
    [
        ("", ["made"]),
        ("[operating]\n", ["made"]),
        (PARTS, ["made", "hot"]),
        (TURNING, ["made", "hot"]),
        (WEAR, ["made", "worn"]),
        (PARTS + WEAR, ["made", "hot", "worn", "hot_worn"]),
        (WEAR + TURNING, ["made", "hot", "worn", "hot_worn"]),
        (PARTS + WEAR + TURNING, ["made", "hot", "worn", "hot_worn"]),
    ],
)
def test_states_follow_from_what_is_given(more: str, names: list[str], read_text: ReadText) -> None:
    """Hot where parts or rotation are given, worn where wear is, hot and worn where both are."""
    assert list(states(read_text(WHOLE + more))) == names


def test_states_share_everything_but_parameters(read_text: ReadText) -> None:
    """Dimensions, steps and gaps are the very same objects: one program, the same draws."""
    made, *others = states(read_text(WHOLE + PARTS + WEAR + TURNING)).values()
    for other in others:
        assert other.dimensions is made.dimensions
        assert other.steps is made.steps
        assert other.gaps is made.gaps
        assert other.nominals == made.nominals
        assert other.parameters.keys() == made.parameters.keys()
        assert other.parameters != made.parameters


def test_a_case_without_operation_has_no_parameter_and_no_step_of_it(read_text: ReadText) -> None:
    """What the file does not say costs nothing, in the chains of the kind and in those of the file."""
    (made,) = states(read_text(WHOLE)).values()
    assert set(made.parameters) == set(kind("cylindrical").parameters({}))
    assert [step.name for step in made.steps if ".now" in step.name or ".nominal" in step.name] == []
    assert "raceway_clearance" not in [gap.name for gap in made.gaps]


@pytest.mark.parametrize(("more", "changed"), [(WEAR, {"pin_diameter", "roller_bore", "roller_length"})])
def test_only_what_differs_has_a_step(more: str, changed: set[str], read_text: ReadText) -> None:
    """A size of a part that stays as made stays a symbol."""
    made = states(read_text(WHOLE + more))["made"]
    assert {step.name.removesuffix(".now") for step in made.steps if step.name.endswith(".now")} == changed


#: 1 + α(T − 20) of each part above
SCALES = {
    "roller": 1 + 12.5e-6 * 70,
    "pin": 1 + 11.5e-6 * 60,
    "ring_a": 1 + 11.5e-6 * 50,
    "ring_b": 1 + 11.0e-6 * 40,
    "inner_ring": 1 + 12.0e-6 * 75,
    "outer_ring": 1 + 12.0e-6 * 55,
}
#: ρω²r²/E·(1 + m) of r [m] at 600/min: ω = 20π rad/s
STRAIN = 7850 * (20 * np.pi) ** 2 / 206e9 * 2.5


def sizes_in(case: Case, hot: bool, worn: bool) -> dict[str, float]:
    """Return the nominals that a bearing has in a state, written out size by size."""
    d = {name: float(size.nominal[0]) for name, size in case.dimensions.items()}  # type: ignore[arg-type]
    s = SCALES if hot else dict.fromkeys(SCALES, 1.0)
    grown = {
        name: d[name] * (s[ring] + (STRAIN * (d[name] / 2000) ** 2 if hot else 0.0))
        for name, ring in (("hole_pitch_diameter", "ring_a"), ("hole_pitch_diameter_b", "ring_b"))
    }
    outer = s["outer_ring"] * (d["inner_raceway"] + 2 * d["roller_diameter"] + d["radial_internal_clearance"])
    inner, roller = s["inner_ring"] * d["inner_raceway"], s["roller"] * d["roller_diameter"]
    return {
        **grown,
        "roller_diameter": roller,
        "roller_length": s["roller"] * d["roller_length"] - 0.2 * worn,
        "roller_bore": s["roller"] * d["roller_bore"] + 0.05 * worn,
        "pin_diameter": s["pin"] * d["pin_diameter"] - 0.1 * worn,
        "ring_spacing": s["pin"] * d["ring_spacing"],
        "ring_hole_b": s["ring_b"] * d["ring_hole_b"],
        "inner_raceway": inner,
        "radial_internal_clearance": outer - inner - 2 * roller,
        "outer_guide": s["outer_ring"] * d["outer_guide"],
        "ring_outside": s["ring_a"] * d["ring_outside"],
        "ring_inside": s["ring_a"] * d["ring_inside"],
        "inner_guide": s["inner_ring"] * d["inner_guide"],
        "bush": s["pin"] * d["bush"],
    }


#: a cage is closed and welded new and at 20 °C, whatever it comes to later
AT_ASSEMBLY = ("pin_entry", "entry_stress", "weld_stress", "weld_gap", "weld_gap_widest", "ring_entry")


@pytest.mark.parametrize(("state", "hot", "worn"), [("hot", 1, 0), ("worn", 0, 1), ("hot_worn", 1, 1), ("made", 0, 0)])
def test_a_state_is_a_bearing_made_with_the_sizes_it_then_has(
    state: str, hot: bool, worn: bool, read_text: ReadText
) -> None:
    """Every gap in a state is that of a case as made whose nominals are the sizes in that state.

    Zones, one-sided values, shrinkages and a dimension of no part stay; so do the gaps of the one time the cage was
    closed and welded.
    """
    case = read_text(WHOLE + PARTS + WEAR + TURNING)
    tables = {key: value for key, value in case.mapping.items() if key != "operating"}
    for name, value in sizes_in(case, hot, worn).items():
        tables = {**tables, "dimensions": {**tables["dimensions"], name: {"nominal": value}}}
    (plain,) = states(from_mapping(tables)).values()
    expected = evaluate_at_nominal(plain)
    found = evaluate_at_nominal(states(case)[state])
    clearance = found.pop("raceway_clearance")
    assert clearance == pytest.approx(sizes_in(case, hot, worn)["radial_internal_clearance"], abs=1e-12)
    assert found.keys() == expected.keys()
    closed = evaluate_at_nominal(states(case)["made"])
    expected |= {name: closed[name] for name in AT_ASSEMBLY}
    for name, values in expected.items():
        assert found[name] == pytest.approx(values, abs=1e-9), name


def test_ring_b_without_a_pitch_circle_of_its_own_has_that_of_ring_a_at_its_own_temperature(
    read_text: ReadText,
) -> None:
    """The same draw on another part: 150·(s_b − s_a)/2 leans the pin, though both rings are bored alike."""
    found = evaluate_at_nominal(states(read_text(LEAST + PARTS))["hot"])
    pitch = 150 * (SCALES["ring_b"] - SCALES["ring_a"]) / 2
    assert found["pin_tilt"] == pytest.approx(1000 * pitch / (61 * SCALES["pin"]), rel=1e-12)


def test_preload_counts_as_0_but_is_told(read_text: ReadText) -> None:
    """Below 0 the clearance of the state frees no roller, whatever it is; raceway_clearance shows it."""
    hot_inner = PARTS.replace("temperature = 95", "temperature = 400")
    found = evaluate_at_nominal(states(read_text(WHOLE + hot_inner))["hot"])
    assert found["raceway_clearance"] < 0
    other = WHOLE.replace("nominal = 0.2", "nominal = 0.1")  # more preload, the same gaps
    again = evaluate_at_nominal(states(read_text(other + hot_inner))["hot"])
    for name in ("running_clearance", "roller_spacing", "ring_clearance_outer"):
        assert again[name] == pytest.approx(found[name], abs=1e-12)


@pytest.mark.parametrize(
    ("text", "factor"),
    [
        ("nominal = 10\npart = 'pin'", SCALES["pin"]),
        ("nominal = 10\npart = 'none'", 1.0),
        ("nominal = 10", 1.0),
        ("nominal = 10\npart = 'pin'\nunit = 'in'", SCALES["pin"]),
        ("nominal = 10\npart = 'pin'\nunit = 'N'", 1.0),
        ("nominal = 10\npart = 'pin'\nunit = 'deg'", 1.0),
        ("values = [10]\npart = 'pin'", SCALES["pin"]),
    ],
)
def test_own_lengths_grow_with_their_part(text: str, factor: float, read_text: ReadText) -> None:
    """A length with a part, as drawn or as built; an angle, a load or a length of no part stays."""
    case = f"[cage]\nkind = 'none'\n[dimensions.x]\n{text}\n[chains.c]\nformula = 'x'\n{PARTS}"
    found = {state: evaluate_at_nominal(model)["c"].item() for state, model in states(read_text(case)).items()}
    assert found["hot"] == pytest.approx(factor * found["made"], rel=1e-15)


def test_a_bonus_is_that_of_the_drawing_in_every_state(read_text: ReadText) -> None:
    """What a zone grants is judged on parts as made: the regions are the same objects."""
    text = WHOLE + "[dimensions.hole_position_b]\nzone = 0.1\nbonus_from = 'ring_hole_b'\n" + PARTS
    made, hot = states(read_text(text)).values()
    assert made.dimensions["hole_position_b"] is hot.dimensions["hole_position_b"]


def test_chains_that_are_sums_stay_sums(read_text: ReadText) -> None:
    """Growth with speed is taken at the nominal: a pitch circle enters by a number, and RSS stays exact."""
    from stackup.chain.program import unroll
    from stackup.engine.sums import is_linear

    text = WHOLE + "[chains.circle]\nformula = 'hole_pitch_diameter - inner_raceway'\n" + PARTS + TURNING
    hot = states(read_text(text))["hot"]
    assert is_linear(unroll(compile_model(hot, ["circle"])), "circle")


def test_parts_left_out_are_told(read_text: ReadText) -> None:
    """A part without a temperature stays at 20 °C beside warm ones: said once, with the parts that count here.

    The outer ring has no size of its own: its growth is in the hot clearance.
    """
    only_roller = "[operating.parts]\nroller = { temperature = 90, expansion = 12.5e-6 }\n"
    (note,) = [note for note in read_text(LEAST + only_roller).notes if "operating.parts" in note]
    assert note.endswith("20 °C: pin, ring_a, inner_ring, outer_ring")
    assert not [note for note in read_text(LEAST + WEAR).notes if "operating.parts" in note]


def test_a_clearance_lost_in_a_state_is_told(read_text: ReadText) -> None:
    """Nominal parts that have a clearance as made and none in a state."""
    hot = PARTS.replace("temperature = 80, expansion = 11.5e-6", "temperature = 820, expansion = 1e-4")
    (note,) = [note for note in read_text(LEAST + hot).notes if note.startswith("bore_clearance is below 0")]
    assert "in the state hot" in note


def test_wear_is_taken_off_every_pocket(read_text: ReadText) -> None:
    """Values as built wear as drawn sizes do."""
    values = ", ".join(str(17.3 + 0.01 * i) for i in range(8))
    text = LEAST.replace("nominal = 17.4", f"values = [{values}]") + WEAR
    found = {state: evaluate_at_nominal(model)["bore_clearance"] for state, model in states(read_text(text)).items()}
    assert found["worn"] - found["made"] == pytest.approx(0.15, abs=1e-12)


def test_steps_are_named_and_explained(read_text: ReadText) -> None:
    """Each size in a state is a step of its own, with words for what changes it."""
    model = states(read_text(WHOLE + PARTS + WEAR + TURNING))["hot"]
    notes = {step.name: step.note for step in model.steps}
    assert notes["pin_diameter.now"] == "pin_diameter in the state: warm, worn"
    assert notes["hole_pitch_diameter.now"] == "hole_pitch_diameter in the state: warm, turning"
    assert notes["inner_raceway.now"] == "inner_raceway in the state: warm"


def test_the_invented_bearing_of_four_rows() -> None:
    """Rows and states of the example."""
    from case_texts import FILES

    case = read(FILES / "four_rows.toml")
    assert sum(row.count for row in case.models()) == 4
    assert [list(row.states) for row in case.models()] == 2 * [["made", "hot", "worn", "hot_worn"]]
    assert replace(case.models()[0], name="") != case.models()[1]
