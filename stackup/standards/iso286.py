"""ISO 286-1 limits and fits: the limits of ``50 H7`` and the clearances of ``50 H7/g6``, from the tables.

Sizes over 0, up to and including 3150 mm; grades IT1 to IT18; shafts c to h, js, k, m, n, p, r, s and holes
C to H, JS, K, M, N, P, each as far as its table goes (c, r, s and C to 500 mm).  A class that the standard
does not define is a fault, never a guess.

The numbers are those of the tables beside this file, not of the formulae behind the tables: the formulae with
the rounding rule of the standard give 40 of 235 cells differently (IT11 over 3 up to 6 mm: 73.3, printed 75).
They are µm and stay decimal until the one step to mm, so a limit is the printed number to its last digit.

Sources.  No text of the standard was open, only reproductions; the marks in the comments and in the column
``source_mark`` are:

- A: a university textbook on machine drawing; B: a general machinery handbook, 31st edition (BS 4500:1969,
  the same metric numbers); C: a technical reference table for 500 to 3150 mm; D, E: further public copies.
- R: recomputed; X: mirrored from the shaft by the general rule; M: from memory, as are the numbers of tables
  of ISO 286-1:2010: 1 (grades), 2 and 3 (holes), 4 and 5 (shafts).

``iso286_it.csv`` holds IT1 to IT18: up to 500 mm A, D, E (IT17 and IT18: D, E), above 500 mm D, E.  One copy
has 210 for IT9 over 1250 up to 1600 mm; the others, and the formula (310.3), give 310.
``iso286_deviations.csv`` holds the fundamental deviations and Δ, each line with its mark.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import TypeVar

from stackup.errors import ValueFault

#: The largest nominal size of the tables, mm.
LARGEST = 3150
#: The grades of the tables.  IT01 and IT0 exist up to 500 mm, but no copy of their values was at hand.
GRADES = range(1, 19)

_CLASS = re.compile(r"([A-Za-z]+)([0-9]{1,3})")
#: The column ``grades`` of the table of deviations, in numbers.
_GRADES_IN_WORDS: Mapping[str, Iterable[int]] = {
    "all grades": GRADES,
    "all grades (not >IT8 up to 1 mm)": GRADES,  # the condition on the size: _used_grades
    "IT4-IT7": range(4, 8),
    "<=IT3 or >=IT8": (1, 2, 3, *range(8, 19)),
    "<=IT7": range(1, 8),
    ">IT7": range(8, 19),
    "<=IT8": range(1, 9),
    ">IT8": range(9, 19),
    "IT6 only (exception)": (6,),
    **{f"IT{n}": (n,) for n in range(3, 9)},
}
#: The name under which the table of deviations holds Δ.
_DELTA = "DELTA"


@dataclass(frozen=True)
class Limits:
    """One size with its class: ``nominal`` [mm], and its limit deviations ``lower`` and ``upper`` [mm].

    They are EI and ES of a hole, ei and es of a shaft.
    """

    nominal: float
    tolerance_class: str
    lower: float
    upper: float

    @property
    def min(self) -> float:
        """Return the lower limit of size [mm]."""
        return float(_decimal(self.nominal) + _decimal(self.lower))

    @property
    def max(self) -> float:
        """Return the upper limit of size [mm]."""
        return float(_decimal(self.nominal) + _decimal(self.upper))


@dataclass(frozen=True)
class Fit:
    """A hole and a shaft of one nominal size: least and greatest clearance [mm], negative = interference."""

    hole: Limits
    shaft: Limits
    clearance_min: float
    clearance_max: float


def limits(nominal: float, tolerance_class: str) -> Limits:
    """Return the limits of a size of the class ``tolerance_class`` ("h7", "JS6"; a capital letter is a hole).

    ``nominal`` [mm] is over 0, up to and including 3150: 50 lies in the range 30 to 50, 50.001 in 50 to 80.
    Source: ISO 286-1, tables 1 to 5, in the copies named at the head of this module.

    Raises:
        ValueFault: ``nominal`` out of range, no such class, or a class not defined for this size:
            K above IT8 over 3 up to 500 mm; K, M, N, P finer than IT3 there (Δ begins with IT3);
            IT14 and coarser, and N above IT8, up to 1 mm; c, r, s, C over 500 mm.
    """
    letter, n = split_class(tolerance_class)
    _check_nominal(nominal)
    deviations = _deviations(letter, n, nominal)
    if deviations is None:
        raise _undefined(letter, n, nominal)
    lower, upper = deviations
    return Limits(float(nominal), f"{letter}{n}", _mm(lower), _mm(upper))


def fit(nominal: float, hole_class: str, shaft_class: str) -> Fit:
    """Return the fit of a hole and a shaft of one nominal size: EI − es and ES − ei.

    ``nominal`` [mm] as in `limits`; the hole comes first ("H7", "g6").  Source: ISO 286-1, terms of clearance
    and interference.

    Raises:
        ValueFault: as `limits`, and where the two classes are not a hole and a shaft, in this order.
    """
    _check_order(hole_class, shaft_class)
    hole, shaft = limits(nominal, hole_class), limits(nominal, shaft_class)
    clearance_min = _decimal(hole.lower) - _decimal(shaft.upper)
    clearance_max = _decimal(hole.upper) - _decimal(shaft.lower)
    return Fit(hole, shaft, float(clearance_min), float(clearance_max))


def read_fit(text: str) -> tuple[str, str]:
    """Return the class of the hole and that of the shaft of a fit as the drawing writes it: "H7/g6".

    Blanks round the slash are allowed.

    Raises:
        ValueFault: not two classes with a slash between them, or the shaft first.
    """
    classes = [part.strip() for part in text.split("/")]
    if len(classes) != 2:
        raise ValueFault("fit", f'"{text}"', "the class of the hole, a slash, the class of the shaft: H7/g6")
    hole_class, shaft_class = classes
    _check_order(hole_class, shaft_class)
    return hole_class, shaft_class


def grade(nominal: float, n: int) -> float:
    """Return the standard tolerance IT``n`` [mm]: the width between the limits of every class of the grade.

    ``nominal`` [mm] is over 0, up to and including 3150; ``n`` is 1 to 18, up to 1 mm 1 to 13.
    Source: ISO 286-1, table 1 (``iso286_it.csv``).

    Raises:
        ValueFault: ``nominal`` or ``n`` out of range.
    """
    _check_nominal(nominal)
    used = _used_grades(nominal)
    if n not in used:
        raise ValueFault("grade", f"{n} for {nominal} mm", f"{used[0]} to {used[-1]} for this size")
    return _mm(_standard_tolerance(n, nominal))


def split_class(tolerance_class: str) -> tuple[str, int]:
    """Return the letter and the grade of a class: "h7" is ("h", 7), "JS6" is ("JS", 6).

    Raises:
        ValueFault: a letter or a grade that the tables do not hold.
    """
    found = _CLASS.fullmatch(tolerance_class)
    if found and found[1] in _all_letters() and found[2] in map(str, GRADES):  # "01" is a grade, but not IT1
        return found[1], int(found[2])
    raise _fault(f'"{tolerance_class}"', _classes_in_words(found and found[1]), _nearest_class(tolerance_class))


def _deviations(letter: str, n: int, nominal: float) -> tuple[Decimal, Decimal] | None:
    """Return lower and upper deviation [µm] of a class, or None where it is not defined for this size.

    The table gives the deviation nearer to the nominal size, the grade the other one (ISO 286-1; A):
    ei = es − IT (a to h), es = ei + IT (k to zc), ES = EI + IT (A to H), EI = ES − IT (K to ZC).
    """
    rule = _rule(letter, n, nominal)
    if rule is None or n not in _used_grades(nominal, letter):
        return None
    width = _standard_tolerance(n, nominal)
    if rule.deviation is None:
        # js, JS: plain ±IT/2, as in the edition of 2010 (M).  The older edition lets an odd IT of js7 to js11
        # and JS7 to JS11 be rounded down to an even one (A): 100 js7 is ±17.5 here, ±17 by that rule.
        return -width / 2, width / 2
    delta = _delta(n, nominal) if rule.adds_delta else Decimal(0)
    if delta is None:
        return None
    nearer = rule.deviation + delta
    return (nearer - width, nearer) if rule.is_upper else (nearer, nearer + width)


def _used_grades(nominal: float, letter: str = "") -> range:
    """Return the grades that are used at this size.

    Up to and including 1 mm neither IT14 to IT18 (ISO 286-1, table 1; A, M) nor N above IT8 (table 3; B, M).
    """
    if nominal > 1:
        return GRADES
    return range(1, 9) if letter == "N" else range(1, 14)


def _delta(n: int, nominal: float) -> Decimal | None:
    """Return Δ [µm], tabled for IT3 to IT8 over 3 up to 500 mm (ISO 286-1, tables 2 and 3; A, D, R)."""
    rule = _rule(_DELTA, n, nominal)
    return rule.deviation if rule else None


def _standard_tolerance(n: int, nominal: float) -> Decimal:
    """Return ITn [µm]; ``nominal`` and ``n`` have been checked."""
    return next(_lines_for(nominal, _tolerances())).values[n - 1]


def _rule(letter: str, n: int, nominal: float) -> _Rule | None:
    """Return the line that gives the fundamental deviation, or None where the table has none.

    What the lines say, case by case (ISO 286-1; A and B unless marked):

    - k: the tabled value for IT4 to IT7, 0 for the other grades; above 500 mm k and K are 0 for all grades.
    - K, M, N up to IT8 and P up to IT7, over 3 up to 500 mm: special rule ES = −ei + Δ, Δ = IT(n) − IT(n−1),
      so that a hole with the shaft one grade finer fits as in the basic-hole system: P7/h6 as H7/p6.
      Up to 3 mm Δ is 0, above 500 mm there is none: ES = −ei.
    - N above IT8, over 3 up to 500 mm: 0.  K above IT8 there: not defined (M).
    - M6 over 250 up to 315 mm: −9 instead of −20 + 9 = −11 (A).  The line of fewest grades holds.
    """
    lines = _lines_for(nominal, _rules().get(letter, ()))
    return min((line for line in lines if n in line.grades), key=lambda line: len(line.grades), default=None)


# --- the tables ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Range:
    """A line of a table: sizes over ``over``, up to and including ``incl`` [mm]."""

    over: float
    incl: float

    def holds(self, nominal: float) -> bool:
        """Return whether the size belongs to this line."""
        return self.over < nominal <= self.incl


@dataclass(frozen=True)
class _Tolerances(_Range):
    """IT1 to IT18 [µm] of one range of sizes."""

    values: tuple[Decimal, ...]


@dataclass(frozen=True)
class _Rule(_Range):
    """A fundamental deviation [µm] of one range of sizes and some grades; None is half the grade (js, JS)."""

    letter: str
    grades: frozenset[int]
    deviation: Decimal | None
    is_upper: bool
    adds_delta: bool


_Line = TypeVar("_Line", bound=_Range)


def _lines_for(nominal: float, lines: Iterable[_Line]) -> Iterator[_Line]:
    """Yield the lines of a table that hold the size."""
    return (line for line in lines if line.holds(nominal))


@cache
def _tolerances() -> tuple[_Tolerances, ...]:
    """Return the standard tolerances (ISO 286-1, table 1)."""
    return tuple(_read_tolerances(row) for row in _read("iso286_it.csv"))


@cache
def _rules() -> dict[str, tuple[_Rule, ...]]:
    """Return the fundamental deviations and Δ by letter (ISO 286-1, tables 2 to 5)."""
    table: dict[str, tuple[_Rule, ...]] = {}
    for row in _read("iso286_deviations.csv"):
        rule = _read_rule(row)
        table[rule.letter] = (*table.get(rule.letter, ()), rule)
    return table


@cache
def _letters(*, hole: bool) -> tuple[str, ...]:
    """Return the letters of the table for holes or for shafts, in the order of the alphabet."""
    return tuple(sorted(letter for letter in _rules() if letter.isupper() == hole and letter != _DELTA))


def _all_letters() -> tuple[str, ...]:
    """Return the letters of the table, shafts first."""
    return _letters(hole=False) + _letters(hole=True)


def _read_tolerances(row: Mapping[str, str]) -> _Tolerances:
    """Return one line of the table of grades."""
    return _Tolerances(*_ends(row), tuple(Decimal(row[f"IT{n}"]) for n in GRADES))


def _read_rule(row: Mapping[str, str]) -> _Rule:
    """Return one line of the table of deviations."""
    value = row["deviation_um"]
    return _Rule(
        *_ends(row),
        letter=row["letter"],
        grades=frozenset(_GRADES_IN_WORDS[row["grades"]]),
        deviation=None if value == "+IT/2" else Decimal(value),
        is_upper=row["which_deviation"] in ("es", "ES"),
        adds_delta=row["note"] == "+Delta(grade)",
    )


def _ends(row: Mapping[str, str]) -> tuple[float, float]:
    """Return the two ends [mm] of a line's range of sizes."""
    return float(row["lower_mm_over"]), float(row["upper_mm_incl"])


