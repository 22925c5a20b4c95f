"""The pages of a review: on a screen of any width, and as it is sent."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest

import stackup
from stackup.decide.check import settings_of
from stackup.decide.drawing_words import in_words, line_of
from stackup.decide.review import review
from stackup.decide.review_record import ReviewResult
from stackup.errors import Interrupted
from stackup.report import letter, markdown, reviewing, terminal
from stackup.report.view import Column, Facts, Lines, Page, Table, Text

DRAWING: dict[str, Any] = {
    "title": "A stack | of *three* (invented)",
    "cage": {"kind": "none"},
    "dimensions": {
        "a": {"nominal": 10.0, "tolerance": [-0.1, 0.0], "process": {"cp": 1.2}},
        "b": {"nominal": 5.0, "tolerance": 0.1},
        "c": {"nominal": 2.0, "tolerance": 0.05},
        "d": {"limit": 0.1},
    },
    "chains": {"gap": {"formula": "a - b - c - d"}},
    "requirements": {
        "gap": {"min": 2.72, "allow": {"ppm": 3000, "of": "cages"}},
        "sure": {"gap": "gap", "max": 3.2},
    },
}
PROPOSAL: dict[str, Any] = {
    "dimensions": {
        "a": {"tolerance": [-0.3, 0.0], "process": {"cp": 1.0}},
        "b": {"tolerance": 0.06},
        "c": {"nominal": 1.9},
        "d": {"process": {"shape": "half-normal"}},
    },
    "requirements": {"gap": {"min": 2.5}},
}


@pytest.fixture(scope="module")
def result() -> ReviewResult:
    case = stackup.from_mapping(DRAWING)
    return review(case, PROPOSAL, settings_of(case, cages=4000))


@pytest.fixture(scope="module")
def nothing() -> ReviewResult:
    case = stackup.from_mapping(DRAWING)
    return review(case, DRAWING, settings_of(case, cages=500))


@pytest.mark.parametrize("width", [40, 60, 80, 100, 160])
def test_no_line_is_wider_than_the_screen(
    result: ReviewResult, nothing: ReviewResult, width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With and without details; the answer comes last."""
    monkeypatch.setenv("COLUMNS", str(width))
    for page in (reviewing.page(result), reviewing.page(result, details=True), reviewing.page(nothing)):
        text = terminal.text_of(page, io.StringIO())
        assert max(len(line) for line in text.splitlines()) <= width
        assert page.answer is not None
        assert " ".join(text.split()).endswith(page.answer.text)


def test_every_refusal_names_its_number(result: ReviewResult) -> None:
    """In the table, and in the letter with everything that stands against it."""
    against = [change for change in result.changes if change.decision != "accept"]
    assert {change.decision for change in against} == {"refuse", "limit"}
    table = reviewing.changes_table(result)
    for change, row in zip(result.changes, table.rows, strict=True):
        if change.reason is None and change.decision != "accept":
            assert re.search(r"\d", row[-1].text)
            assert change.causes[0].requirement in row[-1].text
            assert all(reviewing.cause(result, one) in letter.text_of(result) for one in change.causes)
    assert [row[2].text for row in table.rows if row[2].text == "REFUSE"]


def test_the_letter(result: ReviewResult) -> None:
    """Title, verdict first, then changes, reasons, counter-proposal, questions, numbers, cautions; whole tables."""
    text = letter.text_of(result)
    heads = re.findall(r"^## (.*)$", text, re.MULTILINE)
    assert heads == [
        "Changes",
        "Reasons",
        "Counter-proposal",
        "Questions",
        "Requirements before and after",
        "Who takes the margins",
        "By all methods",
        "To know",
    ]
    title, _, rest = text.partition("\n")
    assert title == r"# Review of a proposal: A stack \| of \*three\* (invented)"
    assert rest.split("\n\n")[1].startswith("**ACCEPT IN PART: of 5 changes")
    for question in result.questions:
        assert markdown.escaped(question) in text
    for block in re.findall(r"(?:^\|.*\n)+", text, re.MULTILINE):
        assert len({len(re.findall(r"(?<!\\)\|", line)) for line in block.splitlines()}) == 1
    assert "verify on parts" in text


def test_the_letter_of_nothing(nothing: ReviewResult) -> None:
    """A proposal that changes nothing has no tables of changes, and no questions."""
    text = letter.text_of(nothing)
    assert "**ACCEPT: the proposal changes nothing**" in text
    assert "## Changes" not in text
    assert "## Questions" not in text


@pytest.mark.parametrize("what", ["worst case", "contributions", "sets of changes"])
def test_interrupted(what: str) -> None:
    """What was finished is shown; no change is decided, and the answer says so."""

    def stop(_done: float, _of: float, which: str) -> None:
        if which == what:
            raise KeyboardInterrupt

    case = stackup.from_mapping(DRAWING)
    with pytest.raises(Interrupted) as caught:
        review(case, PROPOSAL, settings_of(case, cages=500), stop)
    page = reviewing.page(caught.value.records, details=True)
    text = terminal.text_of(page, io.StringIO())
    assert "NOT REVIEWED: interrupted" in text
    assert "INTERRUPTED" in page.about
    assert "ACCEPT" not in text
    assert [row[2].text for row in reviewing.changes_table(caught.value.records).rows][:4] == ["open"] * 4


def test_markdown_of_every_section() -> None:
    """Tables with sides, facts, lines; strong cells; marks of the format escaped, names left readable."""
    page = Page(
        "A <b>",
        "about",
        (
            Table("T", (Column("x"), Column("y", right=True)), ((Text("pin_seat", "strong"), Text("1|2")),), note="n"),
            Facts("F", (("one", Text("1")),)),
            Lines("", (Text("*l*"),)),
        ),
        Text("done"),
    )
    assert markdown.text_of(page) == (
        "# A \\<b\\>\n\nabout\n\n**done**\n\n## T\n\n| x | y |\n| --- | ---: |\n| **pin_seat** | 1\\|2 |\n\nn\n\n"
        "## F\n\n- one: 1\n\n- \\*l\\*\n"
    )


@pytest.mark.parametrize(
    ("value", "key", "words"),
    [
        (0.02, "tolerance", "±0.02"),
        ([-0.027, 0.0], "tolerance", "-0.027 … 0"),
        ("h7", "tolerance", "h7"),
        (0.1, "zone", "0.1"),
        (None, "process", "nothing"),
        ({}, "process", "centred, cp = 1"),
        ({"cp": 1.33, "inspected": True}, "process", "cp 1.33, inspected"),
        ({"shape": "uniform", "offset": [0.1, 0.0]}, "process", "uniform, offset [0.1, 0]"),
        ({"tolerance": 0.1, "process": None}, "tolerance, process", "±0.1, no process"),
        ({"nominal": 5.0, "tolerance": [0.0, 0.1], "process": {"cp": 1.0}}, "", "5, 0 … 0.1, process cp 1"),
        ({"ppm": 1000, "of": "cages"}, "allowance", "1000 ppm of cages"),
        (True, "", "yes"),
        (list(range(40)), "values", "40 values"),
    ],
)
def test_words_of_a_drawing(value: Any, key: str, words: str) -> None:
    assert in_words(value, key) == words


def test_lines_of_a_drawing() -> None:
    """One line of a drawing: what makes a dimension what it is."""
    assert line_of({"nominal": 15.4, "tolerance": [-0.027, 0.0], "process": {"cp": 1.0}}) == "15.4 -0.027 … 0"
    assert line_of({"zone": 0.1}) == "zone 0.1"
    assert line_of({}) == "nothing"
