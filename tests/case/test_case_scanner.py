"""The scanner finds every key and value of a TOML text where it stands."""

from __future__ import annotations

import math
import time
import tomllib
from typing import Any

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from stackup.case.scanner import DEEPEST, Path, Place, TooDeep, scan

TEXT = '''\
title = "a # no comment"  # a comment
dotted.key."with blank" = 'b'

[dimensions.pin]
tolerance = [ -0.1,
    # between ]
    0.2, ]
process = { shape = "normal", pattern = [{ order = 2 }], a.b = true }
text = """
one "two" \\
three"""
day = 1979-05-27 07:32:00

[[row]]
name = "1"
[row.part]
x = inf
[[row]]
name = "2"
'''

VALUES = {
    ("title",): (1, 9),
    ("dotted", "key", "with blank"): (2, 27),
    ("dimensions", "pin", "tolerance"): (5, 13),
    ("dimensions", "pin", "tolerance", 0): (5, 15),
    ("dimensions", "pin", "tolerance", 1): (7, 5),
    ("dimensions", "pin", "process", "shape"): (8, 21),
    ("dimensions", "pin", "process", "pattern", 0, "order"): (8, 52),
    ("dimensions", "pin", "process", "a", "b"): (8, 64),
    ("dimensions", "pin", "text"): (9, 8),
    ("dimensions", "pin", "day"): (12, 7),
    ("row", 0, "name"): (15, 8),
    ("row", 0, "part", "x"): (17, 5),
    ("row", 1, "name"): (19, 8),
}
KEYS = {
    ("dotted", "key"): (2, 1),
    ("dimensions",): (4, 2),
    ("dimensions", "pin"): (4, 2),
    ("dimensions", "pin", "process", "pattern"): (8, 31),
    ("dimensions", "pin", "process", "a"): (8, 58),
    ("row",): (14, 3),
    ("row", 1): (18, 3),
}


@pytest.mark.parametrize(("path", "place"), VALUES.items())
def test_value(path: Path, place: tuple[int, int]) -> None:
    """Each value begins where the text has it."""
    tomllib.loads(TEXT)
    assert scan(TEXT).value(path) == Place(*place)


@pytest.mark.parametrize(("path", "place"), KEYS.items())
def test_key(path: Path, place: tuple[int, int]) -> None:
    """Each key begins where the text has it."""
    assert scan(TEXT).key(path) == Place(*place)


def test_missing_key_stands_at_the_table() -> None:
    """What is not there is shown at the nearest table that is."""
    assert scan(TEXT).key(("dimensions", "pin", "nominal")) == Place(4, 2)
    assert scan(TEXT).key(("cage", "kind")) == Place(0, 0)


def test_inside_a_string() -> None:
    """A character of a string has its own place; with escapes the beginning stands for it."""
    text = 'a = "x + y"\nb = """\nx +\n y"""\nc = "\\t x"\n'
    places = scan(text)
    assert places.inside(("a",), 4) == Place(1, 10)
    assert places.inside(("b",), 5) == Place(4, 2)
    assert places.inside(("c",), 2) == Place(5, 5)


def test_twice_and_unclosed() -> None:
    """A key that stands twice, and a bracket that is never closed, are known by their place."""
    assert scan("a = 1\nb = 2\na = 3\n").again == [(("a",), 12)]
    assert scan("a = [1,\n2").unclosed == 4
    assert scan('a = """x').unclosed == 4


@pytest.mark.parametrize("text", ["a = " + "[" * 5000, "a." * 5000 + "b = 1", "a = " + "{a=" * 5000])
def test_too_deep(text: str) -> None:
    """Brackets and dotted keys have a limit that no case file comes near."""
    with pytest.raises(TooDeep):
        scan(text)
    scan("a = " + "[" * DEEPEST + "]" * DEEPEST)


@pytest.mark.parametrize(
    "text",
    [
        "a",
        "= 1",
        "a = ",
        "[",
        "[a",
        "[[a]",
        "a = {b",
        "a = 'x",
        '"\\q" = 1',
        "a = ]",
        "a = 1 ]",
        "\x00",
        "a.b.",
        "€ = 1",
    ],
)
def test_what_is_no_toml_ends(text: str) -> None:
    """On what is no TOML the scanner stops without an exception."""
    scan(text)


@pytest.mark.parametrize(
    "text",
    [
        "\n" * 10**6,
        "\n".join(f"a{i} = 1" for i in range(50_000)),
        "a = [" + "1," * 300_000 + "]",
        'a = """' + '""x' * 200_000,
        "a = '''" + "'" * 10**6,
        'a = "' + "\\" * 10**6,
        '"' * 10**6,
    ],
    ids=["blank", "keys", "array", "quotes", "apostrophes", "backslashes", "only quotes"],
)
def test_linear(text: str) -> None:
    """A megabyte of anything takes about a second, not a minute."""
    began = time.perf_counter()
    scan(text)
    assert time.perf_counter() - began < 10


# Against tomllib on random texts ----------------------------------------------------------------------------

keys = st.text(alphabet="ab-_9 .é\"'\\", min_size=1, max_size=4)
scalars = st.one_of(
    st.booleans(),
    st.integers(-(2**62), 2**62),
    st.floats(allow_nan=False),
    st.text(max_size=12),
    st.datetimes(),
    st.dates(),
)
trees = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=12,
)
tables = st.dictionaries(keys, trees, max_size=5)


def leaves(value: Any, path: Path = ()) -> list[tuple[Path, Any]]:
    """Return all scalars of nested tables with their paths."""
    if isinstance(value, dict):
        return [leaf for key, item in value.items() for leaf in leaves(item, (*path, key))]
    if isinstance(value, list):
        return [leaf for index, item in enumerate(value) for leaf in leaves(item, (*path, index))]
    return [(path, value)]


@given(tables)
def test_every_value_is_found(table: dict[str, Any]) -> None:
    """Law: the scanner knows all scalars that tomllib finds, and each token reads back as its value."""
    text = tomlkit.dumps(table).replace("\r\n", "\n")
    found = dict(leaves(tomllib.loads(text)))
    places = scan(text)
    for path, value in found.items():
        assert path in places.values
        assert token(text, places.values[path], value)
    assert found.keys() <= places.values.keys()


def token(text: str, start: int, value: Any) -> bool:
    """Return whether a value that stands at ``start`` of ``text`` reads as ``value``."""
    line_ends = [end for end in range(start, len(text) + 1) if end == len(text) or text[end] in ",]}\n"]
    for end in line_ends:
        try:
            read = tomllib.loads(f"k = {text[start:end]}\n")["k"]
        except tomllib.TOMLDecodeError:
            continue
        if read == value or (isinstance(value, float) and math.isclose(read, value)):
            return True
    return False
