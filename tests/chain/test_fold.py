"""Folds: what makes one number of a cage, and which pockets carry it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from twins import folds

from stackup.chain.fold import FOLDS
from stackup.chain.model import OVERS

VALUES = np.random.default_rng(3).normal(size=(6, 40))


def test_every_fold_has_a_name() -> None:
    """The table of folds holds what a requirement may say, and each knows its own name."""
    assert set(FOLDS) == set(OVERS)
    assert all(fold.name == name for name, fold in FOLDS.items())
    assert {name for name, fold in FOLDS.items() if fold.smooth} == {"each", "mean"}
    assert {name for name, fold in FOLDS.items() if not fold.of_cage} == {"each"}


@pytest.mark.parametrize("name", ["least", "greatest", "mean", "spread"])
def test_value_against_the_twin(name: str) -> None:
    """A fold of (Z, n) is one row (1, n), cage by cage what the slow twin says."""
    found = FOLDS[name].value(VALUES)
    assert found.shape == (1, 40)
    assert np.allclose(found[0], [folds(list(cage))[name] for cage in VALUES.T], rtol=1e-14)


def test_each_is_itself() -> None:
    """``each`` leaves every pocket as it is."""
    assert FOLDS["each"].value(VALUES) is VALUES
    assert np.array_equal(FOLDS["each"].slopes(VALUES), np.ones_like(VALUES))


@pytest.mark.parametrize("name", ["least", "greatest", "mean", "spread"])
def test_slopes_against_finite_differences(name: str) -> None:
    """Slopes are the derivative of the fold in every pocket."""
    fold, step = FOLDS[name], 1e-7
    slopes = fold.slopes(VALUES)
    for pocket in range(len(VALUES)):
        moved = VALUES.copy()
        moved[pocket] += step
        assert np.allclose((fold.value(moved) - fold.value(VALUES))[0] / step, slopes[pocket], atol=1e-6)


@given(st.integers(1, 9), st.integers(0, 2**32))
def test_folds_of_a_shifted_cage(pockets: int, seed: int) -> None:
    """Added to all pockets, a number is added to least, greatest and mean, and leaves the spread."""
    values = np.random.default_rng(seed).normal(size=(pockets, 5))
    for name in ("least", "greatest", "mean", "spread"):
        moved = FOLDS[name].value(values + 2.5) - FOLDS[name].value(values)
        assert np.allclose(moved, 0.0 if name == "spread" else 2.5)
        assert np.allclose(FOLDS[name].slopes(values).sum(axis=0), 0.0 if name == "spread" else 1.0)
