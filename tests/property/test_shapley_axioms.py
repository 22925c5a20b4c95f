"""The axioms of Shapley values, on random games: efficiency, symmetry, null player, additivity; sampling."""

from __future__ import annotations

import math
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stackup.decide.shapley import EXACT, exact, parts, sampled

Game = list[float]
NUMBERS = st.floats(-10, 10, allow_nan=False)


@st.composite
def games(draw: st.DrawFn, most: int = 5) -> Game:
    """Draw the values of all 2ⁿ sets of n players, that of none too."""
    players = draw(st.integers(1, most))
    return draw(st.lists(NUMBERS, min_size=2**players, max_size=2**players))


def players_of(game: Game) -> int:
    return len(game).bit_length() - 1


@given(games())
def test_efficiency(game: Game) -> None:
    """What the players add is together what all of them make, less what none does."""
    assert math.fsum(exact(players_of(game), game.__getitem__)) == pytest.approx(game[-1] - game[0], abs=1e-9)


@given(games(), st.randoms(use_true_random=False))
def test_symmetry(game: Game, random: object) -> None:
    """Players that do the same in every set add the same; names do not matter."""
    players = players_of(game)
    order = list(range(players))
    random.shuffle(order)  # type: ignore[attr-defined]

    def renamed(chosen: int) -> float:
        return game[sum(1 << order[i] for i in range(players) if chosen >> i & 1)]

    found = exact(players, game.__getitem__)
    assert exact(players, renamed) == pytest.approx([found[order[i]] for i in range(players)], abs=1e-9)
    alike = exact(players, lambda chosen: game[2 ** (chosen.bit_count()) - 1])
    assert alike == pytest.approx([alike[0]] * players, abs=1e-9)


@given(games(4), NUMBERS)
def test_null_player(game: Game, own: float) -> None:
    """A player that never adds anything has 0; one that always adds the same has that; the others are as without."""
    players = players_of(game)
    found = exact(players, game.__getitem__)
    more = exact(players + 1, lambda chosen: game[chosen & (2**players - 1)] + own * (chosen >> players))
    assert more == pytest.approx([*found, own], abs=1e-9)


@given(games(4), st.data())
def test_additivity(game: Game, data: st.DataObject) -> None:
    """The values of the sum of two games are the sums of the values."""
    players = players_of(game)
    other = data.draw(st.lists(NUMBERS, min_size=len(game), max_size=len(game)))
    one, two = exact(players, game.__getitem__), exact(players, other.__getitem__)
    both = exact(players, lambda chosen: game[chosen] + other[chosen])
    assert both == pytest.approx([a + b for a, b in zip(one, two, strict=True)], abs=1e-9)


@given(games(5))
def test_the_mean_over_all_orders(game: Game) -> None:
    """The formula over sets is the mean over orders of what a player adds to those before it (the slow twin)."""
    players = players_of(game)
    added = np.zeros(players)
    for order in permutations(range(players)):
        chosen = 0
        for player in order:
            added[player] += game[chosen | 1 << player] - game[chosen]
            chosen |= 1 << player
    assert exact(players, game.__getitem__) == pytest.approx(added / math.factorial(players), abs=1e-8)


@given(games(6), st.integers(0, 100))
def test_sampling_is_efficient_and_near(game: Game, seed: int) -> None:
    """Sampled values add up too; they are exact in a game of no interplay, else within four half-intervals."""
    players = players_of(game)
    found = sampled(players, game.__getitem__, 60, seed)
    assert sum(part.value for part in found) == pytest.approx(game[-1] - game[0], abs=1e-9)
    for part, value in zip(found, exact(players, game.__getitem__), strict=True):
        assert part.low <= part.value <= part.high
        # 4 half-widths are 7.8 standard errors: of all examples together none is outside by chance
        assert abs(part.value - value) <= 2 * (part.high - part.low) + 1e-9
    plain = sampled(players, lambda chosen: float(sum(i + 1 for i in range(players) if chosen >> i & 1)), 60, seed)
    assert [part.value for part in plain] == pytest.approx([i + 1.0 for i in range(players)])
    assert all(part.high - part.low < 1e-9 for part in plain)


def test_intervals_hold_what_they_say() -> None:
    """Of 400 intervals of 95 % some 380 hold the exact value: within four standard errors, √(400·0.05·0.95)."""
    rng = np.random.Generator(np.random.PCG64DXSM(3))
    held = 0
    for seed in range(80):
        game = rng.normal(size=2**5)
        found = sampled(5, lambda chosen, game=game: float(game[chosen]), 60, seed)  # type: ignore[misc]
        held += sum(p.low <= v <= p.high for p, v in zip(found, exact(5, game.__getitem__), strict=True))
    assert abs(held - 380) <= 4 * math.sqrt(400 * 0.05 * 0.95)


@pytest.mark.parametrize(("players", "is_exact"), [(EXACT, True), (EXACT + 1, False)])
def test_exact_up_to_twelve(players: int, is_exact: bool) -> None:
    """Beyond twelve players the values come with an interval."""
    found = parts(players, lambda chosen: float(chosen.bit_count() ** 3))
    assert all((part.low == part.high) == is_exact for part in found)
    assert math.fsum(part.value for part in found) == pytest.approx(players**3)
