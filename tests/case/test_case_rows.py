"""Rows of a bearing: alike, or each with what it says in the place of what all rows have."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from case_texts import LEAST

from stackup.case import Case, changed, write
from stackup.case.nominal import evaluate_at_nominal
from stackup.case.proposal import over, proposal_of, read_over
from stackup.dimension import MeasuredSize, Size
from stackup.errors import CaseError

ReadText = Callable[[str], Case]

TWO = """
[[row]]
name = "drive side"
count = 2
[[row]]
rollers = 9
dimensions.pin_diameter = { nominal = 17.3 }
dimensions.ring_spacing.tolerance = 0.2
[row.dimensions.pin_seat_a]
zone = 0.04
"""
#: the least case with tolerances that a row may keep
DRAWN = LEAST.replace("17.4", "17.4\ntolerance = 'h7'\nprocess = { cp = 1.33, shift = 0.001 }")


def test_rows_alike(read_text: ReadText) -> None:
    """A number of rows and nothing else: one row, so many times."""
    (row,) = read_text(LEAST.replace("rollers = 8", "rollers = 8\nrows = 3")).models()
    assert (row.name, row.count, row.rollers, dict(row.said)) == ("1", 3, 8, {})


def test_rows_that_differ(read_text: ReadText) -> None:
    """Each has its name or number, its count, its rollers, and says which dimensions are its own."""
    first, second = read_text(DRAWN + TWO).models()
    assert (first.name, first.count, first.rollers, dict(first.said)) == ("drive side", 2, 8, {})
    assert (second.name, second.count, second.rollers) == ("2", 1, 9)
    assert second.said.keys() == {"pin_diameter", "ring_spacing", "pin_seat_a"}
    assert second.states["made"].pockets == 9
    assert [gap.name for gap in first.states["made"].gaps] == [gap.name for gap in second.states["made"].gaps]


def test_keys_replace_keys(read_text: ReadText) -> None:
    """A row that moves a nominal keeps tolerance and process of the drawing: nothing becomes exact unsaid."""
    case = read_text(DRAWN + TWO)
    own, common = (made["pin_diameter"] for made in (case.models()[1].states["made"].dimensions, case.dimensions))
    assert isinstance(own, Size)
    assert isinstance(common, Size)
    assert (own.nominal_size, common.nominal_size) == (17.3, 17.4)
    assert (own.lower, own.upper, own.process) == (common.lower, common.upper, common.process)


def test_another_form_replaces_all(read_text: ReadText) -> None:
    """Values as built take the place of a size with everything it had."""
    values = "[[row]]\ndimensions.pin_diameter = { values = [17, 17, 17, 17, 17, 17, 17, 17] }\n"
    (row,) = read_text(DRAWN + values).models()
    assert isinstance(row.states["made"].dimensions["pin_diameter"], MeasuredSize)


def test_a_row_is_the_case_of_this_row_alone(read_text: ReadText) -> None:
    """The model of a row is that of a case with its numbers in [dimensions]."""
    row = read_text(DRAWN + TWO).models()[1]
    alone = DRAWN.replace("17.4", "17.3").replace("rollers = 8", "rollers = 9").replace("61.0", "61.0\ntolerance = 0.2")
    (same,) = read_text(alone + "[dimensions.pin_seat_a]\nzone = 0.04\n").models()
    one, other = row.states["made"], same.states["made"]
    assert one.steps == other.steps
    assert dict(one.dimensions) == dict(other.dimensions)
    found, expected = evaluate_at_nominal(one), evaluate_at_nominal(other)
    assert all((found[name] == expected[name]).all() for name in expected)


def test_rollers_said_by_rows_alone(read_text: ReadText) -> None:
    """Where every row says its rollers [cage] need not; the common part counts those of the first."""
    case = read_text(LEAST.replace("rollers = 8\n", "") + "[[row]]\nrollers = 9\n[[row]]\nrollers = 10\n")
    assert ([row.rollers for row in case.models()], case.rollers) == ([9, 10], 9)


def test_states_in_every_row(read_text: ReadText) -> None:
    """Operation holds for all rows; every row has the same states."""
    rows = read_text(LEAST + TWO + "[operating.wear]\npin_diameter = 0.1\n").models()
    assert [list(row.states) for row in rows] == [["made", "worn"], ["made", "worn"]]


def test_notes_name_the_row_only_where_rows_differ(read_text: ReadText) -> None:
    """What holds for all rows is said once."""
    notes = read_text(LEAST + TWO).notes
    (exact,) = [note for note in notes if note.startswith("row drive side: exact")]
    assert "ring_spacing" in exact
    assert [note for note in notes if note.startswith("row 2: exact")]
    assert len([note for note in notes if "ring_clearance_outer is left out" in note]) == 1


def test_changes_of_the_common_part_and_of_a_row(read_text: ReadText) -> None:
    """A change of the common entry reaches rows that do not say that key; a row is changed by its own path."""
    case = read_text(DRAWN + TWO)
    wider = changed(case, {"dimensions.pin_diameter.tolerance": 0.1, "dimensions.pin_diameter.nominal": 17.2})
    first, second = (row.states["made"].dimensions["pin_diameter"] for row in wider.models())
    assert (first.half_width, second.half_width) == (0.1, 0.1)
    assert (first.nominal, second.nominal) == ((17.2,), (17.3,))
    moved = changed(case, {"row[1].dimensions.pin_diameter.nominal": 17.1, "row[0].count": 1})
    assert moved.models()[1].states["made"].dimensions["pin_diameter"].nominal == (17.1,)
    assert moved.models()[0].count == 1


def test_a_case_with_rows_is_written_back(read_text: ReadText) -> None:
    """Comments and rows are kept, a row's own key is changed in its place."""
    case = read_text(DRAWN + TWO.replace("rollers = 9", "rollers = 9    # one more"))
    text = write(case, {"row[1].dimensions.pin_diameter.nominal": 17.1})
    again = read_text(text)
    assert "# one more" in text
    assert again.models()[1].states["made"].dimensions["pin_diameter"].nominal == (17.1,)
    assert again.models()[0] == case.models()[0]


