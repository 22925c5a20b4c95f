"""The shape of a case file: which keys there are, of which type, in which range.

What one key allows stands here; what several keys or names allow together is judged in
:mod:`stackup.case.dimensions`, :mod:`stackup.case.chains` and :mod:`stackup.case.requirements`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Discriminator, Field, Tag

from stackup.cage import KINDS
from stackup.case.bearing import MOST_ROWS, OperatingEntry, RowCount, RowEntry
from stackup.case.values import (
    FORMS,
    LONGEST,
    NotNegative,
    Number,
    OneOf,
    Pair,
    Positive,
    Share,
    Steps,
    Table,
    Text,
    Tolerance,
    Values,
)


def _type_of_cost(value: Any) -> str:
    is_exponential = isinstance(value, Mapping) and value.get("model") == "exponential"
    return "<exponential>" if is_exponential else "<reciprocal>"


def _type_of_entry(value: Any) -> str | None:
    form = form_of(value)
    return f"<{form}>" if form else None


class SizeHarmonic(Table):
    """One term of a size's pattern round the ring: amplitude·cos(order·θ − phase)."""

    what: ClassVar[str] = "a term of the pattern of a size"
    order: int = Field(ge=0, le=1000, description="Waves per turn.")
    amplitude: Number = Field(description="Amplitude, in the dimension's own unit.")
    phase: Number = Field(default=0.0, description="Phase in degrees.")


class ZoneHarmonic(Table):
    """One term of a zone's pattern: r·cos(order·θ − phase) and t·sin(order·θ − phase)."""

    what: ClassVar[str] = "a term of the pattern of a zone"
    order: int = Field(ge=0, le=1000, description="Waves per turn.")
    r: Number = Field(default=0.0, description="Radial amplitude, mm.")
    t: Number = Field(default=0.0, description="Tangential amplitude, mm.")
    phase: Number = Field(default=0.0, description="Phase in degrees.")


class Process(Table):
    """How the parts come out: what every kind of dimension takes."""

    cp: Positive | None = Field(default=None, description="Capability: 3 sigma = half-width/cp (default 1).")
    inspected: bool = Field(default=False, description="Nothing outside the drawing is used.")
    data: Text | None = Field(
        default=None, description='Measured values, "FILE.csv#COLUMN", beside the case file.'
    )
    how: Literal["smoothed", "resampled"] | None = Field(
        default=None, description="How measured values are drawn."
    )
    subgroup: Text | None = Field(
        default=None, description="Column of the same file that names the subgroup of a row."
    )
    uncertainty: NotNegative | None = Field(
        default=None, description="Standard uncertainty of the measurement, mm."
    )


_SIZE_SHAPES = OneOf(("normal", "uniform", "triangular", "trapezoid", "beta", "measured"), laws=True)
_ONE_SIDED_SHAPES = OneOf(("rayleigh", "half-normal", "lognormal", "uniform", "measured"), laws=True)
_ZONE_SHAPES = OneOf(("normal", "uniform", "measured"), laws=True)


class SizeProcess(Process):
    """How the values of a size come out."""

    what: ClassVar[str] = "the process of a size"
    shape: Annotated[Any, _SIZE_SHAPES] = Field(
        default=None, description="Shape of the distribution (default normal)."
    )
    cpk: Positive | None = Field(
        default=None, description="Capability of the centre; alone: cp = cpk, centred."
    )
    toward: Literal["upper", "lower"] | None = Field(
        default=None, description="Side of the mean, beside cp and cpk."
    )
    shift: Number | None = Field(default=None, description="Mean less the middle of the tolerance, mm.")
    a: Positive | None = Field(default=None, description="First parameter of beta.")
    b: Positive | None = Field(default=None, description="Second parameter of beta.")
    flat: Share | None = Field(default=None, description="Flat part of the trapezoid's support.")
    mode: Annotated[float, Field(ge=-1, le=1)] | None = Field(
        default=None, description="Peak of the triangle."
    )
    pattern: list[SizeHarmonic] = Field(
        default=[], max_length=100, description="Waves of the mean round the ring."
    )
    drift: Number | None = Field(default=None, description="Pocket i gets drift·i/Z.")


class ZoneProcess(Process):
    """How the points of a zone come out."""

    what: ClassVar[str] = "the process of a zone"
    shape: Annotated[Any, _ZONE_SHAPES] = Field(
        default=None, description="Shape of the distribution (default normal)."
    )
    offset: Pair | None = Field(default=None, description="Mean: [r, t] of a pocket, [x, y] of a cage, mm.")
    measure: Literal["diameter"] | None = Field(
        default=None, description="One measured column holds position diameters."
    )
    pattern: list[ZoneHarmonic] = Field(
        default=[], max_length=100, description="Waves of the mean round the ring."
    )
    drift: Pair | None = Field(default=None, description="Pocket i gets [r, t]·i/Z.")


