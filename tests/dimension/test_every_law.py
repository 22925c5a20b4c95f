"""Every way to state a dimension, drawn and compared with what its law says of itself."""

from __future__ import annotations

import itertools
import math
import subprocess
import sys
import time

import numpy as np
import pytest
from dimension_draws import SIGMAS, draw, generator

from stackup.dimension import Dimension, Harmonic, Measured, OneSided, Process, Size, Zone

POCKETS = 6
COLUMN = generator(1).normal(17.39, 0.004, 57)
PAIRS = generator(2).multivariate_normal([0.01, -0.004], [[4e-4, 1e-4], [1e-4, 2e-4]], 60)
DIAMETERS = 2 * np.hypot(*PAIRS.T)
RING = {"pattern": (Harmonic(2, amplitude=0.006, phase_deg=20),), "drift": 0.003}
ZONE_RING = {"pattern": (Harmonic(1, r=0.02, t=0.01),), "drift": (0.01, 0.02)}

SIZES = {
    "normal": {},
    "uniform": {"shape": "uniform"},
    "triangular": {"shape": "triangular", "mode": 0.5},
    "trapezoid": {"shape": "trapezoid", "flat": 0.4},
    "beta": {"shape": "beta", "a": 0.6, "b": 2.0},
    "smoothed": {"measured": Measured(COLUMN)},
    "resampled": {"measured": Measured(COLUMN, "resampled")},
}
ONE_SIDED = {
    "rayleigh": {},
    "half-normal": {"shape": "half-normal"},
    "lognormal": {"shape": "lognormal", "sigma": 0.4},
    "uniform": {"shape": "uniform"},
    "smoothed": {"measured": Measured(np.abs(COLUMN - 17.39))},
}
ZONES = {
    "normal": {"cp": 0.7},
    "uniform": {"cp": 0.7, "shape": "uniform"},
    "pairs": {"measured": Measured(PAIRS)},
    "resampled pairs": {"measured": Measured(PAIRS, "resampled")},
    "diameters": {"measured": Measured(DIAMETERS, diameter=True)},
    "resampled diameters": {"measured": Measured(DIAMETERS, "resampled", diameter=True)},
}


def dimensions() -> dict[str, Dimension]:
    """All combinations that are no fault."""
    found: dict[str, Dimension] = {}
    for (name, keys), inspected, ring in itertools.product(SIZES.items(), (False, True), ({}, RING)):
        process = Process(**keys, inspected=inspected, **ring)
        for own in ({}, {"lot_share": 0.6}, {"scope": "cage"}, {"sorted_to": 0.0045}):
            if not (ring and ("scope" in own or "sorted_to" in own)):
                label = f"size {name}{' inspected' * inspected}{' ring' * bool(ring)} {own}"
                found[label] = Size("a", 17.4, -0.02, 0.01, pockets=POCKETS, process=process, **own)
    for (name, keys), inspected, share in itertools.product(ONE_SIDED.items(), (False, True), (0.0, 0.6)):
        process = Process(**keys, inspected=inspected)
        label = f"one-sided {name}{' inspected' * inspected} {share}"
        found[label] = OneSided("k", 0.02, pockets=POCKETS, process=process, lot_share=share)
    for (name, keys), inspected, extra in itertools.product(
        ZONES.items(), (False, True), ({}, ZONE_RING, {"offset": (0.02, -0.03)}, {"offset": (0.06, 0.03)})
    ):
        for own in ({}, {"lot_share": 0.6}, {"scope": "cage"}):
            measured = "measured" in keys
            if not (measured and ("offset" in extra or "lot_share" in own)) and not (
                "pattern" in extra and "scope" in own
            ):
                label = (
                    f"zone {name}{' inspected' * inspected} {sorted(extra)}{extra.get('offset', '')} {own}"
                )
                process = Process(**keys, inspected=inspected, **extra)
                found[label] = Zone("z", 0.1, pockets=POCKETS, process=process, **own)
    return found


ALL = dimensions()


def errors(samples: np.ndarray, expected: float, slack: float) -> float:
    """Standard errors between the mean of ``samples``, one per cage, and ``expected``, less a known slack."""
    error = samples.std(ddof=1) / math.sqrt(len(samples))
    return max(abs(samples.mean() - expected) - slack, 0.0) / max(error, 1e-300)


