"""The laws of ISO 286-1 limits, and the faults.  The published numbers: tests/published/test_iso286.py."""

import itertools
import math
import subprocess
import sys
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stackup.errors import ValueFault
from stackup.standards.iso286 import GRADES, Limits, fit, grade, limits, read_fit, split_class

SHAFTS = ("c", "d", "e", "f", "g", "h", "js", "k", "m", "n", "p", "r", "s")
HOLES = ("C", "D", "E", "F", "G", "H", "JS", "K", "M", "N", "P")
MAIN_STEPS = (
    3,
    6,
    10,
    18,
    30,
    50,
    80,
    120,
    180,
    250,
    315,
    400,
    500,
    630,
    800,
    1000,
    1250,
    1600,
    2000,
    2500,
    3150,
)
INTERMEDIATE_STEPS = (14, 24, 40, 65, 100, 140, 160, 200, 225, 280, 355, 450)
STEPS = tuple(sorted(MAIN_STEPS + INTERMEDIATE_STEPS))

every_size = st.sampled_from(STEPS) | st.floats(0, 3150, exclude_min=True)
every_class = st.builds("{}{}".format, st.sampled_from(SHAFTS + HOLES), st.sampled_from(GRADES))
sizes_over_1_mm = st.sampled_from(STEPS) | st.floats(1, 3150, exclude_min=True)
sizes_to_500_mm = st.floats(1, 500, exclude_min=True)


def exact(number):
    """Return the number as it prints."""
    return Decimal(str(number))


def limits_or_none(nominal, tolerance_class):
    """Return the limits, or None where the class is not defined for the size."""
    try:
        return limits(nominal, tolerance_class)
    except ValueFault:
        return None


# --- laws ---------------------------------------------------------------------------------------------------


@given(every_size, every_class)
def test_lower_lies_below_upper_by_exactly_the_grade(nominal, tolerance_class):
    """Wherever a class is defined, upper − lower = IT of its grade, to the printed digit."""
    size = limits_or_none(nominal, tolerance_class)
    if size:
        _, n = split_class(tolerance_class)
        assert size.lower < size.upper
        assert exact(size.upper) - exact(size.lower) == exact(grade(nominal, n))


@given(every_size, every_class)
def test_deviations_carry_no_float_noise(nominal, tolerance_class):
    """A deviation is the float of a number of at most five decimals (mm), and its zero has no sign."""
    size = limits_or_none(nominal, tolerance_class)
    if size:
        for deviation in (size.lower, size.upper):
            assert deviation == round(deviation, 5)
            assert deviation != 0 or math.copysign(1, deviation) == 1


@given(every_size, every_class)
def test_limits_of_size_are_nominal_and_deviation(nominal, tolerance_class):
    size = limits_or_none(nominal, tolerance_class)
    if size:
        assert size.min == float(exact(nominal) + exact(size.lower))
        assert size.max == float(exact(nominal) + exact(size.upper))


@given(sizes_over_1_mm, st.sampled_from("defgh"), st.sampled_from(GRADES))
def test_holes_to_h_mirror_the_shafts(nominal, letter, n):
    """EI = −es, ES = −ei: general rule of A to H."""
    shaft, hole = limits(nominal, f"{letter}{n}"), limits(nominal, f"{letter.upper()}{n}")
    assert (hole.lower, hole.upper) == (-shaft.upper + 0.0, -shaft.lower)


@given(sizes_to_500_mm, st.sampled_from(GRADES))
def test_hole_c_mirrors_shaft_c(nominal, n):
    shaft, hole = limits(nominal, f"c{n}"), limits(nominal, f"C{n}")
    assert (hole.lower, hole.upper) == (-shaft.upper, -shaft.lower)


@given(st.floats(500, 3150, exclude_min=True), st.sampled_from("kmnp"), st.sampled_from(GRADES))
def test_holes_from_k_mirror_the_shafts_above_500_mm(nominal, letter, n):
    """ES = −ei: no Δ above 500 mm."""
    shaft, hole = limits(nominal, f"{letter}{n}"), limits(nominal, f"{letter.upper()}{n}")
    assert (hole.lower, hole.upper) == (-shaft.upper, -shaft.lower + 0.0)


@given(sizes_over_1_mm, st.sampled_from(GRADES))
def test_js_is_symmetrical(nominal, n):
    """js and JS are alike and lie evenly about nominal."""
    shaft, hole = limits(nominal, f"js{n}"), limits(nominal, f"JS{n}")
    assert (hole.lower, hole.upper) == (shaft.lower, shaft.upper)
    assert hole.lower == -hole.upper


