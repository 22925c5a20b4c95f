"""Numbers never flatter, and their digits follow what is known of them."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stackup.chain.model import Allowance, Requirement
from stackup.decide.words import LEAST, cages_to_try, interval, parts, share
from stackup.engine.fractions import of_cages
from stackup.engine.result import Contribution, Fraction
from stackup.report import numbers

ONE = r"[<≤]?\s?[0-9]+(\.[0-9]+)?(e-?[0-9]+)?"


def value_of(text: str) -> float:
    """Read a fraction back."""
    number, unit = text.strip("≤< ").split(" ") if " " in text.strip("≤< ") else (text, "")
    return float(number) * {"ppm": 1e-6, "%": 1e-2, "": 1.0}[unit]


@given(st.floats(1e-300, 1.0, exclude_max=True), st.floats(0, 0.3))
def test_no_fraction_between_reads_nothing_or_all(value: float, doubt: float) -> None:
    """Law: 0 < p < 1 never reads as 0 or as 100 %."""
    text = parts(value, doubt * value)
    assert re.fullmatch(f"{ONE} (ppm|%)", text), text
    assert text.startswith("<") == (value < LEAST)
    assert 0 < value_of(text) < 1 or value > 1 - 1e-15


@given(st.floats(LEAST, 0.99))
def test_a_fraction_reads_as_it_is(value: float) -> None:
    """Law: read back it is within half a unit of its third digit."""
    assert value_of(parts(value)) == pytest.approx(value, rel=0.0051)


@pytest.mark.parametrize(
    ("value", "doubt", "text"),
    [
        (0.0, 0.0, "0"),
        (1.0, 0.0, "100 %"),
        (108e-6, 11e-6, "108 ppm"),
        (0.0048765, 0.0002, "4880 ppm"),
        (0.0488, 0.0007, "4.880 %"),
        (0.5, 0.0, "50.0 %"),
        (3.1e-8, 0.0, "0.0310 ppm"),
        (3.1e-12, 0.0, "<0.01 ppm"),
        (0.999958, 0.0, "99.9958 %"),
        (1e-20, 0.0, "<0.01 ppm"),
    ],
)
def test_fractions(value: float, doubt: float, text: str) -> None:
    """Regression: how fractions look."""
    assert parts(value, doubt) == text


@given(st.integers(1, 10**7))
def test_none_seen_tells_the_upper_end(cages: int) -> None:
    """Law: no failure seen reads as at most the upper end, rounded up."""
    fraction = of_cages(0, cages)
    text = share(fraction)
    assert text.startswith("≤ ")
    assert value_of(text) >= fraction.high * (1 - 1e-8)
    assert value_of(text) <= fraction.high * 1.11
    assert interval(fraction) == "none seen"


def test_thirty_seven_ppm() -> None:
    """Closed form: −ln(0.025) of 100 000."""
    assert share(of_cages(0, 100_000)) == "≤ 37 ppm"


def test_intervals() -> None:
    """Both ends have the unit of the estimate; an exact fraction has none."""
    assert interval(Fraction(0.0095, 0.009, 0.0105)) == "9000 … 10500 ppm"
    assert interval(Fraction.exact(0.5)) == "exact for these laws"
    assert interval(Fraction(0.9999, 0.999, 0.99999999)) == "99.90 … 99.9999990 %"


@given(st.floats(-1e3, 1e3).filter(lambda v: v != 0), st.just("mm"))
def test_room_is_never_told_better(value: float, unit: str) -> None:
    """Law: inside is rounded down, outside up; never to nothing."""
    number, told, side = numbers.room(value, unit).split(" ")
    assert told == unit
    assert side == ("inside" if value > 0 else "outside")
    if abs(value) < numbers.LEAST_ROOM:
        assert number == "<1e-9"
        return
    assert (float(number) <= abs(value) * 1.00001) if value > 0 else (float(number) >= abs(value) * 0.99999)
    assert float(number) == pytest.approx(abs(value), rel=0.11)


def test_room_without_a_number() -> None:
    """What cannot be said is said."""
    assert [numbers.room(v, "mm") for v in (0.0, math.nan, -math.inf)] == ["at the limit", "unknown", "without bound"]


@given(st.floats(1e-9, 1e9))
def test_decimals_show_a_thousandth(width: float) -> None:
    """Law: the last decimal is between a 300th and a 3200th of the width (0 to 9 decimals)."""
    places = numbers.decimals(width)
    assert 0 <= places <= 9
    if 0 < places < 9:
        assert 300 <= width * 10.0**places <= 3200


def test_a_width_of_round_off_tells_nothing() -> None:
    assert numbers.decimals(3e-13) == numbers.decimals(0.0) == 4


@pytest.mark.parametrize(
    ("requirement", "text"),
    [
        (Requirement("x", "x", min=0.02), "≥ 0.02 mm"),
        (Requirement("x", "x", max=130), "≤ 130 mm"),
        (Requirement("x", "x", min=-1.2, max=1.2), "-1.2 … 1.2 mm"),
    ],
)
def test_limits(requirement: Requirement, text: str) -> None:
    """Limits read as the case states them."""
    assert numbers.limits(requirement, "mm") == text


def test_small_things() -> None:
    """Regression: no negative zero, a dash for nothing, shares that are not nothing."""
    assert numbers.number(-1e-9, 3) == "0.000"
    assert numbers.number(None, 3) == "–"
    assert numbers.number(math.inf, 3) == "–"
    assert numbers.span(None, None, 2) == "–"
    assert numbers.percent(0.001) == "<1 %"
    assert numbers.percent(0.0) == "0 %"
    assert numbers.percent(-0.001) == "0 %"
    assert numbers.percent(-0.012) == "-1 %"
    assert numbers.percent(-0.1) == "-10 %"
    assert numbers.allowed(Allowance(20_000, "cages")) == "2 %"
    assert numbers.allowed(Allowance(0.5, "cages")) == "0.5 ppm"
    assert numbers.tail(0.0) == "<0.01 ppm"


def contribution(sensitivity: float, signed: bool, mean: float | None) -> Contribution:
    return Contribution("x", sensitivity, signed, mean, 0.5, 0.5, None)


@pytest.mark.parametrize(
    ("one", "text"),
    [
        (contribution(-0.5, True, -0.5), "-0.5"),
        (contribution(0.5, True, 0.5), "+0.5"),
        (contribution(0.0, True, 0.0), "0"),
        (contribution(0.499, False, -0.4988), "-0.499"),
        (contribution(0.5, False, 0.45), "+0.45"),
        (contribution(0.5, False, 0.44), "0.5 rms"),
        (contribution(0.7, False, None), "0.7 rms"),
        (contribution(math.nan, False, None), "–"),
    ],
)
def test_sensitivities(one: Contribution, text: str) -> None:
    """A sign only where there is one: a root mean square says that it is one, and never bears a plus."""
    assert numbers.sensitivity(one) == text


@given(st.integers(-(10**6), 10**6).filter(bool), st.integers(0, 6))
def test_room_by_the_digits_of_a_table(steps: int, places: int) -> None:
    """Law: with the decimals of a table the room is what the table's numbers differ by."""
    value = steps / 10.0**places
    number, _, side = numbers.room(value, "mm", places).split(" ")
    assert float(number) == pytest.approx(abs(value), abs=1e-9)
    assert len(number.partition(".")[2]) == places
    assert side == ("inside" if value > 0 else "outside")


