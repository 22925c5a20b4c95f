"""``allocate``: against enumeration and conditions of the optimum, nominals, classes, choices, conflicts, files."""

from __future__ import annotations

import itertools
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

import stackup
from stackup.case import Case, changed, from_mapping, read
from stackup.cli import run
from stackup.decide.allocate import allocate
from stackup.decide.limits import limits_of
from stackup.decide.machines import scrap
from stackup.decide.optimise import Problem, solve
from stackup.decide.plan import plan_of
from stackup.decide.trial import judge
from stackup.engine.settings import Settings
from stackup.errors import CaseError, Interrupted

CASES = Path(__file__).parents[2] / "cases"
FEW = Settings(cages=2000)
ALLOW = {"ppm": 2e6 * float(norm.sf(3)), "of": "pockets"}


def stack(dimensions: dict[str, Any], formula: str, **requirement: Any) -> Case:
    return from_mapping(
        {
            "cage": {"kind": "none"},
            "dimensions": dimensions,
            "chains": {"gap": {"formula": formula}},
            "requirements": {"gap": requirement},
        }
    )


def reciprocal(rate: float, fixed: float = 0.0, power: float = 1.0) -> dict[str, Any]:
    return {"model": "reciprocal", "fixed": fixed, "rate": rate, "power": power}


def problem(case: Case) -> Problem:
    return Problem(plan_of(case), limits_of(case.models()[0].states["made"], case.requirements, FEW))


# --- the optimum ------------------------------------------------------------------------------------------------


@st.composite
def discrete(draw: Any) -> tuple[dict[str, Any], bool]:
    """Three dimensions with two to four choices each (tolerance, cost, cp), and whether the law decides."""
    dimensions = {}
    for name in "abc":
        count = draw(st.integers(2, 4))
        choices = [
            {"name": f"p{i}", "tolerance": draw(st.integers(2, 40)) / 100, "cost": draw(st.integers(10, 90)) / 10,
             "cp": draw(st.sampled_from([1.0, 1.33, 1.67]))}
            for i in range(count)
        ]  # fmt: skip
        dimensions[name] = {"nominal": 10.0, "tolerance": 0.1, "choices": choices}
    return dimensions, draw(st.booleans())


@settings(max_examples=12)
@given(discrete(), st.integers(10, 60))
def test_choices_against_full_enumeration(posed: tuple[dict[str, Any], bool], room: int) -> None:
    """The cheapest of all combinations, by hand: worst case Σt ≤ room, or 3·√Σ(t/3cp)² ≤ room."""
    dimensions, by_law = posed
    more = {"allow": ALLOW} if by_law else {}
    case = stack(dimensions, "a + b - c", min=10 - room / 100, max=10 + room / 100, **more)
    best = math.inf
    for chosen in itertools.product(*(d["choices"] for d in dimensions.values())):
        taken = (
            math.sqrt(sum((one["tolerance"] / one["cp"]) ** 2 for one in chosen))
            if by_law
            else sum(one["tolerance"] for one in chosen)
        )
        if taken <= room / 100 + 1e-12:
            # a part outside its tolerance is scrap, and the good ones pay for it: a normal one beyond ±3·cp sigma
            best = min(best, sum(one["cost"] / (1 - 2 * float(norm.sf(3 * one["cp"]))) for one in chosen))
    found = solve(problem(case))
    assert (found is None) == (best == math.inf)
    if found is not None:
        assert found.proved
        assert found.cost == pytest.approx(best, rel=1e-9)


@pytest.mark.parametrize("by_law", [False, True])
def test_conditions_of_the_optimum(by_law: bool) -> None:
    """KKT: cost slope = price·margin slope for every free half-width inside its ends, and the limit is used up."""
    dimensions = {
        n: {"nominal": 10.0 + i, "tolerance": 0.1, "cost": reciprocal(rate, 0.2, power)}
        for i, (n, rate, power) in enumerate([("a", 0.05, 1.0), ("b", 0.11, 0.7), ("c", 0.02, 1.4)])
    }
    dimensions["d"] = {"nominal": 5.0, "tolerance": 0.05, "cost": {"model": "exponential", "fixed": 0.1, "rate": 3.0,
                                                                    "scale": 0.04}}  # fmt: skip
    more = {"allow": ALLOW} if by_law else {}
    posed = problem(stack(dimensions, "2*a - b + c - d", min=15.6, max=16.4, **more))
    found = solve(posed)
    assert found is not None
    assert found.proved
    z = np.array([found.assigned[p.name].half / p.before for p in posed.places])
    margins, slopes = posed.margins(z)
    assert margins.min() == pytest.approx(0.0, abs=1e-8)
    price = found.prices["gap"]
    assert price is not None
    assert price > 0
    active = int(np.argmin(margins))
    residual = posed.costs(z)[1].sum(axis=0) - price * slopes[active]
    if not by_law:  # both sides are used up: they share the price
        residual = posed.costs(z)[1].sum(axis=0) - price * slopes.mean(axis=0)
    assert np.abs(residual).max() <= 1e-5 * np.abs(posed.costs(z)[1]).max()


