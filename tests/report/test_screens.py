"""Screens fit their width, say the same without colour, and hold no escape codes in a file."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from quick import quick_ends

import stackup
from stackup.cage import KINDS, kind
from stackup.decide.check import settings_of
from stackup.report import checking, explaining, lists, terminal
from stackup.report.html import html_of
from stackup.report.output import put
from stackup.report.progress import Progress
from stackup.report.view import Column, Page, Table, Text

CASES = Path(__file__).parents[2] / "cases"
WIDTHS = (40, 60, 80, 100, 160)


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.fixture(scope="module")
def pages() -> dict[str, Page]:
    """Make one page of each sort."""
    case = stackup.load(CASES / "bush_stack.toml")
    cage = stackup.load(CASES / "every_key_cage.toml")
    with quick_ends():
        checked = stackup.check(cage, settings_of(cage, cages=500, boxes=20))
    return {
        "stack": checking.page(stackup.check(case, settings_of(case, cages=2000)), details=True),
        "cage": checking.page(checked, details=True),
        "answer": checking.answer_page(checked),
        "explain": explaining.page(stackup.explain(cage, "running_clearance", program=True)),
        **{name: lists.slots_page(kind(name)) for name in KINDS},
    }


@pytest.mark.parametrize("width", WIDTHS)
def test_no_line_is_wider_than_the_screen(pages: dict[str, Page], width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every page at every width; nothing but spaces is cut from a verdict."""
    monkeypatch.setenv("COLUMNS", str(width))
    for name, page in pages.items():
        text = terminal.text_of(page, io.StringIO())
        assert max(len(line) for line in text.splitlines()) <= width, name
        assert "\x1b" not in text
        if name in {"stack", "cage"}:
            assert "NOT MET" in text or "undecided" in text


def test_the_same_words_with_and_without_colour(pages: dict[str, Page], monkeypatch: pytest.MonkeyPatch) -> None:
    """Colour adds nothing that the words do not say; --plain and NO_COLOR take it away."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    page = pages["stack"]
    coloured, plain = terminal.text_of(page, Terminal()), terminal.text_of(page, Terminal(), plain=True)
    assert "\x1b[" in coloured
    assert "\x1b[" not in plain
    assert without_codes(coloured) == plain
    monkeypatch.setenv("NO_COLOR", "1")
    assert not any(f"[{code}m" in terminal.text_of(page, Terminal()) for code in (31, 32, 35))


def without_codes(text: str) -> str:
    """Return what a terminal shows."""
    import re

    return "\n".join(line.rstrip() for line in re.sub(r"\x1b\[[0-9;]*m", "", text).split("\n"))


def test_a_file_has_the_same_width_everywhere(pages: dict[str, Page], monkeypatch: pytest.MonkeyPatch) -> None:
    """Without COLUMNS a file is as wide as ever."""
    monkeypatch.delenv("COLUMNS", raising=False)
    text = terminal.text_of(pages["stack"], io.StringIO())
    monkeypatch.setenv("COLUMNS", str(terminal.FILE_WIDTH))
    assert terminal.text_of(pages["stack"], io.StringIO()) == text


def test_nonsense_in_columns(pages: dict[str, Page], monkeypatch: pytest.MonkeyPatch) -> None:
    """A width that is none is not heeded."""
    for nonsense in ("", "wide", "-3", "2", "999999999"):
        monkeypatch.setenv("COLUMNS", nonsense)
        assert terminal.int_or(nonsense, 100) == 100
        assert terminal.text_of(pages["answer"], io.StringIO())


def test_lists_lose_their_tail_only() -> None:
    """A list keeps whole items, the first at least."""
    table = Table(
        "", (Column("a"), Column("b", list=True)), ((Text("x" * 30), Text("first one, second one, third one")),)
    )
    page = Page("title", "about", (table,))
    wide = terminal.text_of(page, io.StringIO())
    assert "third one" in wide


def test_a_table_that_fits_in_no_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each value on a line of its own with its head, none for an empty one; wide where it fits."""
    columns = (Column("requirement"), Column("out of spec", right=True), Column("95 %", right=True))
    table = Table("", columns, ((Text("a" * 30), Text("b" * 30), Text("")),))
    monkeypatch.setenv("COLUMNS", "60")
    lines = terminal.text_of(Page("title", "about", (table,)), io.StringIO()).splitlines()
    assert lines[-2:] == ["requirement    " + "a" * 30, "  out of spec  " + "b" * 30]
    monkeypatch.setenv("COLUMNS", "80")
    assert "requirement" not in terminal.text_of(Page("title", "about", (table,)), io.StringIO()).splitlines()[-1]


@pytest.mark.parametrize("width", WIDTHS)
def test_what_to_do_is_never_cut(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A list that is kept breaks behind its commas: beside other columns, below them, with the head before it."""
    columns = (Column("requirement"), Column("by how much", list=True, kept=True), Column("by", list=True))
    advice = "≤ 7351 ppm of bearings (2000 ppm allowed), try --cages 7400 at least"
    table = Table("", columns, ((Text("running_clearance"), Text(advice), Text("one, two")),), stacks=((0,), (1, 2)))
    monkeypatch.setenv("COLUMNS", str(width))
    said = terminal.text_of(Page("title", "about", (table,)), io.StringIO())
    assert advice in " ".join(said.split()).replace("running_clearance ", "")
    assert max(map(len, said.splitlines())) <= width


def test_html_says_the_same(pages: dict[str, Page]) -> None:
    """Every text of a page is in its HTML, escaped."""
    text = html_of(pages["stack"])
    for word in ("end_play_in_series", "NOT MET", "washer_left", "verify on parts"):
        assert word in text
    assert "<script" not in html_of(Page("<script>", "", ()))


def test_a_stream_that_cannot_say_it() -> None:
    """An ASCII stream gets other signs, a closed pipe nothing, neither an error."""
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="ascii", write_through=True)
    put("≥ 1\n", stream)
    assert raw.getvalue() == b">= 1\n"

    class Closed(io.StringIO):
        def write(self, _: str) -> int:
            raise BrokenPipeError

    put("x", Closed())


def test_progress_only_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file gets nothing; a terminal one line that is wiped; --quiet nothing."""
    monkeypatch.setenv("TERM", "xterm")
    for stream, quiet, shown in ((io.StringIO(), False, False), (Terminal(), True, False), (Terminal(), False, True)):
        with Progress(quiet, stream) as progress:
            progress(1, 4, "cages")
        assert ("cages 25 %" in stream.getvalue()) == shown
        assert stream.getvalue().endswith("\x1b[2K") == shown