def _read(name: str) -> Iterator[dict[str, str]]:
    """Yield the rows of a table that stands beside this file."""
    with Path(__file__).with_name(name).open(encoding="utf-8", newline="") as file:
        yield from csv.DictReader(file)


# --- exact numbers ------------------------------------------------------------------------------------------


def _mm(micrometres: Decimal) -> float:
    """Return µm in mm, the nearest float to the decimal number."""
    return float(micrometres / 1000)


def _decimal(number: float) -> Decimal:
    """Return the number as it prints, so that 17.4 − 0.018 is 17.382 and not 17.381999999999998."""
    return Decimal(str(number))


# --- faults -------------------------------------------------------------------------------------------------


def _check_nominal(nominal: float) -> None:
    """Raise a fault unless 0 < nominal ≤ 3150 mm (not a number: a fault too)."""
    if not 0 < nominal <= LARGEST:
        raise ValueFault("nominal", f"{nominal} mm", f"over 0, up to and including {LARGEST} mm (ISO 286-1)")


def _undefined(letter: str, n: int, nominal: float) -> ValueFault:
    """Return the fault of a class that is not defined for this size, with the grades that are."""
    found = f"{letter}{n} for {nominal} mm"
    grades = [g for g in GRADES if _deviations(letter, g, nominal)]
    if not grades:
        return _fault(found, _sizes_in_words(letter))
    closest = min(grades, key=lambda g: abs(g - n))
    return _fault(found, f"{letter}{grades[0]} to {letter}{grades[-1]} for this size", f"{letter}{closest}")