class OneSidedProcess(Process):
    """How the values of a runout or a form error come out."""

    what: ClassVar[str] = "the process of a one-sided dimension"
    shape: Annotated[Any, _ONE_SIDED_SHAPES] = Field(
        default=None, description="Shape of the distribution (default rayleigh)."
    )
    sigma: Annotated[float, Field(gt=0, le=5)] | None = Field(
        default=None, description="Standard deviation of the logarithm of a lognormal."
    )


class ReciprocalCost(Table):
    """Cost of a part: fixed + rate/t^power, t the half-width."""

    what: ClassVar[str] = "a reciprocal cost"
    model: Annotated[str, OneOf(("reciprocal", "exponential"), shown=("reciprocal",))] = Field(
        description="fixed + rate/t^power"
    )
    fixed: NotNegative = Field(description="Cost without any tolerance.")
    rate: NotNegative = Field(description="Cost times half-width^power.")
    power: Positive = Field(default=1.0, description="Exponent of the half-width (default 1).")


class ExponentialCost(Table):
    """Cost of a part: fixed + rate·exp(−t/scale), t the half-width."""

    what: ClassVar[str] = "an exponential cost"
    model: Literal["exponential"] = Field(description="fixed + rate*exp(-t/scale)")
    fixed: NotNegative = Field(description="Cost of a very wide tolerance.")
    rate: NotNegative = Field(description="What a vanishing tolerance costs on top.")
    scale: Positive = Field(description="Half-width over which the cost falls by e, mm.")


Cost = Annotated[
    Annotated[ReciprocalCost, Tag("<reciprocal>")] | Annotated[ExponentialCost, Tag("<exponential>")],
    Discriminator(_type_of_cost),
]


class Choice(Table):
    """One real process or machine among which one is chosen."""

    what: ClassVar[str] = "a choice"
    name: Text = Field(description="What the process is called.")
    tolerance: Tolerance = Field(description="What it holds, as in `tolerance`, `zone` or `limit`.")
    cost: NotNegative = Field(description="What a part costs with it.")
    cp: Positive | None = Field(default=None, description="Its capability.")
    cpk: Positive | None = Field(default=None, description="Its capability of the centre.")
    shift: Number | None = Field(default=None, description="Its mean less the middle of the tolerance, mm.")


class Entry(Table):
    """What every dimension may have."""

    scope: Literal["pocket", "cage"] | None = Field(
        default=None, description="Drawn anew for each pocket, or once for a cage."
    )
    part: Literal["roller", "pin", "ring_a", "ring_b", "inner_ring", "outer_ring", "none"] | None = Field(
        default=None, description="The part it belongs to: temperature and wear."
    )
    unit: Annotated[str, Field(min_length=1, max_length=20)] | None = Field(
        default=None, description='A label that converts nothing; "deg": entered in degrees, rad in formulas.'
    )


class Toleranced(Entry):
    """What every dimension with a tolerance may have."""

    lot_share: Share | None = Field(
        default=None, description="Share of the score that all pockets of a cage have in common."
    )
    cost: Cost | None = Field(default=None, description="What the half-width costs.")
    choices: list[Choice] | None = Field(
        default=None, min_length=1, description="Real processes of which one is chosen."
    )
    locked: bool | None = Field(default=None, description="Not changed by an allocation.")
    finest: Positive | None = Field(default=None, description="Least half-width.")
    coarsest: Positive | None = Field(default=None, description="Greatest half-width.")
    steps: Steps | None = Field(default=None, description="Steps of the half-width.")


class SizeEntry(Toleranced):
    """A size: nominal with a lower and an upper deviation."""

    what: ClassVar[str] = "a size"
    nominal: Number | None = Field(default=None, description="Nominal, mm.")
    tolerance: Tolerance | None = Field(
        default=None,
        description='Plus-minus, [lower, upper] deviation, or a class of ISO 286-1 such as "h7".',
    )
    feature: Literal["hole", "shaft"] | None = Field(
        default=None, description="Hole or shaft, for a material bonus."
    )
    sorted_to: Positive | None = Field(default=None, description="Width of the sorting classes, mm.")
    process: SizeProcess = Field(default_factory=SizeProcess, description="How the parts come out.")
    nominal_range: Pair | None = Field(
        default=None, description="Where an allocation may move the nominal, mm."
    )


class ZoneEntry(Toleranced):
    """A circular tolerance zone."""

    what: ClassVar[str] = "a zone"
    zone: NotNegative = Field(description="Diameter of the zone, mm.")
    bonus_from: Text | None = Field(
        default=None, description="Size with a feature whose departure widens the zone."
    )
    process: ZoneProcess = Field(default_factory=ZoneProcess, description="How the parts come out.")


class OneSidedEntry(Toleranced):
    """A form or runout, 0 … limit."""

    what: ClassVar[str] = "a one-sided dimension"
    limit: NotNegative = Field(description="Largest value the drawing grants, mm.")
    process: OneSidedProcess = Field(default_factory=OneSidedProcess, description="How the parts come out.")


