"""A small right case (invented numbers), and ways to read what a text is faulted for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from stackup.case import Case, read
from stackup.errors import CaseError, Fault

FILES = Path(__file__).parent / "files"

#: The least cylindrical cage: required slots only, one line each.
LEAST = """\
[cage]
kind = "cylindrical"
rollers = 8
[dimensions.roller_diameter]
nominal = 50.0
[dimensions.roller_length]
nominal = 60.0
[dimensions.roller_bore]
nominal = 18.0
[dimensions.pin_diameter]
nominal = 17.4
[dimensions.hole_pitch_diameter]
nominal = 150.0
[dimensions.ring_spacing]
nominal = 61.0
[dimensions.inner_raceway]
nominal = 100.0
"""


@pytest.fixture
def read_text(tmp_path: Path) -> Callable[[str], Case]:
    """Write a text into a file of its own and read it as a case."""

    def read_it(text: str) -> Case:
        file = tmp_path / "case.toml"
        file.write_text(text, encoding="utf-8")
        return read(file)

    return read_it


@pytest.fixture
def faults_of(read_text: Callable[[str], Case]) -> Callable[[str], list[Fault]]:
    """Return what a text is faulted for."""

    def faults(text: str) -> list[Fault]:
        with pytest.raises(CaseError) as caught:
            read_text(text)
        return list(caught.value.faults)

    return faults
