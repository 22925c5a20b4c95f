"""What reaches a screen: signs that only do harm do not, a terminal that goes away or has no width does no harm."""

from __future__ import annotations

import io
import os
import re
from pathlib import Path

import pytest

import stackup
from stackup.decide.check import settings_of
from stackup.errors import CaseError, Fault, FormulaError, OutputExists, StackupError, ValueFault
from stackup.report import checking, faults, terminal
from stackup.report.letters import harmless
from stackup.report.output import put
from stackup.report.progress import Progress

#: an escape code that colours, one that rings, one that turns the reading round
HARM = "\x1b[31m\x07\u202e"


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.fixture(scope="module")
def stack() -> stackup.CheckResult:
    """Check a plain stack."""
    case = stackup.load(Path(__file__).parents[2] / "cases" / "bush_stack.toml")
    return stackup.check(case, settings_of(case, cages=200))


def test_a_case_cannot_steer_the_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Title, units and their like are shown as text: no escape code of a case file reaches a terminal or a file."""
    case = stackup.from_mapping(
        {
            "title": f"A title{HARM} 日本",
            "cage": {"kind": "none"},
            "dimensions": {"a": {"nominal": 1.0, "tolerance": 0.1, "unit": f"in{HARM}"}},
            "chains": {"gap": {"formula": "a", "unit": f"in{HARM}"}},
            "requirements": {"gap": {"min": 0.5}},
        }
    )
    page = checking.page(stackup.check(case, settings_of(case, cages=200)), details=True)
    written = terminal.text_of(page, io.StringIO())
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "100")
    shown = terminal.text_of(page, Terminal(), plain=True)
    for text in (written, shown):
        assert "A title?[31m?? 日本" in text
        assert "≥ 0.5 in?[31m??" in text
    assert harmless(written) == written
    assert set(re.findall(r"\x1b\[[0-9;]*m", shown)) <= {"\x1b[0m", "\x1b[1m", "\x1b[2m", "\x1b[1;4m"}  # our own
    assert "\x07" not in shown


def test_a_fault_cannot_steer_the_screen() -> None:
    """What was found is quoted as text."""
    error = CaseError([Fault("key", f'"h{HARM}7"', "a class"), Fault("other", "two", "one")])
    assert faults.in_words(error) == 'key: found "h?[31m??7"; allowed: a class.\nother: found two; allowed: one.\n'


@pytest.mark.parametrize(
    ("error", "key", "found"),
    [
        (CaseError([Fault("a.b", "2", "1")]), "a.b", "2"),
        (ValueFault("cp", "-1", "a number above 0"), "cp", "-1"),
        (FormulaError("1 +* 2", 3, "the sign *", "a number"), "formula", "the sign *"),
        (OutputExists("a file is there already"), "", "a file is there already"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else "",
)
def test_every_error_is_a_record(error: StackupError, key: str, found: str) -> None:
    """Each of the family tells where, what was found and what is allowed; a formula tells the character, from 1."""
    (fault,) = faults.faults_of(error)
    assert (fault.key, fault.found) == (key, found)
    assert fault.allowed
    assert fault.column == (4 if isinstance(error, FormulaError) else 0)
    assert set(faults.record((fault,))["faults"][0]) == {
        "file", "key", "line", "column", "found", "allowed", "nearest",
    }  # fmt: skip


def test_a_terminal_that_goes_away(monkeypatch: pytest.MonkeyPatch) -> None:
    """The run goes on; nothing more is written."""
    monkeypatch.setenv("TERM", "xterm")

    class Gone(Terminal):
        tries = 0

        def write(self, _: str) -> int:
            self.tries += 1
            raise OSError(5, "Input/output error")

    stream = Gone()
    with Progress(stream=stream) as told:
        told(1, 2, "cages")
        told(2, 2, "cages")
        assert not told.shown
    assert stream.tries == 1


@pytest.mark.parametrize(("columns", "longest"), [(1, 0), (12, 11), (0, 79), (200, 199)])
def test_progress_fits_its_line(columns: int, longest: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """One column is left free, so that no terminal begins a new line; one that tells no width counts as 80."""
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(os, "get_terminal_size", lambda _: os.terminal_size((columns, 24)))
    monkeypatch.setattr(Terminal, "fileno", lambda _: 2)
    stream = Terminal()
    with Progress(stream=stream) as told:
        told(1, 4, "w" * 300)
        line = stream.getvalue().rpartition("\x1b[2K")[2]
    assert line == ("w" * 300)[:longest]


def test_no_progress_on_a_dumb_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """One that knows no codes is told nothing."""
    monkeypatch.setenv("TERM", "dumb")
    stream = Terminal()
    with Progress(stream=stream) as told:
        told(1, 4, "cages")
    assert stream.getvalue() == ""


@pytest.mark.parametrize("columns", [1, 7, 20, 39])
def test_a_terminal_too_narrow_for_anything(
    columns: int, monkeypatch: pytest.MonkeyPatch, stack: stackup.CheckResult
) -> None:
    """Words break where they must, no line is wider than the terminal, and the answer is there whole."""
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", str(columns))
    page = checking.page(stack)
    text = "".join(terminal.text_of(page, Terminal(), plain=True).split("\x1b[1m")).replace("\x1b[0m", "")
    assert max(len(line) for line in text.splitlines()) <= columns
    assert page.answer is not None
    assert "".join(page.answer.text.split()) in "".join(text.split())


def test_a_full_disk_is_told_once() -> None:
    """The first write raises in words, later ones go nowhere: the end of the program has nothing left to fail on."""
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("no device that is always full")
    with full.open("w", encoding="utf-8") as stream:
        with pytest.raises(StackupError, match="no space left"):
            put("x", stream)
        put("y", stream)
