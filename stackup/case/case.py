"""A case: everything a case file says, checked, and the models that engines receive."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from stackup.case.chains import Chain
from stackup.case.schema import Entry
from stackup.chain.model import Model, Requirement
from stackup.dimension import Dimension


@dataclass(frozen=True)
class Run:
    """How to compute: ``[run]`` of the case file.

    ``seed`` ≥ 0; ``cages`` is the number drawn; ``precision`` is the relative width of the 95 % interval that
    rare fractions aim at; ``inflation`` > 0 multiplies every sigma; ``mean_shift`` is 0…1 of the half-width.
    """

    seed: int = 1
    cages: int = 100_000
    precision: float = 0.1
    inflation: float | None = None
    mean_shift: float | None = None
    mean_shift_rule: Literal["added", "statistical"] = "added"


@dataclass(frozen=True)
class Row:
    """One row of rollers: its name, how many rows are alike, its rollers, one model for each state.

    ``entries`` is what holds here of each dimension, ``said`` the keys that the row says itself, by dimension: a
    change of one of these in what all rows have does not reach it here (see :mod:`stackup.case.statements`).
    """

    name: str
    count: int
    rollers: int
    states: Mapping[str, Model]
    entries: Mapping[str, Entry] = field(default_factory=dict)
    said: Mapping[str, frozenset[str]] = field(default_factory=dict)

    @property
    def dimensions(self) -> Mapping[str, Dimension]:
        """The dimensions of the row, the same in all states."""
        return next(iter(self.states.values())).dimensions


@dataclass(frozen=True)
class Case:
    """What a case file says, checked.

    ``kind`` names the cage, ``rollers`` is Z (1 for kind "none"); ``dimensions`` and ``chains`` by name in
    the order of the file, before any ``[[row]]`` says what differs; ``entries`` what the file says of each
    dimension, the keys of later commands included; ``options`` are the keys of ``[cage]`` that the kind reads, each
    with its default; ``notes`` are warnings in words; ``digest`` is the SHA-256 of the file's bytes; ``folder`` is
    where its columns are; ``document`` is the text of the file ('' where there is none), and ``mapping`` the same as
    nested tables.
    """

    title: str
    kind: str
    rollers: int
    dimensions: Mapping[str, Dimension]
    chains: Mapping[str, Chain]
    requirements: tuple[Requirement, ...]
    run: Run
    digest: str
    path: Path | None
    folder: Path
    options: Mapping[str, Any]
    entries: Mapping[str, Entry]
    document: str
    mapping: Mapping[str, Any]
    notes: tuple[str, ...]
    rows: tuple[Row, ...] = field(repr=False)

    def models(self) -> tuple[Row, ...]:
        """Return one row for each row of rollers that differs from the others."""
        return self.rows
