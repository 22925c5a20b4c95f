"""Every --json output of every case fits its published schema, and the schemas name every key."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from stackup.cage import KINDS
from stackup.cli import run

ROOT = Path(__file__).parents[1]
SCHEMAS = {file.stem: json.loads(file.read_text()) for file in sorted((ROOT / "docs" / "schemas").glob("*.json"))}
CASES = sorted((ROOT / "cases").glob("*.toml"))


def judged(name: str, text: str) -> Any:
    """Return the record in ``text`` once it fits the schema called ``name``."""
    record = json.loads(text)
    jsonschema.Draft202012Validator(SCHEMAS[name]).validate(record)
    return record


@pytest.mark.parametrize("name", SCHEMAS)
def test_schemas_are_closed(name: str) -> None:
    """Each follows JSON Schema 2020-12; an object allows no other key and requires every one it names."""
    schema = SCHEMAS[name]
    jsonschema.Draft202012Validator.check_schema(schema)
    for part in objects_of(schema):
        assert part["additionalProperties"] is False
        assert set(part["required"]) == set(part["properties"])


def objects_of(schema: Any) -> Any:
    """Yield all parts of a schema that describe an object."""
    if isinstance(schema, dict):
        if schema.get("type") == "object":
            yield schema
        for part in schema.values():
            yield from objects_of(part)
    if isinstance(schema, list):
        for part in schema:
            yield from objects_of(part)


@pytest.mark.parametrize("case", CASES, ids=[case.stem for case in CASES])
def test_check(case: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``check``: the record fits; fractions lie in their intervals; edges of a histogram are one more than counts."""
    code = run(["check", str(case), "--json", "--cages", "2000"])
    record = judged("check", capsys.readouterr().out)
    verdicts = [one["verdict"] for one in record["requirements"] if one["verdict"]]
    assert code == (0 if set(verdicts) <= {"met"} else 1)
    for one in record["requirements"]:
        histogram = one["monte_carlo"]["histogram"]
        assert len(histogram["edges"]) == len(histogram["counts"]) + 1
        assert (one["min"] is None and one["max"] is None) == (one["verdict"] is None) == (one["fraction"] is None)
        for fraction in fractions_of(one):
            assert fraction["low"] <= fraction["out_of_spec"] <= fraction["high"]
            assert fraction.get("method") != "exact" or fraction["low"] == fraction["high"]


def fractions_of(record: Any) -> Any:
    """Yield every object of a record that is a fraction with an interval."""
    if isinstance(record, dict):
        if {"out_of_spec", "low", "high"} <= record.keys() and "mean" not in record:
            yield record
        for part in record.values():
            yield from fractions_of(part)
    if isinstance(record, list):
        for part in record:
            yield from fractions_of(part)


@pytest.mark.parametrize("program", [[], ["--program"]], ids=["", "program"])
@pytest.mark.parametrize("case", CASES, ids=[case.stem for case in CASES])
def test_explain(case: Path, program: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """``explain``."""
    assert run(["explain", str(case), "--json", *program]) == 0
    record = judged("explain", capsys.readouterr().out)
    assert (record["program"] is None) == (not program)


@pytest.mark.parametrize("kind", KINDS)
def test_slots_and_new(kind: str, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """``slots`` and ``new``, to a file and to stdout."""
    assert run(["slots", kind, "--json"]) == 0
    judged("slots", capsys.readouterr().out)
    assert run(["new", kind, "--json"]) == 0
    assert judged("new", capsys.readouterr().out)["file"] is None
    file = tmp_path / "my.toml"
    assert run(["new", kind, "--json", "-o", str(file)]) == 0
    assert judged("new", capsys.readouterr().out)["text"] == file.read_text()


@pytest.mark.parametrize(("size", "classes", "sizes"), [("17.4", "h7", 1), ("50", "H7/g6", 2), ("3150", "JS18", 1)])
def test_iso286(size: str, classes: str, sizes: int, capsys: pytest.CaptureFixture[str]) -> None:
    """``iso286``: one size, or the two of a fit."""
    assert run(["iso286", size, classes, "--json"]) == 0
    record = judged("iso286", capsys.readouterr().out)
    assert len(record["sizes"]) == sizes
    assert (record["fit"] is None) == (sizes == 1)


def test_faults(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A wrong file, a wrong command line and a wrong value."""
    file = tmp_path / "case.toml"
    file.write_text("[cage]\nkind = 'nome'\n")
    for arguments in (["check", str(file)], ["chek"], ["iso286", "50", "q9"]):
        assert run([*arguments, "--json"]) == 2
        judged("faults", capsys.readouterr().out)


def test_schema_of_the_case_file(capsys: pytest.CaptureFixture[str]) -> None:
    """``schema`` prints a schema, with --json on one line."""
    assert run(["schema", "--json"]) == 0
    out = capsys.readouterr().out
    assert out.count("\n") == 1
    jsonschema.Draft202012Validator.check_schema(json.loads(out))
