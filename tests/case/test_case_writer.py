"""Writing a case back keeps comments and order and changes only what is changed."""

from __future__ import annotations

import copy
import difflib
import tomllib
from collections.abc import Callable
from typing import Any

import pytest
from case_texts import FILES, LEAST
from hypothesis import given, settings
from hypothesis import strategies as st

from stackup.case import Case, from_mapping, read, write
from stackup.case.changes import apply, path_of
from stackup.errors import ValueFault

TEXTS = {file.stem: file.read_text(encoding="utf-8") for file in sorted(FILES.glob("*.toml"))}


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS.keys())
def test_unchanged(text: str) -> None:
    """Without changes the text comes back to the byte."""
    assert write(text) == text


def lines(before: str, after: str) -> tuple[list[str], list[str]]:
    """Return the lines that left and the lines that came."""
    differences = list(difflib.ndiff(before.splitlines(), after.splitlines()))
    return [d[2:] for d in differences if d[0] == "-"], [d[2:] for d in differences if d[0] == "+"]


CHANGES: list[tuple[str, Any, list[str], list[str]]] = [
    ("dimensions.pin_diameter.tolerance", [-0.01, 0.0], ['tolerance = "h7"'], ["tolerance = [-0.01, 0.0]"]),
    (
        "dimensions.hole_position_b.zone",
        0.08,
        ["zone = 0.10                 # diameter of the tolerance zone"],
        ["zone = 0.08                 # diameter of the tolerance zone"],
    ),
    (
        "dimensions.pin_diameter.process.cp",
        1.5,
        ['process = { shape = "normal", cp = 1.33, shift = 0.002, inspected = false }'],
        ['process = { shape = "normal", cp = 1.5, shift = 0.002, inspected = false }'],
    ),
    (
        "dimensions.roller_diameter.tolerance[0]",
        -0.03,
        ["tolerance = [-0.02, 0.0]"],
        ["tolerance = [-0.03, 0.0]"],
    ),
    ("run.cages", None, ["cages = 20000"], []),
    ("run.seed", 3, ["seed = 7"], ["seed = 3"]),
    ("requirements.total_gap.max", 1.0, [], ["max = 1.0"]),
    ("dimensions.bush.process", {"cp": 1.1}, [], ["process = {cp = 1.1}"]),
    ("dimensions.bush.process.cp", 1.1, [], ["process = {cp = 1.1}"]),
]


@pytest.mark.parametrize(("key", "value", "gone", "come"), CHANGES, ids=[change[0] for change in CHANGES])
def test_change(key: str, value: Any, gone: list[str], come: list[str]) -> None:
    """One change touches one line; the comment beside it stays."""
    before = TEXTS["every_key_cage"]
    after = write(before, {key: value})
    left, came = lines(before, after)
    assert left == gone
    assert [line for line in came if line] == come


def test_new_dimension() -> None:
    """A new dimension gets a header of its own, behind the others."""
    after = write(TEXTS["every_key_cage"], {"dimensions.shim.nominal": 0.5, "dimensions.shim.tolerance": 0.01})
    assert "\n[dimensions.shim]\nnominal = 0.5\ntolerance = 0.01\n" in after
    assert (
        after.index("[dimensions.bush]")
        < after.index("[dimensions.shim]")
        < after.index("[chains.total_gap]")
    )


def test_inline_dimension() -> None:
    """A dimension in one line stays in one line."""
    after = write(TEXTS["every_key_plain"], {"dimensions.arm.tolerance": [-0.1, 0.0]})
    assert (
        'arm = { nominal = 40.0, tolerance = [-0.1, 0.0], scope = "cage", steps = "R20", coarsest = 0.2 }\n'
        in after
    )


def test_case_without_text() -> None:
    """A case from a notebook is written from its tables."""
    tables = tomllib.loads(LEAST)
    case = from_mapping(tables)
    assert tomllib.loads(write(case)) == tables
    assert tomllib.loads(write(case, {"cage.rollers": 9}))["cage"]["rollers"] == 9


def test_case_is_left_alone() -> None:
    """Writing changes neither the case nor its document."""
    case: Case = read(FILES / "every_key_cage.toml")
    write(case, {"title": "another"})
    assert case.title != "another"
    assert "another" not in case.document


@pytest.mark.parametrize(
    "key",
    [
        "",
        "a..b",
        "a b",
        "a[x]",
        "title.x",
        "title.x.y",
        "dimensions.roller_diameter.tolerance[2]",
        "dimensions.roller_diameter.tolerance[2].x",
        "title[0]",
    ],
)
def test_no_such_path(key: str) -> None:
    """A path that leads nowhere is refused in words."""
    with pytest.raises(ValueFault):
        write(TEXTS["every_key_cage"], {key: 1})


def test_path_of() -> None:
    """A key path reads as names and indices."""
    assert path_of("dimensions.x.pattern[1].r") == ("dimensions", "x", "pattern", 1, "r")


# Laws -------------------------------------------------------------------------------------------------------

numbers = st.floats(-1e6, 1e6, allow_nan=False)
KEYS = [
    "title",
    "cage.rollers",
    "run.precision",
    "dimensions.pin_diameter.nominal",
    "dimensions.pin_diameter.process.cp",
    "dimensions.pin_diameter.choices[1].cost",
    "dimensions.hole_position_a.process.pattern[0].r",
    "dimensions.new.nominal",
    "requirements.total_gap.max",
]
values = st.one_of(
    numbers,
    st.booleans(),
    st.text(alphabet="ab \"'\\\né", max_size=5),
    st.lists(numbers, max_size=3),
    st.none(),
)


def comments(text: str) -> list[str]:
    """Return all comments of a text, in order."""
    return [
        line.partition("#")[2].strip() for line in text.splitlines() if "#" in line and ".csv#" not in line
    ]


@given(st.dictionaries(st.sampled_from(KEYS), values, max_size=4))
@settings(deadline=None)
def test_changes_come_back(changes: dict[str, Any]) -> None:
    """Law: reading what was written gives the changed tables; comments and headers keep their order."""
    expected = copy.deepcopy(tomllib.loads(TEXTS["every_key_cage"]))
    apply(expected, changes)
    text = write(TEXTS["every_key_cage"], changes)
    assert tomllib.loads(text) == expected
    assert comments(text) == comments(TEXTS["every_key_cage"])
    headers = [line for line in text.splitlines() if line.startswith("[") and "new" not in line]
    assert headers == [line for line in TEXTS["every_key_cage"].splitlines() if line.startswith("[")]


remarks = st.lists(st.text(alphabet="ab #=[]{}\"'é", max_size=10), min_size=17, max_size=17)


@given(remarks, st.floats(17.0, 17.9))
@settings(deadline=None)
def test_case_survives(words: list[str], nominal: float) -> None:
    """Law: a case with any comments, read, changed and written, is the same case but for the change."""
    text = "\n".join(
        f"{line} # {word}" for line, word in zip(LEAST.splitlines(), words, strict=True)
    )  # one comment at each line
    written = write(text + "\n", {"dimensions.pin_diameter.nominal": nominal})
    case = from_mapping(tomllib.loads(written), text=written)
    assert case.dimensions["pin_diameter"].nominal == (nominal,)
    assert [line.partition(" # ")[2] for line in written.splitlines()] == words
    assert write(case) == written


def test_round_trip_of_the_models(read_text: Callable[[str], Case]) -> None:
    """A case written and read again has the same model."""
    first = read_text(LEAST)
    again = read_text(write(first))
    assert again.digest == first.digest
    assert again.models()[0].states["made"].steps == first.models()[0].states["made"].steps
