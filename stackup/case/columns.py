"""Measured columns beside a case file: ``"FILE.csv#COLUMN"``, ``"FILE.csv#X,Y"``.

UTF-8, first line names, comma or semicolon, decimal point, relative to the case file.  Everything that is
wrong with a column is one ValueFault that names the line and the column.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stackup.errors import ValueFault, nearest

#: Largest file of columns, in bytes.
LARGEST_FILE = 32 * 2**20
_WRITTEN = '"FILE.csv#COLUMN", the file beside the case file'


@dataclass(frozen=True)
class Sheet:
    """One file of columns: their names, and each row with the line of the file it stands in."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[int, Sequence[str]], ...]

    def texts(self, column: str) -> Iterator[tuple[int, str]]:
        """Yield line and text of each row of ``column``.  Raises ValueFault where there is none."""
        if self.columns.count(column) != 1:
            found = "no" if column not in self.columns else "more than one"
            near = nearest(column, self.columns)
            hint = f" (did you mean {near}?)" if near and near != column else ""
            allowed = ", ".join(self.columns)[:300] + hint
            raise ValueFault("", f"{found} column {column} in {self.name}", allowed)
        index = self.columns.index(column)
        for line, row in self.rows:
            yield line, row[index].strip() if index < len(row) else ""

    def numbers(self, column: str) -> list[float]:
        """Return the numbers of ``column``.  Raises ValueFault at the first text that is none."""
        return [self._number(column, line, text) for line, text in self.texts(column)]

    def _number(self, column: str, line: int, text: str) -> float:
        try:
            number = float(text) if "_" not in text else math.nan
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            found = f'"{text[:40]}"' if text else "nothing"
            where = f"in {self.name}, line {line}, column {column}"
            raise ValueFault("", f"{found} {where}", "a finite number with a decimal point")
        return number


@dataclass
class Sheets:
    """The files of columns of one case, each read once; ``folder`` is where the case file stands."""

    folder: Path
    _read: dict[str, Sheet] = field(default_factory=dict)

    def numbers(self, reference: str) -> NDArray[np.float64]:
        """Return the numbers of ``reference``: shape (n,), or (n, 2) for a pair of columns.

        Raises ValueFault with everything that can be wrong on the way.
        """
        file, names = split(reference)
        sheet = self.sheet(file)
        columns = [sheet.numbers(name) for name in names]
        if not columns[0]:
            raise ValueFault("", f"no row in {file}", "at least one row below the names")
        numbers = np.array(columns, dtype=float).T
        return numbers if len(names) == 2 else numbers[:, 0]

    def lines(self, reference: str) -> tuple[int, ...]:
        """Return the line of the file of each row of ``reference``; the names stand in line 1."""
        return tuple(line for line, _ in self.sheet(split(reference)[0]).rows)

    def labels(self, reference: str, column: str) -> list[str]:
        """Return the texts of ``column`` in the file of ``reference``.  Raises ValueFault."""
        return [text for _, text in self.sheet(split(reference)[0]).texts(column)]

    def sheet(self, file: str) -> Sheet:
        """Return the file called ``file``.  Raises ValueFault where it cannot be read."""
        if file not in self._read:
            self._read[file] = _parsed(file, _text(self.folder, file))
        return self._read[file]


def split(reference: str) -> tuple[str, tuple[str, ...]]:
    """Return file and columns of ``"FILE.csv#X,Y"``.  Raises ValueFault for anything else."""
    file, mark, columns = reference.rpartition("#")
    names = tuple(name.strip() for name in columns.split(","))
    if not (mark and file and all(names)) or len(names) > 2:
        raise ValueFault("", f'"{reference[:60]}"', f'{_WRITTEN}, or "FILE.csv#X,Y" for a zone')
    return file, names


def _text(folder: Path, file: str) -> str:
    """Return the text of ``file``, which must lie under a relative name."""
    if Path(file).is_absolute() or "\0" in file:
        raise ValueFault("", f'"{file[:60]}"', "a name relative to the case file")
    path = folder / file
    try:
        if not path.is_file():
            raise ValueFault("", f"no file {file}", f"a CSV file beside the case file ({folder})")
        if path.stat().st_size > LARGEST_FILE:
            raise ValueFault("", f"{file} of {path.stat().st_size} bytes", f"at most {LARGEST_FILE} bytes")
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ValueFault("", f"{file}, which is no UTF-8 (byte {error.start})", "a text in UTF-8") from error
    except OSError as error:
        raise ValueFault(
            "", f"{file}, which cannot be read: {error.strerror}", "a readable CSV file"
        ) from error


def _parsed(file: str, text: str) -> Sheet:
    lines = text.splitlines()
    separator = ";" if lines and ";" in lines[0] else ","
    reader = csv.reader(lines, delimiter=separator)
    try:
        rows = tuple((reader.line_num, row) for row in reader if any(cell.strip() for cell in row))
    except csv.Error as error:
        raise ValueFault(
            "", f"{file}, line {reader.line_num}: {error}", "comma or semicolon between columns"
        ) from error
    if not rows:
        raise ValueFault("", f"{file}, which is empty", "a first line with the names of the columns")
    names = tuple(name.strip() for name in rows[0][1])
    for line, row in rows:
        if any(cell.strip() for cell in row[len(names) :]):
            found = f"{len(row)} columns in {file}, line {line}"
            raise ValueFault(
                "", found, f"{len(names)}, as the first line names; numbers with a decimal point"
            )
    return Sheet(file, names, rows[1:])