class ValuesEntry(Entry):
    """Measured values, one per pocket, without scatter."""

    what: ClassVar[str] = "a dimension of measured values"
    values: Values = Field(description='Z numbers, for zones Z pairs, or "FILE.csv#COLUMN".')
    uncertainty: NotNegative | None = Field(default=None, description="Standard uncertainty of a value, mm.")
    feature: Literal["hole", "shaft"] | None = Field(default=None, description="Hole or shaft.")


def form_of(value: Any) -> str | None:
    """Return the one of :data:`FORMS` that a dimension has; None where it has none or several."""
    if not isinstance(value, Mapping):
        return "nominal"
    present = [form for form in FORMS if form in value]
    if not present and "tolerance" in value:
        return "nominal"
    return present[0] if len(present) == 1 else None


AnyEntry = Annotated[
    Annotated[SizeEntry, Tag("<nominal>")]
    | Annotated[ZoneEntry, Tag("<zone>")]
    | Annotated[OneSidedEntry, Tag("<limit>")]
    | Annotated[ValuesEntry, Tag("<values>")],
    Discriminator(_type_of_entry),
]


#: tag of a union of tables → the table
TABLES: dict[str, type[Table]] = {
    "<nominal>": SizeEntry,
    "<zone>": ZoneEntry,
    "<limit>": OneSidedEntry,
    "<values>": ValuesEntry,
    "<reciprocal>": ReciprocalCost,
    "<exponential>": ExponentialCost,
}


class CageEntry(Table):
    """The cage: which gaps there are.  Other keys are options of the kind, judged by it (``options.py``)."""

    what: ClassVar[str] = "[cage]"
    kind: Annotated[str, OneOf(KINDS)] = Field(
        description="Kind of cage; none: chains of your own only, one pocket."
    )
    rollers: int | None = Field(default=None, ge=3, le=500, description="Rollers in one row.")
    rows: RowCount | None = Field(default=None, description="Rows of the bearing, all alike (default 1).")


class ChainEntry(Table):
    """A gap of your own."""

    what: ClassVar[str] = "a chain"
    formula: Text = Field(description="Formula over dimensions, chains and built-in gaps.")
    unit: Annotated[str, Field(min_length=1, max_length=20)] = Field(
        default="mm", description="A label; converts nothing."
    )


#: what a stack without a cage counts
OF_NO_CAGE = "stacks"


class AllowEntry(Table):
    """How many of a population may be out of spec."""

    what: ClassVar[str] = "allow"
    ppm: Annotated[float, Field(gt=0, le=1e6)] = Field(description="Parts per million.")
    of: Literal["pockets", "cages", "bearings", "stacks"] = Field(
        description='The population; without a cage (kind = "none") each is the same: stacks.'
    )


class RequirementEntry(Table):
    """A limit on a gap."""

    what: ClassVar[str] = "a requirement"
    gap: Text | None = Field(
        default=None, description="A built-in gap or a chain (default: the requirement's name)."
    )
    over: Literal["each", "least", "greatest", "mean", "spread"] = Field(
        default="each", description="Over the pockets of a cage."
    )
    min: Number | None = Field(default=None, description="Lower limit, in the gap's own unit.")
    max: Number | None = Field(default=None, description="Upper limit, in the gap's own unit.")
    allow: AllowEntry | None = Field(
        default=None, description="Share that may be out of spec; without it the worst case decides."
    )


class RunEntry(Table):
    """How to compute."""

    what: ClassVar[str] = "[run]"
    seed: int = Field(default=1, ge=0, le=2**63 - 1, description="Seed of the random numbers.")
    cages: int = Field(default=100_000, ge=1, le=10**9, description="Cages drawn by Monte Carlo.")
    precision: Annotated[float, Field(gt=0, le=1)] = Field(
        default=0.1, description="Relative width of the 95 % interval."
    )
    inflation: Positive | None = Field(default=None, description="Factor on every sigma.")
    mean_shift: Share | None = Field(
        default=None, description="Shift of every mean, as a share of the half-width."
    )
    mean_shift_rule: Literal["added", "statistical"] = Field(
        default="added", description="How the shifts add up."
    )


class Document(Table):
    """A case file as a whole."""

    what: ClassVar[str] = "the case file"
    title: Annotated[str, Field(max_length=LONGEST)] = Field(default="", description="What the case is.")
    cage: CageEntry = Field(description="The kind of cage.")
    dimensions: dict[str, AnyEntry] = Field(default={}, description="The lines of the drawing.")
    chains: dict[str, ChainEntry] = Field(default={}, description="Gaps of your own.")
    requirements: dict[str, RequirementEntry] = Field(default={}, description="Limits on gaps.")
    operating: OperatingEntry | None = Field(default=None, description="The bearing in operation.")
    row: list[RowEntry] = Field(
        default=[], min_length=1, max_length=MOST_ROWS, description="Rows that differ from one another."
    )
    run: RunEntry = Field(
        default_factory=RunEntry, description="Seed, number of cages, precision, shifts of means."
    )
