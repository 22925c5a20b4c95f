"""What pages show: margins that agree with tables, stacks called so, lists and formulas made to fit a width."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import stackup
from stackup.cage import kind
from stackup.decide.check import settings_of
from stackup.engine.result import Fraction
from stackup.report import checking, explaining, lists, terminal
from stackup.report.html import html_of
from stackup.report.view import Column, Page, Table, Text, changed

CASES = Path(__file__).parents[2] / "cases"
NUMBER = r"-?\d+(?:\.\d+)?"


@pytest.fixture(scope="module")
def stack() -> stackup.CheckResult:
    """Check a stack without a cage."""
    case = stackup.load(CASES / "bush_stack.toml")
    return stackup.check(case, settings_of(case, cages=2000))


@pytest.fixture(scope="module")
def demo() -> stackup.CheckResult:
    """Check the demo on few cages."""
    case = stackup.load(CASES / "demo.toml")
    return stackup.check(case, settings_of(case, cages=1000))


def shown(page: Page, width: int, monkeypatch: pytest.MonkeyPatch) -> str:
    """Return a page as a file has it, ``width`` columns wide."""
    monkeypatch.setenv("COLUMNS", str(width))
    return terminal.text_of(page, io.StringIO())


def tables(result: stackup.CheckResult) -> dict[str, Table]:
    return {one.title: one for one in checking.page(result).sections if isinstance(one, Table)}


def test_margins_agree_with_the_table_of_methods(demo: stackup.CheckResult, stack: stackup.CheckResult) -> None:
    """A requirement by worst case: what is inside is the table's end less the limit, digit for digit."""
    seen = 0
    for result in (demo, stack):
        verdicts, methods = tables(result)["Does it work"], tables(result)["By three methods"]
        for verdict, method, record in zip(verdicts.rows, methods.rows, result.requirements, strict=False):
            if record.requirement.allow is not None:
                continue
            seen += 1
            told = re.fullmatch(rf"worst case ({NUMBER}) {record.unit} inside", verdict[3].text)
            assert told
            found, guaranteed = method[2].text, method[3].text
            low, high = re.findall(NUMBER, found if guaranteed == "the same" else guaranteed)
            limits = record.requirement
            rooms = [float(low) - limits.min] if limits.min is not None else []
            rooms += [limits.max - float(high)] if limits.max is not None else []
            assert float(told[1]) == pytest.approx(min(rooms), abs=1e-9)
            assert len(told[1].partition(".")[2]) == len(low.partition(".")[2])
    assert seen >= 7


def test_the_same_is_one_rule(demo: stackup.CheckResult) -> None:
    """Found and guaranteed are the same where certified or not to be told apart; else both are shown."""
    record = demo["weld_gap"]
    assert record.worst_case is not None

    def guaranteed(**ends: Any) -> str:
        changed_one = replace(record, worst_case=replace(record.worst_case, **ends))  # type: ignore[type-var]
        return tables(replace(demo, requirements=(changed_one,)))["By three methods"].rows[0][3].text

    assert guaranteed() == "the same"
    low = record.worst_case.low
    assert guaranteed(bound_low=low - 9e-5) == "the same"
    assert guaranteed(bound_low=low - 1e-7, certified_low=False) == "the same"
    assert guaranteed(bound_low=low - 0.01, certified_low=False).startswith(f"{low - 0.01:.4f} … ")


def test_a_margin_below_the_digits_is_not_nothing(demo: stackup.CheckResult) -> None:
    """Inside by less than the table shows, or outside: said, on the right side."""
    record = demo["weld_gap"]
    assert record.worst_case is not None
    low = record.worst_case.low
    for off, told in ((-2e-6, "worst case <0.0001 mm inside"), (2e-6, "worst case <0.0001 mm outside")):
        limits = replace(record.requirement, min=round(low, 9), max=None)
        ends = replace(record.worst_case, low=low - off, bound_low=low - off)
        verdict = "met" if off < 0 else "not met"
        one = replace(record, requirement=limits, worst_case=ends, verdict=verdict)
        row = tables(replace(demo, requirements=(one,)))["Does it work"].rows[0]
        assert row[3].text == told


