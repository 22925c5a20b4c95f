"""A small right case, and the folder of cases; ``every_key_*.toml`` there use every key (invented numbers)."""

from __future__ import annotations

from pathlib import Path

FILES = Path(__file__).parents[2] / "cases"

#: The least cylindrical cage: required slots only, one line each.
LEAST = """\
[cage]
kind = "cylindrical"
rollers = 8
[dimensions.roller_diameter]
nominal = 50.0
[dimensions.roller_length]
nominal = 60.0
[dimensions.roller_bore]
nominal = 18.0
[dimensions.pin_diameter]
nominal = 17.4
[dimensions.hole_pitch_diameter]
nominal = 150.0
[dimensions.ring_spacing]
nominal = 61.0
[dimensions.inner_raceway]
nominal = 100.0
"""
