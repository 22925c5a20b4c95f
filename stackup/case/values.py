"""The values of a case file: numbers with their ranges, words, tolerances; and what a table is.

Types are strict: true is no number, and neither infinity nor "not a number" is one.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    Tag,
)
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from stackup.errors import nearest

#: A name of a dimension, chain or requirement.
NAME = r"[a-z][a-z0-9_]*"
#: No number of a case file is larger than this in magnitude; no text is longer than 2 000 characters.
LARGEST, LONGEST = 1e12, 2000
#: Most dimensions, chains or requirements of one case.
MOST_NAMES = 500
#: The keys of which a dimension has exactly one.
FORMS = ("nominal", "zone", "limit", "values")

Number = Annotated[float, Field(ge=-LARGEST, le=LARGEST)]
Positive = Annotated[float, Field(gt=0, le=LARGEST)]
NotNegative = Annotated[float, Field(ge=0, le=LARGEST)]
Share = Annotated[float, Field(ge=0, le=1)]
Text = Annotated[str, Field(min_length=1, max_length=LONGEST)]
Pair = Annotated[list[Number], Field(min_length=2, max_length=2)]


class Table(BaseModel):
    """A table of the case file: no other keys, no silent conversions, never changed after reading."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)
    #: what the table is, in the words of a fault
    what: ClassVar[str] = "the case file"


def is_law(value: Any) -> bool:
    """Return whether ``value`` is a law made in Python, which counts as a shape."""
    return all(hasattr(value, part) for part in ("mean", "moments", "quantile"))


@dataclass(frozen=True)
class OneOf:
    """The annotation of a key that takes one of ``words`` (as they are when it is judged), ``laws``: or any law.

    ``shown`` are the words of the JSON Schema (default: all).
    """

    words: Collection[str]
    laws: bool = False
    shown: tuple[str, ...] = ()

    def judge(self, value: Any) -> Any:
        """Return ``value``; raises the error "word" where it is none of the words."""
        if (self.laws and is_law(value)) or (isinstance(value, str) and value in self.words):
            return value
        near = nearest(value, self.words) if isinstance(value, str) else None
        raise PydanticCustomError("word", "one of the words", {"words": list(self.words), "near": near})

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Judge by the words alone."""
        return core_schema.no_info_plain_validator_function(self.judge)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Offer the words for completion."""
        return {"enum": list(self.shown or self.words)}


@dataclass(frozen=True)
class Within:
    """The annotation of a number from ``low`` to ``high``, whose fault names the unit: a slip of the unit is usual."""

    low: float
    high: float
    unit: str

    def judge(self, value: float) -> float:
        """Return ``value``; raises the error "outside", in words, where it lies outside."""
        if self.low <= value <= self.high:
            return value
        raise PydanticCustomError("outside", "outside", {"error": f"{self.low:g} … {self.high:g} {self.unit}"})

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Judge numbers."""
        return core_schema.no_info_after_validator_function(self.judge, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Tell an editor the range."""
        return {**handler(schema), "minimum": self.low, "maximum": self.high}


#: The tags of unions whose members differ by type; they stand in pydantic's locations.
TAGS = ("<text>", "<number>", "<list>", "<pairs>")


def _type_of(value: Any) -> str:
    """Return the tag of ``value`` in a union whose members differ by type."""
    if isinstance(value, str):
        return "<text>"
    if not isinstance(value, list):
        return "<number>"
    return "<pairs>" if value and isinstance(value[0], list) else "<list>"


def _type_of_tolerance(value: Any) -> str:
    return "<list>" if isinstance(value, list) else _type_of(value)


def _type_of_values(value: Any) -> str:
    return _type_of(value) if isinstance(value, str | list) else "<list>"


Tolerance = Annotated[
    Annotated[NotNegative, Tag("<number>")] | Annotated[Pair, Tag("<list>")] | Annotated[Text, Tag("<text>")],
    Discriminator(_type_of_tolerance),
]
Values = Annotated[
    Annotated[Text, Tag("<text>")]
    | Annotated[list[Number], Tag("<list>")]
    | Annotated[list[Pair], Tag("<pairs>")],
    Discriminator(_type_of_values),
]
Steps = Annotated[
    Annotated[Literal["IT", "R5", "R10", "R20"], Tag("<text>")] | Annotated[Positive, Tag("<number>")],
    Discriminator(_type_of),
]
