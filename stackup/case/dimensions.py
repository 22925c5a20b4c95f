"""From ``[dimensions.NAME]`` to dimensions: against the slots of the kind, and by themselves."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from stackup.cage import Slot
from stackup.case import process as processes
from stackup.case.draft import Draft, judge_name, of_pairs
from stackup.case.faults import listed, shown
from stackup.case.scanner import Path
from stackup.case.schema import Choice, Entry, OneSidedEntry, SizeEntry, Toleranced, ValuesEntry, ZoneEntry
from stackup.dimension import Bonus, Dimension, MeasuredSize, MeasuredZone, OneSided, Size, Zone
from stackup.dimension import Process as Law
from stackup.errors import ValueFault, nearest, number_meant
from stackup.standards.iso286 import limits

DEGREES = "deg"
_NO_CLASS = "plus-minus such as 0.02, a pair [lower, upper] deviation, or a class of ISO 286-1"


def judge(draft: Draft) -> None:
    """Put every dimension that is right into ``draft.dimensions``, and note what is wrong with the others."""
    for name, entry in draft.document.dimensions.items():
        judge_name(draft, "dimensions", name)
        made = _Reader(draft, name, entry).read()
        if made is not None:
            draft.dimensions[name] = made
    _add_bonuses(draft)


class _Reader:
    """Reads one dimension: what the slot says by default, what the file gives, what both allow."""

    def __init__(self, draft: Draft, name: str, entry: Entry) -> None:
        self.draft, self.name, self.entry = draft, name, entry
        self.path: Path = ("dimensions", name)
        self.slot: Slot | None = draft.slot(name)
        self.scope = draft.scope(name)
        self.unit = self.slot.unit if self.slot else entry.unit or "mm"
        self.factor = math.pi / 180 if self.unit == DEGREES else 1.0

    def fault(self, key: str, found: str, allowed: str, at_key: bool = False) -> None:
        self.draft.faults.add((*self.path, key), found, allowed, at_key=at_key)

    def read(self) -> Dimension | None:
        """Return the dimension; None where anything is wrong with it, which is noted."""
        before = self.draft.faults.noted
        self._judge_scope()
        self._judge_unit()
        makers: Mapping[Any, Any] = {
            SizeEntry: self._size,
            ZoneEntry: self._zone,
            OneSidedEntry: self._one_sided,
        }
        try:
            made: Dimension | None = makers.get(type(self.entry), self._values)(self.entry)
        except ValueFault as error:
            made = None
            self._refused(error)
        return made if self.draft.faults.noted == before else None

    def _refused(self, error: ValueFault) -> None:
        """Note what a room below refused, at the key of the dimension or of its process."""
        in_process = (*self.path, "process")
        is_own = error.name in type(self.entry).model_fields
        self.draft.faults.add_value(self.path if is_own else in_process, error)

    # what every dimension has

    def _judge_scope(self) -> None:
        if self.slot and self.slot.scope == "cage" and self.entry.scope == "pocket":
            self.fault("scope", '"pocket"', f'"cage": one draw of {self.name} holds for all pockets')

    def _judge_unit(self) -> None:
        unit = self.entry.unit
        if unit is None or (unit == DEGREES and self.slot is None):
            return
        if self.slot and unit != self.slot.unit:
            self.fault("unit", f'"{unit}"', f"no unit: {self.name} is in {self.slot.unit}")
        elif not self.slot and unit != "mm" and not self.draft.kind.one_pocket:
            self.fault(
                "unit", f'"{unit}"', '"deg", or no unit (mm); other units with kind = "none" and in chains'
            )

    def _common(self) -> dict[str, Any]:
        """Return what all constructors take."""
        slot, entry = self.slot, self.entry
        part = entry.part or (slot.part if slot else "none")
        return {
            "name": self.name,
            "scope": self.scope,
            "part": part,
            "unit": "rad" if self.unit == DEGREES else self.unit,
            "pockets": self.draft.assumed_pockets,
            "factor": self.factor,
        }

    def _law(self, entry: SizeEntry | ZoneEntry | OneSidedEntry) -> Law:
        """Return the process; the default one where it has a fault."""
        made = processes.law(self.draft, (*self.path, "process"), entry.process, self.scope)
        if made is not None and made.centre_unstated:
            self.draft.centres_unstated.append(self.name)
        return made or Law()

    def _lot_share(self, entry: Toleranced) -> float:
        if entry.lot_share and self.scope == "cage":
            self.fault(
                "lot_share",
                "lot_share of a dimension of scope cage",
                "dimensions of scope pocket",
                at_key=True,
            )
        return entry.lot_share or 0.0

    # sizes

    def _size(self, entry: SizeEntry) -> Dimension | None:
        nominal, (lower, upper) = self._nominal(entry), self._deviations(entry)
        self._judge_sign(nominal, nominal + lower)
        self._judge_sorting(entry)
        self._judge_plan(entry)
        if entry.nominal_range and entry.nominal_range[0] > entry.nominal_range[1]:
            self.fault("nominal_range", _pair(entry.nominal_range), "the lower end first")
        law, share = self._law(entry), self._lot_share(entry)
        return Size(
            **self._common(),
            nominal=nominal,
            lower=lower,
            upper=upper,
            feature=self._feature(entry),
            process=law,
            sorted_to=entry.sorted_to,
            lot_share=share,
        )

    def _feature(self, entry: SizeEntry | ValuesEntry) -> str | None:
        return entry.feature or (self.slot.feature if self.slot else None)

    def _nominal(self, entry: SizeEntry) -> float:
        if entry.nominal is None and not (self.slot and self.slot.nominal_zero):
            zeros = ", ".join(slot.name for slot in self.draft.kind.slots if slot.nominal_zero)
            only = f" (only {zeros} may have a tolerance alone)" if zeros else ""
            self.fault(
                "nominal", "a tolerance without nominal", f"nominal beside tolerance{only}", at_key=True
            )
        return entry.nominal or 0.0

    def _deviations(self, entry: SizeEntry) -> tuple[float, float]:
        tolerance = entry.tolerance
        if isinstance(tolerance, str):
            return self._class(entry, tolerance)
        if isinstance(tolerance, list):
            if tolerance[0] > tolerance[1]:
                self.fault("tolerance", _pair(tolerance), "[lower, upper] deviation, the lower one first")
                return 0.0, 0.0
            return tolerance[0], tolerance[1]
        return -(tolerance or 0.0), tolerance or 0.0

    def _class(self, entry: SizeEntry, tolerance: str) -> tuple[float, float]:
        if self.unit != "mm":
            self.fault(
                "tolerance",
                f'"{tolerance}" of a size in {self.unit}',
                "ISO 286-1 classes are for sizes in mm",
            )
        elif entry.nominal is not None:
            return self._limits(entry.nominal, tolerance)
        elif self.slot and self.slot.nominal_zero:
            self.fault(
                "tolerance",
                f"{shown(tolerance)} of a nominal of 0",
                "plus-minus or [lower, upper] deviation: ISO 286-1 classes are for sizes above 0",
            )
        return 0.0, 0.0

    def _limits(self, nominal: float, tolerance: str) -> tuple[float, float]:
        """Return the deviations of a class; what is none may have been meant as a number."""
        if meant := number_meant(tolerance):
            self.draft.faults.add((*self.path, "tolerance"), shown(tolerance), f"{_NO_CLASS} (h7)", near=meant)
            return 0.0, 0.0
        try:
            found = limits(nominal, tolerance)
        except ValueFault as error:
            if error.name != "tolerance":
                raise
            raise ValueFault(error.name, error.found, f"{_NO_CLASS}: {error.allowed}") from error
        return found.lower, found.upper

    def _judge_sign(self, nominal: float, low: float) -> None:
        slot, key = self.slot, "tolerance" if "tolerance" in self.entry.model_fields_set else "nominal"
        if slot and slot.nonnegative and low < 0:
            self.fault(key, f"a lower limit of {low:.9g} mm", f"{self.name} is never negative")
        elif slot and slot.positive and nominal <= 0 and "nominal" in self.entry.model_fields_set:
            self.fault("nominal", f"{nominal:.9g}", f"a number above 0: {slot.meaning}")
        elif slot and slot.positive and nominal > 0 >= low:
            self.fault(key, f"a lower limit of {low:.9g} mm", f"a lower limit above 0: {slot.meaning}")

    def _judge_sorting(self, entry: SizeEntry) -> None:
        if entry.sorted_to is None:
            return
        if self.scope == "cage":
            self.fault(
                "sorted_to",
                "sorted_to of a dimension of scope cage",
                "dimensions of scope pocket",
                at_key=True,
            )
        elif entry.lot_share:
            self.fault("sorted_to", "sorted_to beside lot_share", "one of the two", at_key=True)

    # zones, one-sided dimensions

    def _zone(self, entry: ZoneEntry) -> Dimension | None:
        self._judge_plan(entry)
        law, share = self._law(entry), self._lot_share(entry)
        if entry.process.data is not None and share:
            self.fault(
                "lot_share",
                "lot_share of a measured zone",
                "no lot_share beside measured points",
                at_key=True,
            )
            return None
        return Zone(**self._common(), diameter=entry.zone, process=law, lot_share=share)

    def _one_sided(self, entry: OneSidedEntry) -> Dimension | None:
        self._judge_plan(entry)
        law, share = self._law(entry), self._lot_share(entry)
        return OneSided(**self._common(), limit=entry.limit, process=law, lot_share=share)

    # measured values, one per pocket

    def _values(self, entry: ValuesEntry) -> Dimension | None:
        if self.scope == "cage":
            key = "scope" if entry.scope else "values"
            self.fault(
                key,
                "values of a dimension of scope cage",
                "dimensions of scope pocket: one value for each",
                True,
            )
            return None
        numbers = self._numbers(entry)
        if numbers is None:
            return None
        common = {**self._common(), "values": numbers, "uncertainty": entry.uncertainty}
        common.pop("pockets")
        if numbers.ndim == 2:
            return MeasuredZone(**common)
        is_one_sided = self.slot is not None and self.slot.kind == "one-sided"
        return MeasuredSize(
            **common, feature=self._feature(entry), kind="one-sided" if is_one_sided else "size"
        )

    def _numbers(self, entry: ValuesEntry) -> Any:
        """Return the values as an array (Z,) or (Z, 2); None where there is a fault."""
        try:
            given = entry.values
            values = self.draft.sheets.numbers(given) if isinstance(given, str) else np.array(given)
        except ValueFault as error:
            raise ValueFault("values", error.found, error.allowed) from error
        is_zone = self.slot.kind == "zone" if self.slot else of_pairs(entry)
        if is_zone != (values.ndim == 2):
            allowed = "pairs [x, y]: it is a zone" if is_zone else "numbers: it is no zone"
            self.fault("values", "pairs" if values.ndim == 2 else "numbers", allowed)
        elif self.draft.pockets and len(values) != self.draft.pockets:
            allowed = f"{self.draft.pockets}, one for each pocket"
            self.fault("values", f"{len(values)} value{'s' * (len(values) != 1)}", allowed)
        elif self.slot and self.slot.kind == "one-sided" and values.min(initial=0.0) < 0:
            self.fault("values", f"{values.min():g}", f"numbers of 0 or more: {self.name} is one-sided")
        elif self.slot and self.slot.positive and values.min(initial=math.inf) <= 0:
            self.fault("values", f"{values.min():g}", f"numbers above 0: {self.slot.meaning}")
        elif self.draft.pockets:
            return values
        return None

    # keys of later commands

    def _judge_plan(self, entry: Toleranced) -> None:
        if entry.finest and entry.coarsest and entry.finest > entry.coarsest:
            self.fault("finest", f"{entry.finest:g} above coarsest", f"at most {entry.coarsest:g}")
        names = [choice.name for choice in entry.choices or ()]
        for index, choice in enumerate(entry.choices or ()):
            path = (*self.path, "choices", index)
            for found, allowed, key in self._slips(choice, names[:index]):
                self.draft.faults.add((*path, key), found, allowed)

    def _slips(self, choice: Choice, before: list[str]) -> Iterator[tuple[str, str, str]]:
        """Yield what is wrong with one choice: found, allowed, key."""
        tolerance = choice.tolerance
        if choice.name in before:
            yield f'"{choice.name}" a second time', "a name of its own for each choice", "name"
        if not isinstance(tolerance, float | int) and not isinstance(self.entry, SizeEntry):
            yield "no number", "a number: the zone or the limit that the choice holds", "tolerance"
        if isinstance(tolerance, list) and tolerance[0] > tolerance[1]:
            yield _pair(tolerance), "[lower, upper] deviation, the lower one first", "tolerance"
        if choice.cp is not None and choice.cpk is not None and choice.cpk > choice.cp:
            yield f"{choice.cpk:g}", f"at most cp ({choice.cp:g})", "cpk"
        if choice.cpk is not None and choice.shift is not None:
            yield "cpk beside shift", "one of the two", "cpk"
        if isinstance(tolerance, str) and isinstance(self.entry, SizeEntry):
            try:
                limits(self.entry.nominal or 0.0, tolerance)
            except ValueFault as error:
                yield error.found, error.allowed, "tolerance"


def _pair(pair: list[float]) -> str:
    return f"[{pair[0]:.9g}, {pair[1]:.9g}]"


# Material bonus -------------------------------------------------------------------------------------------


def _add_bonuses(draft: Draft) -> None:
    """Give every zone with ``bonus_from`` its bonus; the feature may stand anywhere in the file."""
    for name, entry in draft.document.dimensions.items():
        zone = draft.dimensions.get(name)
        if isinstance(entry, ZoneEntry) and entry.bonus_from and isinstance(zone, Zone):
            bonus = _bonus(draft, name, entry.bonus_from)
            if bonus is not None:
                draft.dimensions[name] = replace(zone, bonus=bonus)


def _has_feature(draft: Draft, name: str, entry: Entry) -> bool:
    slot = draft.slot(name)
    return isinstance(entry, SizeEntry) and bool(entry.feature or (slot and slot.feature))


def _bonus(draft: Draft, name: str, feature: str) -> Bonus | None:
    path = ("dimensions", name, "bonus_from")
    size = draft.dimensions.get(feature)
    if size is None and feature in draft.named("dimensions"):
        return None  # it has a fault of its own
    features = [
        known for known, entry in draft.document.dimensions.items() if _has_feature(draft, known, entry)
    ]
    if not isinstance(size, Size) or size.feature is None:
        found = f"{feature}, which is {'no size with a feature' if size else 'not in this file'}"
        allowed = "a size with nominal and feature: " + listed(features, "there is none")
        draft.faults.add(path, found, allowed, near=None if size else nearest(feature, features))
        return None
    if draft.scope(name) == "cage" and size.scope == "pocket":
        allowed = "a feature of scope cage: a zone of scope cage has one bonus"
        draft.faults.add(path, f"{feature}, which differs from pocket to pocket", allowed)
        return None
    low, high = size.limits
    return Bonus(feature, size.feature, low if size.feature == "hole" else high, size)
