"""The best pose against a general solver, linear programmes, cases by hand, its own proof and its own algebra."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pose_twin import best_pose_twin, cage, centring, margin_of, polygon_margin, proof, ring_fit

from stackup.chain import pose
from stackup.chain.cones import sure
from stackup.chain.pose import best_margin, best_pose, slopes

SIZE = 0.6  # mm, longer than all residuals and all differences of a play from a margin drawn here
GAP = pose.WANTED * SIZE  # mm: the gap that is promised, three parts in 10⁸ of such a difference
MOST = 1e-7  # mm: the error that no margin may have

DRAWN = {
    "ring of 48 pins": lambda n, seed: ring_fit(np.random.default_rng(seed), n),
    "ring of 90 pins": lambda n, seed: ring_fit(np.random.default_rng(seed), n, 90),
    "ring of 30 pins on a cone": lambda n, seed: ring_fit(np.random.default_rng(seed), n, 30, math.radians(13)),
    "centring and tilt": lambda n, seed: centring(np.random.default_rng(seed), n),
    "centring": lambda n, seed: centring(np.random.default_rng(seed), n, 36, 2),
}
kinds = pytest.mark.parametrize("kind", DRAWN)
seeds = st.integers(0, 2**32 - 1)


# -- against other solvers --------------------------------------------------------------------------------------------


@kinds
def test_margin_is_that_of_a_general_solver(kind):
    """Independent: SLSQP in epigraph form (the twin), whose margin is that of a pose and so never too large."""
    problem = DRAWN[kind](8, 11)
    solved = best_pose(*problem)
    for index in range(8):
        found, _ = best_pose_twin(*cage(problem, index))
        assert found <= solved.margin[index] + solved.gap[index] + 1e-15
        assert found == pytest.approx(solved.margin[index], abs=1e-8)


@kinds
def test_margin_lies_between_those_of_a_linear_programme(kind):
    """Independent: with 720 directions |x|·cos(π/720) ≤ largest part ≤ |x|, by linear programming (HiGHS)."""
    problem = DRAWN[kind](2, 12)
    solved = best_pose(*problem)
    for index in range(2):
        upper, found = polygon_margin(*cage(problem, index))
        lower = margin_of(*cage(problem, index), found)
        # what the polygon hides: residuals are shorter than SIZE
        assert upper - lower <= SIZE * (1 - math.cos(math.pi / 720)) + 1e-9
        assert lower - GAP <= solved.margin[index] <= upper + 1e-9


@kinds
def test_the_margin_alone(kind: str) -> None:
    """The same to the bit as with pose and weights, cages that are not finite left out."""
    play, *rest = DRAWN[kind](700, 4)
    play = play.copy()
    play[2, [3, 650]] = np.nan
    alone = best_margin(play, *rest)
    assert np.array_equal(alone, best_pose(play, *rest).margin, equal_nan=True)
    assert np.flatnonzero(np.isnan(alone)).tolist() == [3, 650]


def test_what_is_promised() -> None:
    """The gap is a fifth of what a margin may be wrong by."""
    assert GAP <= MOST / 5


@kinds
def test_both_methods_find_the_same(kind, monkeypatch):
    """Independent: second-order cones over all of them at once, against smooth constraints over few at a time."""
    problem = DRAWN[kind](12, 27)
    solved = best_pose(*problem)
    monkeypatch.setattr(pose, "ROUNDS", ((10**6, sure, 60),))
    other = best_pose(*problem)
    assert np.all(other.gap <= GAP)
    assert other.margin == pytest.approx(solved.margin, abs=2 * GAP)
    if kind.startswith("ring"):
        # in centring two pockets that face each other may bind alone, which leaves the pose free across
        assert other.pose == pytest.approx(solved.pose, abs=1e-5)
        assert other.weights == pytest.approx(solved.weights, abs=1e-3)


@pytest.mark.parametrize("unknowns", [2, 3])
@pytest.mark.parametrize("offset", [0.0, 1.0], ids=["no offset", "offset"])
def test_absolute_values_are_a_linear_programme(unknowns, offset):
    """Independent: with w = 0 two directions are exact (HiGHS, feasible to 1e-7 of its own units, here of mm)."""
    play, radial, _, by, none = centring(np.random.default_rng(13), 6, 40, unknowns)
    side = len(play) // 4
    for first in (0, 2 * side):
        plus, minus = radial[first : first + side], radial[first + side : first + 2 * side]
        h = (plus + minus) / 2
        plus -= (1 - offset) * h
        minus -= (1 - offset) * h
    problem = play, radial, np.zeros_like(play), by, none
    solved = best_pose(*problem)
    for index in range(6):
        found, _ = polygon_margin(*cage(problem, index), directions=2)
        assert solved.margin[index] == pytest.approx(found, abs=1e-8)
    assert np.all(solved.gap <= GAP)


# -- by hand ----------------------------------------------------------------------------------------------------------


def one(play, vectors, by_radial, by_tangential):
    """Return the only cage of a case by hand."""
    radial, tangential = np.array(vectors, dtype=float).T[:, :, None]
    return best_pose(np.array(play, dtype=float)[:, None], radial, tangential, np.array(by_radial, dtype=float),
                     np.array(by_tangential, dtype=float))  # fmt: skip


def shifting(pins):
    """Return moves of three pins that only shift: M is the identity for all."""
    return [[1.0, 0.0]] * pins, [[0.0, 1.0]] * pins


def test_three_equal_plays_find_the_circle_round_an_acute_triangle():
    """Closed form: with M = 1 and equal plays the margin is play − radius of the smallest enclosing circle.

    Triangle (0, 0), (4, 0), (2, 3): all angles acute, so it is the circumcircle.  Centre (2, y) with
    4 + y² = (3 − y)², y = 5/6, radius 13/6.  The weights balance the residuals, which are equally long:
    centre = Σλ·corner, λ₃ = y/3 = 5/18 and λ₁ = λ₂ = 13/36.
    """
    solved = one([3, 3, 3], [(0, 0), (4, 0), (2, 3)], *shifting(3))
    assert solved.margin == pytest.approx([3 - 13 / 6], abs=1e-8)
    assert solved.pose[:, 0] == pytest.approx([2, 5 / 6], abs=1e-7)
    assert solved.weights[:, 0] == pytest.approx([13 / 36, 13 / 36, 5 / 18], abs=1e-6)


def test_three_equal_plays_find_the_longest_side_of_an_obtuse_triangle():
    """Closed form: at (1, 1) the sides to (0, 0) and (4, 0) have the scalar product −2, so the longest side rules.

    The circle has the diameter from (0, 0) to (4, 0): centre (2, 0), radius 2; the third weighs nothing.
    """
    solved = one([3, 3, 3], [(0, 0), (4, 0), (1, 1)], *shifting(3))
    assert solved.margin == pytest.approx([1], abs=1e-8)
    assert solved.pose[:, 0] == pytest.approx([2, 0], abs=1e-6)
    assert solved.weights[:, 0] == pytest.approx([0.5, 0.5, 0], abs=1e-6)


def test_two_unequal_plays_share_their_distance():
    """Closed form: on the segment c₁ − x = c₂ − (D − x), so the margin is (c₁ + c₂ − D)/2, here (3 + 1 − 5)/2."""
    solved = one([3, 1], [(0, 0), (3, 4)], *shifting(2))
    assert solved.margin == pytest.approx([-0.5], abs=1e-8)
    assert solved.pose[:, 0] == pytest.approx([3.5 * 0.6, 3.5 * 0.8], abs=1e-7)


def test_a_turn_takes_up_equal_tangential_errors_and_nothing_takes_up_equal_radial_ones():
    """Closed form, three pins at 120° under shift and turn, equal plays c.

    All vectors (ρ, τ): a turn τ takes up the tangential parts.  The radial parts stay: the directions (cos, sin)
    of the pins add up to 0, so equal weights balance, and margin = c − ρ.
    """
    angles = np.radians([0, 120, 240])
    by_radial = np.column_stack([np.cos(angles), np.sin(angles), 0 * angles])
    by_tangential = np.column_stack([-np.sin(angles), np.cos(angles), 1 + 0 * angles])
    solved = one([0.1] * 3, [(0.03, 0.04)] * 3, by_radial, by_tangential)
    assert solved.margin == pytest.approx([0.07], abs=1e-9)
    assert solved.pose[:, 0] == pytest.approx([0, 0, 0.04], abs=1e-7)
    assert solved.weights[:, 0] == pytest.approx([1 / 3] * 3, abs=1e-6)


# -- the proof that every answer carries ------------------------------------------------------------------------------


@kinds
def test_weights_prove_the_margin(kind):
    problem = DRAWN[kind](300, 14)
    solved = best_pose(*problem)
    assert np.all(solved.weights >= 0)
    assert solved.weights.sum(axis=0) == pytest.approx(np.ones(300), abs=1e-12)
    lower, upper = proof(problem, solved.pose, solved.weights)
    assert solved.margin == pytest.approx(lower, abs=1e-15)
    assert np.all(solved.gap >= -1e-15)
    assert np.all(solved.gap <= GAP)
    # weights along the unit residuals balance less exactly than the dual vectors of the method
    assert np.all(upper - lower <= 1e-6)
    assert np.all(upper >= lower - 1e-15)


@kinds
def test_no_sign_is_wrong(kind):
    """Of 300 cages moved so that their margins lie round 0, no sign may contradict pose or weights, taken plainly."""
    play, *rest = DRAWN[kind](300, 15)
    play = play - np.median(best_pose(play, *rest).margin)
    solved = best_pose(play, *rest)
    lower, upper = proof((play, *rest), solved.pose, solved.weights)
    fits = solved.margin >= 0
    assert 100 < np.count_nonzero(fits) < 200
    assert np.array_equal(lower >= 0, fits)
    # closer to 0 than the gap nothing is proved; no cage of this seed lies there
    assert np.all(np.abs(solved.margin) > solved.gap)
    # the plain proof is good to 1e-6 (test above)
    assert np.all(upper[solved.margin < -1e-6] < 0)


@kinds
def test_slopes_bound_every_change(kind):
    """Closed form: the margin is concave in play and vectors, so margin(x + δ) ≤ margin(x) + slopes·δ, for both signs.

    Where x is no kink both bounds close in as δ², and the slopes are the derivatives.
    """
    problem = play, radial, tangential, *by = DRAWN[kind](60, 16)
    solved = best_pose(*problem)
    rng = np.random.default_rng(17)
    by_data = slopes(solved, radial, tangential, *by)
    change = rng.standard_normal((3, *play.shape))
    expected = sum((s * d).sum(axis=0) for s, d in zip(by_data, change, strict=True))
    step = 1e-5
    up, down = (
        best_pose(play + h * change[0], radial + h * change[1], tangential + h * change[2], *by).margin
        for h in (step, -step)
    )
    # the stated margins may be short by a gap
    assert np.all(up <= solved.margin + step * expected + 2 * GAP)
    assert np.all(down <= solved.margin - step * expected + 2 * GAP)
    central = (up - down) / (2 * step)
    smooth = np.abs(up - 2 * solved.margin + down) < 1e-8
    assert np.count_nonzero(smooth) > 40
    # curvature below 1e-8/step² and gaps of 1e-9 leave 1e-3 of a derivative of order 1
    assert central[smooth] == pytest.approx(expected[smooth], abs=1e-3)


def test_slopes_are_zero_at_a_residual_of_no_length():
    """Closed form: one play is far the least, so its pin sits in the middle and the margin is that play."""
    play, *rest = ring_fit(np.random.default_rng(18), 5)
    play[7] = 0.2 * play.min() - 0.3
    solved = best_pose(play, *rest)
    assert solved.margin == pytest.approx(play[7], abs=1e-9)
    by_play, by_radial, by_tangential = slopes(solved, *rest)
    assert by_play[7] == pytest.approx(np.ones(5), abs=1e-6)
    assert np.all(by_radial[7] == 0)
    assert np.all(by_tangential[7] == 0)


# -- its algebra ------------------------------------------------------------------------------------------------------

few = settings(max_examples=15, deadline=None)


def margins_agree(one_way, other, size=SIZE):
    assert other == pytest.approx(one_way, abs=2 * pose.WANTED * size)


@few
@given(seeds, st.sampled_from(list(DRAWN)), st.lists(st.floats(-0.5, 0.5), min_size=3, max_size=3))
def test_a_shift_of_all_vectors_by_a_pose_moves_the_pose_alone(seed, kind, shift):
    play, radial, tangential, by_radial, by_tangential = DRAWN[kind](4, seed)
    moved = np.array(shift[: by_radial.shape[1]])[:, None]
    before = best_pose(play, radial, tangential, by_radial, by_tangential)
    after = best_pose(play, radial + by_radial @ moved, tangential + by_tangential @ moved, by_radial, by_tangential)
    margins_agree(before.margin, after.margin)
    if kind.startswith("ring"):
        # else the pose may not be unique
        assert after.pose - moved == pytest.approx(before.pose, abs=1e-4)


@few
@given(seeds, st.sampled_from(list(DRAWN)), st.integers(-40, 40))
def test_all_lengths_may_be_in_another_unit(seed, kind, power):
    play, radial, tangential, *by = DRAWN[kind](4, seed)
    unit = 10.0 ** (power / 10)
    margins_agree(
        unit * best_pose(play, radial, tangential, *by).margin,
        best_pose(unit * play, unit * radial, unit * tangential, *by).margin,
        unit * SIZE,
    )


@few
@given(seeds, st.sampled_from(list(DRAWN)), st.floats(-0.5, 0.5))
def test_the_same_added_to_all_plays_is_added_to_the_margin(seed, kind, more):
    play, *rest = DRAWN[kind](4, seed)
    margins_agree(best_pose(play, *rest).margin + more, best_pose(play + more, *rest).margin)


@few
@given(seeds, st.integers(1, 29))
def test_a_ring_may_be_turned_by_whole_pockets(seed, pockets):
    play, radial, tangential, *by = ring_fit(np.random.default_rng(seed), 4, 30)
    before = best_pose(play, radial, tangential, *by)
    after = best_pose(*(np.roll(x, pockets, axis=0) for x in (play, radial, tangential)), *by)
    margins_agree(before.margin, after.margin)


@few
@given(seeds, st.sampled_from(list(DRAWN)))
def test_the_order_of_the_cones_does_not_matter(seed, kind):
    problem = DRAWN[kind](4, seed)
    order = np.random.default_rng(seed).permutation(len(problem[0]))
    margins_agree(best_pose(*problem).margin, best_pose(*(x[order] for x in problem)).margin)


@few
@given(seeds, st.sampled_from(list(DRAWN)))
def test_fewer_cones_leave_no_less_room(seed, kind):
    problem = DRAWN[kind](4, seed)
    half = [x[::2] for x in problem]
    assert np.all(best_pose(*half).margin >= best_pose(*problem).margin - 2 * GAP)


# -- what else may come -----------------------------------------------------------------------------------------------


@kinds
def test_a_cage_does_not_depend_on_its_neighbours(kind):
    problem = DRAWN[kind](700, 19)
    together = best_pose(*problem)
    for which in (slice(0, 1), slice(3, 10), slice(490, 560)):
        alone = best_pose(*(x[:, which] for x in problem[:3]), *problem[3:])
        assert alone.margin == pytest.approx(together.margin[which], abs=1e-13)
    again = best_pose(*problem)
    assert np.array_equal(again.margin, together.margin)
    assert np.array_equal(again.weights, together.weights)


@kinds
def test_a_value_that_is_none_spoils_its_own_cage(kind):
    problem = DRAWN[kind](5, 20)
    whole = best_pose(*problem)
    problem[1][4, 2] = np.nan
    problem[0][0, 4] = np.inf
    solved = best_pose(*problem)
    assert np.array_equal(np.isnan(solved.margin), [False, False, True, False, True])
    assert np.array_equal(np.isnan(solved.pose).all(axis=0), np.isnan(solved.margin))
    assert np.array_equal(np.isnan(solved.weights).all(axis=0), np.isnan(solved.margin))
    assert solved.margin[[0, 1, 3]] == pytest.approx(whole.margin[[0, 1, 3]], abs=1e-13)


def test_no_cages_and_one_cage():
    problem = ring_fit(np.random.default_rng(21), 3)
    none = best_pose(*(x[:, :0] for x in problem[:3]), *problem[3:])
    assert none.margin.shape == (0,)
    assert none.pose.shape == (3, 0)
    assert none.weights.shape == (48, 0)
    single = best_pose(*(x[:, :1] for x in problem[:3]), *problem[3:])
    assert single.margin == pytest.approx(best_pose(*problem).margin[:1], abs=1e-13)


def test_pins_in_their_places_leave_the_least_play():
    """Closed form: with all vectors 0 the pose 0 gives every cone its whole play."""
    play, radial, _, *by = ring_fit(np.random.default_rng(22), 4)
    solved = best_pose(play, 0 * radial, 0 * radial, *by)
    assert np.array_equal(solved.margin, play.min(axis=0))
    assert np.array_equal(solved.weights.argmax(axis=0), play.argmin(axis=0))
    assert np.all(solved.pose == 0)


def test_equal_pockets_share_the_weight():
    """Closed form: all radial parts ρ, all plays c: no pose helps, margin c − ρ; the weights are not unique."""
    play, radial, _, *by = ring_fit(np.random.default_rng(23), 2, 36)
    solved = best_pose(0 * play + 0.1, 0 * radial + 0.03, 0 * radial, *by)
    assert solved.margin == pytest.approx([0.07, 0.07], abs=1e-9)
    assert np.all(solved.gap <= GAP)


@pytest.mark.parametrize("still", [[2], [0, 1], [0, 1, 2]])
def test_a_direction_that_moves_nothing_stays_at_zero(still):
    problem = play, radial, tangential, by_radial, by_tangential = ring_fit(np.random.default_rng(24), 6, 30)
    by_radial[:, still] = 0
    by_tangential[:, still] = 0
    solved = best_pose(*problem)
    assert solved.pose[still] == pytest.approx(np.zeros((len(still), 6)), abs=1e-12)
    assert np.all(solved.gap <= GAP)
    free = [i for i in range(3) if i not in still]
    without = best_pose(play, radial, tangential, by_radial[:, free], by_tangential[:, free]) if free else None
    expected = without.margin if without else (play - np.hypot(radial, tangential)).min(axis=0)
    assert solved.margin == pytest.approx(expected, abs=2 * GAP)


def test_moves_that_depend_on_each_other_leave_the_same_margin():
    play, radial, tangential, by_radial, by_tangential = ring_fit(np.random.default_rng(25), 6, 30)
    twice = [np.column_stack([by[:, 0], by[:, 1], by[:, 0] - 2 * by[:, 1]]) for by in (by_radial, by_tangential)]
    solved = best_pose(play, radial, tangential, *twice)
    expected = best_pose(play, radial, tangential, by_radial[:, :2], by_tangential[:, :2])
    assert solved.margin == pytest.approx(expected.margin, abs=2 * GAP)


@pytest.mark.parametrize("pins", [1, 2, 3, 4])
def test_few_pins(pins):
    problem = ring_fit(np.random.default_rng(26), 5, pins)
    solved = best_pose(*problem)
    for index in range(5):
        found, _ = best_pose_twin(*cage(problem, index))
        assert solved.margin[index] == pytest.approx(found, abs=1e-7)
    assert np.all(solved.gap <= GAP)
