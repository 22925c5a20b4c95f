"""Every --json output of every case fits its published schema, and the schemas name every key."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from quick import quick_ends

from stackup import cli
from stackup.cage import KINDS
from stackup.cli import run

ROOT = Path(__file__).parents[1]
SCHEMAS = {file.stem: json.loads(file.read_text()) for file in sorted((ROOT / "docs" / "schemas").glob("*.json"))}
CASES = sorted((ROOT / "cases").glob("*.toml"))


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Look for a worst case a moment only: the form of a record does not depend on how near its ends are."""
    settings = cli._settings
    monkeypatch.setattr(cli, "_settings", lambda *given: replace(settings(*given), boxes=20))
    with quick_ends():
        yield


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


@pytest.mark.parametrize(
    ("case", "counts"),
    [("demo", ["--from", "50", "--to", "51", "--follow", "pitch,raceway"]), ("every_key_cage", ["--from=8", "--to=8"])],
)
def test_rollers(case: str, counts: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """``rollers``: counts that stand and one too many; what of a case cannot follow a count is a fault."""
    assert run(["rollers", str(ROOT / "cases" / f"{case}.toml"), *counts, "--json", "--cages", "300"]) == 1
    record = judged("rollers", capsys.readouterr().out)
    follows = dict.fromkeys(one["follow"] for one in record["counts"])
    assert [layout["follow"] for layout in record["layouts"]] == list(follows)
    for one in record["counts"]:
        assert (one["fraction"] is None) == (not one["stands"]) == (one["verdicts"] == {})
        assert all(fraction["low"] <= fraction["out_of_spec"] <= fraction["high"] for fraction in fractions_of(one))
    for other in ("bush_stack", "every_key_plain", "every_key_cage"):
        assert run(["rollers", str(ROOT / "cases" / f"{other}.toml"), "--json"]) == 2
        judged("faults", capsys.readouterr().out)


@pytest.mark.parametrize("case", CASES, ids=[case.stem for case in CASES])
def test_capability(case: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``capability``: gains of every requirement with an allowance, and of no other; ends of intervals in order."""
    code = run(["capability", str(case), "--json", "--cages", "1000"])
    record = judged("capability", capsys.readouterr().out)
    assert code == (0 if record["verdict"] in ("met", None) else 1)
    allowed = {one["name"] for one in record["requirements"] if one["decided_by"] == "allowance"}
    for one in record["dimensions"]:
        assert set(one["gains"]) == allowed
        assert (one["needed_cpk"] is not None) == (one["needed"] in ("found", "floor"))
        assert bool(one["needed_why"]) == (one["needed"] != "found")
    for one in record["measured"]:
        for index in ("cp", "cpk", "pp", "ppk"):
            assert one[index] is None or one[f"{index}_low"] <= one[index] <= one[f"{index}_high"]


TIGHT = """
[requirements.ring_entry]
min = 0.0
allow = { ppm = 1000, of = "cages" }
[requirements.entry_to_drawing]
gap = "ring_entry"
min = 0.0
"""


@pytest.mark.parametrize("name", ["demo", "tapered", "four_rows", "every_key_cage", "tight"])
def test_assemble(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``assemble``: the record fits; the governing row is one of the rows; where cages jam, all of it is there."""
    case = ROOT / "cases" / f"{name}.toml"
    if name == "tight":
        case = tmp_path / "tight.toml"
        text = (ROOT / "cases" / "demo.toml").read_text(encoding="utf-8")
        case.write_text(text.replace("nominal = 15.62", "nominal = 15.54") + TIGHT, encoding="utf-8")
    code = run(["assemble", str(case), "--json", "--cages", "1500"])
    record = judged("assemble", capsys.readouterr().out)
    assert code == (0 if record["verdict"] in ("met", None) else 1)
    own = next(row for row in record["rows"] if row["name"] == record["row"])
    assert {key: record[key] for key in own if key in record} == {k: v for k, v in own.items() if k in record}
    assert sorted(record["order"]) == sorted(record["best_order"]) == list(range(own["rollers"]))
    assert all(one["low"] <= one["out_of_spec"] <= one["high"] for one in fractions_of(record))
    if name == "tight":
        assert record["stuck_at"]
        assert sum(one["share"] for one in record["blocking"]) == pytest.approx(1.0)
        assert record["ring_entry"]["name"] == "ring_entry"
        assert [one["verdict"] for one in record["requirements"]] == ["not met", "not met"]
    for other in ("bush_stack", "every_key_plain"):
        assert run(["assemble", str(ROOT / "cases" / f"{other}.toml"), "--json"]) == 2
        judged("faults", capsys.readouterr().out)


PROPOSAL = """
[dimensions]
washer_left = { tolerance = 0.06 }
boss_width = { nominal = 40.02 }
arm = { process = { cp = 1.1, cpk = 0.9, toward = "lower" } }
pivot_seat = { zone = 0.06 }
[requirements.reach]
max = 163.5
"""


@pytest.mark.parametrize("against", ["", "itself"], ids=["proposal", "itself"])
@pytest.mark.parametrize("name", ["bush_stack", "every_key_plain"])
def test_review(name: str, against: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``review``: shares for every requirement; a counter where there is a limit; a case against itself is accepted."""
    case, proposal = ROOT / "cases" / f"{name}.toml", tmp_path / "proposal.toml"
    proposal.write_text(PROPOSAL if name == "bush_stack" else "[dimensions]\nslope = { tolerance = 0.5 }\n")
    code = run(["review", str(case), str(case if against else proposal), "--json", "--cages", "3000"])
    record = judged("review", capsys.readouterr().out)
    assert code == (0 if record["verdict"] == "accept" else 1)
    assert bool(record["changes"]) == (not against)
    names = {one["name"] for one in record["requirements"]}
    for change in record["changes"]:
        assert set(change["shares"]) == set(change["intervals"]) == names
        assert (change["counter"] is not None) == (change["decision"] == "limit")
        assert bool(change["causes"] or change["reason"]) or change["decision"] == "accept"


@pytest.mark.parametrize("record", ["review", "assemble"])
def test_records_of_check_in_other_records(record: str) -> None:
    """The requirement's record of other commands is that of ``check`` without ``monte_carlo``."""
    theirs = SCHEMAS["check"]["$defs"]
    ours = SCHEMAS[record]["$defs"]
    for name in ("fraction", "contribution", "worst_case", "normal", "rss"):
        assert ours[name] == theirs[name]
    for name in ("record", "requirement"):
        kept = {key: value for key, value in theirs[name]["properties"].items() if key != "monte_carlo"}
        assert ours[name]["properties"] == kept


@pytest.mark.parametrize("limits", [(0.08, 0.38), (0.24, 0.25)], ids=["works", "conflict"])
def test_allocate(limits: tuple[float, float], capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """``allocate``: an answer, and a conflict with what cures it."""
    low, high = limits
    text = (ROOT / "cases" / "pump.toml").read_text(encoding="utf-8")
    file = tmp_path / "pump.toml"
    file.write_text(text.replace("min = 0.08", f"min = {low}").replace("max = 0.38", f"max = {high}"))
    code = run(["allocate", str(file), "--json", "--cages", "1000"])
    record = judged("allocate", capsys.readouterr().out)
    assert (record["conflict"] is None) == (code == 0)
    assert (record["cost_after"] is None) == (code == 1)


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


def test_numbers_that_are_hardly_numbers(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A chain beyond all numbers: the record fits its schema, and nothing but the record is said."""
    case = tmp_path / "case.toml"
    size = "dimensions.a = { nominal = 0.5, tolerance = 0.6 }"
    case.write_text("\n".join(['cage.kind = "none"', size, 'chains.g.formula = "exp(800*a)"']))
    assert run(["check", str(case), "--json", "--cages", "2000"]) == 0
    said = capsys.readouterr()
    assert judged("check", said.out)["requirements"][0]["name"] == "g"
    assert not said.err
