"""Fills in the outputs of the walks by running their commands: ``python docs/make_walk.py [docs/walk-….md …]``.

A block ``console`` holds commands after ``$``; what follows each is its output.  Comments of the page say what
happens between: ``edit FILE: OLD => NEW`` changes a file, ``exit N`` is the exit code of the next block's last command.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

CASES = Path(__file__).parents[1] / "cases"
PAGES = sorted(Path(__file__).parent.glob("walk-*.md"))
PARTS = re.compile(
    r"<!-- edit (?P<file>\S+): (?P<old>.*?) => (?P<new>.*?) -->"
    r"|<!-- exit (?P<code>\d) -->"
    r"|```console\n(?P<block>.*?)```",
    re.DOTALL,
)


def filled(text: str, folder: Path) -> str:
    """Return the page with its commands run, in their order, in ``folder``, where a copy of ``cases/`` stands.

    Raises AssertionError for an exit code that the page does not announce, or an edit that finds nothing.
    """
    state = {"code": 0}
    shutil.copytree(CASES, folder / "cases")

    def step(found: re.Match[str]) -> str:
        if found["file"]:
            path = folder / found["file"]
            before = path.read_text(encoding="utf-8")
            if found["old"] not in before:
                raise AssertionError(f"{found['file']} does not hold {found['old']}")
            path.write_text(before.replace(found["old"], found["new"]), encoding="utf-8")
        elif found["code"]:
            state["code"] = int(found["code"])
        else:
            expected, state["code"] = state["code"], 0
            return "```console\n" + _ran(found["block"], folder, expected) + "```"
        return found[0]

    return PARTS.sub(step, text)


def _ran(block: str, folder: Path, expected: int) -> str:
    commands = [line[2:] for line in block.splitlines() if line.startswith("$ ")]
    shown, code = "", 0
    for command in commands:
        output, code = _run(command, folder)
        shown += f"$ {command}\n{output}"
    if code != expected:
        raise AssertionError(f"{commands[-1]} ended with {code} instead of {expected}:\n{shown}")
    return shown


def _run(command: str, folder: Path) -> tuple[str, int]:
    """Return what ``command`` prints, without trailing spaces, and the exit code of its pipe."""
    path = os.pathsep.join((str(Path(sys.executable).parent), os.environ["PATH"]))
    settings = {**os.environ, "PATH": path, "COLUMNS": "100", "NO_COLOR": "1"}
    ran = subprocess.run(  # noqa: S602 - the commands stand in our own page
        f"set -o pipefail; {command}",
        shell=True,
        executable="/bin/bash",
        cwd=folder,
        env=settings,
        text=True,
        encoding="utf-8",
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        check=False,
    )
    return "".join(f"{line.rstrip()}\n" for line in ran.stdout.splitlines()), ran.returncode


if __name__ == "__main__":
    for page in [Path(name) for name in sys.argv[1:]] or PAGES:
        with tempfile.TemporaryDirectory() as folder:
            page.write_text(filled(page.read_text(encoding="utf-8"), Path(folder)), encoding="utf-8")