@given(sizes_over_1_mm, st.sampled_from(["d", "e", "f", "g", "h", "js", "D", "E", "F", "G", "H", "JS"]))
def test_a_finer_grade_lies_within_the_coarser(nominal, letter):
    sizes = [limits(nominal, f"{letter}{n}") for n in GRADES]
    for fine, coarse in itertools.pairwise(sizes):
        assert coarse.lower <= fine.lower < fine.upper <= coarse.upper


@given(sizes_over_1_mm)
def test_shafts_rise_with_their_letter(nominal):
    """d to p: each letter's band lies no lower than the one before."""
    lowers = [limits(nominal, f"{letter}6").lower for letter in SHAFTS[1:11]]
    assert lowers == sorted(lowers)


@given(every_size, every_class)
def test_a_class_has_the_same_deviations_all_over_a_range(nominal, tolerance_class):
    """A size between 1 mm and the end of its range has the deviations of that end."""
    if nominal > 1:
        end = next(step for step in STEPS if nominal <= step)
        here, there = limits_or_none(nominal, tolerance_class), limits_or_none(end, tolerance_class)
        assert (here is None) == (there is None)
        assert here is None or (here.lower, here.upper) == (there.lower, there.upper)


@given(st.floats(1, 500, exclude_min=True), st.sampled_from(SHAFTS + HOLES))
def test_every_letter_is_defined_up_to_500_mm(nominal, letter):
    """No hole in the tables: IT3 to IT8 of every letter at every size."""
    assert all(limits(nominal, f"{letter}{n}") for n in range(3, 9))


@given(every_size, st.sampled_from(HOLES), st.sampled_from(SHAFTS), st.sampled_from(range(3, 9)))
def test_clearances_differ_by_both_tolerances(nominal, hole, shaft, n):
    """clearance_max − clearance_min = IT of the hole + IT of the shaft; the extremes of size give them."""
    if nominal <= 500 or (shaft not in ("c", "r", "s") and hole != "C"):
        found = fit(nominal, f"{hole}{n}", f"{shaft}{n}")
        assert exact(found.clearance_max) - exact(found.clearance_min) == 2 * exact(grade(nominal, n))
        assert found.clearance_min == pytest.approx(found.hole.min - found.shaft.max, abs=1e-9)
        assert found.clearance_max == pytest.approx(found.hole.max - found.shaft.min, abs=1e-9)


@given(st.sampled_from(SHAFTS + HOLES), st.sampled_from(GRADES))
def test_a_class_is_split_and_put_together_again(letter, n):
    assert split_class(f"{letter}{n}") == (letter, n)


@given(st.sampled_from(HOLES), st.sampled_from(SHAFTS), st.sampled_from(GRADES))
def test_a_fit_is_read_as_it_is_written(hole, shaft, n):
    assert (
        read_fit(f"{hole}{n}/{shaft}{n}")
        == read_fit(f" {hole}{n} / {shaft}{n} ")
        == (f"{hole}{n}", f"{shaft}{n}")
    )


@given(st.text())
def test_any_text_is_a_class_or_a_fault(text):
    """Nothing else comes out of reading a class or a fit, whatever the text."""
    for read in (split_class, read_fit):
        try:
            read(text)
        except ValueFault as fault:
            assert fault.name in ("tolerance", "fit")


# --- plain values -------------------------------------------------------------------------------------------


def test_limits_are_a_plain_frozen_record():
    assert limits(50, "H7") == Limits(nominal=50.0, tolerance_class="H7", lower=0.0, upper=0.025)
    assert hash(limits(50, "H7")) == hash(limits(50.0, "H7"))


def test_limits_of_size_print_as_on_the_drawing():
    """17.4 − 0.018 is 17.382; the sum of the floats is 17.381999999999998."""
    assert (limits(17.4, "h7").min, limits(17.4, "h7").max) == (17.382, 17.4)


def test_a_numpy_size_gives_plain_floats():
    size = limits(np.float64(50), "H7")
    assert (type(size.nominal), repr(size.max)) == (float, "50.025")


