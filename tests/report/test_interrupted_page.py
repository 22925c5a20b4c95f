"""The page of a run that was stopped says what was done, and shows what was finished and nothing else."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import pytest

import stackup
from stackup.decide.check import settings_of
from stackup.engine import worst_case
from stackup.errors import Interrupted
from stackup.report import checking, explaining, terminal
from stackup.report.view import Facts, Table

STACK = stackup.load(Path(__file__).parents[2] / "cases" / "bush_stack.toml")
ASKED = 20_000


class Stop:
    """A progress that stops the run when it hears of ``what``."""

    def __init__(self, what: str) -> None:
        self.what = what

    def __call__(self, _done: float, _of: float, what: str) -> None:
        if what == self.what:
            raise KeyboardInterrupt


def stopped(progress: Stop) -> stackup.CheckResult:
    """Return the record of a check that is stopped."""
    with pytest.raises(Interrupted) as caught:
        stackup.check(STACK, settings_of(STACK, cages=ASKED), progress)
    result: stackup.CheckResult = caught.value.records
    return result


def text_of(result: stackup.CheckResult) -> str:
    return terminal.text_of(checking.page(result, details=True), io.StringIO())


def test_stopped_before_anything_is_drawn() -> None:
    """Nothing is drawn and nothing decided by what was not drawn; there are no facts of engines that did not run."""
    result = stopped(Stop("worst case"))
    text = text_of(result)
    assert f"0 of {ASKED // 1000} 000 stacks drawn, seed {result.seed}, INTERRUPTED" in text
    assert "not finished" in text
    assert result.any_requirement.cages is None
    assert "fail at least one" not in text
    page = checking.page(result, details=True)
    told = {label for section in page.sections if isinstance(section, Facts) for label, _ in section.facts}
    assert not told & {"RSS", "Monte Carlo", "drawn"}
    assert "sensitivity" not in text


def test_stopped_while_drawing() -> None:
    """What was drawn counts, and is told as what it is: fewer than were asked for."""
    result = stopped(Stop("cages"))
    drawn = result.requirements[0].monte_carlo
    assert drawn is not None
    assert 0 < drawn.drawn < ASKED
    assert f"{drawn.drawn:,} of {ASKED:,} stacks drawn".replace(",", " ") in text_of(result)
    assert "sensitivity" not in text_of(result)


def test_stopped_before_the_worst_case(monkeypatch: pytest.MonkeyPatch) -> None:
    """A requirement that the worst case decides is not finished, and no more is said of it."""

    def stops(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(worst_case, "run", stops)
    (verdicts, *_) = checking.page(stopped(Stop(""))).sections
    assert isinstance(verdicts, Table)
    assert {(row[1].text, row[3].text) for row in verdicts.rows} == {("undecided", "not finished")}


def test_what_the_worst_case_leaves_open() -> None:
    """With one box the bound of a wavy formula is wide; a limit between found and bound shows the room of both."""
    tables = {
        "cage": {"kind": "none"},
        "dimensions": {name: {"nominal": 1.0, "tolerance": 0.5} for name in ("b", "c")},
        "chains": {"gap": {"formula": "sin(9*b)*cos(8*b*c) + sin(7*c*c)*b"}},
    }
    free = stackup.from_mapping(tables)
    hasty = replace(settings_of(free, cages=200), boxes=1)
    found = stackup.check(free, hasty)["gap"].worst_case
    assert found is not None
    room = (found.bound_high - found.high) / 2
    case = stackup.from_mapping({**tables, "requirements": {"gap": {"max": found.high + room}}})
    (verdicts, *_) = checking.page(stackup.check(case, hasty)).sections
    assert isinstance(verdicts, Table)
    told = re.fullmatch(r"found ([\d.]+) mm inside \(bound ([\d.]+) mm outside\)", verdicts.rows[0][3].text)
    assert told is not None
    assert [float(number) for number in told.groups()] == pytest.approx([room, room], rel=0.01)
    assert verdicts.rows[0][1].text == "undecided"


def test_not_stopped() -> None:
    """A whole run names one number."""
    page = checking.page(stackup.check(STACK, settings_of(STACK, cages=200)))
    assert " · 200 stacks drawn, seed " in page.about
    assert "INTERRUPTED" not in page.about


def test_nothing_to_show() -> None:
    """A case without chains has no gaps: its check and its explanation, program and all, are pages all the same."""
    empty = stackup.from_mapping({"cage": {"kind": "none"}})
    checked = stackup.check(empty, settings_of(empty, cages=10))
    assert "no requirements: nothing to meet" in text_of(checked)
    explained = stackup.explain(empty, program=True)
    assert (explained.gaps, explained.program) == ((), ())
    assert "Program" in terminal.text_of(explaining.page(explained), io.StringIO())


def test_nothing_that_scatters() -> None:
    """Exact sizes have no contributions and no spread; the numbers are shown all the same."""
    exact = stackup.from_mapping(
        {
            "cage": {"kind": "none"},
            "dimensions": {"a": {"nominal": 1.25}, "b": {"nominal": 0.5}},
            "chains": {"gap": {"formula": "a - b"}},
            "requirements": {"gap": {"min": 0.5}},
        }
    )
    result = stackup.check(exact, settings_of(exact, cages=200))
    text = text_of(result)
    assert result.verdict == "met"
    assert "0.7500 … 0.7500" in text
    assert "sensitivity" not in text


def test_what_governs_has_a_share() -> None:
    """Of two dimensions the one without tolerance is not named."""
    case = stackup.from_mapping(
        {
            "cage": {"kind": "none"},
            "dimensions": {"a": {"nominal": 1.0, "tolerance": 0.1}, "b": {"nominal": 0.5}},
            "chains": {"gap": {"formula": "a - b"}},
            "requirements": {"gap": {"min": 0.2}},
        }
    )
    verdicts = checking.page(stackup.check(case, settings_of(case, cages=200))).sections[0]
    assert isinstance(verdicts, Table)
    assert verdicts.rows[0][-1].text == "a 100 %"