@given(st.floats(1e-12, 0.05), st.sampled_from([-1, 1]), st.integers(0, 6))
def test_little_room_is_not_nothing(part: float, side: int, places: int) -> None:
    """Law: less than the last decimal reads as less than it, on the right side."""
    told = numbers.room(side * part * 10.0**-places, "mm", places)
    assert told == f"<{10.0**-places:.{places}f} mm {'inside' if side > 0 else 'outside'}"


@pytest.mark.parametrize(("value", "count"), [(0.59, 2), (125, 0), (-1.2, 1), (0.0, 0), (1e-9, 9), (None, 0)])
def test_written_decimals(value: float | None, count: int) -> None:
    """Closed form: as many as one writes."""
    assert numbers.written_decimals(value) == count


def test_a_small_allowance_has_its_digits() -> None:
    """What is less than 0.01 ppm is told where the allowance is as small."""
    assert share(Fraction.exact(3e-9)) == "<0.01 ppm"
    assert share(Fraction.exact(3e-9), least=1e-10) == "0.00300 ppm"


@pytest.mark.parametrize(
    ("total", "failed", "text"),
    [
        (100_000, 10, "try --cages 100000"),
        (101_616, 10, "try --cages 110000"),
        (99_999, 12, "try --cages 100000"),
        (7, 30, "try --cages 7"),
        (123_456, 9, "try --cages 130000 at least"),
        (10**9, 10, "try --cages 1000000000"),
        (10**9 + 1, 10, "more than --cages 1000000000 would be needed"),
    ],
)
def test_cages_to_try(total: int, failed: int, text: str) -> None:
    """One number, two digits, rounded up; few failures forecast no more than a least number."""
    assert cages_to_try(total, failed) == text


@given(st.lists(st.integers(0, 10**6), min_size=1, max_size=32))
def test_a_filled_bin_is_never_blank(counts: list[int]) -> None:
    """Law: a bin is blank exactly where nothing is in it."""
    line = numbers.spark(tuple(counts))
    if any(counts):
        assert [char == " " for char in line] == [count == 0 for count in counts]


def test_what_there_is_not() -> None:
    """No limit is a dash; a width of nothing, or of no end, has the decimals of a drawing."""
    assert numbers.limits(Requirement("x", "x"), "mm") == "–"
    assert [numbers.decimals(width) for width in (0.0, -1.0, math.nan, math.inf)] == [4, 4, 4, 4]


def test_small_fractions_that_are_allowed_for() -> None:
    """Where so little is allowed that less than LEAST counts, it is told with its digits."""
    assert parts(3.14159e-12, least=1e-14) == "3.14e-6 ppm"
    assert share(Fraction(3.14159e-12, 2.9e-12, 3.3e-12), least=1e-14) == "3.14e-6 ppm"