def test_recentring_is_cheaper_than_tightening() -> None:
    """Closed form: a − b in 0.1 … 0.5 with the middle at 0.2; recentred by 0.1 each half-width may be 0.1, not 0.05."""
    dimensions = {
        "a": {"nominal": 5.2, "tolerance": 0.2, "cost": reciprocal(1.0), "nominal_range": [5.0, 5.6]},
        "b": {"nominal": 5.0, "tolerance": 0.2, "cost": reciprocal(1.0)},
    }
    result = allocate(stack(dimensions, "a - b", min=0.1, max=0.5), FEW)
    assert result.works
    assert result.cost_after == pytest.approx(2 / 0.1, rel=1e-3)
    lines = {line.name: line for line in result.dimensions}
    assert lines["a"].nominal_after == pytest.approx(5.3, abs=1e-3)
    del dimensions["a"]["nominal_range"]
    fixed = allocate(stack(dimensions, "a - b", min=0.1, max=0.5), FEW)
    assert fixed.cost_after == pytest.approx(2 / 0.05, rel=1e-3)


def test_a_limit_that_is_not_linear_is_met_and_nearly_used_up() -> None:
    """Size less a length: closed form 0.5 − (t₁ + t₂) ≥ 0.3 by worst case, equal costs: 0.1 each."""
    dimensions = {"s": {"nominal": 0.5}, "u": {"zone": 0.1, "cost": reciprocal(1.0)},
                  "v": {"zone": 0.3, "cost": reciprocal(1.0)}}  # fmt: skip
    result = allocate(stack(dimensions, "s - hypot(u.r + v.r, u.t + v.t)", min=0.3), FEW)
    assert result.works
    assert result.optimal == "local"
    assert [line.after for line in result.dimensions if not line.locked] == pytest.approx([0.1, 0.1], rel=2e-3)


def test_two_ends_that_fail_in_turn_do_not_make_it_swing() -> None:
    """s − greatest of two lengths: wherever one zone is small the tail sees the other alone; tighter limits cost more.

    Closed form of equal costs: both zones alike, P(either beyond) = 2·q nearly, the radius by the Rayleigh law.
    """
    zone = {"zone": 0.3, "cost": reciprocal(1.0)}
    costs = []
    for least in (0.30, 0.36, 0.42):
        allow = {"ppm": 5000, "of": "cages"}
        case = stack({"s": {"nominal": 0.5}, "u": zone, "v": dict(zone)},
                     "s - max(hypot(u.r, u.t), hypot(v.r, v.t))", min=least, allow=allow)  # fmt: skip
        result = allocate(case, Settings(cages=8000))
        assert result.works, least
        one, other = (line.after for line in result.dimensions if not line.locked)
        reach = math.sqrt(-2 * math.log(0.0025)) / 3.4393  # in radii of the zone, of which 99.73 % lie within
        assert one == pytest.approx(other, rel=0.15)
        assert math.sqrt(one * other) == pytest.approx((0.5 - least) / reach, rel=0.06)
        costs.append(result.cost_after)
    assert costs == sorted(costs)


# --- steps, classes, processes -------------------------------------------------------------------------------------


def test_a_class_keeps_its_letter() -> None:
    """h7 of 20 mm is 0/−21 µm (ISO 286-1): with 10 µm allowed only h5 (9 µm) or finer holds; the letter stays."""
    dimensions = {"a": {"nominal": 20.0, "tolerance": "h7", "cost": reciprocal(0.01)}}
    result = allocate(stack(dimensions, "20 - a", max=0.010), FEW)
    assert result.works
    assert result.changes == {"dimensions.a.tolerance": "h5"}
    assert result.optimal == "proved"


