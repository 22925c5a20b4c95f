"""``check`` on small cases: populations, exact tails, rows and states, interruption, workers."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from scipy.stats import norm

import stackup
from stackup.case import Case, Row
from stackup.decide import engines
from stackup.decide.check import settings_of
from stackup.engine.settings import Settings
from stackup.errors import Interrupted

CASES = Path(__file__).parents[2] / "cases"
FEW = {"cages": 2000}

#: four pockets; a gap of normals that is drawn anew for each pocket, one that a cage shares, one that is mixed
POCKETS: dict[str, Any] = {
    "cage": {"kind": "none"},
    "dimensions": {
        "a": {"nominal": 1.0, "tolerance": 0.3},
        "b": {"nominal": 0.4, "tolerance": 0.3, "scope": "cage"},
        "c": {"limit": 0.1},
    },
    "chains": {
        "own": {"formula": "2*a"},
        "shared": {"formula": "2*b"},
        "mixed": {"formula": "a - b - c"},
    },
    "requirements": {
        "own": {"max": 2.4},
        "own_in_series": {"gap": "own", "max": 2.4, "allow": {"ppm": 24_000, "of": "pockets"}},
        "shared": {"min": 0.0, "max": 1.0, "allow": {"ppm": 100, "of": "bearings"}},
        "mixed": {"min": -1.0, "allow": {"ppm": 3000, "of": "cages"}},
    },
}


@pytest.fixture(scope="module")
def stack() -> stackup.CheckResult:
    """Check the small stack."""
    case = stackup.from_mapping(POCKETS)
    return stackup.check(case, settings_of(case, **FEW))


def test_order_and_gaps_without_requirement() -> None:
    """Requirements in the order of the case, then every gap that none of them names."""
    mapping = {**POCKETS, "requirements": {"mixed": {"min": -1.0}}}
    case = stackup.from_mapping(mapping)
    result = stackup.check(case, settings_of(case, **FEW))
    assert [record.name for record in result.requirements] == ["mixed", "own", "shared"]
    free = result["own"].to_dict()
    assert [free[key] for key in ("verdict", "fraction", "min", "max", "allow")] == [None] * 5
    assert free["monte_carlo"]["pockets"] is None
    assert result.verdict == "met"


def test_exact_tail_of_linear_chains_of_normals(stack: stackup.CheckResult) -> None:
    """Closed form: 2a is normal about 2 with sd 0.2; both tails of 2b about 0.8."""
    own = stack["own"].fraction
    assert own is not None
    assert own.pockets is not None
    assert own.pockets.method == "exact"
    assert own.pockets.out_of_spec == pytest.approx(norm.sf(2.4, 2.0, 0.2), rel=1e-9)
    shared = stack["shared"].fraction
    assert shared is not None
    assert shared.cages is not None
    assert shared.cages.out_of_spec == pytest.approx(norm.sf(1.0, 0.8, 0.2) + norm.cdf(0.0, 0.8, 0.2), rel=1e-9)
    mixed = stack["mixed"].fraction
    assert mixed is not None
    assert mixed.cages is not None
    assert mixed.cages.method == "sampled"


def test_verdicts(stack: stackup.CheckResult) -> None:
    """By worst case without an allowance, by the fraction of its population with one; the worst of all counts."""
    verdicts = {record.name: record.verdict for record in stack.requirements}
    assert verdicts == {"own": "not met", "own_in_series": "met", "shared": "not met", "mixed": "met"}
    assert stack.verdict == "not met"


def test_numbers_behind_the_verdict_are_there(stack: stackup.CheckResult) -> None:
    """Every method has a record, nominals are those of the file, contributions add up to the whole."""
    for record in stack.requirements:
        assert record.worst_case is not None
        assert record.rss is not None
        assert record.monte_carlo is not None
        assert math.fsum(one.variance_share or 0 for one in record.contributions) == pytest.approx(1, abs=1e-9)
    assert stack["mixed"].nominal == pytest.approx(0.6)


def cage(**requirements: Any) -> Case:
    """Return a small cage, its bores and pins drawn anew, its pitch circle shared."""
    mapping = {
        "cage": {"kind": "cylindrical", "rollers": 6},
        "dimensions": {
            "roller_diameter": {"nominal": 20.0},
            "roller_length": {"nominal": 30.0},
            "roller_bore": {"nominal": 8.0, "tolerance": 0.03},
            "pin_diameter": {"nominal": 7.5, "tolerance": 0.04},
            "hole_pitch_diameter": {"nominal": 120.0, "tolerance": 0.05},
            "ring_spacing": {"nominal": 31.0, "tolerance": 0.1},
            "inner_raceway": {"nominal": 100.0},
        },
        "chains": {"width": {"formula": "ring_spacing - 30"}, "step": {"formula": "pin_diameter - pin_diameter.next"}},
        "requirements": requirements,
    }
    return stackup.from_mapping(mapping)


@pytest.fixture(scope="module")
def small_cage() -> stackup.CheckResult:
    """Check a cage with each population."""
    case = cage(
        bore_clearance={"min": 0.46, "allow": {"ppm": 30_000, "of": "pockets"}},
        width={"min": 0.94, "allow": {"ppm": 50_000, "of": "cages"}},
        step={"max": 0.05, "allow": {"ppm": 1000, "of": "pockets"}},
        tightest={"gap": "bore_clearance", "over": "least", "min": 0.45},
        mean={"gap": "bore_clearance", "over": "mean", "min": 0.48, "allow": {"ppm": 100, "of": "cages"}},
    )
    return stackup.check(case, settings_of(case, **FEW))


def test_cages_of_what_is_drawn_anew(small_cage: stackup.CheckResult) -> None:
    """Closed form: nothing shared, so 1 − (1 − p)^6; the sampled fraction agrees within its interval."""
    record = small_cage["bore_clearance"]
    assert record.fraction is not None
    pockets, cages = record.fraction.pockets, record.fraction.cages
    assert pockets is not None
    assert cages is not None
    p = norm.cdf(0.46, 0.5, math.hypot(0.03, 0.04) / 3)
    assert pockets.out_of_spec == pytest.approx(p, rel=1e-9)
    assert cages.out_of_spec == pytest.approx(1 - (1 - p) ** 6, rel=1e-9)
    assert record.monte_carlo is not None
    assert record.monte_carlo.cages is not None
    assert record.monte_carlo.cages.low < cages.out_of_spec < record.monte_carlo.cages.high


def test_whole_cage_numbers(small_cage: stackup.CheckResult) -> None:
    """A gap of the cage, and a fold, have no pockets; bearings equal cages; a mean of normals is exact."""
    for name in ("width", "tightest", "mean"):
        fraction = small_cage[name].fraction
        assert fraction is not None
        assert fraction.pockets is None
        assert fraction.bearings == fraction.cages
        assert small_cage[name].to_dict()["monte_carlo"]["pockets"] is None
    mean = small_cage["mean"].fraction
    assert mean is not None
    assert mean.cages is not None
    assert mean.cages.out_of_spec == pytest.approx(norm.cdf(0.48, 0.5, math.hypot(0.03, 0.04) / 3 / 6**0.5), rel=1e-6)


def test_neighbours_are_not_independent(small_cage: stackup.CheckResult) -> None:
    """A chain that looks at the next pocket shares a pin with it: the pocket's tail is exact, the cage's is not."""
    fraction = small_cage["step"].fraction
    assert fraction is not None
    assert fraction.pockets is not None
    assert fraction.cages is not None
    assert (fraction.pockets.method, fraction.cages.method) == ("exact", "sampled")


def test_null_has_its_reason(small_cage: stackup.CheckResult) -> None:
    """Each number that does not exist has a note that names its requirement."""
    notes = small_cage.to_dict()["notes"]
    for word, name in (("pockets", "width"), ("RSS", "tightest"), ("limit", "roller_spacing"), ("inflated", "RSS")):
        assert any(word in note and name in note for note in notes), (word, name)


def test_parts_outside_the_drawing(small_cage: stackup.CheckResult) -> None:
    """What is met for parts to drawing tells what comes from parts outside it; the usual cautions are there."""
    case = cage(bore_clearance={"min": 0.42})
    result = stackup.check(case, settings_of(case, **FEW), all_gaps=False)
    assert result.verdict == "met"
    about = [note for note in result.notes if note.about == "bore_clearance"]
    assert any("met for parts to drawing" in note.text and "ppm of cages" in note.text for note in about)
    assert any("verify on parts" in note.text for note in small_cage.notes)


def two_rows(case: Case) -> Case:
    """Return a case of two rows, one of them twice, in two states, as later issues will make them."""
    row = case.models()[0]
    model = row.states["made"]
    tighter = replace(model, parameters={**model.parameters})
    rows = (Row("1", 1, row.rollers, {"made": model, "hot": tighter}), Row("2", 2, 6, {"made": model, "hot": tighter}))
    return replace(case, rows=rows)


def test_rows_and_states_need_no_other_code() -> None:
    """Two rows (one twice) in two states: bearings are 1 − (1 − p)³, every record of row and state is listed."""
    case = two_rows(cage(bore_clearance={"min": 0.46, "allow": {"ppm": 100_000, "of": "bearings"}}))
    result = stackup.check(case, settings_of(case, **FEW), all_gaps=False)
    record = result["bore_clearance"]
    assert [(one.row, one.state) for one in record.by_state] == [
        ("1", "made"),
        ("1", "hot"),
        ("2", "made"),
        ("2", "hot"),
    ]
    assert result.states == ("made", "hot")
    assert [row.count for row in result.rows] == [1, 2]
    assert record.fraction is not None
    assert record.fraction.cages is not None
    assert record.fraction.bearings is not None
    assert record.fraction.bearings.out_of_spec == pytest.approx(1 - (1 - record.fraction.cages.out_of_spec) ** 3)
    assert "by_state" not in record.to_dict()["by_state"][0]
    json.dumps(result.to_dict(), allow_nan=False)


class Stop:
    """A progress that stops the run when it hears of ``what``."""

    def __init__(self, what: str) -> None:
        self.what = what

    def __call__(self, _done: float, _of: float, what: str) -> None:
        if what == self.what:
            raise KeyboardInterrupt


@pytest.mark.parametrize("what", ["worst case", "rss", "cages", "contributions"])
def test_interrupted_records_are_complete_in_form(what: str, stack: stackup.CheckResult) -> None:
    """Wherever the user stops: every key is there, what was not finished is undecided, the mark is set."""
    case = stackup.from_mapping(POCKETS)
    with pytest.raises(Interrupted) as caught:
        stackup.check(case, settings_of(case, **FEW), Stop(what))
    result = caught.value.records
    record = result.to_dict()
    assert record["interrupted"] is True
    assert shape(record) <= shape(stack.to_dict())
    assert any("interrupted" in note for note in record["notes"])
    json.dumps(record, allow_nan=False)


def shape(record: Any, path: str = "") -> set[str]:
    """Return the key paths of a record, lists by their items."""
    if isinstance(record, dict):
        return {path, *(p for key, value in record.items() for p in shape(value, f"{path}.{key}"))}
    if isinstance(record, list):
        return {path, *(p for value in record for p in shape(value, f"{path}[]"))}
    return {path}


def test_workers_change_no_number(monkeypatch: pytest.MonkeyPatch, stack: stackup.CheckResult) -> None:
    """One, two and three workers give the same record, in this process or beside it."""
    case = stackup.from_mapping(POCKETS)
    for workers in (2, 3):
        assert stackup.check(case, settings_of(case, workers=workers, **FEW)).to_dict() == stack.to_dict()
    monkeypatch.setattr(engines, "is_possible", lambda: False)
    assert stackup.check(case, settings_of(case, workers=2, **FEW)).to_dict() == stack.to_dict()


def test_a_process_that_dies_changes_no_number(monkeypatch: pytest.MonkeyPatch, stack: stackup.CheckResult) -> None:
    """Where the process beside this one is lost, its work is done here."""
    here = os.getpid()
    by_law = engines._by_law

    def dying(*given: Any) -> Any:
        if os.getpid() != here:
            os._exit(9)
        return by_law(*given)

    monkeypatch.setattr(engines, "_by_law", dying)
    case = stackup.from_mapping(POCKETS)
    assert stackup.check(case, settings_of(case, workers=2, **FEW)).to_dict() == stack.to_dict()


def test_settings_come_from_the_case() -> None:
    """``[run]`` is heeded; what the user asks for goes before it; None asks for nothing."""
    case = stackup.from_mapping({**POCKETS, "run": {"seed": 5, "cages": 77, "inflation": 1.5, "mean_shift": 0.1}})
    assert settings_of(case) == Settings(seed=5, cages=77, inflation=1.5, mean_shift=0.1)
    assert settings_of(case, seed=9, cages=None).seed == 9


def test_displays(stack: stackup.CheckResult) -> None:
    """A result shows itself in a notebook and through rich."""
    from rich.console import Console

    assert "NOT MET" in stack._repr_html_()
    assert "<table>" in stack._repr_html_()
    console = Console(width=120, record=True, file=open(os.devnull, "w"))  # noqa: SIM115, PTH123
    console.print(stack)
    assert "own_in_series" in console.export_text()
    console.file.close()


def test_unknown_name(stack: stackup.CheckResult) -> None:
    """There is no record of what there is not."""
    with pytest.raises(KeyError):
        stack["nothing"]


@pytest.fixture(scope="module")
def demo() -> Iterator[stackup.CheckResult]:
    """Check the requirements of the demo as it stands."""
    yield stackup.check(stackup.load(CASES / "demo.toml"), all_gaps=False)


def test_the_demo_shows_what_it_is_for(demo: stackup.CheckResult) -> None:
    """Met by worst case; met only statistically; not met; and cages off from independent ones by more than two."""
    limited = [record for record in demo.requirements if record.limited]
    by_worst_case = [r for r in limited if r.requirement.allow is None and r.verdict == "met"]
    only_statistically = [
        r
        for r in limited
        if r.requirement.allow and r.verdict == "met" and r.worst_case and _outside(r.requirement, r.worst_case)
    ]
    assert by_worst_case
    assert only_statistically
    assert any(record.verdict == "not met" for record in limited)
    ratios = [
        r.monte_carlo.cages.if_independent / r.monte_carlo.cages.out_of_spec
        for r in limited
        if r.monte_carlo and r.monte_carlo.cages and r.monte_carlo.cages.if_independent
    ]
    assert max(ratios) > 2
    assert demo.verdict == "not met"


def _outside(requirement: Any, found: Any) -> bool:
    low, high = requirement.min, requirement.max
    return (low is not None and found.low < low) or (high is not None and found.high > high)
