"""What a cylindrical cage says of impossible and doubtful dimensions: signed spacing, limits that leave some out."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import stackup
from stackup.cage import kind
from stackup.cage.cylindrical_doubts import wider_end_clearance
from stackup.case.nominal import evaluate_at_nominal
from stackup.decide.notes import of_case

SIZES = {
    "roller_diameter": 50.0,
    "roller_length": 60.0,
    "roller_bore": 18.0,
    "pin_diameter": 17.4,
    "hole_pitch_diameter": 150.0,
    "ring_spacing": 61.0,
    "inner_raceway": 100.0,
}


def cage(rollers: int = 8, dimensions: dict[str, Any] | None = None, **tables: Any) -> stackup.Case:
    """Return an exact cage, some dimensions replaced."""
    entries = {name: {"nominal": value} for name, value in SIZES.items()} | (dimensions or {})
    return stackup.from_mapping(
        {"cage": {"kind": "cylindrical", "rollers": rollers}, "dimensions": entries, **tables}
    )


def spacing(rollers: int, pin: float) -> float:
    """Return roller_spacing at the nominal."""
    model = cage(rollers, {"pin_diameter": {"nominal": pin}}).models()[0].states["made"]
    return float(evaluate_at_nominal(model)["roller_spacing"][0, 0])


@given(st.integers(3, 200), st.floats(0.5, 17.9))
def test_spacing_falls_on_below_nothing(rollers: int, pin: float) -> None:
    """Closed form on a perfect cage, R = 75: 2R sin(Δ/2) − D_w with Δ = 2π/Z − 2c₊/R, of either sign."""
    closing = 2 * math.pi / rollers - 2 * ((18.0 - pin) / 2) / 75.0
    assert spacing(rollers, pin) == pytest.approx(2 * 75.0 * math.sin(closing / 2) - 50.0, abs=1e-9)


def test_rollers_that_have_passed_each_other_do_not_come_back() -> None:
    """The thinner the pin the less there is, also where the angle between the rollers is negative."""
    pins = [17.0, 12.0, 8.0, 4.0, 1.0]
    found = [spacing(80, pin) for pin in pins]
    assert found == sorted(found, reverse=True)
    assert found[-1] < -55.0


FORM = {
    "ring_face_flatness": {"limit": 0.04},
    "roller_end_runout": {"limit": 0.02},
    "ring_parallelism": {"zone": 0.1},
}


@pytest.mark.parametrize(
    ("dimensions", "told"),
    [
        ({}, ""),
        ({"ring_face_flatness": {"limit": 0.0}}, ""),
        ({"ring_face_flatness": {"limit": 0.04}}, "0.04"),
        ({"roller_end_runout": {"limit": 0.021}}, "0.021"),
        # 0.05·50/150 = 0.016667, rounded up
        ({"ring_parallelism": {"zone": 0.1}}, "0.017"),
        # 0.06 + 0.05·50.1/149.9 = 0.07671
        (
            FORM
            | {
                "roller_diameter": {"nominal": 50.0, "tolerance": 0.1},
                "hole_pitch_diameter": {"nominal": 150.0, "tolerance": 0.1},
            },
            "0.077",
        ),
        # both rings, less what the weld takes: D_h = (150 + 152 − 1)/2
        (
            {
                "ring_parallelism": {"zone": 1.0},
                "hole_pitch_diameter_b": {"nominal": 152.0},
                "pitch_shrinkage_b": {"nominal": 1.0},
            },
            f"{math.ceil(100 * 0.5 * 50 / 150.5) / 100:g}",
        ),
    ],
)
def test_what_the_upper_limit_leaves_out(dimensions: dict[str, Any], told: str) -> None:
    """Closed form: k_f + k_r + |p|·D_w/D_h with all of them at their limits; nothing is not told."""
    words = wider_end_clearance(cage(dimensions=dimensions).dimensions)
    assert words == (f"leaves out form errors: perfect faces could leave up to {told} mm more" if told else "")


@pytest.mark.parametrize(
    ("name", "limits", "formula", "told"),
    [
        ("end_clearance", {"max": 2.0}, "", True),
        ("end_clearance", {"min": 0.1}, "", False),
        ("with_bush", {"max": 2.0}, "end_clearance - 0.3", True),
        ("with_bush", {"max": 2.0}, "0.3 - end_clearance", False),
        ("with_bush", {"max": 70.0}, "ring_spacing + 0.3", False),
    ],
)
def test_who_is_told(name: str, limits: dict[str, float], formula: str, told: bool) -> None:
    """An upper limit on the gap, or on a chain that grows with it."""
    chains = {name: {"formula": formula}} if formula else {}
    case = cage(dimensions=FORM, chains=chains, requirements={name: limits})
    about = [note for note in of_case(case) if note.about == name]
    assert [note.text.startswith("the upper limit leaves out form errors") for note in about] == [True] * told
    assert all(note.level == "finding" for note in about)


def test_lengths_and_directions() -> None:
    """Which sizes every real part has, and which gaps have a direction: regression, by model.md."""
    cylindrical = kind("cylindrical")
    sizes = {slot.name for slot in cylindrical.slots if slot.kind == "size"}
    may_be_nothing = {"ring_phase", "radial_internal_clearance", "weld_shrinkage", "pitch_shrinkage_b"}
    assert {slot.name for slot in cylindrical.slots if slot.positive} == sizes - may_be_nothing
    assert {gap.name for gap in cylindrical.gaps if gap.signed} == {"pin_skew", "pin_tilt"}


def test_hints_name_slots() -> None:
    """Every hint hangs on a slot that may be left out, and names it."""
    cylindrical = kind("cylindrical")
    hints = [(slot, text) for gap in cylindrical.gaps for slot, text in gap.hints.items()]
    assert hints
    for name, text in hints:
        slot = cylindrical.slot(name)
        assert slot is not None
        assert not slot.required
        assert text.endswith(f"see {name}")