def test_stacks_are_called_stacks(stack: stackup.CheckResult, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a cage no page speaks of pockets or cages, and of what was drawn it says what."""
    text = shown(checking.page(stack, details=True), 160, monkeypatch)
    assert "2 000 stacks drawn" in text
    assert "stacks fail at least one (sampled, 95 %:" in text
    assert not re.search(r"(?<!--)\b(pockets?|cages)\b", text.replace("stack without a cage", ""))


def test_any_says_how_sure_it_is(demo: stackup.CheckResult) -> None:
    """Sampled with its interval, or that none was seen; a number known exactly has none."""
    anyone = demo.any_requirement

    def answer(cages: Fraction) -> str:
        return checking.answer(replace(demo, any_requirement=replace(anyone, cages=cages))).text.rpartition("; ")[2]

    assert answer(Fraction(0.0195, 0.0186, 0.0204)).endswith(
        "1.950 % of cages fail at least one (sampled, 95 %: 1.860 … 2.040 %)"
    )
    assert answer(Fraction(0.0, 0.0, 37e-6)).endswith("≤ 37 ppm of cages fail at least one (sampled, none seen)")
    assert answer(Fraction.exact(0.5)).endswith("50.0 % of cages fail at least one")


def test_a_mark_where_rss_reaches_beyond(demo: stackup.CheckResult) -> None:
    """The stress of the weld cannot be negative: its ± 3 sd are marked, and the mark is explained."""
    methods = tables(demo)["By three methods"]
    marked = {row[0].text.partition(",")[0] for row in methods.rows if row[4].text.endswith("*")}
    assert "weld_stress" in marked
    assert "bore_clearance" not in marked
    assert "* mean ± 3 sd of RSS reaches beyond the worst case" in methods.note
    assert methods.note in html_of(Page("", "", (methods,))).replace("</p><p>", "\n")


def test_dashes_are_explained(demo: stackup.CheckResult) -> None:
    """A table with a number that does not exist says so; one without does not."""
    found = tables(demo)
    assert found["How many are out of spec"].note == "– no such number"
    full = Table("", (Column("a"),), ((Text("1"),),))
    assert checking.explained(full) == full


def test_a_table_of_nothing_is_left_out() -> None:
    """A gap in which nothing scatters has no table of what governs it."""
    case = stackup.from_mapping(
        {
            "cage": {"kind": "none"},
            "dimensions": {"a": {"nominal": 1.0}},
            "chains": {"gap": {"formula": "a"}},
            "requirements": {"gap": {"min": 0.5}},
        }
    )
    assert [section.title for section in explaining.page(stackup.explain(case)).sections] == [
        "gap: a chain of the case file · 1 mm at nominal"
    ]
    details = checking.page(stackup.check(case, settings_of(case, cages=50)), details=True)
    assert not any(isinstance(one, Table) and not one.rows for one in details.sections)


@pytest.mark.parametrize("width", [60, 80, 100, 160])
def test_fractions_keep_few_lines(width: int, demo: stackup.CheckResult, monkeypatch: pytest.MonkeyPatch) -> None:
    """At most three lines a requirement, from 80 columns on."""
    table = tables(demo)["How many are out of spec"]
    lines = shown(Page("", "", (table,)), width, monkeypatch).splitlines()
    per_row = len(lines) / len(table.rows)
    assert (per_row < 3.5) == (width >= 80)


@pytest.mark.parametrize("width", [80, 100])
def test_slots_keep_few_lines(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """About three lines a slot."""
    page = lists.slots_page(kind("cylindrical"))
    (table,) = [one for one in page.sections if one.title == "Slots"]
    assert isinstance(table, Table)
    lines = shown(Page("", "", (table,)), width, monkeypatch).splitlines()
    assert len(lines) <= 3 * len(table.rows) + 6  # some of four, and the heads


def test_slots_without_which_gaps_are_left_out() -> None:
    """A slot that a gap needs counts as no zero: its gaps are left out."""
    cylindrical = kind("cylindrical")
    told = {slot["name"]: slot["left_out"] for slot in lists.slots_record(cylindrical)["slots"]}
    needed = {name for gap in cylindrical.gaps for name in gap.needs}
    assert {name for name, left_out in told.items() if left_out == "gaps left out"} == needed
    assert told["pin_seat_a"] == "0"
    assert told["hole_pitch_diameter_b"] == "as hole_pitch_diameter"
    (sphere,) = [slot for slot in lists.slots_record(kind("tapered"))["slots"] if slot["symbol"] == "R_s"]
    assert sphere["left_out"] == "a flat end"


# Lists and formulas -----------------------------------------------------------------------------------------------


def test_a_cut_list_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """What has no room is told by a sign; the first stays; what has room is whole."""
    table = Table(
        "", (Column("a"), Column("b", list=True)), ((Text("x" * 20), Text("first one, second one, third one")),)
    )
    page = Page("", "", (table,))
    assert "first one, second one, third one" in shown(page, 60, monkeypatch)
    assert "first one, second one, …" in shown(page, 46, monkeypatch)


def test_two_govern_at_80_columns(demo: stackup.CheckResult, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where two are worth naming two are named, or a sign says that there are more."""
    lines = shown(Page("", "", (tables(demo)["Does it work"],)), 80, monkeypatch).splitlines()
    governed = [line for line in lines if re.search(r"[a-z_]+ <?\d+ %", line) and "ppm" not in line]
    assert len(governed) == len([record for record in demo.requirements if record.limited])
    assert all(", " in line for line in governed)


FORMULA = "2*sqrt(roller_radius*roller_radius.next)*sin(angle_between/2) - max(first_name, second_name**2)"


@given(st.integers(20, 120))
def test_a_broken_formula_is_whole(room: int) -> None:
    """Law: no line is wider than its room (names apart), and joined again it is the formula."""
    lines = terminal.broken(FORMULA, room).split("\n")
    assert all(len(line) <= max(room, 4 + len("roller_radius.next)*")) for line in lines)
    assert "".join(line.strip() for line in lines).replace(" ", "") == FORMULA.replace(" ", "")
    assert all(line.startswith("    ") for line in lines[1:])


@pytest.mark.parametrize("width", [60, 80, 100, 160])
def test_formulas_are_never_cut(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every formula of every gap of the demo stands whole on the screen, at every width."""
    result = stackup.explain(stackup.load(CASES / "demo.toml"), "roller_spacing")
    text = shown(explaining.page(result), width, monkeypatch)
    assert "…" not in text
    if width == 160:
        squeezed = re.sub(r"\s+", "", text)
        for step in result.gaps[0].steps:
            assert re.sub(r"\s+", "", step.formula) in squeezed or len(step.formula) > 60


def test_numbers_of_the_cage_are_given() -> None:
    """What stands in a formula and is no dimension has its value: the demo's welds are centred, its pins of steel."""
    (gap,) = stackup.explain(stackup.load(CASES / "demo.toml"), "weld_stress").gaps
    assert gap.parameters == {"pin_modulus": 206000.0, "weld_factor": 1.0}
    (table,) = [one for one in explaining.page(replace_gaps(gap)).sections if "weld_stress" in one.title]
    assert isinstance(table, Table)
    assert ("weld_factor", "1") in [(row[0].text, row[1].text) for row in table.rows]
    assert not any("gap 6" in cell.text for row in table.rows for cell in row)


def replace_gaps(gap: Any) -> Any:
    from stackup.decide.explain import ExplainResult

    return ExplainResult("", "cylindrical", "0" * 64, "1", "made", (gap,), None)


# Other signs -------------------------------------------------------------------------------------------------------


def test_a_page_in_other_signs(demo: stackup.CheckResult, monkeypatch: pytest.MonkeyPatch) -> None:
    """A stream in ASCII gets >= and .., laid out as wide as they are; nothing is a question mark."""
    monkeypatch.setenv("COLUMNS", "80")

    class Ascii(io.StringIO):
        encoding = "ascii"

    page = checking.page(demo, details=True)
    text = terminal.text_of(page, Ascii())
    assert max(len(line) for line in text.splitlines()) <= 80
    assert ">= 0.13 mm" in text
    assert "0.59 .. 0.71 mm" in text
    assert "?" not in text
    in_upper_case = changed(page, str.upper)
    assert in_upper_case.answer is not None
    assert in_upper_case.answer.text == checking.answer(demo).text.upper()
