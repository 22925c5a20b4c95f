"""Gains, measured columns, choices, notes and the screen of ``capability``."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from stackup.case import changed, from_mapping, read
from stackup.cli import run
from stackup.decide.capability import capability
from stackup.decide.check import settings_of
from stackup.decide.machines import changes_of, choices_of, cost_of_good_part, scrap
from stackup.decide.measured import measured_column
from stackup.decide.needed import Needed
from stackup.decide.readings import reading_of, spread_of
from stackup.decide.trial import judge
from stackup.dimension import OneSided, Process, Size, Zone
from stackup.dimension.process import Measured
from stackup.engine import monte_carlo
from stackup.engine.settings import Settings
from stackup.engine.variants import held_by
from stackup.report.capability import page
from stackup.report.html import html_of
from stackup.standards.capability import interval_of_k, interval_of_spread, proved

CASES = Path(__file__).parents[2] / "cases"
PINS = CASES / "measured_pins.toml"
FEW = "3000"
UNASKED = Needed("not asked")


# Gains ----------------------------------------------------------------------------------------------------------


def test_gains_are_those_of_the_changed_case() -> None:
    """Of cages that fail any requirement with an allowance, and of each requirement's own population (engines)."""
    case = read(CASES / "bush_stack.toml")
    settings = settings_of(case, cages=20_000)
    found = capability(case, settings)
    wanted = [r for r in case.requirements if r.allow is not None]
    model = case.models()[0].states["made"]
    before = judge(model, wanted, settings)
    for name, changes in (
        ("washer_left", {"process.cp": 1 / 0.9}),
        ("arm", {"process.cp": 1.2 / 0.9, "process.cpk": 1 / 0.9}),
        ("washer_bow", {"process": {"cp": 1 / 0.9}}),
    ):
        other = changed(case, {f"dimensions.{name}.{key}": value for key, value in changes.items()})
        after = judge(other.models()[0].states["made"], wanted, settings)
        gains = found[name].gains
        assert gains.spread == pytest.approx(fall(before.any_requirement.cages, after.any_requirement.cages))
        for r in wanted:
            had, has, gain = (*(t.judgements[r.name].fraction for t in (before, after)), gains.by_requirement[r.name])
            enough = had.out_of_spec * settings.cages >= 10 or name not in held_by(model, r)
            assert gain == (pytest.approx(fall(had, has)) if enough else None)
    centred = changed(case, {"dimensions.arm.process": {"cp": 1.2}})
    after = judge(centred.models()[0].states["made"], wanted, settings)
    assert found["arm"].gains.centring == pytest.approx(
        fall(before.any_requirement.cages, after.any_requirement.cages)
    )
    ranked = [one.gains.spread or 0.0 for one in found.dimensions]
    assert ranked == sorted(ranked, reverse=True)
    assert found["washer_bow"].gains.centring is None


def fall(before: Any, after: Any) -> float:
    return 1 - after.out_of_spec / before.out_of_spec


# Measured columns -------------------------------------------------------------------------------------------------


def size(values: Any, **keys: Any) -> Size:
    return Size("size", 10.0, -0.3, 0.5, process=Process(measured=Measured(np.array(values), **keys)))


