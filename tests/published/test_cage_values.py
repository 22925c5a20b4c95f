"""The slow twins against the cage values to check against (OWN: made by code outside this repository)."""

import math
import random
import sys
from itertools import cycle, islice
from pathlib import Path
from statistics import fmean, stdev

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))  # the twins and their tables stand beside the rooms

from demo_table import DEMO_EXACT, DEMO_SPEC, DEMO_TABLE, REFERENCE_CAGES, STANDARD_ERRORS
from pocket_pair import CAGE, CHANGED, EXPECTED, OPTIONS, POCKETS, ROLLERS
from twins import cage_gaps, draw_cage, folds

LAST_DIGIT = 0.51e-9  # half a unit of the ninth decimal, and a little for the arithmetic of floats


def repeated(pair):
    return list(islice(cycle(pair), ROLLERS))


def mirrored(values):
    return {name: (v[0], -v[1]) if isinstance(v, tuple) else v for name, v in values.items()}


def agree(gaps, expected):
    return {
        (name, i): (gaps[name][i], value)
        for name, values in expected.items()
        for i, value in enumerate(values)
        if value is not None and abs(gaps[name][i] - value) > LAST_DIGIT
    }


def test_the_twin_has_the_printed_gaps_of_a_pocket_pair():
    gaps = cage_gaps(CAGE, repeated(POCKETS), OPTIONS)
    assert set(gaps) == {*EXPECTED, "pitch_difference"}  # which looks at three pins: no number of a pair
    assert agree(gaps, EXPECTED) == {}


@pytest.mark.parametrize("change", CHANGED.values(), ids=CHANGED.keys())
def test_the_twin_follows_the_printed_changes(change):
    pockets = [pocket | new for pocket, new in zip(POCKETS, change["pockets"], strict=True)]
    gaps = cage_gaps(CAGE | change["cage"], repeated(pockets), OPTIONS | change["options"])
    assert agree(gaps, change["expected"]) == {}


def test_gaps_whose_slots_are_missing_are_left_out():
    cage = {name: value for name, value in CAGE.items() if name not in ("outer_guide", "ring_inside")}
    pockets = [{name: value for name, value in p.items() if name != "ring_hole_b"} for p in POCKETS]
    left_out = {"pin_entry", "entry_stress", "weld_gap", "weld_gap_widest"}
    left_out |= {"ring_clearance_outer", "ring_clearance_inner"}
    assert set(cage_gaps(cage, repeated(pockets))) == {*EXPECTED, "pitch_difference"} - left_out


def test_a_preload_counts_as_no_clearance():
    preloaded = cage_gaps(CAGE | {"radial_internal_clearance": -0.02}, repeated(POCKETS))
    assert preloaded == cage_gaps(CAGE | {"radial_internal_clearance": 0.0}, repeated(POCKETS))


def test_a_mirrored_cage_has_the_same_gaps():
    """The printed pair sees neither the angle of the next pocket nor what follows the last one; this does."""
    cage, pockets = draw_cage(DEMO_SPEC, random.Random(7))  # noqa: S311 a seeded draw, nothing secret
    mirrored_cage = mirrored(cage) | {"ring_phase": -cage["ring_phase"]}
    mirrored_pockets = [mirrored(pocket) for pocket in (pockets[0], *reversed(pockets[1:]))]
    gaps, images = cage_gaps(cage, pockets), cage_gaps(mirrored_cage, mirrored_pockets)
    for name, values in gaps.items():
        image = list(reversed(images[name]))  # the spacing behind a pocket is its image's spacing ahead
        if name == "pitch_difference":  # and so are the two pitches ahead
            image = [*image[1:], image[0]]
        elif name != "roller_spacing":
            image = [image[-1], *image[:-1]]
        sign = -1 if name == "pin_skew" else 1
        assert values == pytest.approx([sign * value for value in image], abs=1e-10), name


@pytest.fixture(scope="module")
def demo_cages():
    """Per gap and cage: the mean over its pockets and the mean of their squares."""
    rng = random.Random(20)  # noqa: S311 a seeded draw, nothing secret
    drawn = {}
    for _ in range(400):
        for name, values in cage_gaps(*draw_cage(DEMO_SPEC, rng)).items():
            square = fmean([value * value for value in values])
            drawn.setdefault(name, []).append((folds(values)["mean"], square))
    return drawn


@pytest.mark.parametrize("gap", DEMO_TABLE)
def test_the_slow_sampler_has_the_demo_mean_and_sd(demo_cages, gap):
    """Section 6: the sampling unit is the cage, so the standard errors come from the numbers per cage."""
    cages = demo_cages[gap]
    both_runs = math.sqrt(1 / len(cages) + 1 / REFERENCE_CAGES)
    mean = fmean(m for m, _ in cages)
    squares = [square - 2 * mean * m + mean**2 for m, square in cages]
    sd = math.sqrt(fmean(squares))
    expected, rounding = DEMO_EXACT.get(gap, {}).get("mean", DEMO_TABLE[gap]["mean"])
    assert abs(mean - expected) <= STANDARD_ERRORS * stdev(m for m, _ in cages) * both_runs + rounding
    expected, rounding = DEMO_EXACT.get(gap, {}).get("sd", DEMO_TABLE[gap]["sd"])
    assert abs(sd - expected) <= STANDARD_ERRORS * stdev(squares) / (2 * sd) * both_runs + rounding
