"""A fit in words: clearance, interference, or from one to the other."""

from __future__ import annotations

import io
import json

import pytest

from stackup.report import lists, terminal
from stackup.report.json import text_of as json_of
from stackup.standards.iso286 import fit


@pytest.mark.parametrize(
    ("shaft", "words", "least", "most"),
    [
        ("g6", "clearance 9 … 50 µm", 0.009, 0.050),
        ("h6", "clearance 0 … 41 µm", 0.0, 0.041),
        ("k6", "from 18 µm interference to 23 µm clearance", -0.018, 0.023),
        ("s6", "interference 18 … 59 µm", -0.059, -0.018),
    ],
)
def test_fit_of_50_h7(shaft: str, words: str, least: float, most: float) -> None:
    """Published (ISO 286-2, over 40 to 50 mm): H7 0/+25, g6 −25/−9, h6 −16/0, k6 +2/+18, s6 +43/+59 µm."""
    found = fit(50.0, "H7", shaft)
    text = terminal.text_of(lists.limits_page((found.hole, found.shaft), found), io.StringIO())
    assert text.splitlines()[-1] == words
    record = json.loads(json_of(lists.limits_record((found.hole, found.shaft), found)))
    assert record["fit"] == {"clearance_min": pytest.approx(least), "clearance_max": pytest.approx(most)}
