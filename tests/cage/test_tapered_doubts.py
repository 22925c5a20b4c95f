"""What a tapered cage says of impossible and doubtful dimensions, and what it asks for."""

from __future__ import annotations

import math
from typing import Any

import pytest
from tapered_table import tapered_tables

import stackup
from stackup.cage import kind
from stackup.cage.tapered_doubts import warnings, wider_end_clearance
from stackup.decide.notes import of_case
from stackup.errors import CaseError, Fault
from stackup.report import lists


def tables(**dimensions: Any) -> dict[str, Any]:
    """Return the invented demo cage with some dimensions replaced, or left out (None), and no requirement."""
    found = tapered_tables()
    entries = found["dimensions"] | dimensions
    found["dimensions"] = {name: entry for name, entry in entries.items() if entry is not None}
    return {"cage": found["cage"], "dimensions": found["dimensions"]}


def faults(given: dict[str, Any]) -> list[Fault]:
    with pytest.raises(CaseError) as caught:
        stackup.from_mapping(given)
    return list(caught.value.faults)


def warned(**dimensions: Any) -> list[str]:
    return list(warnings(stackup.from_mapping(tables(**dimensions)).dimensions))


# What cannot be -----------------------------------------------------------------------------------------------

SMALL = 70.0 - 220.0 * math.tan(math.radians(0.7518))


@pytest.mark.parametrize(
    ("dimensions", "key", "found", "allowed"),
    [
        ({"roller_bore": {"nominal": 71.0}}, "roller_bore", "a bore of 71 in a roller of 70", "roller_diameter"),
        ({"roller_bore": {"nominal": 68.0}}, "roller_bore", f"roller of {SMALL:.6g} at its small end", "roller_taper"),
        ({"roller_length": {"nominal": 112.0}}, "roller_length", "rings 111.203 apart along its axis", "ring_spacing"),
        ({"roller_sphere_radius": {"nominal": 34.0}}, "roller_sphere_radius", "radius 34 on a roller of 70", "half of"),
        (
            {"hole_pitch_diameter_b": {"nominal": 1150.2}},
            "hole_pitch_diameter_b",
            "of 1150.2 at ring B, of 1150.263 at ring A",
            "ring A carries the small ends",
        ),
        (
            {"hole_pitch_diameter_b": {"nominal": 1150.3}, "pitch_shrinkage_b": {"nominal": 0.05}},
            "hole_pitch_diameter_b",
            "1150.3 less pitch_shrinkage_b 0.05",
            "more than hole_pitch_diameter_a",
        ),
    ],
)
def test_what_no_parts_can_have(dimensions: dict[str, Any], key: str, found: str, allowed: str) -> None:
    (fault,) = faults(tables(**dimensions))
    assert fault.key.startswith(f"dimensions.{key}")
    assert found in fault.found
    assert allowed in fault.allowed


def test_values_as_built_contradict_nothing() -> None:
    """Parts as built are as they are."""
    built = {"values": [68.0] * 52}
    assert stackup.from_mapping(tables(roller_bore=built)).dimensions["roller_bore"].law.mean[0][0] == 68.0


def test_the_faces_must_be_said() -> None:
    """Without ring_face: what it means and what it may be; a wrong word: the nearest."""
    given = tables()
    del given["cage"]["ring_face"]
    (fault,) = faults(given)
    assert fault.key == "cage.ring_face"
    assert '"flat" or "square" or "conical"' in fault.allowed
    given["cage"]["ring_face"] = "conicl"
    (fault,) = faults(given)
    assert (fault.key, fault.nearest) == ("cage.ring_face", "conical")


@pytest.mark.parametrize("slot", ["outer_guide", "ring_outside", "ring_inside", "inner_guide"])
def test_a_tapered_cage_has_no_guides(slot: str) -> None:
    (fault,) = faults(tables(**{slot: {"nominal": 1000.0}}))
    assert fault.key == f"dimensions.{slot}"
    assert "no slot" in fault.found


@pytest.mark.parametrize("name", ["cone_angle", "contact_angle", "apex"])
def test_the_cone_angle_follows(name: str) -> None:
    """A name that a drawing may have for the cone leads to the slots that make it, not to a slot spelt alike."""
    (fault,) = faults(tables(**{name: {"nominal": 13.0, "unit": "deg"}}))
    assert (fault.key, fault.nearest) == (f"dimensions.{name}", None)
    assert "tan β = (hole_pitch_diameter_b − hole_pitch_diameter_a)/(2·ring_spacing)" in fault.allowed
    assert "tan β" in lists.slots_page(kind("tapered")).sections[0].note  # type: ignore[union-attr]


