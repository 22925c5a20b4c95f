"""Every built-in gap of every kind has a figure, and so has what several gaps rest on.

All are made by ``docs/figures/make.py`` and shown in ``docs/model.md``.
"""

import runpy
from pathlib import Path
from xml.etree import ElementTree

import pytest

from stackup.cage import KINDS, kind

DOCS = Path(__file__).parents[1] / "docs"
GAPS = sorted({gap.name for name in KINDS for gap in kind(name).gaps})
LAYOUTS = ["tapered_ends", "tapered_layout"]


@pytest.fixture(scope="module")
def make():
    return runpy.run_path(str(DOCS / "figures" / "make.py"))


def test_there_is_one_figure_for_each_gap(make):
    wanted = sorted([*GAPS, *LAYOUTS])
    assert sorted(make["FIGURES"]) == wanted
    assert sorted(path.stem for path in (DOCS / "figures").glob("*.svg")) == wanted


@pytest.mark.parametrize("gap", GAPS)
def test_a_figure_is_well_formed_and_names_its_gap(gap):
    root = ElementTree.parse(DOCS / "figures" / f"{gap}.svg").getroot()  # noqa: S314 - our own file
    words = ["".join(text.itertext()) for text in root.iter("{http://www.w3.org/2000/svg}text")]
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert gap in words  # the label in the drawing, beside the formula in the title
    assert words[0].startswith(gap)


@pytest.mark.parametrize("gap", [*GAPS, *LAYOUTS])
def test_the_model_shows_the_figure(gap):
    assert f"![{gap}](figures/{gap}.svg)" in (DOCS / "model.md").read_text(encoding="utf-8")


def test_drawing_again_gives_the_same_bytes(make, tmp_path):
    make["main"](tmp_path)
    for gap in [*GAPS, *LAYOUTS]:
        assert (tmp_path / f"{gap}.svg").read_bytes() == (DOCS / "figures" / f"{gap}.svg").read_bytes(), gap
