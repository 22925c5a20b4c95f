"""Several faults at once, what follows from one fault, and the kind without a cage."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace

import pytest
from case_texts import LEAST

from stackup.cage import kind
from stackup.case import Case, from_mapping, whole
from stackup.errors import CaseError, Fault

FaultsOf = Callable[[str], list[Fault]]

TWELVE = """\
titel = "invented"                                  #! titel
[cage]
kind = "cylindrical"
rollers = 2                                         #! cage.rollers
[dimensions]
roller_diameter = { nominal = 50.0, tolerance = [0.1, -0.1] }   #! dimensions.roller_diameter.tolerance
roller_length = { nominal = 60.0, tolerence = 0.1 } #! dimensions.roller_length.tolerence
roller_bore = { zone = 18.0 }                       #! dimensions.roller_bore.zone
pin_diameter = { nominal = 17.4, tolerance = "h99" }#! dimensions.pin_diameter.tolerance
hole_pitch_diameter = { nominal = 150.0, scope = "pocket" }     #! dimensions.hole_pitch_diameter.scope
ring_spacing = { nominal = true }                   #! dimensions.ring_spacing.nominal
inner_racway = { nominal = 100.0 }                  #! dimensions.inner_racway
[dimensions.hole_position_b]
zone = 0.1
bonus_from = "ring_hole_c"                          #! dimensions.hole_position_b.bonus_from
[dimensions.ring_hole_b]
nominal = 17.8
process = { shape = "beta", a = 2 }                 #! dimensions.ring_hole_b.process.b
[dimensions.bush]
nominal = 4.0
[chains.total_gap]
formula = "ring_hole_b - bsh"                       #! chains.total_gap.formula
[chains.one]
formula = "1/(bush - 4)"                            #! chains.one.formula
[chains.two]
formula = "three"                                   #! chains.two.formula
[chains.three]
formula = "two"
[requirements.pin_entri]                            #! requirements.pin_entri
min = 0
[requirements.total_gap]
min = 2                                             #! requirements.total_gap.min
max = 1
allow = { ppm = 1, of = "cage" }                    #! requirements.total_gap.allow.of
[run]
cages = 1.5                                         #! run.cages
[operating.wear]
pin_diameter = -0.1                                 #! operating.wear.pin_diameter
[[row]]
dimensions.ring_hole_b = { tolerance = [0.0, -0.1] }#! row[0].dimensions.ring_hole_b.tolerance
count = 5                                           #! row[0].count
"""


def test_all_at_once(faults_of: FaultsOf) -> None:
    """More than twelve different faults give as many messages, each once, each at its line, in file order."""
    expected = [
        (number, line.partition("#! ")[2])
        for number, line in enumerate(TWELVE.splitlines(), start=1)
        if "#!" in line
    ]
    assert len(expected) > 12
    assert [(fault.line, fault.key) for fault in faults_of(TWELVE)] == expected


def test_nearest_names(faults_of: FaultsOf) -> None:
    """Where a name is misspelt the nearest one is named."""
    near = {fault.key: fault.nearest for fault in faults_of(TWELVE)}
    assert near["titel"] == "title"
    assert near["dimensions.roller_length.tolerence"] == "tolerance"
    assert near["dimensions.inner_racway"] == "inner_raceway"
    assert near["dimensions.hole_position_b.bonus_from"] == "ring_hole_b"
    assert near["chains.total_gap.formula"] == "bush"
    assert near["requirements.pin_entri"] == "pin_entry"
    assert near["requirements.total_gap.allow.of"] == "cages"


def test_message_in_words(faults_of: FaultsOf) -> None:
    """A message says where, what was found, what is allowed."""
    (fault,) = faults_of(LEAST + "[run]\nsead = 1\n")
    assert str(fault).endswith(
        "case.toml:19: run.sead: found the key sead; allowed: [run] has seed, cages, precision, inflation, "
        "mean_shift, mean_shift_rule. Did you mean seed?"
    )


@pytest.mark.parametrize(
    ("text", "keys"),
    [
        ("", ["cage"]),
        ("[cage]\n", ["cage.kind"]),
        ("cage = 3\n", ["cage"]),
        ("[cages]\nkind = 'none'\n", ["cages"]),
        ("[cage]\nknd = 'none'\n", ["cage.knd"]),
        ("[cage]\nkind = 'spherical'\nring_face = 'flat'\nrollers = 8\n", ["cage.kind"]),
        (LEAST.replace("dimensions", "dimension"), ["dimension"]),
        ("dimensions = 3\n[cage]\nkind = 'none'\n", ["dimensions"]),
        ("dimensions = []\n[cage]\nkind = 'none'\n", ["dimensions"]),
        (
            "chains = 3\n[requirements.a]\nmin = 1\n[cage]\nkind = 'none'\n[dimensions.x]\nnominal = 1",
            ["chains"],
        ),
    ],
)
def test_one_fault_hides_what_follows_from_it(text: str, keys: list[str], faults_of: FaultsOf) -> None:
    """A table that is missing or misspelt is one fault, not one for everything that it should hold."""
    assert [fault.key for fault in faults_of(text)] == keys


@pytest.mark.parametrize(
    ("swap", "more", "keys"),
    [
        (
            ("nominal = 17.4", "nominal = 'x'"),
            "[chains.c]\nformula = 'pin_diameter + 1'\n",
            ["dimensions.pin_diameter.nominal"],
        ),
        (
            ("nominal = 17.4", "zone = 1"),
            "[chains.c]\nformula = '1/pin_diameter'\n",
            ["dimensions.pin_diameter.zone"],
        ),
        (("rollers = 8", "rollers = 'x'"), "[dimensions.pin_seat_a]\nvalues = [[1, 2]]\n", ["cage.rollers"]),
        (("", ""), "[dimensions.bush]\nnominal = 1\n[chains.c]\nformula = 'bush +'\n", ["chains.c.formula"]),
        (
            ("", ""),
            "[chains.c]\nformula = 'bore_clearanc'\n[requirements.c]\nmin = 1\n",
            ["chains.c.formula"],
        ),
        (("", ""), "[chains.c]\nformula = 1\n[requirements.c]\nmin = 1\n", ["chains.c.formula"]),
        (
            ("", ""),
            "[chains.c]\nformula = 'd'\n[chains.d]\nformula = 'c'\n[chains.e]\nformula = 'c'\n",
            ["chains.c.formula"],
        ),
        (("", ""), "[requirements.bore_clearance]\nmin = 'x'\n", ["requirements.bore_clearance.min"]),
        (("", ""), "[requirements.bore_clearance]\nminn = 1\n", ["requirements.bore_clearance.minn"]),
        (("", ""), "[dimensions.z]\nzone = 'x'\n[chains.c]\nformula = 'z.r'\n", ["dimensions.z.zone"]),
    ],
)
def test_no_fault_from_a_fault(
    swap: tuple[str, str], more: str, keys: list[str], faults_of: FaultsOf
) -> None:
    """What uses a wrong thing is not blamed for it."""
    assert [fault.key for fault in faults_of(LEAST.replace(*swap) + more)] == keys


# kind = "none" ----------------------------------------------------------------------------------------------

NONE = "[cage]\nkind = 'none'\n[dimensions.x]\nnominal = 1\n[dimensions.z]\nzone = 0.1\n[chains.c]\n"


@pytest.mark.parametrize(
    ("text", "key", "found"),
    [
        (NONE.replace("'none'", "'none'\nrollers = 8") + "formula = 'x + z.r'", "cage.rollers", "rollers"),
        (
            NONE.replace("'none'", "'none'\npin_modulus = 8") + "formula = 'x + z.r'",
            "cage.pin_modulus",
            "pin_modulus",
        ),
        (NONE + "formula = 'x + z.next.r'", "chains.c.formula", "z.next"),
        (NONE + "formula = 'x'", "dimensions.z", "z, which no formula uses"),
        (NONE + "formula = 'x + z.r'\n[requirements.d]\nmin = 1", "requirements.d", "no gap called d"),
        (
            NONE + "formula = 'x + z.r'\n[dimensions.v]\nvalues = [1, 2]\n[chains.d]\nformula = 'v'",
            "dimensions.v.values",
            "2 values",
        ),
    ],
)
def test_none_faults(text: str, key: str, found: str, faults_of: FaultsOf) -> None:
    """Without a cage there are no rollers, no neighbours, no options, and one pocket."""
    (fault,) = faults_of(text)
    assert fault.key == key
    assert found in fault.found


def test_none_pockets_are_cages(read_text: Callable[[str], Case]) -> None:
    """Without a cage pockets and cages are the same: both may be counted, whatever the scope."""
    text = "[cage]\nkind = 'none'\n[dimensions]\nx = { nominal = 1, unit = 'in', scope = 'cage' }\n"
    text += "[chains]\nc.formula = 'x'\n"
    case = read_text(
        text + "[requirements]\nc = { min = 0, over = 'each', allow = { ppm = 1, of = 'pockets' } }\n"
    )
    assert case.rollers == 1
    assert case.dimensions["x"].unit == "in"
    assert case.requirements[0].allow is not None


def test_gap_that_is_not_finite(faults_of: FaultsOf) -> None:
    """Nominals that make a built-in gap infinite are one fault that names the gaps."""
    nothing_left = "[dimensions.pitch_shrinkage_b]\nnominal = 300.0\n[dimensions.ring_parallelism]\nzone = 0.1\n"
    (fault,) = faults_of(LEAST + nothing_left)
    assert fault.key == "dimensions"
    assert "end_clearance" in fault.found
    assert fault.line == 4


def test_gap_of_the_whole_cage(monkeypatch: pytest.MonkeyPatch) -> None:
    """A built-in gap of the whole cage has no pockets to fold or to count; nor has a chain of it."""
    found = kind("cylindrical")
    gaps = tuple(replace(gap, scope="cage") if gap.name == "pin_skew" else gap for gap in found.gaps)
    monkeypatch.setattr(whole, "kind_called", lambda _: replace(found, gaps=gaps))
    tables = {
        **tomllib.loads(LEAST),
        "chains": {"c": {"formula": "2*pin_skew"}},
        "requirements": {
            "pin_skew": {"max": 1, "over": "least", "allow": {"ppm": 1, "of": "pockets"}},
            "c": {"max": 1, "allow": {"ppm": 1, "of": "pockets"}},
        },
    }
    with pytest.raises(CaseError) as caught:
        from_mapping(tables)
    keys = ["pin_skew.over", "pin_skew.allow.of", "c.allow.of"]
    assert [fault.key for fault in caught.value.faults] == [f"requirements.{key}" for key in keys]


def test_mapping_is_checked_like_a_file() -> None:
    """Nested tables get the same checks, without lines."""
    with pytest.raises(CaseError) as caught:
        from_mapping({"cage": {"kind": "none"}, "dimensions": {"x": {"nominal": True}}})
    assert [(fault.key, fault.line) for fault in caught.value.faults] == [("dimensions.x.nominal", 0)]
