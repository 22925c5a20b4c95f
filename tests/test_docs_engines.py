"""What ``docs/engines.md`` says is so: its section on the demo case, and the moments of a quadratic form."""

import itertools
import math
import re
import runpy
from pathlib import Path

import numpy as np
import pytest

from stackup.case import read
from stackup.engine.quadratic import form_moments

ROOT = Path(__file__).parents[1]
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
RELATIVE, LAST_DIGIT = 0.05, 0.0011  # machines may differ in the last bits of what is drawn


def test_the_section_on_the_demo_case_is_up_to_date():
    """Regenerate with ``python docs/make_engines.py``."""
    make = runpy.run_path(str(ROOT / "docs" / "make_engines.py"))
    page = make["PAGE"].read_text(encoding="utf-8")
    shown = page.split(make["BEGIN"])[1].split(make["END"])[0]
    made = make["section"](read(ROOT / "cases" / "demo.toml"))
    assert NUMBER.sub("#", shown) == NUMBER.sub("#", made)
    for old, new in zip(NUMBER.findall(shown), NUMBER.findall(made), strict=True):
        assert math.isclose(float(old), float(new), rel_tol=RELATIVE, abs_tol=LAST_DIGIT), (old, new)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_moments_of_a_quadratic_form_against_enumeration(count):
    """Laws of three points each, every combination summed."""
    rng = np.random.default_rng(count)
    points, weights = rng.normal(size=(count, 3)), rng.dirichlet(np.ones(3), size=count)
    points -= (points * weights).sum(axis=1, keepdims=True)
    a, h = rng.normal(size=count), rng.normal(size=(count, count))
    h += h.T
    moments = np.array([[(w * x**k).sum() for k in range(9)] for x, w in zip(points, weights, strict=True)])
    form = form_moments(a, h, moments)
    values, chances = [], []
    for pick in itertools.product(range(3), repeat=count):
        u = points[range(count), pick]
        values.append(a @ u + 0.5 * u @ h @ u)
        chances.append(np.prod(weights[range(count), pick]))
    values, chances = np.array(values), np.array(chances)
    mean = (chances * values).sum()
    central = [(chances * (values - mean) ** k).sum() for k in (2, 3, 4)]
    assert [form.mean, form.variance, form.third, form.fourth] == pytest.approx([mean, *central], rel=1e-11)
