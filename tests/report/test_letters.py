"""Signs that a stream cannot encode become others that say the same, never a question mark."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stackup.report.letters import spelled


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("≥ 0.13 … ≤ 2 ±1", ">= 0.13 .. <= 2 +-1"),
        ("– · × → −1", "- - x -> -1"),
        ("⌀t₀ µm 20 °C", "dia t0 um 20 degC"),
        ("ε_i, Δ, α⁻, c₊, θ", "epsilon_i, Delta, alpha-, c+, theta"),
        ("√(R²), ½, Ⓔ", "sqrt(R^2), 1/2, E"),
        ("Länge, ß", "Lange, ss"),
        ("日", "\\u65e5"),
    ],
)
def test_ascii(text: str, told: str) -> None:
    """Regression: how our signs are written in ASCII."""
    assert spelled(text, "ascii") == told


def test_only_what_is_needed() -> None:
    """What an encoding has stays; without one everything does."""
    assert spelled("±1 ≥ µ", "latin-1") == "±1 >= µ"
    assert spelled("±1 ≥ µ", "utf-8") == "±1 ≥ µ"
    assert spelled("±1 ≥ µ", None) == "±1 ≥ µ"


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_every_text_can_be_said(text: str) -> None:
    """Law: the result has only signs of the encoding, and no question mark that was not there."""
    told = spelled(text, "ascii")
    assert told.isascii()
    assert told.count("?") <= text.count("?") + sum("?" in ch for ch in map(normalised, text) if ch != "?")


def normalised(char: str) -> str:
    import unicodedata

    return unicodedata.normalize("NFKD", char)