@pytest.mark.parametrize(
    ("steps", "expected"), [("R5", 0.063), ("R10", 0.08), ("R20", 0.09), (0.03, 0.09), ("IT", 0.125)]
)
def test_steps(steps: Any, expected: float) -> None:
    """The coarsest step of at most 0.095: preferred numbers (ISO 3), multiples; half of IT10 over 400 mm, 0.25/2."""
    nominal = 450.0 if steps == "IT" else 10.0
    most = 0.13 if steps == "IT" else 0.095
    dimensions = {"a": {"nominal": nominal, "tolerance": 0.1, "cost": reciprocal(0.01), "steps": steps}}
    result = allocate(stack(dimensions, f"a - {nominal}", min=-most, max=most), FEW)
    assert result.works
    assert [line.after for line in result.dimensions] == pytest.approx([expected])


def test_scrap_of_a_choice_is_paid_by_the_good_parts() -> None:
    """Closed form: a normal process of cp 0.8 scraps 2·Φ(−2.4) of what it makes."""
    rough = {"name": "rough", "tolerance": 0.1, "cost": 2.0, "cp": 0.8}
    case = stack({"a": {"nominal": 10.0, "tolerance": 0.1, "choices": [rough]}}, "a", max=11.0)
    (option,) = plan_of(case)[0].options
    assert option.cost == pytest.approx(2.0 / (1 - 2 * norm.sf(2.4)), rel=1e-9)
    assert scrap(changed(case, option.changes).dimensions["a"]) == pytest.approx(2 * norm.sf(2.4), rel=1e-9)


def test_the_cheapest_of_the_choices_that_are_judged_met() -> None:
    """Measured pins with three choices: each put in alone and judged, the cheapest good part of those met is taken."""
    case, cages = read(CASES / "measured_pins.toml"), Settings(cages=10_000)
    (place,) = (one for one in plan_of(case) if one.options)
    met = []
    for option in place.options:
        model = changed(case, option.changes).models()[0].states["made"]
        if judge(model, case.requirements, cages).works:
            met.append(option)
    assert 0 < len(met) < len(place.options)
    result = allocate(case, cages)
    assert result.works
    assert result.cost_after == pytest.approx(min(option.cost for option in met))


def test_a_choice_off_centre_may_stand_on_either_side() -> None:
    """cp beside cpk without a side: two options, and the one that helps is taken (a ≤ 10.05 wants the lower side)."""
    skewed = {"name": "skewed", "tolerance": 0.1, "cost": 2.0, "cp": 2.0, "cpk": 1.0}
    case = stack({"a": {"nominal": 10.0, "tolerance": 0.1, "choices": [skewed]}}, "a", max=10.05, allow=ALLOW)
    assert len(plan_of(case)[0].options) == 2
    result = allocate(case, FEW)
    assert result.works
    assert result.changes["dimensions.a.process.toward"] == "lower"


# --- what cannot work ---------------------------------------------------------------------------------------------


def test_the_smallest_conflict_and_the_least_that_cures_it() -> None:
    """b − a ≥ 0.4 and b + c ≤ 9.4 with a and c locked cannot hold together; a third has nothing to do with it."""
    case = from_mapping(
        {
            "cage": {"kind": "none"},
            "dimensions": {
                "a": {"nominal": 4.0, "tolerance": 0.1},
                "b": {"nominal": 4.6, "tolerance": 0.1, "finest": 0.05, "nominal_range": [4, 6], "cost": reciprocal(1)},
                "c": {"nominal": 5.0, "tolerance": 0.1},
            },
            "chains": {"one": {"formula": "b - a"}, "other": {"formula": "b + c"}, "third": {"formula": "a + c"}},
            "requirements": {"one": {"min": 0.4}, "other": {"max": 9.4}, "third": {"max": 9.9}},
        }
    )
    result = allocate(case, FEW)
    assert not result.works
    assert result.conflict is not None
    assert set(result.conflict.requirements) == {"one", "other"}
    assert result.conflict.smallest
    # b − 4.1 − 0.05 ≥ 0.4 asks b ≥ 4.55; b + 0.05 + 5.1 ≤ 9.4 asks b ≤ 4.25: 0.3 in all is missing
    assert sum(result.conflict.relax.values()) == pytest.approx(0.3, abs=1e-4)
    assert result.changes == {}


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"dimensions.a.cost": None}, "dimensions"),
        ({"requirements.gap": None}, "requirements"),
        ({"dimensions.a.tolerance": 0.0}, "dimensions.a.tolerance"),
        ({"dimensions.a.steps": 1e-7}, "dimensions.a.steps"),
        ({"dimensions.a.steps": 5.0}, "dimensions.a.tolerance"),
    ],
)
def test_faults(change: dict[str, Any], key: str) -> None:
    """Nothing to pay for, to meet, or to begin with; steps without end or none: a fault that says where."""
    case = stack({"a": {"nominal": 10.0, "tolerance": 0.1, "cost": reciprocal(0.01)}}, "a", max=11.0)
    with pytest.raises(CaseError) as caught:
        allocate(changed(case, change), FEW)
    assert [fault.key for fault in caught.value.faults] == [key]


