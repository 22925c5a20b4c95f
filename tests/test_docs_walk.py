"""The commands of the walk-through run, with the exit codes and the answers that it shows."""

import re
import runpy
from pathlib import Path

DOCS = Path(__file__).parents[1] / "docs"


def test_the_walk_for_the_design_engineer(tmp_path):
    """Every command ends with the announced code; regenerate the page with ``python docs/make_walk.py``."""
    make = runpy.run_path(str(DOCS / "make_walk.py"))
    page = make["PAGE"].read_text(encoding="utf-8")
    made = make["filled"](page, tmp_path)
    assert outlines(made) == outlines(page)


def outlines(text):
    """Return what stands first in each line of every output, without what follows from numbers alone."""
    blocks = re.findall(r"```console\n(.*?)```", text, re.DOTALL)
    lines = [line for block in blocks for line in block.splitlines()]
    return [line.split()[0] for line in lines if line and not line.startswith((" ", "·"))]
