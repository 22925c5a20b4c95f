"""Which counts ``rollers`` tries: the range asked for or a sensible one, and what of a case cannot follow a count."""

from __future__ import annotations

import math

from stackup.cage import KINDS, RatingInputs, RollerSet
from stackup.cage import kind as kind_called
from stackup.case import Case, Row
from stackup.case.faults import Faults
from stackup.case.schema import ValuesEntry
from stackup.case.source import places_of
from stackup.errors import CaseError, Fault, nearest

#: rollers that ``[cage]`` of a case file takes
LEAST, MOST = 3, 500
#: without --from: so many fewer than the case has; without --to: at most so many more
FEWER, MORE = 5, 14
#: where the holes stand: on the pitch circle of the drawing, or where the raceways put the rollers
FOLLOWS = ("pitch", "raceway")


def roller_set_of(case: Case) -> RollerSet:
    """Return what the kind says of its rollers.  Raises CaseError for a kind without rollers."""
    found = kind_called(case.kind).roller_set
    if found is None:
        known = " or ".join(f'"{name}"' for name in KINDS if kind_called(name).roller_set)
        faults = _faults_of(case)
        faults.add(("cage", "kind"), f'"{case.kind}", which has no rollers', f"a kind of cage with rollers: {known}")
        faults.raise_all()
        raise AssertionError("a fault was noted")
    return found


def full_complement(inputs: RatingInputs) -> int:
    """Return how many rollers can stand on the circle through their centres: D_pw·sin(π/Z) ≥ D_we."""
    filled = inputs.diameter / inputs.pitch if inputs.pitch > 0 else math.inf
    if not 0 < filled <= 1:
        return 0
    return math.floor(math.pi / math.asin(filled) + 1e-9)


def words_of(follow: str) -> tuple[str, ...]:
    """Return the words of ``follow``: ``pitch``, ``raceway``, or both with a comma between.  Raises CaseError."""
    words = tuple(dict.fromkeys(word.strip() for word in follow.split(",")))
    faults = [
        Fault("--follow", f'"{word}"', f"{' or '.join(FOLLOWS)}, or both with a comma", nearest(word, FOLLOWS))
        for word in words
        if word not in FOLLOWS
    ]
    if faults:
        raise CaseError(faults)
    return words


def range_of(own: int, full: int, first: int | None, last: int | None) -> range:
    """Return the counts to try, ``own`` being the case's and ``full`` the most that can stand.

    By default from FEWER below the case's own count to the full complement, at most MORE above it.  Raises CaseError
    for counts that no case file takes, or the last below the first.
    """
    whole = f"a whole number, {LEAST} … {MOST}"
    given = [("--from", first), ("--to", last)]
    faults = [Fault(key, str(n), whole) for key, n in given if n is not None and not LEAST <= n <= MOST]
    if not faults and first is not None and last is not None and first > last:
        faults = [Fault("--to", f"{last}, below --from {first}", f"{first} or more")]
    if faults:
        raise CaseError(faults)
    low = first if first is not None else min(max(own - FEWER, LEAST), last or MOST)
    high = last if last is not None else max(min(full, own + MORE, MOST), own, low)
    return range(low, high + 1)


def judge_counts(case: Case, row: Row, counts: range) -> None:
    """Raise CaseError where a row has values as built, one for each pocket, and ``counts`` holds other counts."""
    if counts == range(row.rollers, row.rollers + 1):
        return
    faults = _faults_of(case)
    for name, entry in row.entries.items():
        if isinstance(entry, ValuesEntry):
            allowed = "a nominal, zone or limit: values as built belong to their own number of rollers"
            found = f"values of {row.rollers} pockets for {counts[0]} … {counts[-1]} rollers"
            faults.add(("dimensions", name, "values"), found, allowed)
    faults.raise_all()


def _faults_of(case: Case) -> Faults:
    file = str(case.path or "")
    return Faults(places_of(case.document, file), file)
