"""Faults of a command line in plain words: what was found, what is allowed, the nearest name."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from stackup.cli import run
from stackup.report.usage import fault_of

CASE = "cases/demo.toml"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["check", "a", "b"], "stackup check: found the unexpected argument b; allowed: stackup check CASE."),
        (["explain", "a", "b", "c"], "found the unexpected argument c; allowed: stackup explain CASE [GAP]."),
        (["check", CASE, "--cages", "0"], "found --cages 0; allowed: a whole number from 1 to 1000000000."),
        (["check", CASE, "--cages", "many"], "found --cages many; allowed: a whole number from 1 to 1000000000."),
        (["check", CASE, "--cages", "1e6"], "allowed: a whole number from 1 to 1000000000. Did you mean 1000000?"),
        (["check", CASE, "--workers", "99"], "found --workers 99; allowed: a whole number from 1 to 64."),
        (["iso286", "fifty", "h7"], "found SIZE fifty; allowed: a number."),
        (["slots"], "stackup slots: found no KIND; allowed: KIND, kind of cage: cylindrical or none or tapered."),
        (["check"], "stackup check: found no CASE; allowed: CASE, the case file (TOML)."),
        (["check", CASE, "--jsno"], "found no option --jsno; allowed: see stackup check --help. Did you mean --json?"),
        (["check", "--seed"], "stackup check: found --seed without a value; allowed: a value behind --seed: see"),
        (["check", CASE, "--json=3"], "found a value behind --json; allowed: --json alone."),
        (["chek"], "stackup: found no command chek; allowed: new, check, explain,"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)  # fmt: skip
def test_in_plain_words(arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2, and one line that a user of no programming language understands."""
    assert run(arguments) == 2
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1


class BadParameter(Exception):  # noqa: N818 - the name that the parser gives it
    """What another release of the parser raises: the value stands in the message, the range in the type."""

    def __init__(self, message: str, low: Any, high: Any) -> None:
        kind = SimpleNamespace(min=low, max=high, name="integer range")
        self.ctx = SimpleNamespace(command_path="stackup check")
        self.param = SimpleNamespace(opts=["--cages"], metavar=None, type=kind)
        self.message = message

    def format_message(self) -> str:
        return self.message


@pytest.mark.parametrize(
    ("low", "high", "allowed"),
    [(1, 64, "a whole number from 1 to 64"), (1, None, "a whole number of at least 1"), (None, None, "a whole number")],
)
def test_another_release_of_the_parser(low: Any, high: Any, allowed: str) -> None:
    """The words hang on no release: where the parser tells less, the message is read."""
    error = BadParameter("Invalid value for '--cages': 'many' is not a valid integer range.", low, high)
    (fault,) = fault_of(error, ["check"]).faults
    assert (fault.key, fault.found, fault.allowed) == ("stackup check", "--cages many", allowed)


def test_a_message_of_no_known_sort() -> None:
    """It is passed on, and help is named."""
    error = SimpleNamespace(ctx=None, format_message=lambda: "Something else.")
    (fault,) = fault_of(error, ["check", "x"]).faults
    assert (fault.found, fault.allowed) == ("something else", "see stackup check --help")


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    """``--version`` alone."""
    from stackup import __version__

    assert run(["--version"]) == 0
    assert capsys.readouterr().out == f"stackup {__version__}\n"


def test_help_is_whole(capsys: pytest.CaptureFixture[str]) -> None:
    """No sentence of the list of commands is cut."""
    assert run(["--help"]) == 0
    assert "..." not in capsys.readouterr().out.partition("Commands:")[2]
