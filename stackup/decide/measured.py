"""A measured column of one dimension: its indices, how sure they are, and what is wrong with the column.

The uncertainty of the measurement is taken out of the spread, and guards the limits within which a measured part is
proved good (ISO 14253-1).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from stackup.decide.needed import Needed
from stackup.decide.readings import Ends, Reading, Spread, least_p, reading_of, spread_of, within_subgroups
from stackup.dimension import Dimension, OneSided, Size, Zone
from stackup.dimension.process import Measured
from stackup.standards import capability, samples
from stackup.standards.capability import Indices
from stackup.standards.iso14253 import Proof, accepted, proof

Json = dict[str, Any]

NO_SUBGROUPS = "no Cp, Cpk: no subgroup column says what came together"
ONE_EACH = "no Cp, Cpk: no subgroup has two parts"
STILL = "no index: the values are all the same"
SCATTER_OF_MEASUREMENT = "no index: the measurement alone scatters as much as the values"
UNSTABLE = (
    "the subgroups differ more than their parts (F test): not in control, Cp and Cpk do not hold, take Pp and Ppk"
)
COARSE = "rounded to steps above a quarter of the spread: the test of normality rejects too easily"
RADIAL = "no test of normality: position diameters are not normal by their nature"
AS_MEASURED = "the stack takes the values as measured, the scatter of the measurement included"
FEW = "few parts: below 50 the indices say little, see the intervals"
FEW_PARTS = 50


@dataclass(frozen=True)
class Index:
    """An index with its 95 % interval; None where there is none."""

    value: float | None = None
    low: float | None = None
    high: float | None = None

    def to_dict(self, name: str) -> Json:
        """Return the three keys that ``--json`` prints of the index called ``name``."""
        return {name: self.value, f"{name}_low": self.low, f"{name}_high": self.high}


@dataclass(frozen=True)
class MeasuredColumn:
    """Everything known of a measured column, in the unit of the file; None where something does not exist.

    ``mean``, ``sd`` as measured: of points the distance of their mean from the true position and the spread on one
    axis, of position diameters the mean radius; ``process_sd`` without the scatter of the measurement.  ``cp``,
    ``cpk`` within subgroups, ``pp``, ``ppk`` of all parts, normal form; ``quantile_p``, ``quantile_pk`` the quantile
    form, which holds where ``form`` is *quantile*. ``proved``: the index of the nearer limit that is proved at 95
    %.  ``outliers``: lines of the file, the names in line 1.  ``conform_limits``: within them a measured part is
    proved good; ``proofs``: how many are proved what. ``needed``: the index that the case needs; ``needed_n``: how
    many parts would prove it.
    """

    name: str
    source: str
    unit: str
    n: int
    limits: Ends
    mean: float
    sd: float
    uncertainty: float | None
    process_sd: float | None
    form: str
    cp: Index
    cpk: Index
    pp: Index
    ppk: Index
    quantile_p: float | None
    quantile_pk: float | None
    proved: float | None
    subgroups: int
    between_p: float | None
    normal_test: str | None
    normal_p: float | None
    outliers: tuple[int, ...]
    conform_limits: Ends | None
    proofs: dict[Proof, int]
    needed: float | None
    needed_n: int | None
    notes: tuple[str, ...]

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        low, high = self.conform_limits or (None, None)
        return {
            "name": self.name,
            "source": self.source,
            "unit": self.unit,
            "n": self.n,
            "min": self.limits[0],
            "max": self.limits[1],
            "mean": self.mean,
            "sd": self.sd,
            "uncertainty": self.uncertainty,
            "process_sd": self.process_sd,
            "form": self.form,
            **self.cp.to_dict("cp"),
            **self.cpk.to_dict("cpk"),
            **self.pp.to_dict("pp"),
            **self.ppk.to_dict("ppk"),
            "pp_quantile": self.quantile_p,
            "ppk_quantile": self.quantile_pk,
            "ppk_proved": self.proved,
            "subgroups": self.subgroups,
            "between_p": self.between_p,
            "normal_test": self.normal_test,
            "normal_p": self.normal_p,
            "outliers": list(self.outliers),
            "conform_min": low,
            "conform_max": high,
            "conform": self.proofs["conforms"],
            "fail": self.proofs["does not"],
            "not_proved": self.proofs["not proved"],
            "needed_ppk": self.needed,
            "needed_n": self.needed_n,
            "notes": list(self.notes),
        }


def measured_column(dimension: Dimension, needed: Needed) -> MeasuredColumn | None:
    """Return the record of a dimension's measured column; None where it has none."""
    if not isinstance(dimension, Size | Zone | OneSided) or dimension.process.measured is None:
        return None
    measured = dimension.process.measured
    reading = reading_of(dimension, measured)
    overall = spread_of(reading, reading.sd, reading.freedom(reading.parts), measured.uncertainty)
    within = _within(reading, measured)
    test, normal_p = _normality(reading)
    quantile = _quantile_form(dimension, reading)
    is_normal = normal_p is None or normal_p >= samples.ALPHA
    wanted = needed.index if needed.answer in ("found", "floor") else None
    return MeasuredColumn(
        name=dimension.name,
        source=measured.source,
        unit="deg" if dimension.unit == "rad" else dimension.unit,
        n=reading.parts,
        limits=reading.limits,
        mean=reading.mean,
        sd=reading.sd,
        uncertainty=measured.uncertainty,
        process_sd=overall.sd if overall else None,
        form="normal" if is_normal or quantile.k is None else "quantile",
        cp=_by_spread(within),
        cpk=_by_limit(within),
        pp=_by_spread(overall),
        ppk=_by_limit(overall),
        quantile_p=quantile.c,
        quantile_pk=quantile.k,
        proved=overall.proves(reading.parts) if overall and overall.by_limit > 0 else None,
        subgroups=len(set(measured.subgroup)) if measured.subgroup is not None else 0,
        between_p=_between(reading, measured),
        normal_test=test,
        normal_p=normal_p,
        outliers=_outliers(reading, measured),
        conform_limits=accepted(*reading.limits, measured.uncertainty or 0.0),
        proofs=_proofs(reading, measured.uncertainty or 0.0),
        needed=wanted,
        needed_n=_needed_parts(overall, wanted),
        notes=tuple(_notes(reading, measured, overall, within, normal_p)),
    )


