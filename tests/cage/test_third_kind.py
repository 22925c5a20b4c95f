"""A kind of 60 lines, one file and one line in the table, runs through every command: nothing else knows it.

Its case is also taken in two rows that differ and in four states of operation.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

import stackup
import stackup.cage
from stackup import cli
from stackup.case import json_schema, read
from stackup.case.nominal import evaluate_at_nominal
from stackup.cli import run

HERE, ROOT = Path(__file__).parent / "third_kind", Path(__file__).parents[2]
SCHEMAS = {file.stem: json.loads(file.read_text()) for file in (ROOT / "docs" / "schemas").glob("*.json")}
#: two rows that differ, warm, worn and turning
OPERATION = """
[[row]]
name = "inner"

[[row]]
name = "outer"
count = 2
rollers = 17
dimensions.plate_pocket = { tolerance = [0.0, 0.04] }
dimensions.plate_place = { process = { cp = 1.1 } }

[operating.parts]
roller = { temperature = 60, expansion = 12e-6 }
ring_a = { temperature = 50, expansion = 12e-6 }

[operating.wear]
plate_roller = 0.01

[operating.rotation]
speed = 900
density = 7850
modulus = 206000
"""
PROPOSAL = """
[cage]
finish = "bored"
[dimensions]
plate_pocket = { tolerance = [0.0, 0.09] }
plate_place = { zone = 0.12 }
"""


@pytest.fixture(autouse=True)
def _third_kind(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A file beside the others, and a line in the table."""
    monkeypatch.setattr(stackup.cage, "__path__", [*stackup.cage.__path__, str(HERE)])
    monkeypatch.setitem(stackup.cage.KINDS, "plate", "plate")
    yield
    stackup.cage.__dict__.pop("plate", None)


