"""Ways to read a text as a case, or what it is faulted for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from stackup.case import Case, read
from stackup.errors import CaseError, Fault


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
