"""Whatever stands in a file, the answer is a case or a clear fault, soon; nothing is ever evaluated."""

from __future__ import annotations

import copy
import shutil
import time
import tomllib
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from case_texts import FILES, LEAST
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stackup.case import Case, from_mapping, read
from stackup.errors import CaseError, Fault

FaultsOf = Callable[[str], list[Fault]]

BYTES = {
    "empty": (b"", "found nothing"),
    "zeros": (b"\0" * 1000, "zero byte"),
    "binary": (bytes(range(256)) * 20, "zero byte"),
    "latin-1": ("title = 'gerät'\n".encode("latin-1"), "0xe4, which is no UTF-8"),
    "zero in a string": (b"[cage]\nkind = 'no\0ne'\n", "zero byte"),
    "control character": (b"title = 'a\x07'\n", "no TOML"),
    "half a table": (b"[cage\n", "no TOML"),
    "unclosed string": (b"[cage]\nkind = 'none\n", "no TOML"),
    "unclosed array": (b"a = 1\nb = [1,\n2\n", "never closed"),
    "key twice": (b"[cage]\nkind = 'none'\nkind = 'none'\n", "cage.kind a second time .first in line 2."),
    "no value": (b"[cage]\nkind = 'none'\nseed =\n", "in the line `seed =`"),
    "decimal comma": (b"[cage]\nkind = 'none'\nx = 724,0\n", "724,0 in the line `x = 724,0`.*Did you mean 724.0"),
    "decimal comma inside": (b"[dimensions]\nx = { nominal = -724,25, tolerance = 1 }\n", "Did you mean -724.25"),
    "unit": (b"[dimensions.x]\nnominal = 724.0 mm  # on the drawing\n", "Did you mean 724.0"),
    "plus-minus": ("[dimensions.x]\nnominal = 1.0\ntolerance = ±0.02\n".encode(), "Did you mean 0.02"),
    "commas in a pair": (b"tolerance = [-0,02, 0,0]\n", "Did you mean -0.02"),
    "table twice": (b"[cage]\nkind = 'none'\n[cage]\n", "cage a second time"),
    "brackets": (b"a = " + b"[" * 5000, "nested too deep"),
    "tables": (b"a = " + b"{a=" * 5000, "nested too deep"),
    "dots": (b"a." * 50_000 + b"b = 1", "nested too deep"),
    "many digits": (b"[run]\nseed = " + b"9" * 5000, "no TOML"),
    "hexadecimal": (b"[run]\nseed = 0x" + b"f" * 5000, "whole number of about 6021 digits"),
    "too large": (b"#" * (2**20 + 1), "1048577 bytes"),
    "a million lines": (b"a=1\n" * 10**6, "4000000 bytes"),
    "a million blank lines": (b"\n" * 10**6, "found nothing"),
    "many keys": (b"\n".join(b"a%d=1" % i for i in range(60_000)), "60000 values"),
    "many dimensions": (
        b"[cage]\nkind='none'\n[dimensions]\n" + b"\n".join(b"a%d.nomnal=1" % i for i in range(20_000)),
        "20000 dimensions",
    ),
    "many unknown keys": (b"\n".join(b"titl%d=1" % i for i in range(40_000)), "the key titl0"),
}


@pytest.mark.parametrize(("data", "found"), BYTES.values(), ids=BYTES.keys())
def test_bytes(data: bytes, found: str, tmp_path: Path) -> None:
    """What is no case file is refused in words, within seconds."""
    file = tmp_path / "case.toml"
    file.write_bytes(data)
    began = time.perf_counter()
    with pytest.raises(CaseError, match=found):
        read(file)
    assert time.perf_counter() - began < 10


LINES = {
    "key twice": ("[cage]\nkind = 'none'\nrollers = 1\nkind = 'none'\n", 4),
    "unclosed array": ("a = 1\nb = [1,\n2\n\n\n", 2),
    "unclosed text": ("a = 1\n\nb = '''\n2\n\n\n", 3),
    "no value": ("a = 1\nb =\n", 2),
    "latin-1": ("a = 1\nb = '\udce4'\n", 2),
    "zero": ("a = 1\nb = '\0'\n", 2),
}


@pytest.mark.parametrize(("text", "line"), LINES.values(), ids=LINES.keys())
def test_line_of_what_is_no_toml(text: str, line: int, tmp_path: Path) -> None:
    """The first thing that is no TOML is shown at its line."""
    file = tmp_path / "case.toml"
    file.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(CaseError) as caught:
        read(file)
    assert [fault.line for fault in caught.value.faults] == [line]


def test_folder_and_missing_file(tmp_path: Path) -> None:
    """A folder and a file that is not there are told apart."""
    with pytest.raises(CaseError, match="a folder"):
        read(tmp_path)
    with pytest.raises(CaseError, match="no such file"):
        read(tmp_path / "nowhere.toml")
    with pytest.raises(CaseError, match=r"no such file|cannot be read"):
        read(tmp_path / ("x" * 5000))
    with pytest.raises(CaseError, match=r"no such file|cannot be read"):
        read("a\0b")