def test_an_allowance_that_no_number_of_good_cages_would_prove() -> None:
    """1 ppm of stacks, 2000 drawn: none out says no more than 1843 ppm (1 − 0.025^(1/2000)): said at once."""
    case = stack({"a": {"nominal": 10.0, "tolerance": 0.1, "cost": reciprocal(0.01), "process": {"shape": "uniform"}}},
                 "a", max=11.0, allow={"ppm": 1, "of": "cages"})  # fmt: skip
    with pytest.raises(CaseError) as caught:
        allocate(case, FEW)
    (fault,) = caught.value.faults
    assert fault.key == "requirements.gap.allow.ppm"
    assert "3685" in fault.allowed


def test_a_stop_leaves_a_complete_record() -> None:
    """The user stops while cages are drawn: nothing is claimed, every key is there."""

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    case = stack({"a": {"nominal": 10.0, "tolerance": 0.1, "cost": reciprocal(0.01)}}, "a", max=11.0)
    with pytest.raises(Interrupted) as caught:
        allocate(case, FEW, stop)
    record = caught.value.records.to_dict()
    assert record["interrupted"]
    assert record["cost_after"] is None


# --- the command ------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def small_case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("allocate") / "case.toml"
    file.write_text(
        '# kept\n[cage]\nkind = "none"\n\n[dimensions]\n'
        'a = { nominal = 10.0, tolerance = 0.2, cost = { model = "reciprocal", fixed = 0, rate = 0.1 } }  # the shaft\n'
        "b = { nominal = 9.0, tolerance = 0.05 }\n\n"
        '[chains.gap]\nformula = "a - b"\n\n[requirements.gap]\nmin = 0.85\nmax = 1.15\n'
    )
    return file


def test_the_new_case_is_written_with_its_comments_and_works(small_case: Path, tmp_path: Path, capsys: Any) -> None:
    """-o writes what was promised, keeps comments, overwrites only with --force; check of it ends with 0."""
    new = tmp_path / "new.toml"
    assert run(["allocate", str(small_case), "-o", str(new)]) == 0
    text = new.read_text()
    assert "# kept" in text
    assert "# the shaft" in text
    assert read(new).dimensions["a"].tolerance == pytest.approx(0.1, rel=1e-4)
    assert run(["check", str(new), "--cages", "1000"]) == 0
    assert run(["allocate", str(small_case), "-o", str(new)]) == 2
    assert "--force" in capsys.readouterr().err
    assert new.read_text() == text
    assert run(["allocate", str(small_case), "-o", str(new), "--force", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["optimal"] == "proved"


def test_nothing_is_written_where_nothing_works(small_case: Path, tmp_path: Path, capsys: Any) -> None:
    """Exit code 1, the conflict on the screen, no file."""
    file = tmp_path / "tight.toml"
    file.write_text(small_case.read_text().replace("0.85", "0.97").replace("1.15", "1.03"))
    new = tmp_path / "new.toml"
    assert run(["allocate", str(file), "-o", str(new)]) == 1
    out = capsys.readouterr().out
    assert "NOTHING WORKS" in out
    assert not new.exists()


def test_a_cage_is_met_by_every_engine() -> None:
    """The case with every key, its allowances so wide that few cages prove them: ``check`` meets what is answered."""
    case = read(CASES / "every_key_cage.toml")
    wide = {f"requirements.{r.name}.allow.ppm": max(r.allow.ppm, 5000.0) for r in case.requirements if r.allow}
    case, settings = changed(case, wide), Settings(seed=3, cages=3000)
    result = allocate(case, settings)
    if result.works:
        checked = stackup.check(changed(case, result.changes), settings, all_gaps=False)
        assert checked.verdict == "met"
        assert result.cost_after is not None
    else:
        assert result.changes == {}
