"""What a key of a case file should have been, in words, where its value is of the wrong type or out of range."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from stackup.cage import KINDS
from stackup.case.bearing import PartsEntry

#: What a key of the wrong type should have been, by the key's name.
TYPES = {
    "tolerance": 'plus-minus, two numbers [lower, upper deviation] or an ISO 286-1 class such as "h7"',
    "values": 'a list of numbers (zones: of pairs [x, y]) or "FILE.csv#COLUMN"',
    "steps": '"IT", "R5", "R10", "R20" or a number above 0',
    "cost": "a table { model, fixed, rate, … }",
    "shape": "a word",
    "process": "a table, such as { cp = 1.33 }",
    "allow": 'a table, such as { ppm = 100, of = "pockets" }',
    "cage": "a table [cage] with kind = " + " or ".join(f'"{name}"' for name in KINDS),
    "run": "a table, such as [run] with cages = 100000",
    "dimensions": "a table of dimensions, such as [dimensions.NAME] with nominal = 10.0",
    "chains": "a table of chains, such as [chains.NAME] with a formula",
    "requirements": "a table of requirements, such as [requirements.NAME] with min = 0.0",
    "operating": "a table with parts, wear, rotation, such as [operating.wear] with pin_diameter = 0.2",
    "parts": "a table of parts, such as [operating.parts] with pin = { temperature = 70, expansion = 11.5e-6 }",
    "wear": "a table of slots, such as [operating.wear] with pin_diameter = 0.2",
    "rotation": "a table [operating.rotation] with speed, density and modulus",
    "row": "tables, one [[row]] for each row that differs",
} | dict.fromkeys(PartsEntry.model_fields, "a table { temperature, expansion }")
#: what a named table should have been, by the table it stands in
NAMED = {
    "dimensions": "a table, such as { nominal = 10.0, tolerance = 0.1 }",
    "chains": 'a table, such as { formula = "a - b" }',
    "requirements": "a table, such as { min = 0.1 }",
}
TYPE_WORDS = {
    "float_type": "a number",
    "int_type": "a whole number",
    "bool_type": "true or false",
    "string_type": "a text in quotes",
    "list_type": "a list [ … ]",
    "dict_type": "a table",
    "model_type": "a table",
}


LIMITS: dict[str, Callable[[Mapping[str, Any]], str]] = {
    "finite_number": lambda _: "a finite number",
    "greater_than": lambda known: f"a number above {known['gt']:g}",
    "greater_than_equal": lambda known: f"a number of at least {known['ge']:g}",
    "less_than_equal": lambda known: f"a number of at most {known['le']:g}",
    "int_parsing_size": lambda _: "a number of at most 1e+12",
    "too_short": lambda known: _count(known, "min_length", "at least"),
    "too_long": lambda known: _count(known, "max_length", "at most"),
    "string_too_short": lambda _: "a text that is not empty",
    "string_too_long": lambda known: f"at most {known['max_length']} characters",
}


def _count(known: Mapping[str, Any], key: str, words: str) -> str:
    count = known[key]
    return "exactly 2 numbers" if count == 2 else f"{words} {count} item{'s' * (count != 1)}"
