"""Contributions: shares, sensitivities, and the change of a fraction for a tighter tolerance."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist

import pytest
from cages import REQUIRED, Table, model_of, plain_stack, sizes_of

from stackup.chain.model import Allowance, Model, Over, Requirement
from stackup.engine import contributions, monte_carlo
from stackup.engine.result import Contribution
from stackup.engine.settings import Settings
from stackup.errors import Interrupted

SIZES: Table = {
    "a": {"nominal": 10.0, "tolerance": 0.3},
    "b": {"nominal": 4.0, "tolerance": 0.6, "process": {"cp": 1.5, "shift": 0.05}},
    "u": {"nominal": 1.0, "tolerance": 0.3, "process": {"shape": "uniform"}},
    "z": {"zone": 0.4},
    "q": {"zone": 0.2},
    "v": {"zone": 0.1},
}
FIXED = {
    "roller_diameter": {"nominal": 30.0}, "roller_length": {"nominal": 60.0}, "roller_bore": {"nominal": 9.6},
    "pin_diameter": {"nominal": 9.0}, "hole_pitch_diameter": {"nominal": 63.2}, "ring_spacing": {"nominal": 60.9},
    "inner_raceway": {"nominal": 33.1},
}  # fmt: skip


def of(model: Model, wanted: Requirement, run: Settings | None = None) -> dict[str, Contribution]:
    """Contributions of one requirement by dimension."""
    found = contributions.run(model, [wanted], run or Settings())[wanted.name]
    return {c.dimension: c for c in found}


def total(formula: str, used: str, **limits: float) -> dict[str, Contribution]:
    """Contributions of one chain of kind none."""
    model = model_of(plain_stack({n: SIZES[n] for n in used}, formula))
    return of(model, Requirement("total", "total", **limits))  # type: ignore[arg-type]


def cage(**changes: Table) -> Model:
    """An exact cage of 6 pockets, some slots with a tolerance."""
    return model_of({"cage": {"kind": "cylindrical", "rollers": 6}, "dimensions": {**FIXED, **changes}})


def test_linear_shares_are_exact() -> None:
    """Shares of a linear gap are a²σ²/Σ, whatever the shapes."""
    found = total("a - 2*b + 3*u", "abu")
    parts = {"a": 0.1**2, "b": (2 * 0.2 / 1.5) ** 2, "u": 9 * 0.3**2 / 3}
    for name, part in parts.items():
        share = found[name].variance_share
        assert share is not None
        assert math.isclose(share, part / sum(parts.values()), rel_tol=1e-12)
    assert [found[n].sensitivity for n in "abu"] == pytest.approx([1.0, -2.0, 3.0], rel=1e-12)
    widths = {"a": 0.3, "b": 1.2, "u": 0.9}
    assert {n: found[n].width_share for n in "abu"} == pytest.approx({n: w / 2.4 for n, w in widths.items()})


def test_largest_share_first() -> None:
    """Contributions stand in the order of their share of the variance."""
    model = model_of(plain_stack({n: SIZES[n] for n in "abu"}, "a - 2*b + 3*u"))
    shares = [c.variance_share for c in contributions.run(model, [Requirement("total", "total")], Settings())["total"]]
    assert shares == sorted(shares, key=lambda s: -(s or 0.0))


def test_zones_of_a_length() -> None:
    """Shares of the length of a sum of zones are t_k²/Σt², within the standard error of the sample."""
    found = total("hypot(z.r + q.r + v.r, z.t + q.t + v.t)", "zqv")
    squares = {"z": 0.4**2, "q": 0.2**2, "v": 0.1**2}
    for name, square in squares.items():
        share, contribution = square / sum(squares.values()), found[name]
        assert contribution.variance_share is not None
        assert abs(contribution.variance_share - share) < 0.02
        # the gradient of a length has length one
        assert math.isclose(contribution.sensitivity, 1.0, rel_tol=1e-6)
    widths = {n: found[n].width_share for n in squares}
    assert widths == pytest.approx({"z": 0.4 / 0.7, "q": 0.2 / 0.7, "v": 0.1 / 0.7})


def test_shares_are_parts_of_one() -> None:
    """All shares together are the whole."""
    found = total("a*b - hypot(z.r, z.t)/u", "abuz")
    assert math.isclose(sum(c.variance_share or 0 for c in found.values()), 1.0, rel_tol=1e-9)
    assert math.isclose(sum(c.width_share or 0 for c in found.values()), 1.0, rel_tol=1e-9)


def test_a_sensitivity_over_all_pockets() -> None:
    """The derivative of a gap between neighbours counts all pockets together: a − a.next does not feel a."""
    tables = {"cage": {"kind": "cylindrical", "rollers": 6}, "dimensions": {**FIXED}}
    tables["dimensions"]["roller_bore"] = {"nominal": 9.6, "tolerance": 0.03}
    tables["chains"] = {"step": {"formula": "roller_bore - roller_bore.next"}}
    found = of(model_of(tables), Requirement("step", "step"))["roller_bore"]
    assert found.sensitivity == 0.0
    assert found.variance_share == 1.0


@pytest.mark.parametrize("over", ["least", "greatest", "mean", "spread"])
def test_folds_pass_their_slopes_on(over: Over) -> None:
    """Through a fold: shares are parts of one; of alike sizes a²σ² decides; there is no share of the width."""
    bore, pin = {"nominal": 9.6, "tolerance": 0.06}, {"nominal": 9.0, "tolerance": 0.03}
    found = of(cage(roller_bore=bore, pin_diameter=pin), Requirement("r", "bore_clearance", over))
    shares = {name: c.variance_share or 0.0 for name, c in found.items()}
    assert math.isclose(sum(shares.values()), 1.0, rel_tol=1e-9)
    assert abs(shares["roller_bore"] - 0.8) < 0.04
    assert all(c.width_share is None for c in found.values())


def test_a_fold_of_what_all_pockets_share() -> None:
    """A fold of a gap that holds only what the cage shares is carried by that."""
    shared = {"scope": "cage", "tolerance": 0.03}
    model = cage(roller_bore={"nominal": 9.6, **shared}, pin_diameter={"nominal": 9.0, **shared})
    found = of(model, Requirement("r", "bore_clearance", "mean", min=0.59))
    assert found["roller_bore"].variance_share == pytest.approx(0.5, abs=0.04)


def test_tighter_exactly() -> None:
    """Of a linear chain of normals the change is that of the exact tail; a shifted mean keeps its shift."""
    found = total("a - 2*b", "ab", min=1.3)
    sd_a, sd_b = 0.1, 0.2 / 1.5

    def below(a: float, b: float) -> float:
        return NormalDist(10 - 2 * (4 + 0.05), math.hypot(a, 2 * b)).cdf(1.3)

    before = below(sd_a, sd_b)
    assert found["a"].tighter == pytest.approx(below(0.9 * sd_a, sd_b) / before - 1, rel=1e-9)
    assert found["b"].tighter == pytest.approx(below(sd_a, 0.9 * sd_b) / before - 1, rel=1e-9)


@pytest.mark.parametrize(("over", "of_"), [("each", "pockets"), ("each", "cages"), ("least", "cages")])
def test_tighter_against_a_recomputation(over: Over, of_: str) -> None:
    """The sampled change of a fraction is that of a new run with a tolerance 10 % tighter."""
    entries: Table = {**FIXED, "roller_bore": {"nominal": 9.6, "tolerance": 0.04}}
    entries |= {
        "hole_position_a": {"zone": 0.4},
        "ring_offset": {"zone": 0.2},
        "pin_diameter": {"nominal": 9.0},
    }
    wanted = Requirement("r", "running_clearance", over, min=0.12, allow=Allowance(100, of_))  # type: ignore[arg-type]

    def fraction(changed: Table) -> float:
        model = model_of({"cage": {"kind": "cylindrical", "rollers": 6}, "dimensions": {**entries, **changed}})
        record = monte_carlo.run(model, [wanted], Settings(cages=60_000)).records["r"]
        found = record.pockets if of_ == "pockets" else record.cages
        assert found is not None
        return found.out_of_spec

    before = fraction({})
    assert 0.005 < before < 0.6
    found = of(cage(**{k: v for k, v in entries.items() if k not in FIXED or v != FIXED[k]}), wanted)
    for name, changed in (
        ("hole_position_a", {"zone": 0.36}),
        ("ring_offset", {"zone": 0.18}),
        ("roller_bore", {"nominal": 9.6, "tolerance": 0.036}),
    ):
        expected = fraction({name: changed}) / before - 1
        tighter = found[name].tighter
        assert tighter is not None
        assert abs(tighter - expected) < 0.1, name
    assert found["pin_diameter"].tighter == 0.0


def test_too_few_failures_say_nothing() -> None:
    """Where next to nothing fails, and nothing is exact, no change is stated."""
    entries = {"roller_bore": {"nominal": 9.6, "tolerance": 0.02}, "hole_position_a": {"zone": 0.1}}
    found = of(cage(**entries), Requirement("r", "running_clearance", min=-1.0))
    assert all(c.tighter is None for c in found.values())


def test_measured_values_do_not_move() -> None:
    """What is as built does not follow a tolerance: no change."""
    entries = sizes_of(REQUIRED, 6, 30.0)
    entries["roller_bore"] = {"values": [9.63 + 0.001 * i for i in range(6)], "uncertainty": 0.002}
    model = model_of({"cage": {"kind": "cylindrical", "rollers": 6}, "dimensions": entries})
    found = of(model, Requirement("r", "bore_clearance", min=0.64))
    assert found["roller_bore"].tighter == 0.0
    assert found["pin_diameter"].tighter != 0.0


def test_without_limits() -> None:
    """A requirement without limits has shares and no change of a fraction."""
    found = total("a - 2*b", "ab")
    assert all(c.tighter is None for c in found.values())


def test_interrupted() -> None:
    """A user who stops gets what is finished."""

    def stop(*_: float | str) -> None:
        raise KeyboardInterrupt

    model = model_of(plain_stack({n: SIZES[n] for n in "ab"}, "a - b"))
    wanted = Requirement("one", "total")
    with pytest.raises(Interrupted) as stopped:
        contributions.run(model, [wanted, replace(wanted, name="two")], Settings(), stop)
    assert list(stopped.value.records) == ["one"]


# Signs of sensitivities -------------------------------------------------------------------------------------------


def test_a_derivative_at_the_mean_has_a_sign() -> None:
    """Of a linear gap sensitivity, mean derivative and sign agree."""
    found = total("a - 2*b", "ab")
    assert [found[n].signed for n in "ab"] == [True, True]
    assert [found[n].mean_sensitivity for n in "ab"] == pytest.approx([1.0, -2.0], rel=1e-12)


def test_a_zone_has_no_sign() -> None:
    """A zone acts in all directions: its root mean square, no mean."""
    found = total("hypot(z.r + q.r, z.t + q.t)", "zq")
    assert [(c.signed, c.mean_sensitivity) for c in found.values()] == [(False, None)] * 2


def test_a_size_behind_a_kink() -> None:
    """Closed form: |a − b| with d = a − b normal about −3 sd has slope sign(d): mean 2Φ(−3) − 1, mean square 1.

    About 0 the mean is 0.  Limits: five standard errors of the sampled mean.
    """
    kinked: Table = {"a": {"nominal": 1.0, "tolerance": 0.3}, "b": {"nominal": 1.3}}
    for nominal, chance in ((1.0, NormalDist().cdf(-3.0)), (1.3, 0.5)):
        sizes = kinked | {"a": {"nominal": nominal, "tolerance": 0.3}}
        found = of(model_of(plain_stack(sizes, "abs(a - b)")), Requirement("total", "total"))["a"]
        mean = 2 * chance - 1
        assert not found.signed
        assert found.sensitivity == pytest.approx(1.0, rel=1e-12)
        assert found.mean_sensitivity == pytest.approx(mean, abs=5 * math.sqrt((1 - mean**2) / contributions.SAMPLES))


def test_all_pockets_together_behind_a_kink() -> None:
    """A gap that two neighbours carry alike feels all bores together twice as much as one: 1, not √½."""
    tables = {"cage": {"kind": "cylindrical", "rollers": 6}, "dimensions": {**FIXED}}
    tables["dimensions"]["roller_bore"] = {"nominal": 9.6, "tolerance": 0.03}
    tables["chains"] = {"step": {"formula": "abs(roller_bore + roller_bore.next - 19.2)/2"}}
    found = of(model_of(tables), Requirement("step", "step"))["roller_bore"]
    assert not found.signed
    assert found.sensitivity == pytest.approx(1.0, rel=1e-12)
    assert found.mean_sensitivity == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize(("over", "sensitivity"), [("least", 1.0), ("mean", 1.0), ("spread", math.sqrt(2))])
def test_signs_through_a_fold(over: Over, sensitivity: float) -> None:
    """All bores together move the least and the mean; a spread feels only differences, one pocket up, one down."""
    bore = {"nominal": 9.6, "tolerance": 0.06}
    found = of(cage(roller_bore=bore), Requirement("r", "bore_clearance", over))["roller_bore"]
    assert found.sensitivity == pytest.approx(sensitivity, rel=1e-12)
    assert found.signed == (over != "spread")
    assert (found.mean_sensitivity is None) == (over == "spread")
