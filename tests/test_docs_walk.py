"""The commands of the walks run, with the exit codes and the answers that it shows."""

import re
import runpy
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[1] / "docs"
MAKE = runpy.run_path(str(DOCS / "make_walk.py"))


@pytest.mark.parametrize("walk", MAKE["PAGES"], ids=lambda path: path.stem)
def test_the_walks(walk, tmp_path):
    """Every command ends with the announced code; regenerate the pages with ``python docs/make_walk.py``."""
    page = walk.read_text(encoding="utf-8")
    made = MAKE["filled"](page, tmp_path)
    assert outlines(made) == outlines(page)


def outlines(text):
    """Return what stands first in each line of every output, without what follows from numbers alone."""
    blocks = re.findall(r"```console\n(.*?)```", text, re.DOTALL)
    lines = [line for block in blocks for line in block.splitlines()]
    return [line.split()[0] for line in lines if line and not line.startswith((" ", "·"))]