def _within(reading: Reading, measured: Measured) -> Spread | None:
    """Return the spread within subgroups; None without a subgroup column, or with one part in each."""
    if measured.subgroup is None:
        return None
    return spread_of(reading, *within_subgroups(reading, measured.subgroup), measured.uncertainty)


def _by_spread(spread: Spread | None) -> Index:
    return Index() if spread is None else Index(spread.by_spread, *spread.interval_by_spread())


def _by_limit(spread: Spread | None) -> Index:
    return Index() if spread is None else Index(spread.by_limit, *spread.interval_by_limit())


def _normality(reading: Reading) -> tuple[str | None, float | None]:
    """Return the test and its p value, of points that of both axes together; none of position diameters."""
    if reading.centred:
        return None, None
    found = [one for axis in reading.axes.T if (one := samples.normality(axis)) is not None]
    return (found[0][0], least_p([p for _, p in found])) if found else (None, None)


def _between(reading: Reading, measured: Measured) -> float | None:
    if measured.subgroup is None:
        return None
    return least_p([samples.between(axis, measured.subgroup) for axis in reading.axes.T])


def _quantile_form(dimension: Dimension, reading: Reading) -> Indices:
    """Return the indices by quantiles; none of zones, which go by the radial law, nor where nothing scatters."""
    if isinstance(dimension, Zone):
        return Indices(None, None, None)
    found = samples.quantiles(reading.lengths, is_positive=isinstance(dimension, OneSided))
    return Indices(None, None, None) if found is None else capability.quantile_indices(*reading.limits, found)


def _outliers(reading: Reading, measured: Measured) -> tuple[int, ...]:
    places = {place for axis in reading.likely.T for place in samples.outliers(axis)}
    return tuple(measured.line(place) for place in sorted(places))


def _proofs(reading: Reading, uncertainty: float) -> dict[Proof, int]:
    counts: dict[Proof, int] = {"conforms": 0, "does not": 0, "not proved": 0}
    for length in reading.lengths:
        counts[proof(float(length), *reading.limits, uncertainty)] += 1
    return counts


def _needed_parts(spread: Spread | None, needed: float | None) -> int | None:
    if spread is None or needed is None or spread.by_limit <= 0:
        return None
    return capability.parts_to_prove(spread.by_limit, needed, spread.proves)


def _notes(
    reading: Reading, measured: Measured, overall: Spread | None, within: Spread | None, normal_p: float | None
) -> Iterator[str]:
    if overall is None:
        yield STILL if reading.sd == 0 else SCATTER_OF_MEASUREMENT
    if measured.subgroup is None:
        yield NO_SUBGROUPS
    elif within is None and overall is not None:
        yield ONE_EACH if within_subgroups(reading, measured.subgroup)[1] == 0 else SCATTER_OF_MEASUREMENT
    between = _between(reading, measured)
    if between is not None and between < samples.ALPHA:
        yield UNSTABLE
    if reading.centred:
        yield RADIAL
    elif normal_p is not None and normal_p < samples.ALPHA and any(map(samples.is_coarse, reading.axes.T)):
        yield COARSE
    if measured.uncertainty:
        yield AS_MEASURED
    if reading.parts < FEW_PARTS:
        yield FEW
