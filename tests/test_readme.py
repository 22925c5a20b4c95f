"""The README's commands run, and the CI runs what the README says."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from stackup.case import Case
from stackup.cli import run
from stackup.decide import check
from stackup.decide.record import CheckResult
from stackup.engine.settings import Progress, Settings

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```sh\n(.*?)```", README, flags=re.DOTALL)
LINES = [line for block in BLOCKS for line in block.splitlines()]


def test_two_commands_do_everything() -> None:
    """The first block is the main job, the second the tests; each is one line that makes its environment."""
    for block in BLOCKS[:2]:
        assert block.count("\n") == 1
        assert block.startswith("python3 -m venv .venv && .venv/bin/pip install -q -e ")
    assert BLOCKS[0].strip().endswith(".venv/bin/stackup check cases/demo.toml")


def test_ci_runs_the_tests_of_the_readme() -> None:
    """``.ci/run`` holds the same command and may be started."""
    script = ROOT / ".ci" / "run"
    assert BLOCKS[1].strip() in script.read_text(encoding="utf-8").splitlines()
    assert script.stat().st_mode & 0o111


def test_the_first_walk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Every ``stackup`` line runs in the order of the README, with exit code 0."""
    monkeypatch.chdir(tmp_path)
    checked, found = check.check, {}

    def once(case: Case, settings: Settings, progress: Progress) -> CheckResult:
        """Check a case once: the same case with the same settings is found the same, to be shown in another way."""
        key = case.digest, settings
        found[key] = found.get(key) or checked(case, settings, progress)
        return found[key]

    monkeypatch.setattr(check, "check", once)
    lines = [line for line in LINES if line.startswith("stackup ")]
    assert len(lines) >= 8
    for line in lines:
        arguments = shlex.split(line, comments=True)[1:]
        if arguments[0] == "check":
            arguments += ["--cages", "20000"]
        assert run(arguments) == 0, line
        assert capsys.readouterr().out, line


def test_the_piece_of_a_case_is_right() -> None:
    """What the README shows of a case file stands in the starter."""
    (piece,) = re.findall(r"```toml\n(.*?)```", README, flags=re.DOTALL)
    starter = (ROOT / "stackup" / "cage" / "starter_cylindrical.toml").read_text(encoding="utf-8")
    for line in piece.splitlines():
        assert line.partition("#")[0].strip() in starter


def test_links_lead_somewhere() -> None:
    """Files that the README and DEVELOPERS.md name are there."""
    for page in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / page).read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            assert (ROOT / target).exists(), target
        for named in re.findall(r"`((?:stackup|tests|docs|cases)/[\w/.]+)`", text):
            assert (ROOT / named).exists(), named


@pytest.mark.parametrize("word", ["invented", "verify on parts", "licensed engineer", "not a release"])
def test_cautions(word: str) -> None:
    """What every user must know stands in the README."""
    assert word.lower() in README.lower()