@pytest.fixture(params=["", OPERATION], ids=["one row", "rows and states"])
def case(request: pytest.FixtureRequest, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    file = tmp_path / "plate.toml"
    assert run(["new", "plate", "-o", str(file)]) == 0
    capsys.readouterr()
    file.write_text(file.read_text() + request.param)
    return file


@pytest.fixture
def shown(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Callable[..., tuple[int, dict[str, Any], str]]:
    """Run a command for its record, which fits its schema, and again for its page: what it finds is found once."""
    ran = cli._ran

    def show(*arguments: str) -> tuple[int, dict[str, Any], str]:
        found: list[Any] = []

        def once(*given: Any) -> Any:
            found[:] = found or [ran(*given)]
            return found[0]

        with monkeypatch.context() as patched:
            patched.setattr(cli, "_ran", once)
            code = run([*arguments, "--json"])
            record = json.loads(capsys.readouterr().out)
            assert run([*arguments, "--plain"]) == code
            page = capsys.readouterr().out
        assert code in (0, 1)
        jsonschema.Draft202012Validator(SCHEMAS[arguments[0]]).validate(record)
        assert "Traceback" not in page
        return code, record, page

    return show


def test_it_is_a_plain_file() -> None:
    """At most 60 lines, and no line of the package names it, its slots or its gaps."""
    assert len((HERE / "plate.py").read_text().splitlines()) <= 60
    assert not [file for file in (ROOT / "stackup").rglob("*.py") if "plate_" in file.read_text()]


def test_new_and_slots(shown: Any, capsys: pytest.CaptureFixture[str]) -> None:
    """The starter is written, and its slots, options and gaps are told."""
    assert run(["new", "plate"]) == 0
    assert "finish" in capsys.readouterr().out
    _, record, page = shown("slots", "plate")
    assert [slot["name"] for slot in record["slots"]][:2] == ["plate_roller", "plate_bore"]
    assert [option["name"] for option in record["options"]] == ["finish"]
    assert "plate_land" in page


def test_its_gaps_by_hand(case: Path) -> None:
    """Closed form at the nominal: play 0.2, land 160·sin(π/Z) − 20.2, wall 6, fit 0.1; hot and turning by hand."""
    for row in read(case).models():
        made = evaluate_at_nominal(row.states["made"])
        chord = 160 * math.sin(math.pi / row.rollers)
        expected = {"plate_play": 0.2, "plate_land": chord - 20.2, "plate_wall": 6.0, "plate_fit": 0.1}
        assert {name: float(np.mean(made[name])) for name in expected} == pytest.approx(expected, abs=1e-12)
        if "hot_worn" in row.states:
            roller, ring = 1 + 12e-6 * 40, 1 + 12e-6 * 30
            worn = evaluate_at_nominal(row.states["hot_worn"])
            assert float(np.mean(worn["plate_play"])) == pytest.approx(20.2 * ring - (20 * roller - 0.01), abs=1e-9)
            growth = 7850 * (2 * math.pi * 900 / 60) ** 2 * 1e-12 / 4 / 206000 * 160**2
            turning = 160 * (ring + growth) * math.sin(math.pi / row.rollers)
            assert float(np.mean(worn["plate_land"])) == pytest.approx(turning - 20.2 * ring, abs=1e-6)


def test_check_and_explain(case: Path, shown: Any) -> None:
    """Every requirement has a verdict in every row and state; the chain is told step by step."""
    code, record, page = shown("check", str(case), "--cages", "2000")
    places = len(record["rows"]) * len(record["states"])
    asked = [one for one in record["requirements"] if one["verdict"]]
    assert code == (0 if all(one["verdict"] == "met" for one in asked) else 1)
    assert [len(one["by_state"]) for one in asked] == [places if places > 1 else 0] * 3
    assert "plate_fit" in page
    code, record, page = shown("explain", str(case), "plate_land", "--program")
    assert code == 0
    assert "plate_chord" in page
    assert {one["name"] for one in shown("explain", str(case))[1]["gaps"]} >= {"plate_fit", "plate_wall"}


def test_rollers(case: Path, shown: Any) -> None:
    """Every row is asked how many fit; the fewest as given."""
    counts = ("--from", "16", "--to", "19", "--follow", "pitch,raceway")
    _, record, page = shown("rollers", str(case), *counts, "--cages", "500")
    assert len(record["counts"]) == 8 * len(record["rows"])
    assert "C_r" in page


def test_capability(case: Path, shown: Any) -> None:
    """Every process is studied, a row's own apart."""
    _, record, _ = shown("capability", str(case), "--cages", "1000")
    names = [one["name"] for one in record["dimensions"]]
    assert "plate_place" in names
    assert ("plate_place (row outer)" in names) == (len(record["rows"]) > 1)


def test_allocate(case: Path, shown: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is answered is met by check, in every row and state."""
    new = tmp_path / "new.toml"
    code, record, _ = shown("allocate", str(case), "-o", str(new), "--force", "--cages", "4000")
    assert code == 0
    assert "plate_pocket" in [one["name"] for one in record["dimensions"]]
    assert run(["check", str(new), "--cages", "4000"]) == 0
    capsys.readouterr()


def test_review(case: Path, shown: Any, tmp_path: Path) -> None:
    """An option and two tolerances are changes, each with a decision."""
    proposal = tmp_path / "proposal.toml"
    proposal.write_text(PROPOSAL)
    _, record, _ = shown("review", str(case), str(proposal), "--cages", "1000")
    assert [one["dimension"] for one in record["changes"]] == ["cage", "plate_pocket", "plate_place"]
    assert all(one["decision"] for one in record["changes"])


def test_assemble(case: Path, shown: Any) -> None:
    """The gap that its ``closing`` names tells whether the second plate can be put on, row by row."""
    _, record, page = shown("assemble", str(case), "--cages", "500")
    assert record["ring_entry"]["gap"] == "plate_fit"
    assert len(record["rows"]) == len(read(case).models())
    assert "plate_fit" in page


def test_faults_name_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A misspelt kind, slot, option and word of an option: each fault says where, and the nearest name."""
    text = (HERE / "starter_plate.toml").read_text()
    for old, new, near in (
        ('"plate"', '"plat"', "plate"),
        ("plate_roller]", "plate_rolle]", "plate_roller"),
        ("finish =", "finsh =", "finish"),
        ('"reamed"', '"reemed"', "reamed"),
    ):
        file = tmp_path / "wrong.toml"
        file.write_text(text.replace(old, new, 1))
        assert run(["check", str(file), "--json"]) == 2
        assert near in [fault["nearest"] for fault in json.loads(capsys.readouterr().out)["faults"]]


def test_in_python(case: Path) -> None:
    """The same in a notebook."""
    loaded = stackup.load(case)
    few = stackup.Settings(cages=500)
    assert {one.name for one in stackup.check(loaded, few).requirements} >= {"plate_play", "plate_land", "plate_fit"}
    assert "plate" in stackup.rollers(loaded, loaded.rollers, loaded.rollers, settings=few)._repr_html_()
    assert json_schema()["$defs"]["CageEntry"]["properties"]["finish"]["enum"] == ["bored", "reamed"]
