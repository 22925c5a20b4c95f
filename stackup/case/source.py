"""From a file to nested tables: what can be wrong before any key is looked at."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from stackup.case.scanner import Place, Places, TooDeep, scan
from stackup.errors import CaseError, Fault, number_meant

#: Largest case file in bytes; measured columns stand in files of their own.
LARGEST_FILE = 2**20
#: Most keys and values of one case file.
MOST_VALUES = 50_000


def refused(file: str, found: str, allowed: str, place: Place | None = None) -> CaseError:
    """Return the one fault of a file that says nothing yet."""
    place = place or Place()
    return CaseError([Fault("", found, allowed, None, place.line, place.column, file)])


def bytes_of(path: Path) -> bytes:
    """Return the bytes of the file ``path``.  Raises CaseError where there is none, or too large a one."""
    file = str(path)
    try:
        if path.is_dir():
            raise refused(file, "a folder", "a case file (TOML)")
        if not path.is_file():
            raise refused(file, "no such file", "a case file (TOML)")
        if path.stat().st_size > LARGEST_FILE:
            raise refused(
                file, f"a file of {path.stat().st_size} bytes", f"a case file of at most {LARGEST_FILE} bytes"
            )
        return path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise refused(
            file, f"a file that cannot be read ({reason})", "a readable case file (TOML)"
        ) from error


def text_of(data: bytes, file: str) -> str:
    """Return the text of a file with line ends ``\\n``.  Raises CaseError where it is no text in UTF-8."""
    if (zero := data.find(b"\0")) >= 0:
        raise refused(
            file, "a zero byte: this is no text", "a case file (TOML) in UTF-8", _line_of(data, zero)
        )
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        place = _line_of(data, error.start)
        raise refused(
            file, f"the byte 0x{data[error.start]:02x}, which is no UTF-8", "a text in UTF-8", place
        ) from error


def _line_of(data: bytes, offset: int) -> Place:
    return Place(data.count(b"\n", 0, offset) + 1, offset - data.rfind(b"\n", 0, offset))


def places_of(text: str, file: str) -> Places:
    """Return the places of all values.  Raises CaseError where there is more than a case file needs."""
    try:
        places = scan(text)
        if len(places.values) > MOST_VALUES:
            allowed = f"at most {MOST_VALUES}: measured columns stand in CSV files"
            raise refused(file, f"{len(places.values)} values", allowed)
        return places
    except TooDeep as error:
        raise refused(
            file, "brackets or dotted keys nested too deep", str(error), Places(text).at(error.offset)
        ) from error


def tables_of(text: str, places: Places, file: str) -> dict[str, Any]:
    """Return the tables of ``text``.  Raises CaseError at the first thing that is no TOML."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise _syntax_fault(str(error), text, places, file) from error


_WHERE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


def _syntax_fault(message: str, text: str, places: Places, file: str) -> CaseError:
    where = _WHERE.search(message)
    reason = _WHERE.sub("", message)
    place = places.at(len(text.rstrip()))
    if where and where[1]:
        place = Place(int(where[1]), int(where[2]))
    elif places.unclosed is not None:
        place, reason = places.at(places.unclosed), "a string or bracket that is never closed"
    if reason.startswith("Cannot") and places.again:
        path, offset = places.again[0]
        place, first = places.at(offset), places.key(path)
        reason = f"{'.'.join(map(str, path))} a second time (first in line {first.line})"
    line = text.split("\n")[place.line - 1] if place.line else ""
    if slip := _slip_of_number(line, place.column):
        found, allowed = f"{slip} in the line {_quoted(line)}", "numbers with a decimal point, without unit or ±"
        return CaseError([Fault("", found, allowed, number_meant(slip), place.line, place.column, file)])
    quoted = f", in the line {_quoted(line)}" if line.strip() else ""
    return refused(file, f"no TOML: {reason}"[:200] + quoted, "TOML 1.0, each key once", place)


def _quoted(line: str) -> str:
    shown = "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in line.strip())
    return f"`{shown if len(shown) <= 60 else shown[:59] + '…'}`"


#: a value that is meant as a number and is none in TOML: with a comma, a unit or ± in it
_SLIP = re.compile(r"""[=\[,]\s*((?:±|\+/-|\+-)?\s*[-+]?\d+(?:[.,]\d+)?\s*(?:mm|deg|°)?)(?=\s*(?:[,\]}#]|$))""")


def _slip_of_number(line: str, column: int) -> str:
    """Return the text of the line that is meant as a number and lies about ``column`` (from 1), "" where none does."""
    for found in _SLIP.finditer(line):
        value = found[1].strip()
        is_plain = value == number_meant(value)
        if not is_plain and found.start() < column <= found.end() + 2:
            return value
    return ""