@pytest.mark.parametrize("name", ALL)
def test_draws_and_law_agree(name: str) -> None:
    """Means, central moments, and the covariance of two pockets, of every component."""
    dimension = ALL[name]
    law = dimension.law
    drawn = draw(dimension, 4000, seed=sum(name.encode()))
    slack = 3e-3 if "zone pairs inspected" in name else 1e-6  # quadrature of smoothed pairs that a disc cuts
    for k, values in enumerate(drawn):
        assert np.isfinite(values).all()
        sd = math.sqrt(law.moments[k][0])
        unit = (values - np.reshape(law.mean[k], (-1, 1))) / sd
        assert errors(unit.mean(axis=0), 0.0, slack) <= SIGMAS
        for order in (2, 3, 4):
            expected = law.moments[k][order - 2] / sd**order
            assert errors((unit**order).mean(axis=0), expected, 4 * slack) <= SIGMAS, order
        if dimension.scope == "pocket":
            pairs = (unit.sum(axis=0) ** 2 - (unit**2).sum(axis=0)) / (POCKETS * (POCKETS - 1))
            assert errors(pairs, law.shared[k, k] / sd**2, 3e-3 * bool(law.shared[k, k])) <= SIGMAS


@pytest.mark.parametrize("name", ALL)
def test_parts_add_up(name: str) -> None:
    """own + shared = the whole covariance; a part's second moment is its variance; a cage has no own part."""
    dimension = ALL[name]
    law = dimension.law
    whole = law.own + law.shared
    assert np.allclose(whole, whole.T, rtol=1e-12)
    for k, moments in enumerate(law.moments):
        assert whole[k, k] == pytest.approx(moments[0], rel=1e-9)
        assert len(moments) == len(law.own_moments[k]) == len(law.shared_moments[k]) == 7
        assert law.own_moments[k][0] == pytest.approx(law.own[k, k], rel=2e-3, abs=1e-6 * whole[k, k])
        assert law.shared_moments[k][0] == pytest.approx(law.shared[k, k], rel=2e-3, abs=1e-6 * whole[k, k])
        if dimension.scope == "cage":
            assert law.own[k, k] == 0.0


@pytest.mark.parametrize(
    "name", [name for name in ALL if "lot_share" not in name and not name.startswith("zone")]
)
def test_scores_give_the_quantiles(name: str) -> None:
    """A value's score z stands at the quantile of Φ(z)."""
    law = ALL[name].law
    z = np.array([-3.0, -0.4, 0.0, 1.2, 3.1])
    u = np.array(
        [1.349898031630095e-3, 0.3445782583896758, 0.5, 0.8849303297782918, 0.9990323967867817]
    )  # Φ(z)
    assert law.from_scores(z)[0] == pytest.approx(law.quantile(u, pocket=0), rel=1e-9)


def test_drawing_again_gives_the_same() -> None:
    for name in list(ALL)[::7]:
        one, other = draw(ALL[name], 50, seed=3), draw(ALL[name], 50, seed=3)
        assert all(np.array_equal(a, b) for a, b in zip(one, other, strict=True)), name


def test_only_normal_laws_say_so() -> None:
    """Exact tails may be used for these alone."""
    said = {name for name, dimension in ALL.items() if dimension.law.is_normal}
    assert said == {
        name
        for name in ALL
        if name.split()[1] == "normal" and "inspected" not in name and "sorted" not in name
    }


SOURCE = """
import sys, time
from stackup.dimension import OneSided, Process, Size, Zone
start = time.perf_counter()
made = [Size("a", 17.4, -0.02, 0, process=Process(cp=1 + 0.01 * i, inspected=i % 3 == 0)) for i in range(15)]
made += [Zone("z", 0.05 + 0.01 * i, pockets=40, process=Process(inspected=i % 2 == 0)) for i in range(12)]
made += [OneSided("k", 0.03) for i in range(7)] + [Size("r", 50, -0.02, 0, sorted_to=0.004)]
for dimension in made:
    law = dimension.law
    law.mean, law.own, law.shared, law.moments, law.own_moments, dimension.region
assert not {"scipy", "scipy.special", "sympy"} & set(sys.modules)
print(time.perf_counter() - start)
"""


def test_laws_are_quick_to_build() -> None:
    """35 usual dimensions with their variances and moments: well below 60 ms; no scipy is loaded for them."""
    command = [sys.executable, "-c", SOURCE]
    runs = [subprocess.run(command, capture_output=True, text=True, check=True) for _ in range(3)]
    assert min(float(run.stdout) for run in runs) < 0.06


def test_tables_are_made_when_first_drawn() -> None:
    """Not when a law is built: `check` of a wrong file should not wait for them."""
    start = time.perf_counter()
    _ = Size("a", 17.4, -0.02, 0.0, process=Process(shape="beta", a=2.2, b=3.3)).law.own
    assert time.perf_counter() - start < 0.05