def test_windows_text(tmp_path: Path) -> None:
    """A byte order mark and CRLF line ends change neither the case nor the lines of faults."""
    file = tmp_path / "case.toml"
    file.write_bytes(b"\xef\xbb\xbf" + LEAST.replace("\n", "\r\n").encode())
    assert read(file).rollers == 8
    file.write_bytes(b"\xef\xbb\xbf" + (LEAST + "[run]\nsed = 1\n").replace("\n", "\r\n").encode())
    with pytest.raises(CaseError) as caught:
        read(file)
    assert [(fault.line, fault.column) for fault in caught.value.faults] == [(19, 1)]


@pytest.mark.parametrize(
    "formula",
    [
        "__import__('os').system('touch owned')",
        "().__class__.__bases__",
        "(" * 800 + ")" * 800,
        "9**9**9**9",
        "2**-2**12**12",
        "1e999",
        "rollers.real",
        "lambda: 1",
        "x if x else y",
        "x = 1",
        "[x for x in y]",
        "'a' + 'b'",
        "exp(exp(exp(700)))",
        "\\u0000",
    ],
)
def test_formulas_are_never_evaluated(formula: str, faults_of: FaultsOf) -> None:
    """A formula outside the grammar is one fault of its chain."""
    text = LEAST + "[chains.c]\nformula = '''" + formula + "'''\n"
    assert [fault.key for fault in faults_of(text)] == ["chains.c.formula"]


def test_huge_numbers(faults_of: FaultsOf) -> None:
    """Numbers that no formula survives are faults, not overflows."""
    text = "[cage]\nkind='none'\n[dimensions]\nx = { nominal = 1e12, tolerance = [-1e12, 1e12] }\n"
    assert [f.key for f in faults_of(text + "[chains.c]\nformula = 'exp(x)'")] == ["chains.c.formula"]
    assert [f.key for f in faults_of(text + "[chains.c]\nformula = '(x**12)**1*x**12*x**12'")] == [
        "chains.c.formula"
    ]


# Whatever is done to a right file ---------------------------------------------------------------------------

CAGE = (FILES / "every_key_cage.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def beside(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Return a folder with the measured columns of the cage."""
    folder = tmp_path_factory.mktemp("hostile")
    for file in FILES.glob("*.csv"):
        shutil.copy(file, folder)
    yield folder


@given(data=st.data())
@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_mangled_text(data: st.DataObject, beside: Path) -> None:
    """Law: a case file with any stretch cut out, doubled or replaced gives a case or faults, nothing else."""
    start = data.draw(st.integers(0, len(CAGE) - 1))
    length = data.draw(st.integers(0, 40))
    inserted = data.draw(
        st.sampled_from(
            ["", CAGE[start : start + 20] * 2, "\n", '"', "[", "]", "{", "=", ".", "nan", "-1", "é"]
        )
    )
    file = beside / "case.toml"
    file.write_text(CAGE[:start] + inserted + CAGE[start + length :], encoding="utf-8")
    judge(lambda: read(file))


def judge(make: Callable[[], Case]) -> None:
    """Fail unless ``make`` gives a case, or faults that are each told once."""
    try:
        make()
    except CaseError as error:
        assert error.faults
        assert len({fault.key for fault in error.faults}) == len(error.faults)
        for fault in error.faults:
            assert fault.found
            assert fault.allowed
            assert len(str(fault)) < 3000


odd = st.one_of(
    st.none().map(lambda _: {}),
    st.booleans(),
    st.integers(-3, 10**30),
    st.floats(),
    st.text(max_size=8),
    st.sampled_from(
        [
            "pin_entry",
            "cage",
            "pocket",
            "h7",
            "measured",
            "least",
            "pockets",
            "c.csv#x",
            "deg",
            "pin_diameter",
        ]
    ),
    st.lists(st.integers(0, 3), max_size=3),
    st.lists(st.lists(st.floats(-1, 1), min_size=2, max_size=2), max_size=2),
    st.dictionaries(st.sampled_from(["nominal", "zone", "cp", "model", "x"]), st.integers(0, 2), max_size=2),
)


def places_in(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the paths of everything below ``value``."""
    below = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    found = []
    for key, item in below:
        found += [(*path, key), *places_in(item, (*path, key))]
    return found


TABLES = tomllib.loads(CAGE)
PLACES = places_in(TABLES)


@given(st.lists(st.tuples(st.sampled_from(PLACES), odd, st.sampled_from(["", "x"])), min_size=1, max_size=4))
@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=300)
def test_odd_values(changes: list[tuple[tuple[Any, ...], Any, str]]) -> None:
    """Law: a case with any values replaced, or keys added, gives a case or faults, nothing else."""
    tables = copy.deepcopy(TABLES)
    for path, value, ending in changes:
        put(tables, path, value, ending)
    judge(lambda: from_mapping(tables, folder=FILES))


def put(place: Any, path: tuple[Any, ...], value: Any, ending: str) -> None:
    """Put ``value`` at ``path``, or beside it under the name with ``ending``, where that is still there."""
    with suppress(KeyError, IndexError, TypeError):
        for part in path[:-1]:
            place = place[part]
        last = path[-1]
        place[last + ending if isinstance(last, str) else last] = value
