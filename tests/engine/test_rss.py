"""RSS: kinks, lengths, folds, exact flags, variants, and the reasons where there is none."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from cages import REQUIRED, Table, cages, every_gap, model_of, plain_stack, sizes_of
from hypothesis import given, settings
from scipy import stats

from stackup.chain.model import Model, Requirement
from stackup.engine import monte_carlo, rss
from stackup.engine.result import Rss
from stackup.engine.rss import CROSSED, KINKED, NO_FOLD, NO_KINKED_MEAN, NO_TAIL, factor, normal_outside
from stackup.engine.settings import Settings
from stackup.errors import Interrupted

SIZES: Table = {
    "a": {"nominal": 10.0, "tolerance": 0.3},
    "b": {"nominal": 4.0, "tolerance": 0.6},
    "u": {"nominal": 1.0, "tolerance": 0.3, "process": {"shape": "uniform"}},
    "z": {"zone": 0.34393 * 2},
    "k": {"limit": 0.3},
}


def law(formula: str, used: str, run: Settings | None = None, **limits: float) -> tuple[Rss, str]:
    """The RSS of one chain of kind none, and its note; a: sd 0.1, b: sd 0.2, z: sd 0.1 each way."""
    model = model_of(plain_stack({n: SIZES[n] for n in used}, formula))
    found, notes = rss.run(model, [Requirement("total", "total", **limits)], run or Settings())  # type: ignore[arg-type]
    assert found["total"] is not None
    return found["total"], notes.get("total", "")


def cage(**changes: Table) -> Model:
    """A plain cage of 6 pockets with some slots changed."""
    entries = sizes_of(REQUIRED, 6, 30.0) | changes
    return model_of({"cage": {"kind": "cylindrical", "rollers": 6}, "dimensions": entries})


def test_linear() -> None:
    """A sum: variances add, the tail is normal and exact."""
    found, note = law("a - b", "ab", min=5.5, max=6.5)
    sd = math.hypot(0.1, 0.2)
    assert (found.exact, note) == (True, "")
    assert math.isclose(found.mean, 6.0)
    assert math.isclose(found.sd, sd)
    assert found.out_of_spec is not None
    assert math.isclose(found.out_of_spec, 2 * NormalDist().cdf(-0.5 / sd))
    assert math.isclose(found.low, 6 - 3 * sd)
    assert math.isclose(found.high, 6 + 3 * sd)


@pytest.mark.parametrize(("formula", "used", "exact"), [
    ("a - b", "ab", True), ("2*a/3 + 1", "a", True), ("a*b", "ab", False), ("a - u", "au", False),
    ("a + z.r", "az", True), ("a**2", "a", False), ("a - k", "ak", False), ("hypot(a, b)", "ab", False),
])  # fmt: skip
def test_exact(formula: str, used: str, exact: bool) -> None:
    """The first order is the exact law of a linear chain of normals, and of nothing else."""
    assert law(formula, used)[0].exact is exact


def test_a_length_by_its_own_law() -> None:
    """a − |z|: mean, sd and tail are those of a normal less a Rayleigh, and there is no second order."""
    found, note = law("a - hypot(z.r, z.t)", "az", min=9.3)
    assert found.second_order is None
    assert note == KINKED
    assert math.isclose(found.mean, 10 - 0.1 * math.sqrt(math.pi / 2), rel_tol=1e-5)
    assert math.isclose(found.sd, 0.1 * math.sqrt(3 - math.pi / 2), rel_tol=1e-4)
    from scipy.integrate import quad
    from scipy.special import ndtr

    known = quad(lambda r: r * math.exp(-r * r / 2) * ndtr(r - 7), 0, 14, epsabs=1e-15)[0]
    assert found.out_of_spec is not None
    assert math.isclose(found.out_of_spec, known, rel_tol=1e-3)
    assert (found.inflated, found.shifted) == (None, None)


def test_a_length_that_never_ends_is_straight() -> None:
    """A length of many sigma is a smooth number: no kink is reached, second order is there."""
    found, _ = law("hypot(30 + z.r, 40 + z.t)", "z")
    assert found.second_order is not None
    assert math.isclose(found.mean, 50.0)
    assert math.isclose(found.sd, 0.1, rel_tol=1e-4)


@pytest.mark.parametrize(("formula", "mean", "sd"), [
    ("abs(b - 4)", 0.2 * math.sqrt(2 / math.pi), 0.2 * math.sqrt(1 - 2 / math.pi)),
    ("max(b - 4, 0)", 0.2 / math.sqrt(2 * math.pi), 0.2 * math.sqrt(0.5 - 0.5 / math.pi)),
    ("min(a - 10, 2*(b - 4) - 2*(b - 4))", -0.1 / math.sqrt(2 * math.pi), 0.1 * math.sqrt(0.5 - 0.5 / math.pi)),
])  # fmt: skip
def test_kinks(formula: str, mean: float, sd: float) -> None:
    """Magnitude, greatest and least of normal numbers have the moments of half-normal and cut laws."""
    found, note = law(formula, "ab" if "a -" in formula else "b")
    assert note == KINKED
    assert math.isclose(found.mean, mean, rel_tol=1e-3)
    assert math.isclose(found.sd, sd, rel_tol=3e-3)


def test_a_kink_out_of_reach() -> None:
    """A greatest whose other side is never reached is not a kink."""
    found, note = law("max(a, b)", "ab", min=9.7)
    assert note == ""
    assert found.second_order is not None
    assert math.isclose(found.sd, 0.1)


def test_the_greatest_of_two_sums() -> None:
    """The union of smooth pieces: max of two correlated normals (C. E. Clark 1961)."""
    found, _ = law("max(a + b, 14 + 2*(b - 4))", "ab", max=14.6)
    sd1, sd2, cov = math.hypot(0.1, 0.2), 0.4, 2 * 0.04
    theta = math.sqrt(sd1**2 + sd2**2 - 2 * cov)
    mean = 14 + theta / math.sqrt(2 * math.pi)
    second = (sd1**2 + sd2**2) / 2
    assert math.isclose(found.mean, mean, rel_tol=1e-6)
    assert math.isclose(found.sd, math.sqrt(second - (mean - 14) ** 2), rel_tol=1e-3)
    both = stats.multivariate_normal([14, 14], [[sd1**2, cov], [cov, sd2**2]], seed=1)
    assert found.out_of_spec is not None
    assert math.isclose(found.out_of_spec, 1 - both.cdf([14.6, 14.6]), rel_tol=1e-3)


def test_second_order_of_a_square() -> None:
    """a² of a normal a: mean shift σ², the moments of a non-central chi-squared, a tail where it rises."""
    found, note = law("a**2", "a", max=106.0)
    second = found.second_order
    assert second is not None
    assert note == ""
    known = stats.ncx2(1, 100**2, scale=0.01)
    mean, variance, skewness, excess = (float(v) for v in known.stats("mvsk"))
    assert math.isclose(second.mean, mean, rel_tol=1e-12)
    assert math.isclose(second.sd, math.sqrt(variance), rel_tol=1e-12)
    assert second.skewness is not None
    assert second.kurtosis is not None
    assert math.isclose(second.skewness, skewness, rel_tol=1e-8)
    assert math.isclose(second.kurtosis, 3 + excess, rel_tol=1e-8)
    assert second.out_of_spec is not None
    assert math.isclose(second.out_of_spec, known.sf(106.0), rel_tol=1e-3)
    assert found.out_of_spec is not None
    assert abs(found.out_of_spec / known.sf(106.0) - 1) > 0.02  # the first order is not as good


def test_second_order_takes_each_input_s_own_moments() -> None:
    """A uniform number has kurtosis 1.8, and its sum with a normal one what both make."""
    found, _ = law("u", "u")
    assert found.second_order is not None
    assert math.isclose(found.second_order.kurtosis or 0, 1.8, rel_tol=1e-9)
    found, _ = law("a + u", "au")
    va, vu = 0.01, 0.03
    assert found.second_order is not None
    assert math.isclose(found.second_order.kurtosis or 0, 3 - 1.2 * (vu / (va + vu)) ** 2, rel_tol=1e-9)


def test_no_tail_beyond_the_range() -> None:
    """A limit beyond the range on which the expansion rises has no second-order fraction, and a note says so."""
    found, note = law("u", "u", max=1.4)
    assert found.second_order is not None
    assert found.second_order.out_of_spec is None
    assert note == NO_TAIL


def test_correlated_parts() -> None:
    """Where the parts of a zone are correlated there is no second order."""
    offset = {"zone": 0.1, "process": {"offset": [0.03, 0.02], "inspected": True}}
    model = cage(hole_position_a=offset)
    found, notes = rss.run(model, [Requirement("pin_skew", "pin_skew")], Settings())
    assert found["pin_skew"] is not None
    assert found["pin_skew"].second_order is None
    assert notes["pin_skew"] == CROSSED


def test_folds() -> None:
    """A mean over the cage has a law; least, greatest and spread have none, with a reason."""
    bore = {"nominal": 9.6, "tolerance": 0.03, "lot_share": 0.4}
    model = cage(roller_bore=bore, hole_position_a={"zone": 0.1})
    wanted = [Requirement(o, "bore_clearance", o) for o in ("mean", "least", "greatest", "spread")]  # type: ignore[arg-type]
    found, notes = rss.run(model, [*wanted, Requirement("kinked", "running_clearance", "mean")], Settings())
    mean = found["mean"]
    assert mean is not None
    assert mean.exact
    variance = 0.01**2 * (0.4 + 0.6 / 6) + 0.005**2 / 6
    assert math.isclose(mean.sd, math.sqrt(variance), rel_tol=1e-9)
    for name in ("least", "greatest", "spread"):
        assert found[name] is None
        assert notes[name] == NO_FOLD
    assert (found["kinked"], notes["kinked"]) == (None, NO_KINKED_MEAN)


def test_the_mean_of_what_all_pockets_share() -> None:
    """The mean over the cage of a gap that holds only what the cage shares is that gap."""
    shared = {"scope": "cage", "tolerance": 0.03}
    model = cage(roller_bore={"nominal": 9.6, **shared}, pin_diameter={"nominal": 9.0, **shared})
    wanted = [Requirement("each", "bore_clearance"), Requirement("mean", "bore_clearance", "mean")]
    found, _ = rss.run(model, wanted, Settings())
    one, other = found["each"], found["mean"]
    assert one is not None
    assert other is not None
    assert math.isclose(one.sd, other.sd, rel_tol=1e-12)
    assert math.isclose(one.sd, math.hypot(0.01, 0.01), rel_tol=1e-12)


def test_a_random_pocket_of_unlike_pockets() -> None:
    """Columns: mean and variance of a random pocket are those of the mixture."""
    values = [9.6 + 0.01 * i for i in range(6)]
    model = cage(roller_bore={"values": values})
    found, _ = rss.run(model, [Requirement("b", "bore_clearance", min=0.6)], Settings())
    record = found["b"]
    assert record is not None
    pin = 9.0 - 0.015
    assert math.isclose(record.mean, np.mean(values) - pin, rel_tol=1e-12)
    assert math.isclose(record.sd, math.sqrt(np.var(values) + 0.005**2), rel_tol=1e-9)
    known = np.mean([NormalDist(v - pin, 0.005).cdf(0.6) for v in values])
    assert record.out_of_spec is not None
    assert math.isclose(record.out_of_spec, known, rel_tol=1e-9)


def test_inflation() -> None:
    """An inflation factor multiplies sigma."""
    found, _ = law("a - b", "ab", Settings(inflation=1.5), min=5.5)
    sd = 1.5 * math.hypot(0.1, 0.2)
    assert found.inflated is not None
    assert math.isclose(found.inflated.sd, sd)
    assert found.inflated.out_of_spec is not None
    assert math.isclose(found.inflated.out_of_spec, NormalDist().cdf(-0.5 / sd))


def test_mean_shift() -> None:
    """Mean shift m: added, the mean moves by Σ|a_k|·m·T_k; statistical, the variance grows by Σ(a_k·m·T_k)²/3."""
    sd = math.hypot(0.1, 0.2)
    found, _ = law("a - b", "ab", Settings(mean_shift=0.2), min=5.5)
    assert found.shifted is not None
    assert math.isclose(found.shifted.mean, 6 - 0.2 * 0.9)
    assert math.isclose(found.shifted.sd, sd)
    assert found.shifted.out_of_spec is not None
    assert math.isclose(found.shifted.out_of_spec, NormalDist(6 - 0.18, sd).cdf(5.5))
    found, _ = law("a - b", "ab", Settings(mean_shift=0.2, mean_shift_rule="statistical"), min=5.5)
    assert found.shifted is not None
    assert math.isclose(found.shifted.mean, 6.0)
    assert math.isclose(found.shifted.sd, math.sqrt(sd**2 + (0.06**2 + 0.12**2) / 3))


def test_no_variants_unless_asked() -> None:
    """Left out, both are None."""
    found, _ = law("a - b", "ab")
    assert (found.inflated, found.shifted, found.out_of_spec) == (None, None, None)


@pytest.mark.parametrize(("mean", "sd", "expected"), [(1.0, 0.0, 0.0), (3.0, 0.0, 1.0), (-1.0, 0.0, 1.0)])
def test_without_scatter(mean: float, sd: float, expected: float) -> None:
    """A law without scatter is inside or not."""
    assert normal_outside(mean, sd, 0.0, 2.0) == expected


def test_factor() -> None:
    """The factor of a covariance gives it back, with as many columns as its rank, in any units."""
    rng = np.random.default_rng(4)
    half = rng.normal(size=(5, 3)) * np.array([[1e-3], [1.0], [1e5], [1e-6], [10.0]])
    spread = half @ half.T
    found = factor(spread)
    assert found.shape == (5, 3)
    scale = np.sqrt(np.diag(spread))
    assert np.allclose(found @ found.T / np.outer(scale, scale), spread / np.outer(scale, scale), atol=1e-9)
    assert factor(np.zeros((2, 2))).shape == (2, 0)


def test_interrupted() -> None:
    """A user who stops gets what is finished."""

    def stop(done: float, *_: float | str) -> None:
        if done == 2:
            raise KeyboardInterrupt

    model = cage()
    with pytest.raises(Interrupted) as stopped:
        rss.run(model, every_gap(model), Settings(), stop)
    records, _ = stopped.value.records
    assert list(records) == [g.name for g in model.gaps][:2]


@settings(max_examples=6)
@given(cages(normal=True, inspected=False))
def test_rss_against_monte_carlo(tables: Table) -> None:
    """Of normal parts RSS is right to a few per cent of sigma: mean and sd of every gap that has one."""
    model = model_of(tables)
    wanted = [r for r in every_gap(model) if r.gap not in ("entry_stress", "weld_stress")]
    found, _ = rss.run(model, wanted, Settings())
    drawn = monte_carlo.run(model, wanted, Settings(cages=4000)).records
    for name, record in found.items():
        if record is not None and record.sd > 1e-9:
            error = 5 * record.sd / math.sqrt(4000)
            assert abs(record.mean - drawn[name].mean) <= error + 0.05 * record.sd, name
            assert abs(record.sd - drawn[name].sd) <= error + 0.05 * record.sd, name