def _check_order(hole_class: str, shaft_class: str) -> None:
    """Raise a fault unless the first class is a hole's and the second a shaft's."""
    hole, shaft = split_class(hole_class)[0], split_class(shaft_class)[0]
    if not hole.isupper() or shaft.isupper():
        allowed = "a hole (capital letter) first, then a shaft (small letter): H7/g6"
        raise ValueFault("fit", f'"{hole_class}/{shaft_class}"', allowed)


def _fault(found: str, allowed: str, closest: str | None = None) -> ValueFault:
    """Return the fault of a class, with the nearest valid one where there is one."""
    return ValueFault("tolerance", found, f"{allowed}; nearest: {closest}" if closest else allowed)


def _classes_in_words(letter: str | None) -> str:
    """Return what a class may be, of a letter that the tables hold only its grades."""
    if letter in _all_letters():
        return f"{letter}{GRADES[0]} to {letter}{GRADES[-1]}"
    shafts, holes = ", ".join(_letters(hole=False)), ", ".join(_letters(hole=True))
    return f"a letter and a grade: shafts {shafts}, holes {holes}; grades {GRADES[0]} to {GRADES[-1]}"


def _sizes_in_words(letter: str) -> str:
    """Return up to which size the letter is tabled, and the letters of its feature that go further."""
    reach = {other: max(line.incl for line in _rules()[other]) for other in _letters(hole=letter.isupper())}
    further = ", ".join(other for other in reach if reach[other] > reach[letter])
    return f"{letter} for sizes up to and including {reach[letter]:g} mm; for this size {further}"


def _nearest_class(text: str) -> str | None:
    """Return the class that the text comes to with blanks left out and one case, or None.

    Only the writing is mended: a grade that there is not may have been meant as any, and another letter is another
    fit, never proposed: c is no stand-in for zc, nor a shaft for a hole.  The first letter's case is taken as meant
    ("Js7": JS7).
    """
    found = _CLASS.fullmatch(re.sub("[^A-Za-z0-9]", "", text))
    if not found:
        return None
    letter = found[1].upper() if found[1][0].isupper() else found[1].lower()
    n = int(found[2])
    return f"{letter}{n}" if letter in _all_letters() and n in GRADES else None
