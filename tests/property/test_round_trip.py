"""What is written is what was read."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import tomlkit
from cages import Table, cages, case_of, every_gap
from comparing import assert_near
from hypothesis import given
from hypothesis import strategies as st

from stackup.case import Case, read, write
from stackup.dimension import Dimension
from stackup.engine import monte_carlo
from stackup.engine.settings import Settings

EXTRA = {
    "title": "Invented",
    "chains": {"lead": {"formula": "roller_bore - roller_bore.next", "unit": "mm"}},
    "requirements": {
        "bore_clearance": {"min": 0.1, "allow": {"ppm": 10.0, "of": "cages"}},
        "spread": {"gap": "lead", "over": "spread", "max": 0.5},
    },
    "run": {"seed": 7, "cages": 500, "inflation": 1.5},
}


def read_text(text: str) -> Case:
    """The case that a text says."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "case.toml"
        file.write_text(text, encoding="utf-8")
        return read(file)


def alike(one: Dimension, other: Dimension) -> bool:
    """Two dimensions say the same."""
    labels = ("name", "kind", "scope", "part", "unit", "feature", "components", "tolerance")
    same = all(getattr(one, name) == getattr(other, name) for name in labels)
    numbers = zip((*one.nominal, *one.law.mean), (*other.nominal, *other.law.mean), strict=True)
    return same and all(np.array_equal(a, b) for a, b in numbers)


@given(cages(), st.booleans())
def test_a_case_survives_writing_and_reading(tables: Table, with_extra: bool) -> None:
    """A case file survives reading and writing: the same tables, dimensions, requirements and numbers."""
    case = case_of({**tables, **(EXTRA if with_extra else {})})
    again = read_text(write(case))
    assert again.mapping == case.mapping
    assert list(again.dimensions) == list(case.dimensions)
    assert all(alike(one, again.dimensions[name]) for name, one in case.dimensions.items())
    assert (again.title, again.kind, again.rollers) == (case.title, case.kind, case.rollers)
    assert (again.requirements, again.run, again.options) == (case.requirements, case.run, case.options)
    models = [c.models()[0].states["made"] for c in (case, again)]
    one, other = (monte_carlo.run(m, every_gap(m, min=0.0), Settings(cages=200)) for m in models)
    assert_near(one, other, 0.0, 0.0)


@given(cages())
def test_a_file_is_written_as_it_was(tables: Table) -> None:
    """A file that nobody changed is written back to the letter, comments and digest with it."""
    text = "# kept\n" + tomlkit.dumps(tables).replace("[cage]", "[cage]   # this too")
    case = read_text(text)
    assert write(case) == text
    assert read_text(write(case)).digest == case.digest