@pytest.mark.parametrize("slot", ["hole_pitch_diameter", "inner_raceway"])
def test_a_slot_of_the_other_kind_leads_to_its_own(slot: str) -> None:
    """The cylindrical name in the place of one of the two."""
    (fault,) = faults(tables(**{slot: {"nominal": 1100.0}, f"{slot}_a": None}))
    assert (fault.key, fault.nearest) == (f"dimensions.{slot}", f"{slot}_a")


@pytest.mark.parametrize("slot", [slot.name for slot in kind("tapered").slots if slot.required])
def test_required_slots(slot: str) -> None:
    found = faults(tables(**{slot: None}))
    assert f"dimensions.{slot}" in [fault.key for fault in found]


def test_angles_are_in_degrees() -> None:
    """roller_taper is entered in degrees and has no ISO 286 class."""
    case = stackup.from_mapping(tables())
    assert case.dimensions["roller_taper"].nominal[0] == pytest.approx(math.radians(0.7518), rel=1e-15)
    (fault,) = faults(tables(roller_taper={"nominal": 0.75, "tolerance": "h7"}))
    assert "deg" in fault.found


# What is doubtful ---------------------------------------------------------------------------------------------


def test_the_invented_cage_shares_an_apex() -> None:
    assert warned() == []


def test_a_raceway_of_another_cone() -> None:
    """atan((F_B − F_A)/2W₀) against β − ν: ±0.03 on both diameters leave ±0.0156°, ±0.006° of taper beside them."""
    half = 2 * 108.253 * math.tan(math.radians(13.0 - 0.7518)) / 2  # (F_B − F_A)/2 at one apex
    apart = 108.253 * (math.tan(math.radians(13 - 0.7518 + 0.006)) - math.tan(math.radians(13 - 0.7518))) + 0.03
    for more, is_said in ((0.9 * apart, False), (1.2 * apart, True)):
        race = {"nominal": round(1081.608 + 2 * (half + more), 6), "tolerance": 0.03}
        said = [text for text in warned(inner_raceway_b=race) if text.startswith("inner_raceway_b")]
        assert bool(said) == is_said, (more, said)
    assert "the cones of pins and raceway share no apex" in said[0]


def test_a_taper_that_does_not_roll() -> None:
    """tanν against D_w sinβ/2r_L, about 0.7519°: a roller whose raceway follows it keeps β − ν but not this."""
    for taper, is_said in ((0.7518, False), (0.757, False), (0.77, True), (0.73, True)):
        rise = 2 * 108.253 * math.tan(math.radians(13.0 - taper))
        race = {"nominal": round(1081.608 + rise, 6), "tolerance": 0.03}
        said = warned(roller_taper={"nominal": taper, "tolerance": 0.006}, inner_raceway_b=race)
        assert bool(said) == is_said, (taper, said)
    told = "roller_taper: 0.7240 to 0.7360 deg, where rolling about the apex of the pins asks for 0.75"
    assert said[0].startswith(told)


def test_pins_off_the_axes_of_the_rollers() -> None:
    """Both pitch circles larger by 2·δ: the cage must move δ/tan13°, and the rings leave 108.253 − 110·cos13°."""
    room = 108.253 - 110 * math.cos(math.radians(13))
    for part, is_said in ((0.9, False), (1.1, True)):
        more = 2 * part * room / 2 * math.tan(math.radians(13))
        given = tables()["dimensions"]
        pitches = {
            name: {"nominal": round(given[name]["nominal"] + more, 6), "tolerance": 0.05}
            for name in ("hole_pitch_diameter_a", "hole_pitch_diameter_b")
        }
        said = [text for text in warned(**pitches) if "cage_float" in text]
        assert bool(said) == is_said, said
    assert f"leave the rollers {room:.3g} mm in all" in said[0]


def test_a_seat_wider_than_its_hole() -> None:
    """21.45 − 21.2 = 0.25 is the least clearance of the demo's hole."""
    assert warned(pin_seat_b={"zone": 0.249}) == []
    (text,) = warned(pin_seat_b={"zone": 0.26})
    assert text.startswith("pin_seat_b: a zone of ⌀0.26 is wider")


def test_a_warning_reaches_the_result() -> None:
    case = stackup.from_mapping(tables(pin_seat_b={"zone": 0.26}))
    assert any("pin_seat_b" in note.text for note in of_case(case))


def test_what_an_upper_limit_leaves_out() -> None:
    """k_f + k_r + |p|·D_w/D_hB at their limits: 0.04 + 0.02 + 0.05·70/1200.207, rounded up."""
    wide = 0.04 + 0.02 + 0.05 * 70 / 1200.207
    assert 0.0629 < wide < 0.063
    assert "up to 0.063 mm more" in wider_end_clearance(stackup.from_mapping(tables()).dimensions)
    bare = tables(ring_face_flatness=None, roller_end_runout=None, ring_parallelism=None)
    assert wider_end_clearance(stackup.from_mapping(bare).dimensions) == ""
