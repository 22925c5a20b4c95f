"""The commands of the walk-through run, with the exit codes and the answers that it shows."""

import re
import runpy
from pathlib import Path

DOCS = Path(__file__).parents[1] / "docs"
NUMBER = re.compile(r"(?<![a-z_])-?\d+(?:\.\d+)?(?:e-\d+)?")
PLACE = re.compile(r"case [0-9a-f]{12}|stackup \d\S*")


def test_the_walk_for_the_design_engineer(tmp_path):
    """Regenerate with ``python docs/make_walk.py``; numbers may differ in their last digits."""
    make = runpy.run_path(str(DOCS / "make_walk.py"))
    page = make["PAGE"].read_text(encoding="utf-8")
    made = make["filled"](page, tmp_path)
    assert words(made) == words(page)
    assert len(NUMBER.findall(page)) == len(NUMBER.findall(made))


def words(text):
    """Return the words of a page without numbers and without the spaces that lay them out."""
    return NUMBER.sub("#", PLACE.sub("#", text)).split()
