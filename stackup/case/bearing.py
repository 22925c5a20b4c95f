"""The shape of what a case file says of the whole bearing: how it runs, and rows that differ from one another.

Tables of :mod:`stackup.case.schema`.  What they allow together with the kind of cage is judged in
:mod:`stackup.case.operating`, what a row says of its dimensions in :mod:`stackup.case.rows`.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import Field

from stackup.case.values import NotNegative, Positive, Table, Text, Within

#: Most rows of one bearing.
MOST_ROWS = 4

RowCount = Annotated[int, Field(ge=1, le=MOST_ROWS)]
Temperature = Annotated[float, Within(-200, 1000, "°C")]
#: 11.5 for 11.5e-6 is the usual slip
Expansion = Annotated[float, Within(-1e-5, 1e-3, "per K, such as 11.5e-6 for a steel")]
#: 7.85 for 7850 is the usual slip
Density = Annotated[float, Within(100, 50_000, "kg/m3, such as 7850 for steel")]
#: 206 for 206000 is the usual slip, 206e9 the other
Modulus = Annotated[float, Within(1000, 1_000_000, "N/mm2, such as 206000 for steel")]


class PartEntry(Table):
    """A part in operation."""

    what: ClassVar[str] = "a part in operation"
    temperature: Temperature = Field(description="Temperature of the part in operation, degrees Celsius.")
    expansion: Expansion = Field(description="Linear thermal expansion, 1/K.")


class PartsEntry(Table):
    """The parts in operation; one that is left out stays at 20 degrees."""

    what: ClassVar[str] = "[operating.parts]"
    roller: PartEntry | None = Field(default=None, description="The rollers.")
    pin: PartEntry | None = Field(default=None, description="The pins, which set the spacing of the rings.")
    ring_a: PartEntry | None = Field(default=None, description="Cage ring A.")
    ring_b: PartEntry | None = Field(default=None, description="Cage ring B.")
    inner_ring: PartEntry | None = Field(default=None, description="Inner ring of the bearing.")
    outer_ring: PartEntry | None = Field(default=None, description="Outer ring of the bearing.")


class RotationEntry(Table):
    """How the cage turns: its pitch circles grow."""

    what: ClassVar[str] = "[operating.rotation]"
    speed: Positive = Field(description="Speed of the cage, 1/min.")
    density: Density = Field(description="Density of the cage rings, kg/m3.")
    modulus: Modulus = Field(description="Modulus of elasticity of the cage rings, N/mm2.")
    pin_mass_ratio: NotNegative = Field(
        default=0.0, description="Mass of all that the rings carry round, the pins, to the mass of the rings."
    )


class OperatingEntry(Table):
    """The bearing in operation: warm, worn, turning."""

    what: ClassVar[str] = "[operating]"
    parts: PartsEntry = Field(
        default_factory=PartsEntry, description="Temperature and thermal expansion of each part."
    )
    wear: dict[str, Positive] = Field(default={}, description="Wear by slot, in the slot's own measure, mm.")
    rotation: RotationEntry | None = Field(default=None, description="Growth of the pitch circles with speed.")


class RowEntry(Table):
    """A row of rollers that differs from the others."""

    what: ClassVar[str] = "[[row]]"
    name: Text | None = Field(default=None, description="What the row is called (default: its number).")
    count: RowCount = Field(default=1, description="How many rows are alike.")
    rollers: int | None = Field(
        default=None, ge=3, le=500, description="Rollers in the row (default: those of [cage])."
    )
    dimensions: dict[str, dict[str, Any]] = Field(
        default={},
        description="What differs from [dimensions], key by key; another form takes the place of all keys.",
    )
