"""``explain``: steps in symbols that lead from the dimensions to the gap."""

from __future__ import annotations

from pathlib import Path

import pytest

import stackup
from stackup.chain.writing import shown_symbols
from stackup.errors import CaseError, Interrupted
from stackup.report import explaining

CASES = Path(__file__).parents[2] / "cases"


@pytest.fixture(scope="module")
def demo() -> stackup.Case:
    """Read the demo."""
    return stackup.load(CASES / "demo.toml")


def test_steps_lead_to_the_gap(demo: stackup.Case) -> None:
    """Each step uses only dimensions, the angle, the number of rollers and earlier steps; the last the gap."""
    for gap in stackup.explain(demo).gaps:
        known = {c for d in demo.dimensions.values() for c in d.components} | {"angle", "rollers"}
        model = demo.models()[0].states["made"]
        known |= set(model.parameters)
        formulas = {step.name: step.formula for step in model.steps}
        for step in gap.steps:
            used = {str(one).replace(".next", "") for one in shown_symbols(formulas[step.name])}
            assert used <= known, (gap.name, step.name)
            known.add(step.name)
        assert gap.steps[-1].name == gap.name
        assert gap.nominal == gap.steps[-1].nominal


def test_one_gap_by_its_requirement(demo: stackup.Case) -> None:
    """A gap may be named by a requirement on it."""
    assert [gap.name for gap in stackup.explain(demo, "spacing_round_the_cage").gaps] == ["roller_spacing"]


def test_contributions_are_those_of_check(demo: stackup.Case) -> None:
    """Closed form: the bore enters with 1, the pin with −1."""
    (gap,) = stackup.explain(demo, "bore_clearance").gaps
    assert {one.dimension: one.sensitivity for one in gap.contributions} == {"roller_bore": 1.0, "pin_diameter": -1.0}


def test_no_such_gap(demo: stackup.Case) -> None:
    """A misspelt gap is answered with the nearest."""
    with pytest.raises(CaseError) as caught:
        stackup.explain(demo, "pin_entri")
    assert caught.value.faults[0].nearest == "pin_entry"


def test_a_row_and_a_state_of_ones_own() -> None:
    """80.7 − 80 − 0.08 as made; rollers worn by 0.15 leave that much more."""
    case = stackup.load(CASES / "four_rows.toml")
    few = stackup.Settings(cages=200)
    found = stackup.explain(case, "end_clearance", settings=few, row="outer", state="worn")
    assert (found.row, found.state) == ("outer", "worn")
    (gap,) = found.gaps
    assert gap.nominal == pytest.approx(80.7 - 79.85 - 0.08, abs=1e-12)
    assert {step.name: step.nominal for step in gap.steps}["roller_length.now"] == pytest.approx(79.85, abs=1e-12)
    assert gap.nominals["made"] == pytest.approx(0.62, abs=1e-12)
    assert gap.by_row["middle"] == pytest.approx(0.77, abs=1e-12)
    for words in ({"row": "uoter"}, {"state": "wron"}):
        with pytest.raises(CaseError, match=f"Did you mean {'outer' if 'row' in words else 'worn'}"):
            stackup.explain(case, settings=few, **words)


def test_program(demo: stackup.Case) -> None:
    """The program is the straight line of the gaps asked for."""
    lines = stackup.explain(demo, "bore_clearance", program=True).program
    assert lines is not None
    assert [line.operation for line in lines] == ["roller_bore", "pin_diameter", "sub(r0, r1)"]
    assert lines[-1].target == "r2 = bore_clearance"


def test_interrupted(demo: stackup.Case) -> None:
    """Stopped by the user, it still has the steps."""

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    with pytest.raises(Interrupted) as caught:
        stackup.explain(demo, "bore_clearance", progress=stop)
    assert caught.value.records.interrupted
    assert caught.value.records.gaps[0].steps


def test_displays(demo: stackup.Case) -> None:
    """An explanation shows itself in a notebook."""
    assert "roller_bore - pin_diameter" in stackup.explain(demo, "bore_clearance")._repr_html_()


def test_sensitivities_without_a_sign_are_explained(demo: stackup.Case) -> None:
    """Below the table that has any, and there alone."""
    legend = "rms: root mean square"
    assert legend in stackup.explain(demo, "running_clearance")._repr_html_()
    assert legend not in stackup.explain(demo, "bore_clearance")._repr_html_()


def test_digits_of_another_state() -> None:
    """Six as elsewhere; up to eight where four digits of the change would not show: the scale of a warm part."""
    said = explaining._in_others({"made": 1.0, "hot": 1.0006325, "worn": 1.0, "hot_worn": 0.0038412454}, "made")
    assert said == "hot 1.0006325, worn 1, hot and worn 0.00384125"
    assert explaining._in_others({"made": 0.0, "hot": 9.4024751e-11}, "made") == "hot 9.40248e-11"