def test_a_column_by_hand() -> None:
    """Indices by formula; intervals by chi-square, Bissell and the noncentral t, with n − 1 and within subgroups."""
    values, labels = np.random.default_rng(4).normal(10.15, 0.08, 60), [i // 6 for i in range(60)]
    found = measured_column(size(values, subgroup=labels), UNASKED)
    mean, sd = values.mean(), values.std(ddof=1)
    assert (found.n, found.mean, found.sd, found.limits) == (60, pytest.approx(mean), pytest.approx(sd), (9.7, 10.5))
    assert found.pp.value == pytest.approx(0.8 / (6 * sd))
    assert found.ppk.value == pytest.approx(min(10.5 - mean, mean - 9.7) / (3 * sd))
    assert (found.pp.low, found.pp.high) == pytest.approx(interval_of_spread(found.pp.value, 59))
    assert (found.ppk.low, found.ppk.high) == pytest.approx(interval_of_k(found.ppk.value, 60, 59))
    assert found.proved == pytest.approx(proved(found.ppk.value, 60))
    within = np.sqrt(np.mean(values.reshape(10, 6).var(axis=1, ddof=1)))  # subgroups of one size
    assert found.cp.value == pytest.approx(0.8 / (6 * within))
    assert (found.cp.low, found.cp.high) == pytest.approx(interval_of_spread(found.cp.value, 50))
    assert found.subgroups == 10
    assert (found.conform_limits, found.proofs["not proved"]) == ((9.7, 10.5), 0)


def test_the_measurement_is_taken_out() -> None:
    """σ² = s² − u²; all parts of a noisy measurement leave no index; u guards the limits."""
    values = np.random.default_rng(5).normal(10.1, 0.10, 80)
    plain, clean = (measured_column(size(values, uncertainty=u), UNASKED) for u in (None, 0.04))
    sd = values.std(ddof=1)
    assert clean.process_sd == pytest.approx(np.sqrt(sd**2 - 0.04**2))
    assert clean.pp.value / plain.pp.value == pytest.approx(sd / clean.process_sd)
    wider = [(c.pp.high - c.pp.low) / c.pp.value for c in (plain, clean)]
    assert wider[1] > wider[0]
    assert clean.conform_limits == pytest.approx((9.7 + 1.6448536 * 0.04, 10.5 - 1.6448536 * 0.04))
    assert sum(clean.proofs.values()) == 80
    noise = measured_column(size(values, uncertainty=0.2), UNASKED)
    assert (noise.pp.value, noise.proved, noise.process_sd) == (None, None, None)
    assert any("the measurement alone" in note for note in noise.notes)
    assert any("scatter of the measurement included" in note for note in noise.notes)


def test_the_uncertainty_is_recovered() -> None:
    """Coverage of the intervals with the measurement taken out: 95 % within four standard errors (simulation)."""
    rng, runs, inside = np.random.default_rng(6), 400, 0
    for _ in range(runs):
        values = rng.normal(10.1, 0.10, 40) + rng.normal(0, 0.05, 40)
        column = Measured(values, uncertainty=0.05)
        reading = reading_of(Size("size", 10.0, -0.3, 0.5), column)
        low, high = spread_of(reading, reading.sd, reading.freedom(40), 0.05).interval_by_spread()
        inside += low <= 0.8 / 0.6 <= high
    assert abs(inside / runs - 0.95) < 4 * np.sqrt(0.95 * 0.05 / runs)


def test_lines_of_the_file(tmp_path: Path) -> None:
    """Outliers are named by the line of the file, its names in line 1, empty lines counted."""
    rows = [f"{value:.4f}" for value in np.random.default_rng(8).normal(10.0, 0.05, 30)]
    (tmp_path / "parts.csv").write_text("\n".join(["d", *rows[:10], "", "11.5", *rows[10:]]) + "\n")
    case = from_mapping({
        "cage": {"kind": "none"},
        "dimensions": {"d": {"nominal": 10.0, "tolerance": 0.3, "process": {"data": "parts.csv#d"}}},
        "chains": {"gap": {"formula": "d"}},
    }, folder=tmp_path)  # fmt: skip
    assert measured_column(case.dimensions["d"], UNASKED).outliers == (13,)


def test_points_by_the_radial_law() -> None:
    """Index 1 where 99.73 % of lengths lie within the radius: that of a stated zone is found again (simulation)."""
    zone = Zone("zone", 0.2, process=Process(cp=1.3, offset=(0.01, -0.02)))
    points = np.array([np.empty((1, 40_000)), np.empty((1, 40_000))])
    scratch = np.empty((1, 40_000)), np.empty((1, 40_000))
    zone.law.sample(monte_carlo.stream(1, "zone", 0), tuple(points), scratch)
    values = points[:, 0, :].T
    found = measured_column(replace(zone, process=Process(measured=Measured(values))), UNASKED)
    error = 1.3 / np.sqrt(2 * 80_000)
    assert found.pp.value == pytest.approx(1.3, abs=4 * error)
    assert found.ppk.value == pytest.approx(1.3 * (1 - np.hypot(0.01, 0.02) / 0.1), abs=5 * error)
    assert (found.quantile_pk, found.limits) == (None, (None, 0.1))
    centred = Zone("zone", 0.2, process=Process(measured=Measured(2 * np.hypot(*values.T), diameter=True)))
    by_diameter = measured_column(centred, UNASKED)
    assert by_diameter.pp.value == by_diameter.ppk.value < found.pp.value
    assert by_diameter.normal_p is None


def test_one_sided_values_take_the_quantile_form() -> None:
    """A runout is not normal: the quantile form, (U − X₅₀)/(X₉₉.₈₆₅ − X₅₀), no Pp (Rayleigh, by its law)."""
    runout = OneSided("runout", 0.05, process=Process(cp=1.0))
    values = np.asarray(runout.law.quantile((np.arange(1000) + 0.5) / 1000))
    found = measured_column(replace(runout, process=Process(measured=Measured(values))), UNASKED)
    middle, high = runout.law.quantile(np.array([0.5, 0.99865]))
    assert (found.pp.value, found.quantile_p, found.form) == (None, None, "quantile")
    assert found.quantile_pk == pytest.approx((0.05 - middle) / (high - middle), rel=0.1)
    assert found.limits == (None, 0.05)


def test_how_many_parts_would_prove_it() -> None:
    """As many as prove the needed index, if they show the same; none where the index is below it."""
    values = np.random.default_rng(9).normal(10.1, 0.1, 50)
    shown = measured_column(size(values), UNASKED).ppk.value
    enough = measured_column(size(values), Needed("found", 0.9 * shown, 1.0)).needed_n
    assert proved(shown, enough) >= 0.9 * shown > proved(shown, enough - 1)
    assert measured_column(size(values), Needed("found", 1.1 * shown, 1.0)).needed_n is None


# Choices ----------------------------------------------------------------------------------------------------------

PROCESSES: list[Any] = [
    Size("d", 10.0, -0.1, 0.05, process=Process(cp=0.7, shift=0.02)),
    Size("d", 10.0, -0.1, 0.1, process=Process(shape="triangular", cp=0.8, mode=0.3)),
    Size("d", 10.0, -0.1, 0.1, process=Process(cp=0.6, inspected=True)),
    OneSided("d", 0.05, process=Process(cp=0.6)),
    Zone("d", 0.2, process=Process(cp=0.7)),
    Zone("d", 0.2, process=Process(cp=0.8, offset=(0.03, 0.04))),
    Zone("d", 0.2, process=Process(shape="uniform", cp=0.7, offset=(0.03, 0.04))),
    Zone("d", 0.2, process=Process(shape="uniform", cp=4.0, offset=(0.08, 0.0))),
]


@pytest.mark.parametrize("dimension", PROCESSES)
def test_scrap_is_what_is_drawn_outside(dimension: Any) -> None:
    """Of what the process makes, before inspection, by drawing 200 000 parts: within four standard errors."""
    n, process = 200_000, replace(dimension.process, inspected=False)
    out = tuple(np.empty((1, n)) for _ in dimension.components)
    drawn = replace(dimension, process=process)
    drawn.law.sample(monte_carlo.stream(1, "d", 0), out, (np.empty((1, n)), np.empty((1, n))))
    if isinstance(dimension, Size):
        low, high = dimension.limits
        outside = np.mean((out[0] < low) | (out[0] > high))
    else:
        length = np.hypot(*out) if len(out) == 2 else out[0]
        outside = np.mean(length > (0.1 if len(out) == 2 else 0.05))
    found = scrap(dimension)
    assert found == pytest.approx(outside, abs=4 * np.sqrt(max(found * (1 - found), 1 / n) / n))


def test_scrap_of_a_disc_inside_and_outside() -> None:
    """A disc that holds the zone: 1 − (R/ρ)²; one within it: none; one beyond it: all (closed form)."""
    for cp, offset, expected in ((0.5, 0.0, 0.75), (2.0, 0.04, 0.0), (5.0, 0.13, 1.0)):
        zone = Zone("d", 0.2, process=Process(shape="uniform", cp=cp, offset=(offset, 0.0)))
        assert scrap(zone) == pytest.approx(expected, abs=1e-12)
    assert scrap(Size("d", 10.0)) == 0.0
    assert cost_of_good_part(1.2, 0.25) == pytest.approx(1.6)
    assert cost_of_good_part(1.0, 1.0) == np.inf


def test_what_a_choice_changes() -> None:
    """Stated capability replaces the column; an unstated side is tried both ways; a bare tolerance keeps all else."""
    case = read(PINS)
    bare, again, grinder = (changes_of(said, choice) for said, choice in choices_of(case))
    assert bare == [{"dimensions.pin_diameter.tolerance": "h7"}]
    assert [len(each) for each in (again, grinder)] == [1, 2]
    made = changed(case, grinder[1]).dimensions["pin_diameter"].process  # type: ignore[attr-defined]
    assert (made.cp, made.cpk, made.toward, made.measured) == (1.5, 1.3, "lower", None)


def test_choices_are_judged() -> None:
    """The verdict with each alone put in is that of the changed case, on both sides where the side is unstated."""
    case = read(PINS)
    settings = settings_of(case, cages=int(FEW))
    for one, (said, choice) in zip(capability(case, settings).machines, choices_of(case), strict=True):
        models = [changed(case, changes).models()[0].states["made"] for changes in changes_of(said, choice)]
        verdicts = [judge(model, case.requirements, settings).verdict for model in models]
        assert one.verdict == max(verdicts, key=["met", "undecided", "not met"].index)
        assert one.good_part == pytest.approx(choice.cost / (1 - one.scrap))


def test_a_choice_that_cannot_be(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A zone takes no shift: the choice is shown with the reason, the others stand."""
    case = tmp_path / "case.toml"
    case.write_text(
        'cage = { kind = "none" }\ndimensions.z = { zone = 0.1, choices = [{ name = "m", tolerance = 0.1, cost = 1, '
        'shift = 0.1 }, { name = "n", tolerance = 0.1, cost = 1, cp = 2.0 }] }\nchains.g.formula = "z.r"\n'
        "requirements.g = { min = -0.05 }\n"
    )
    assert run(["capability", str(case), "--json", "--cages", "100"]) == 0
    first, second = json.loads(capsys.readouterr().out)["choices"]
    assert (first["verdict"], second["verdict"]) == (None, "met")
    assert "shift" in first["why"]


# The command ------------------------------------------------------------------------------------------------------


def test_exit_codes(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """0: the case as given meets all; 1: not, by worst case too; 2: wrong input; the answer alone with --quiet."""
    assert run(["capability", str(PINS), "--cages", FEW, "--quiet"]) == 1
    out = capsys.readouterr().out
    assert out.startswith("NOT MET: bore_clearance")
    assert out.count("\n") <= 3
    file = tmp_path / "case.toml"
    text = PINS.read_text().replace("measured_pins.csv", str(CASES / "measured_pins.csv"))
    file.write_text(text)
    assert run(["capability", str(file)]) == 2
    stack = '[cage]\nkind = "none"\n[dimensions]\na = { nominal = 1.0, tolerance = 0.1 }\n[chains.g]\nformula = "a"\n'
    for limit, code in (("", 0), ("[requirements.g]\nmin = 0.9\n", 0), ("[requirements.g]\nmin = 0.95\n", 1)):
        file.write_text(stack + limit)
        capsys.readouterr()
        assert run(["capability", str(file), "--cages", "100"]) == code
        assert ("NOT MET" in capsys.readouterr().out) == (code == 1)


def test_the_screen() -> None:
    """What a process has is rounded down, what is needed up; worst cases, lines of outliers and allocate are told."""
    case = read(PINS)
    result = capability(case, settings_of(case, cages=int(FEW)))
    shown = html_of(page(result))
    for said in (
        "which no Cpk moves: weld_gap (met)", "line 38", "stackup allocate chooses", "lathe, as measured",
        "proved good", "Shapiro-Wilk", "not alone",
    ):  # fmt: skip
        assert said in shown
    ppk = result["pin_diameter"].cpk
    assert ppk == result.measured[0].ppk.value
    assert f"{np.floor(100 * ppk) / 100:.2f}" in shown


def test_the_same_for_any_number_of_workers() -> None:
    case = read(CASES / "bush_stack.toml")
    one, two = (capability(case, Settings(cages=9000, workers=workers)).to_dict() for workers in (1, 2))
    assert one == two
