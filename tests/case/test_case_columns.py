"""Measured columns: comma or semicolon, decimal point, pairs; every slip is named by line and column."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from case_texts import LEAST

from stackup.case import read
from stackup.case.columns import LARGEST_FILE, Sheets
from stackup.case.nominal import evaluate_at_nominal
from stackup.errors import CaseError, ValueFault

COMMA = "bore, x,y\n18.01,0.1,-0.2\n18.02, 0.3 ,0.4\n\n18.03,1e-3,+.5\n"


@pytest.fixture
def sheets(tmp_path: Path) -> Sheets:
    """Return the files of an empty folder."""
    return Sheets(tmp_path)


def test_comma(sheets: Sheets) -> None:
    """Blank lines and blanks round a number do not count."""
    (sheets.folder / "a.csv").write_text(COMMA)
    assert sheets.numbers("a.csv#bore").tolist() == [18.01, 18.02, 18.03]
    np.testing.assert_array_equal(sheets.numbers("a.csv#x,y"), [[0.1, -0.2], [0.3, 0.4], [0.001, 0.5]])


def test_semicolon_and_byte_order_mark(sheets: Sheets) -> None:
    """A semicolon in the first line separates columns; a byte order mark is no part of a name."""
    (sheets.folder / "a.csv").write_text("\ufeffbore;lot\r\n18.01;a, b\r\n18.02;c\r\n", encoding="utf-8")
    assert sheets.numbers("a.csv#bore").tolist() == [18.01, 18.02]
    assert sheets.labels("a.csv#bore", "lot") == ["a, b", "c"]


SLIPS = [
    ("a.csv#bohre", "no column bohre in a.csv", "bore, x, y (did you mean bore?)"),
    ("b.csv#bore", "no file b.csv", "beside the case file"),
    ("a.csv", '"a.csv"', '"FILE.csv#COLUMN"'),
    ("#bore", '"#bore"', '"FILE.csv#COLUMN"'),
    ("a.csv#x,y,bore", '"a.csv#x,y,bore"', '"FILE.csv#X,Y"'),
    ("/etc/hostname#x", '"/etc/hostname"', "relative"),
    ("a\0.csv#x", '"a\0.csv"', "relative"),
    (".#x", "no file .", "a CSV file"),
    ("x" * 300 + ".csv#x", "cannot be read", "readable"),
]


@pytest.mark.parametrize(("reference", "found", "allowed"), SLIPS)
def test_reference(reference: str, found: str, allowed: str, sheets: Sheets) -> None:
    """A reference to no column says what there is."""
    (sheets.folder / "a.csv").write_text(COMMA)
    with pytest.raises(ValueFault) as caught:
        sheets.numbers(reference)
    assert found in caught.value.found
    assert allowed in caught.value.allowed


TEXTS = [
    (b"bore\n1.0\n1,5\n", "2 columns in a.csv, line 3"),
    (b"bore;x\n1.0;1\n1,5;1\n", '"1,5" in a.csv, line 3, column bore'),
    (b"bore,x\n1,2\n\n,3\n", "nothing in a.csv, line 4, column bore"),
    (b"x,bore\n1\n", "nothing in a.csv, line 2, column bore"),
    (b"bore\nnan\n", '"nan" in a.csv, line 2'),
    (b"bore\n1e999\n", '"1e999" in a.csv, line 2'),
    (b"bore\n1_000\n", '"1_000" in a.csv, line 2'),
    (b"bore\ntwo\n", '"two" in a.csv, line 2'),
    (b"bore,bore\n1,2\n", "more than one column bore"),
    (b"bore\n", "no row in a.csv"),
    (b"", "a.csv, which is empty"),
    (b"bore\n\xff\n", "a.csv, which is no UTF-8 (byte 5)"),
    (b"bore\n\x00\n", "a.csv, line"),
    (b'bore\n"' + b"1" * 200_000 + b"\n", "a.csv, line"),
]


@pytest.mark.parametrize(("data", "found"), TEXTS)
def test_content(data: bytes, found: str, sheets: Sheets) -> None:
    """What is no number is named by its line and its column."""
    (sheets.folder / "a.csv").write_bytes(data)
    with pytest.raises(ValueFault) as caught:
        sheets.numbers("a.csv#bore")
    assert found in caught.value.found


def test_large_file(sheets: Sheets) -> None:
    """A file larger than any measurement is not read."""
    with (sheets.folder / "a.csv").open("wb") as file:
        file.truncate(LARGEST_FILE + 1)
    with pytest.raises(ValueFault) as caught:
        sheets.numbers("a.csv#bore")
    assert caught.value.found == f"a.csv of {LARGEST_FILE + 1} bytes"
    assert str(LARGEST_FILE) in caught.value.allowed


def test_extra_column_of_a_row(sheets: Sheets) -> None:
    """A decimal comma that makes a column too many is a fault, not a cut number."""
    (sheets.folder / "a.csv").write_text("bore\n1,5\n")
    with pytest.raises(ValueFault, match="line 2"):
        sheets.numbers("a.csv#bore")


CASES = [
    ("values = 'v.csv#x'", "dimensions.pin_diameter.values", "no file v.csv"),
    ("values = 'a.csv#bore'", "dimensions.pin_diameter.values", "3 values"),
    ("values = 'a.csv#x,y'", "dimensions.pin_diameter.values", "pairs"),
    (
        "nominal = 17.4\nprocess.data = 'a.csv#bohre'",
        "dimensions.pin_diameter.process.data",
        "no column bohre",
    ),
    ("nominal = 17.4\nprocess.data = 'a.csv#x,y'", "dimensions.pin_diameter.process.data", "two columns"),
    ("nominal = 17.4\nprocess.data = 'one.csv#bore'", "dimensions.pin_diameter.process.data", "1 row"),
    (
        "nominal = 17.4\nprocess = { data = 'a.csv#bore', subgroup = 'lot' }",
        "dimensions.pin_diameter.process.subgroup",
        "no column lot",
    ),
    (
        "nominal = 17.4\nprocess = { data = 'a.csv#bore', cp = 1 }",
        "dimensions.pin_diameter.process.cp",
        "cp beside data",
    ),
    (
        "nominal = 17.4\nprocess = { data = 'a.csv#bore', shape = 'normal' }",
        "dimensions.pin_diameter.process.shape",
        "beside data",
    ),
]


@pytest.mark.parametrize(("text", "key", "found"), CASES)
def test_fault_of_a_case(text: str, key: str, found: str, tmp_path: Path) -> None:
    """What is wrong with a column is a fault at the key that names it."""
    (tmp_path / "a.csv").write_text(COMMA)
    (tmp_path / "one.csv").write_text("bore\n18.01\n")
    file = tmp_path / "case.toml"
    file.write_text(LEAST.replace("nominal = 17.4", text))
    with pytest.raises(CaseError) as caught:
        read(file)
    (fault,) = caught.value.faults
    assert fault.key == key
    assert found in fault.found
    assert fault.line >= 11


@pytest.mark.parametrize(
    ("process", "found"),
    [
        ("{ data = 'a.csv#bore' }", "one column"),
        ("{ data = 'a.csv#x,y', measure = 'diameter' }", "two columns"),
        ("{ measure = 'diameter' }", "measure without data"),
        ("{ data = 'a.csv#y', measure = 'diameter' }", "-0.2"),
    ],
)
def test_points_of_a_zone(process: str, found: str, tmp_path: Path) -> None:
    """A zone is measured by points, or by position diameters that say so."""
    (tmp_path / "a.csv").write_text(COMMA)
    file = tmp_path / "case.toml"
    file.write_text(f"{LEAST}[dimensions.pin_seat_a]\nzone = 1\nprocess = {process}\n")
    with pytest.raises(CaseError) as caught:
        read(file)
    (fault,) = caught.value.faults
    assert found in fault.found
    assert fault.line == 20


def test_lot_share_of_measured_points(tmp_path: Path) -> None:
    """Points that were measured are drawn as they are: no part of them is shared."""
    (tmp_path / "a.csv").write_text(COMMA)
    file = tmp_path / "case.toml"
    zone = "[dimensions.pin_seat_a]\nzone = 1\nlot_share = 0.5\nprocess.data = 'a.csv#x,y'\n"
    file.write_text(LEAST + zone)
    with pytest.raises(CaseError) as caught:
        read(file)
    (fault,) = caught.value.faults
    assert (fault.key, fault.line) == ("dimensions.pin_seat_a.lot_share", 20)
    assert "measured zone" in fault.found


@pytest.mark.parametrize(
    ("columns", "formula", "kind", "value"),
    [("bore", "a", "size", 18.01), ("x,y", "a.r + 10*a.t", "zone", 0.1 - 10 * 0.2)],
)
def test_own_dimension_from_a_file(columns: str, formula: str, kind: str, value: float, tmp_path: Path) -> None:
    """For a dimension that is no slot one column makes a size, two make a zone; the first row is the pocket's."""
    (tmp_path / "a.csv").write_text("\n".join(COMMA.splitlines()[:2]))
    file = tmp_path / "case.toml"
    values, chain = f"[dimensions]\na.values = 'a.csv#{columns}'", f"[chains.g]\nformula = '{formula}'"
    file.write_text(f"[cage]\nkind = 'none'\n{values}\n{chain}\n")
    case = read(file)
    assert case.dimensions["a"].kind == kind
    assert evaluate_at_nominal(case.models()[0].states["made"])["g"] == pytest.approx(value)
