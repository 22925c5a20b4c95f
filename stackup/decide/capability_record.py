"""Records of ``capability``: what ``--json`` prints, key for key (every key always there)."""

from __future__ import annotations

from dataclasses import dataclass

from stackup.chain.model import Requirement
from stackup.decide.gains import Gains
from stackup.decide.head import Drawn, head
from stackup.decide.measured import MeasuredColumn
from stackup.decide.needed import Needed
from stackup.decide.processes import Source
from stackup.decide.record import Json, Note, RowRecord, finite
from stackup.decide.verdict import Verdict
from stackup.dimension import Dimension
from stackup.engine.result import Fraction


@dataclass(frozen=True)
class RequirementVerdict:
    """The verdict on a requirement as the case is, and the row and state (``place``) that govern it.

    ``fraction`` with an allowance; both None where it was not finished.
    """

    requirement: Requirement
    verdict: Verdict
    fraction: Fraction | None
    place: tuple[str, str] | None

    @property
    def by_worst_case(self) -> bool:
        """Tell whether the worst case decides it: then no capability moves it."""
        return self.requirement.allow is None

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        allow, fraction = self.requirement.allow, self.fraction
        return {
            "name": self.requirement.name,
            "decided_by": "worst case" if self.by_worst_case else "allowance",
            "allow": {"ppm": allow.ppm, "of": allow.of} if allow else None,
            "verdict": self.verdict,
            "row": self.place and self.place[0],
            "state": self.place and self.place[1],
            "fraction": fraction
            and {
                "out_of_spec": fraction.out_of_spec,
                "low": fraction.low,
                "high": fraction.high,
                "method": fraction.method,
            },
        }


@dataclass(frozen=True)
class DimensionCapability:
    """What one process has, what it needs, what it would gain: of all rows, or one that a row states itself.

    ``dimension`` is what it makes; of rows whose tolerances differ that with the least index.

    ``cp``, ``cpk``: stated, or (``source`` *data*) Pp and Ppk of its column without the scatter of the measurement;
    None where ``why`` says so.  ``keys``: those of ``process`` in the case file that put the needed index in.
    ``centred``: its mean stands in the middle of the tolerance; None where there is no middle.
    """

    name: str
    dimension: Dimension
    source: Source
    cp: float | None
    cpk: float | None
    why: str
    centred: bool | None
    needed: Needed
    keys: dict[str, float] | None
    gains: Gains

    @property
    def reserve(self) -> float | None:
        """The index it has over the one it needs; None where either is unknown."""
        return None if self.cpk is None or self.needed.index is None else self.cpk / self.needed.index

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        keys = self.keys
        return {
            "name": self.name,
            "source": self.source,
            "cp": self.cp,
            "cpk": self.cpk,
            "why": self.why or None,
            "centred": self.centred,
            "needed_cpk": self.needed.index,
            "needed": self.needed.answer,
            "needed_why": self.needed.why or None,
            "needed_process": None if keys is None else {"cp": keys.get("cp"), "cpk": keys.get("cpk")},
            "decided_by": self.needed.decided_by,
            "gain": self.gains.spread,
            "gain_centring": self.gains.centring,
            "gains": dict(self.gains.by_requirement),
        }


@dataclass(frozen=True)
class Machine:
    """One of the processes a dimension may choose, put into the case alone.

    ``half_width`` as the case states it; ``scrap``: the fraction of single parts outside what it holds; ``verdict``
    on all requirements with it (None: not finished), ``failing`` those that are not met; ``why`` it cannot be put in.
    """

    dimension: str
    name: str
    cost: float
    cp: float | None
    cpk: float | None
    half_width: float | None
    scrap: float | None
    good_part: float | None
    verdict: Verdict | None
    failing: tuple[str, ...]
    why: str = ""

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        return {
            "dimension": self.dimension,
            "name": self.name,
            "half_width": self.half_width,
            "cp": self.cp,
            "cpk": self.cpk,
            "cost": self.cost,
            "scrap": self.scrap,
            "cost_of_good_part": finite(self.good_part),
            "verdict": self.verdict,
            "not_met": list(self.failing),
            "why": self.why or None,
        }


@dataclass(frozen=True)
class CapabilityResult(Drawn):
    """What ``capability`` found: the dimensions (the one to improve first leads), the measured columns, the choices.

    ``cages_out``: the cages that fail any requirement with an allowance, in the row and state (``cages_out_at``) where
    most do.  ``verdict``: on the case as given, all requirements, None where it has none.
    """

    pockets_per_cage: int
    rows: tuple[RowRecord, ...]
    states: tuple[str, ...]
    requirements: tuple[RequirementVerdict, ...]
    cages_out: Fraction | None
    cages_out_at: tuple[str, str] | None
    dimensions: tuple[DimensionCapability, ...]
    measured: tuple[MeasuredColumn, ...]
    machines: tuple[Machine, ...]
    notes: tuple[Note, ...]
    verdict: Verdict | None
    interrupted: bool = False

    def __getitem__(self, name: str) -> DimensionCapability:
        """Return the record of the dimension called ``name``; KeyError where none is."""
        for record in self.dimensions:
            if record.name == name:
                return record
        raise KeyError(name)

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints: plain lists, numbers, words and None."""
        out, at = self.cages_out, self.cages_out_at
        return {
            **head(self),
            "pockets_per_cage": self.pockets_per_cage,
            "rows": [row.to_dict() for row in self.rows],
            "states": list(self.states),
            "verdict": self.verdict,
            "cages_out": out
            and at
            and {"out_of_spec": out.out_of_spec, "low": out.low, "high": out.high, "row": at[0], "state": at[1]},
            "requirements": [one.to_dict() for one in self.requirements],
            "dimensions": [one.to_dict() for one in self.dimensions],
            "measured": [one.to_dict() for one in self.measured],
            "choices": [one.to_dict() for one in self.machines],
            "notes": [str(note) for note in self.notes],
            "interrupted": self.interrupted,
        }