def test_nothing_is_read_and_numpy_not_loaded_on_import():
    """The command is instant: the tables are read when the first class is asked for."""
    code = (
        "import sys; from stackup.standards import iso286 as i; assert 'numpy' not in sys.modules; "
        "assert i._rules.cache_info().currsize == i._tolerances.cache_info().currsize == 0"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


# --- faults -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("nominal", [0, -50, 3150.0000001, math.inf, -math.inf, math.nan])
@pytest.mark.parametrize("ask", [lambda nominal: limits(nominal, "h7"), lambda nominal: grade(nominal, 7)])
def test_a_size_outside_the_tables(nominal, ask):
    with pytest.raises(ValueFault) as caught:
        ask(nominal)
    assert caught.value.name == "nominal"
    assert caught.value.found == f"{nominal} mm"
    assert caught.value.allowed == "over 0, up to and including 3150 mm (ISO 286-1)"


@pytest.mark.parametrize(
    ("tolerance_class", "nearest"),
    [
        ("h19", None),  # grades end at IT18
        ("h0", None),  # IT0 and IT01 are not tabled,
        ("h01", "h1"),  # and 01 must not be read as 1
        ("h07", "h7"),
        ("Js7", "JS7"),  # the case of the first letter tells hole from shaft
        ("jS7", "js7"),
        (" h7", "h7"),
        ("h 7", "h7"),
        ("h-7", "h7"),
        ("x7", None),  # a letter of the standard that the tables do not hold:
        ("j7", None),  # another letter is another fit,
        ("zc8", None),
        ("R7", None),  # and a shaft no hole
        ("hh7", None),
        ("h\u0667", None),  # an Arabic seven
        ("7h", None),
        ("h", None),
        ("7", None),
        ("h1234", None),
        ("h7/g6", None),
        ("", None),
    ],
)
def test_no_such_class(tolerance_class, nearest):
    with pytest.raises(ValueFault) as caught:
        limits(50, tolerance_class)
    hint = f"; nearest: {nearest}" if nearest else ""
    assert caught.value.name == "tolerance"
    assert caught.value.found == f'"{tolerance_class}"'
    every = (
        "a letter and a grade: shafts c, d, e, f, g, h, js, k, m, n, p, r, s, "
        "holes C, D, E, F, G, H, JS, K, M, N, P; grades 1 to 18"
    )
    is_grade_alone = tolerance_class in ("h19", "h0", "h01", "h07")
    assert caught.value.allowed == ("h1 to h18" if is_grade_alone else every) + hint


@pytest.mark.parametrize(
    ("nominal", "tolerance_class", "allowed"),
    [
        (25, "K9", "K3 to K8 for this size; nearest: K8"),
        (25, "K2", "K3 to K8 for this size; nearest: K3"),
        (25, "P1", "P3 to P18 for this size; nearest: P3"),
        (0.8, "N12", "N1 to N8 for this size; nearest: N8"),
        (1, "h14", "h1 to h13 for this size; nearest: h13"),
        (600, "c11", "c for sizes up to and including 500 mm; for this size d, e, f, g, h, js, k, m, n, p"),
        (600, "C11", "C for sizes up to and including 500 mm; for this size D, E, F, G, H, JS, K, M, N, P"),
    ],
)
def test_a_class_that_is_not_defined_for_the_size(nominal, tolerance_class, allowed):
    with pytest.raises(ValueFault) as caught:
        limits(nominal, tolerance_class)
    assert caught.value.name == "tolerance"
    assert caught.value.found == f"{tolerance_class} for {nominal} mm"
    assert caught.value.allowed == allowed


@pytest.mark.parametrize(
    ("nominal", "n", "allowed"), [(50, 0, "1 to 18"), (50, 19, "1 to 18"), (1, 14, "1 to 13")]
)
def test_no_such_grade(nominal, n, allowed):
    with pytest.raises(
        ValueFault, match=f"^grade: found {n} for {nominal} mm; allowed: {allowed} for this size$"
    ):
        grade(nominal, n)


@pytest.mark.parametrize("classes", [("g6", "H7"), ("H7", "H6"), ("g6", "h7")])
def test_a_fit_is_a_hole_and_then_a_shaft(classes):
    for ask in (lambda: fit(50, *classes), lambda: read_fit("/".join(classes))):
        with pytest.raises(ValueFault) as caught:
            ask()
        assert caught.value.name == "fit"
        assert caught.value.found == f'"{"/".join(classes)}"'
        assert caught.value.allowed == "a hole (capital letter) first, then a shaft (small letter): H7/g6"


@pytest.mark.parametrize("text", ["", "H7", "H7 g6", "H7-g6", "H7/g6/h5"])
def test_a_fit_is_two_classes(text):
    with pytest.raises(ValueFault) as caught:
        read_fit(text)
    assert caught.value.name == "fit"
    assert caught.value.found == f'"{text}"'
    assert caught.value.allowed == "the class of the hole, a slash, the class of the shaft: H7/g6"


@pytest.mark.parametrize("text", ["/", "H7/", "/g6", "H7/x6", "X7/g6"])
def test_a_fit_of_classes_that_do_not_exist(text):
    with pytest.raises(ValueFault, match=r"^tolerance: found "):
        read_fit(text)
