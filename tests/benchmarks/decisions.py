"""How long the decisions take, in units of one ``check`` of the demo case: medians of paired runs.

Run: ``OPENBLAS_NUM_THREADS=1 python tests/benchmarks/decisions.py [PAIRS] [NAME …]``.  Writes
``docs/study_decisions.md``; a decision that is not named keeps its line.
"""

from __future__ import annotations

import datetime
import os
import re
import sys
import tempfile
import tomllib
from collections.abc import Callable
from pathlib import Path

from speed import command, paired, ratio

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "cases" / "demo.toml"
STACKUP = str(Path(sys.executable).with_name("stackup"))
PAGE = ROOT / "docs" / "study_decisions.md"
Decision = tuple[str, Callable[[], object], str]


def allocation() -> Decision:
    """Return the allocation of all tolerances of the demo that have a cost, under all its requirements."""
    return "allocate: 24 free tolerances, 13 requirements", command(STACKUP, "allocate", str(DEMO)), "30"


def roller_counts() -> Decision:
    """Return 20 counts of the demo that stand on its circle, 31 to 50."""
    return "rollers: 20 counts", command(STACKUP, "rollers", str(DEMO), "--from", "31", "--to", "50"), "25"


#: ten tolerances, each half as wide again: every one is in the chain of several requirements
TEN = (
    "hole_position_a", "hole_position_b", "pin_seat_a", "pin_seat_b", "pin_squareness_a", "ring_offset", "ring_hole_b",
    "pin_diameter", "roller_bore", "ring_spacing",
)  # fmt: skip


def review() -> Decision:
    """Return the review of a proposal that widens TEN dimensions of the demo by half."""
    entries = tomllib.loads(DEMO.read_text(encoding="utf-8"))["dimensions"]
    lines = []
    for name in TEN:
        key = "zone" if "zone" in entries[name] else "tolerance"
        old = entries[name][key]
        lines.append(f"[dimensions.{name}]\n{key} = {[1.5 * v for v in old] if isinstance(old, list) else 1.5 * old}\n")
    proposal = Path(tempfile.mkdtemp()) / "proposal.toml"
    proposal.write_text("".join(lines), encoding="utf-8")
    return "review: 10 changes", command(STACKUP, "review", str(DEMO), str(proposal)), "60"


def capabilities() -> Decision:
    """Return what the processes of the demo have, need and would gain."""
    words = "capability: 30 processes, 7 requirements with an allowance"
    return words, command(STACKUP, "capability", str(DEMO)), "10"


#: name → what is measured: words, a function that runs it, and the most it may take
DECISIONS: dict[str, Callable[[], Decision]] = {
    "allocate": allocation,
    "rollers": roller_counts,
    "review": review,
    "capability": capabilities,
}


def lines_of(page: str) -> dict[str, str]:
    """Return the lines of a page's table by the first word in each."""
    return {found[1]: found[0] for found in re.finditer(r"^\| (\w+):.*$", page, re.MULTILINE)}


def main(pairs: int = 3, *names: str) -> None:
    """Measure the named decisions (all without a name) and write the study."""
    lines = lines_of(PAGE.read_text(encoding="utf-8")) if PAGE.exists() else {}
    check = command(STACKUP, "check", str(DEMO))
    check()
    today = f"{datetime.datetime.now(datetime.UTC):%Y-%m-%d}"
    for name in names or DECISIONS:
        what, decide, most = DECISIONS[name]()
        lines[name] = f"| {what} | {ratio(paired(decide, check, pairs))} | {most} | {today} |"
        print(lines[name], flush=True)
    table = "\n".join(lines[name] for name in DECISIONS if name in lines)
    text = f"""# Decisions, measured

Written by `python tests/benchmarks/decisions.py`, seed 1, medians of {pairs} paired runs on a shared
machine of {os.cpu_count()} cores. Every number is a ratio to one `stackup check` of `cases/demo.toml` in the
same run, both as commands of their own, start and imports included.

| decision on the demo case | in checks | at most | measured |
|---|---:|---:|---|
{table}
"""
    PAGE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]), *sys.argv[2:])