def test_a_proposal_over_rows(read_text: ReadText) -> None:
    """What a proposal says of [dimensions] reaches the rows; [operating] is merged part by part."""
    warm = "{ temperature = 70, expansion = 1e-5 }"
    case = read_text(f"{DRAWN}{TWO}[operating.parts]\npin = {warm}\nroller = {warm}\n")
    warmer = {"parts": {"pin": {"temperature": 90, "expansion": 1e-5}}}
    said = over(case, {"dimensions": {"pin_diameter": {"nominal": 17.35}}, "operating": warmer})
    first, second = said.models()
    assert first.states["made"].dimensions["pin_diameter"].nominal == (17.35,)
    assert second.states["made"].dimensions["pin_diameter"].nominal == (17.3,)
    assert first.states["hot"].parameters["pin.scale"] == pytest.approx(1 + 70e-5, rel=1e-15)
    assert first.states["hot"].parameters["roller.scale"] == pytest.approx(1 + 50e-5, rel=1e-15)


WEAR = "[operating.wear]\npin_diameter = 0.1\n"


@pytest.mark.parametrize(
    ("said", "key"),
    [
        ("[operating.wear]\npin_diameter = 0.05\n", "operating"),
        ("[operating.parts]\npin = { temperature = 80, expansion = 1e-5 }\n", "operating"),
        ("[cage]\nrows = 2\n", "cage.rows"),
    ],
)
def test_a_proposal_changes_neither_operation_nor_the_number_of_rows(
    said: str, key: str, read_text: ReadText, tmp_path: Path
) -> None:
    """They are what a proposal is held to: said otherwise they are refused, at their line."""
    case = read_text(DRAWN + TWO + WEAR)
    file = tmp_path / "proposal.toml"
    file.write_text("# a proposal\n" + said, encoding="utf-8")
    with pytest.raises(CaseError) as caught:
        read_over(case, file)
    (fault,) = caught.value.faults
    assert fault.key == key
    assert fault.line == (3 if key == "cage.rows" else 2)
    assert "drawing" in fault.allowed


def test_a_whole_proposal_may_repeat_rows_and_operation(read_text: ReadText) -> None:
    """The drawing's own tables, word for word, are no change."""
    case = read_text(DRAWN + TWO + WEAR)
    assert proposal_of(case, case).case.models() == case.models()
