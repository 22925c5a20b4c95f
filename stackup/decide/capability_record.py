"""Records of ``capability``: what ``--json`` prints, key for key (every key always there)."""

from __future__ import annotations

from dataclasses import dataclass

from stackup.chain.model import Requirement
from stackup.decide.displays import Shown
from stackup.decide.gains import Gains
from stackup.decide.head import head
from stackup.decide.measured import MeasuredColumn
from stackup.decide.needed import Needed
from stackup.decide.processes import Source
from stackup.decide.record import Json, Note, finite
from stackup.decide.verdict import Verdict
from stackup.engine.result import Fraction


@dataclass(frozen=True)
class RequirementVerdict:
    """The verdict on a requirement as the case is; ``fraction`` with an allowance, None where it was not finished."""

    requirement: Requirement
    verdict: Verdict
    fraction: Fraction | None

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
    """What the process of one dimension has, what it needs, what it would gain.

    ``cp``, ``cpk``: stated, or (``source`` *data*) Pp and Ppk of its column without the scatter of the measurement;
    None where ``why`` says so.  ``keys``: those of ``process`` in the case file that put the needed index in.
    ``centred``: its mean stands in the middle of the tolerance; None where there is no middle.
    """

    name: str
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
class CapabilityResult(Shown):
    """What ``capability`` found: the dimensions (the one to improve first leads), the measured columns, the choices.

    ``cages_out``: the cages that fail any requirement with an allowance.  ``verdict``: on the case as given, all
    requirements, None where it has none.
    """

    title: str
    kind: str
    version: str
    digest: str
    seed: int
    cages: int
    pockets_per_cage: int
    requirements: tuple[RequirementVerdict, ...]
    cages_out: Fraction | None
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
        out = self.cages_out
        return {
            **head(self),
            "pockets_per_cage": self.pockets_per_cage,
            "verdict": self.verdict,
            "cages_out": out and {"out_of_spec": out.out_of_spec, "low": out.low, "high": out.high},
            "requirements": [one.to_dict() for one in self.requirements],
            "dimensions": [one.to_dict() for one in self.dimensions],
            "measured": [one.to_dict() for one in self.measured],
            "choices": [one.to_dict() for one in self.machines],
            "notes": [str(note) for note in self.notes],
            "interrupted": self.interrupted,
        }
