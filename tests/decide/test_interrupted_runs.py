"""A run that the user stops, anywhere: a complete record, no reason that is not true, no process left behind."""

from __future__ import annotations

import json
import multiprocessing
import os
import time
from collections.abc import Callable
from types import ModuleType
from typing import Any

import pytest

import stackup
from stackup.decide import engines, explain
from stackup.decide.apart import is_possible
from stackup.decide.check import settings_of, with_all_gaps
from stackup.decide.engines import Found, _Laws, run_states
from stackup.engine.settings import Progress, silent
from stackup.errors import Interrupted

HERE = os.getpid()
forked = pytest.mark.skipif(not is_possible(), reason="no process can be forked here")

CASE = stackup.from_mapping(
    {
        "cage": {"kind": "none"},
        "dimensions": {
            "a": {"nominal": 1.0, "tolerance": 0.3, "process": {"cp": 1.0}},
            "b": {"nominal": 0.4, "tolerance": 0.3, "process": {"cp": 1.0}},
        },
        "chains": {"first": {"formula": "2*a"}, "second": {"formula": "a*b"}, "third": {"formula": "a - b"}},
        "requirements": {
            "first": {"max": 3.0},
            "second": {"max": 1.0},
            "third": {"min": 0.0, "allow": {"ppm": 9000, "of": "cages"}},
        },
    }
)


class Stop:
    """A progress that stops the run when it hears of ``what``."""

    def __init__(self, what: str) -> None:
        self.what = what

    def __call__(self, _done: float, _of: float, what: str) -> None:
        if what == self.what:
            raise KeyboardInterrupt


def stopped(progress: Progress = silent, workers: int = 1) -> stackup.CheckResult:
    """Return the record of a check that is stopped."""
    with pytest.raises(Interrupted) as caught:
        stackup.check(CASE, settings_of(CASE, cages=500, workers=workers), progress)
    result: stackup.CheckResult = caught.value.records
    assert result.interrupted
    json.dumps(result.to_dict(), allow_nan=False)
    return result


@pytest.mark.parametrize("what", ["worst case", "rss", "cages", "contributions"])
def test_no_reason_that_is_not_true(what: str) -> None:
    """What was not finished is undecided, and not for a reason that only a finished number can have."""
    result = stopped(Stop(what))
    said = {note.about: note.text for note in result.notes if note.about}
    for record in result.requirements:
        behind = record.worst_case if record.requirement.allow is None else record.monte_carlo
        if behind is None:
            assert record.verdict == "undecided"
            assert record.name not in said
        if not record.contributions:
            assert not any("tighter" in note.text and record.name in note.text for note in result.notes)
    assert any(note.text.startswith("interrupted") for note in result.notes)


@pytest.mark.parametrize("stop", [KeyboardInterrupt, Interrupted])
@pytest.mark.parametrize(
    ("engine", "kept"),
    [
        (engines.worst_case, set()),
        (engines.rss, {"worst_case"}),
        (engines.monte_carlo, {"worst_case", "rss"}),
        (engines.contributions, {"worst_case", "rss", "monte_carlo"}),
    ],
    ids=lambda value: value.__name__.rpartition(".")[2] if isinstance(value, ModuleType) else "",
)
def test_stopped_before_an_engine_has_begun(
    engine: ModuleType, kept: set[str], stop: type[BaseException], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An engine that is stopped before it can keep anything leaves what the others have finished."""

    def stops(*_: object) -> None:
        raise stop

    monkeypatch.setattr(engine, "run_states" if engine is engines.monte_carlo else "run", stops)
    for record in stopped().requirements:
        assert {name for name in ("worst_case", "rss", "monte_carlo") if getattr(record, name)} == kept
        assert not record.contributions


def beside(law: Callable[[Progress], _Laws], progress: Progress, monkeypatch: pytest.MonkeyPatch) -> Found:
    """Return what is found where ``law`` runs in a process beside this one and the sampler has nothing to do."""
    models = CASE.models()[0].states
    monkeypatch.setattr(engines, "_by_law", lambda _m, _o, _s, its_progress: law(its_progress))
    monkeypatch.setattr(engines, "_sample", lambda *_: None)
    wanted = with_all_gaps(CASE.requirements, models["made"])
    return run_states(models, wanted, settings_of(CASE, workers=2), progress)["made"]


HALF = _Laws(reasons={"made": {"first": "half of it"}})


@forked
def test_stopped_while_waiting_for_the_other_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """The wish is passed on; the other process answers with what it has."""

    def law(progress: Progress) -> _Laws:
        try:
            progress(1, 2, "worst case")
            time.sleep(10)
        except KeyboardInterrupt:
            raise Interrupted(HALF) from None
        return _Laws()

    found = beside(law, Stop("worst case"), monkeypatch)
    assert found.interrupted
    assert found.reasons == {"first": "half of it"}


@forked
def test_stopped_with_nothing_from_the_other_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is kept where nothing was found, and the run counts as interrupted."""

    def law(_: Progress) -> _Laws:
        raise KeyboardInterrupt

    found = beside(law, silent, monkeypatch)
    assert found == Found(interrupted=True)


@forked
def test_a_stop_said_again_and_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """A progress that goes on saying stop while the other process is wound up passes none on."""
    ready = multiprocessing.get_context("fork").Event()

    def law(progress: Progress) -> _Laws:
        try:
            for _ in range(20):  # all in the pipe before this process listens
                progress(1, 2, "worst case")
            ready.set()
            time.sleep(10)
        except KeyboardInterrupt:
            raise Interrupted(HALF) from None
        return _Laws()

    def stop(*_: object) -> None:
        assert ready.wait(10)
        raise KeyboardInterrupt

    found = beside(law, stop, monkeypatch)
    assert found == Found(reasons={"first": "half of it"}, interrupted=True)


@forked
def test_a_fault_leaves_no_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where this process fails, the other one is ended with it."""

    def broken(*_: object) -> None:
        raise ZeroDivisionError

    def endless(*_: object) -> Any:
        if os.getpid() != HERE:
            time.sleep(100)

    monkeypatch.setattr(engines.monte_carlo, "run_states", broken)
    monkeypatch.setattr(engines, "_by_law", endless)
    with pytest.raises(ZeroDivisionError):
        stackup.check(CASE, settings_of(CASE, cages=500, workers=2))
    assert not multiprocessing.active_children()


def test_explanation_stopped_before_it_has_begun(monkeypatch: pytest.MonkeyPatch) -> None:
    """The steps are there all the same."""

    def stops(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(explain.contributions, "run", stops)
    with pytest.raises(Interrupted) as caught:
        stackup.explain(CASE, "first")
    (gap,) = caught.value.records.gaps
    assert [step.formula for step in gap.steps] == ["2*a"]
    assert not gap.contributions
