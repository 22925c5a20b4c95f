"""The JSON Schema accepts what reading accepts, refuses misspelt keys, and names every key."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest
from case_texts import FILES, LEAST

from stackup.cage import KINDS, kind
from stackup.case import json_schema

SCHEMA = json_schema()
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
TABLES = {file.stem: tomllib.loads(file.read_text(encoding="utf-8")) for file in sorted(FILES.glob("*.toml"))}
TABLES["least"] = tomllib.loads(LEAST)


def test_schema_is_a_schema() -> None:
    """The schema follows JSON Schema 2020-12."""
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("tables", TABLES.values(), ids=TABLES.keys())
def test_case_files_fit(tables: dict[str, Any]) -> None:
    """Right case files fit."""
    assert list(VALIDATOR.iter_errors(tables)) == []


def tables_in(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the paths of all tables whose keys are fixed."""
    if isinstance(value, dict):
        if path not in {("dimensions",), ("chains",), ("requirements",)}:
            yield path
        for key, item in value.items():
            yield from tables_in(item, (*path, key))
    if isinstance(value, list):
        for index, item in enumerate(value):
            yield from tables_in(item, (*path, index))


@pytest.mark.parametrize("path", list(tables_in(TABLES["every_key_cage"])), ids=str)
def test_misspelt_keys_do_not_fit(path: tuple[Any, ...]) -> None:
    """An unknown key in any table does not fit."""
    tables = copy.deepcopy(TABLES["every_key_cage"])
    place: Any = tables
    for part in path:
        place = place[part]
    place["misspelt"] = 1
    assert not VALIDATOR.is_valid(tables)


WRONG = [
    ("dimensions", {"x": {}}),
    ("dimensions", {"X": {"nominal": 1}}),
    ("dimensions", {"x": {"nominal": 1, "zone": 1}}),
    ("dimensions", {"x": {"nominal": "1"}}),
    ("dimensions", {"pin_seat_a": {"nominal": 1}}),
    ("dimensions", {"x": {"nominal": 1, "tolerance": [1, 2, 3]}}),
    ("dimensions", {"x": {"nominal": 1, "cost": {"model": "exponential", "fixed": 1, "rate": 1}}}),
    (
        "dimensions",
        {"x": {"nominal": 1, "cost": {"model": "exponential", "fixed": 1, "rate": 1, "power": 1}}},
    ),
    ("dimensions", {"x": {"zone": 1, "process": {"shape": "beta"}}}),
    ("requirements", {"x": {"allow": {"ppm": 1}}}),
    ("cage", {"kind": "cylindric"}),
    ("cage", {}),
    ("run", {"seed": -1}),
]


@pytest.mark.parametrize(("table", "value"), WRONG)
def test_wrong_values_do_not_fit(table: str, value: Any) -> None:
    """What is wrong by itself does not fit."""
    assert not VALIDATOR.is_valid({**TABLES["least"], table: value})


def test_no_case_without_a_cage() -> None:
    """A case has a cage."""
    assert not VALIDATOR.is_valid({"title": "x"})


def test_slots_are_offered() -> None:
    """Every slot of every kind is offered with its meaning."""
    offered = SCHEMA["properties"]["dimensions"]["properties"]
    for name in KINDS:
        for slot in kind(name).slots:
            assert slot.meaning in offered[slot.name]["description"]


def properties(schema: Any) -> Iterator[tuple[str, Any]]:
    """Yield all keys that the schema knows, with their schemas."""
    for definition in [schema, *schema["$defs"].values()]:
        yield from definition.get("properties", {}).items()


def test_every_key_is_described() -> None:
    """Completion says what each key is; nothing offers null."""
    undescribed = [name for name, schema in properties(SCHEMA) if not schema.get("description")]
    assert [name for name in undescribed if name != "properties"] == []
    assert "null" not in str(SCHEMA)


def keys_in(value: Any) -> Iterator[str]:
    """Yield all keys of nested tables."""
    if isinstance(value, dict):
        yield from value
        for item in value.values():
            yield from keys_in(item)
    if isinstance(value, list):
        for item in value:
            yield from keys_in(item)


def used_tables(value: Any, schema: Any) -> Iterator[tuple[str, str]]:
    """Yield (table of the schema, key) for every key that a case file uses."""
    schema = resolved(schema, value)
    if isinstance(value, dict):
        for key, item in value.items():
            inner = schema.get("properties", {}).get(key)
            if inner is not None and schema.get("name"):
                yield schema["name"], key
            yield from used_tables(item, inner or schema.get("additionalProperties") or {})
    if isinstance(value, list):
        for item in value:
            yield from used_tables(item, schema.get("items") or {})


def resolved(schema: Any, value: Any) -> Any:
    """Return the schema that ``value`` fits, references followed."""
    if not isinstance(schema, dict):
        return {}
    for alternative in schema.get("oneOf", schema.get("anyOf", [])):
        if jsonschema.Draft202012Validator({**alternative, "$defs": SCHEMA["$defs"]}).is_valid(value):
            return resolved(alternative, value)
    if "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        return {**SCHEMA["$defs"][name], "name": name}
    return schema


def test_the_files_use_every_key() -> None:
    """The cage file and the file without a cage together use every key of every table at least once."""
    known = {(name, key) for name, table in SCHEMA["$defs"].items() for key in table["properties"]}
    used = {pair for tables in TABLES.values() for pair in used_tables(tables, SCHEMA)}
    # a key that several kinds of dimension share counts where one of them uses it
    eldest = {"SizeEntry": "", "ZoneEntry": "", "OneSidedEntry": "", "ValuesEntry": ""}
    eldest |= {f"PartOf{name}": "" for name in eldest}  # what a row says of a dimension
    eldest |= dict.fromkeys(("SizeProcess", "ZoneProcess", "OneSidedProcess"), "process")
    shared = {(eldest.get(name, name), key) for name, key in used}
    assert {(name, key) for name, key in known if (eldest.get(name, name), key) not in shared} == set()
    assert SCHEMA["properties"].keys() <= set().union(*TABLES.values())


def test_names_as_in_the_checks() -> None:
    """The pattern of names is that of the interface."""
    for table in ("dimensions", "chains", "requirements"):
        pattern = SCHEMA["properties"][table]["propertyNames"]["pattern"]
        assert re.fullmatch(pattern, "pin_diameter_2")
        assert not re.fullmatch(pattern, "2pin")
