"""A check over rows and states: what governs, what bearings come to, how often there is a preload, what is shown."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest

from stackup.case import Case, from_mapping
from stackup.decide.check import check
from stackup.decide.record import CheckResult, Record
from stackup.engine.settings import Settings
from stackup.report.checking import page
from stackup.report.view import Table

#: pin in bore: 18 ± 0.03 on 17.4 ± 0.02, all else exact
SIZES: dict[str, Any] = {
    "roller_diameter": {"nominal": 50.0},
    "roller_length": {"nominal": 60.0},
    "roller_bore": {"nominal": 18.0, "tolerance": 0.03},
    "pin_diameter": {"nominal": 17.4, "tolerance": 0.02},
    "hole_pitch_diameter": {"nominal": 800.1},
    "ring_spacing": {"nominal": 61.0},
    "inner_raceway": {"nominal": 750.0},
    "radial_internal_clearance": {"nominal": 0.2, "tolerance": 0.06},
}
WEAR = {"wear": {"pin_diameter": 0.1}}
HOT = {
    "parts": {
        "inner_ring": {"temperature": 40, "expansion": 12e-6},
        "roller": {"temperature": 40, "expansion": 12e-6},
        "outer_ring": {"temperature": 24, "expansion": 12e-6},
    }
}
#: rows whose pins differ by 0.02 mm, two of the first
ROWS = [{"name": "a", "count": 2}, {"name": "b", "dimensions": {"pin_diameter": {"nominal": 17.38}}}]


def case_of(requirement: dict[str, Any], operating: dict[str, Any], rows: list[dict[str, Any]]) -> Case:
    """Return a case with one requirement on bore_clearance."""
    tables: dict[str, Any] = {
        "cage": {"kind": "cylindrical", "rollers": 12},
        "dimensions": SIZES,
        "requirements": {"bore_clearance": requirement},
    }
    tables |= {"operating": operating} if operating else {}
    return from_mapping(tables | ({"row": rows} if rows else {}))


def checked(requirement: dict[str, Any], operating: dict[str, Any], rows: list[dict[str, Any]]) -> CheckResult:
    """Return the check of that requirement alone."""
    return check(case_of(requirement, operating, rows), Settings(cages=500, workers=1), all_gaps=False)


def record_of(result: CheckResult, row: str, state: str) -> Record:
    """Return what was found in one row and state."""
    (found,) = (one for one in result["bore_clearance"].by_state if (one.row, one.state) == (row, state))
    return found


def test_least_room_governs_where_the_worst_case_decides() -> None:
    """At most 0.8 mm: least room where the pin is thin and worn, 0.8 − (0.62 + 0.05 + 0.1); all rows and states met."""
    found = checked({"max": 0.8}, WEAR, ROWS)["bore_clearance"]
    assert (found.verdict, found.row, found.state) == ("met", "b", "worn")
    assert found.worst_case is not None
    assert 0.8 - found.worst_case.bound_high == pytest.approx(0.03, abs=1e-9)
    assert {(one.row, one.state) for one in found.by_state} == {(r, s) for r in "ab" for s in ("made", "worn")}


def test_the_worst_verdict_counts() -> None:
    """At least 0.56 mm: not met by new pins of row a, with all else met."""
    result = checked({"min": 0.56}, WEAR, ROWS)
    found = result["bore_clearance"]
    assert (found.verdict, found.row, found.state) == ("not met", "a", "made")
    assert [one.verdict for one in found.by_state].count("not met") == 1
    assert result.verdict == "not met"


def test_bearings_are_out_where_any_row_is() -> None:
    """1 − ∏(1 − p_row)^count in each state, p from the normal law of the gap of 12 pockets, closed form."""
    sd = math.hypot(0.01, 0.02 / 3)
    result = checked({"min": 0.56, "allow": {"ppm": 100, "of": "bearings"}}, WEAR, ROWS)
    for state, worn in (("made", 0.0), ("worn", 0.1)):
        inside = 1.0
        for mean, count in ((0.60 + worn, 2), (0.62 + worn, 1)):
            pocket = 0.5 * math.erfc((mean - 0.56) / sd / math.sqrt(2))
            inside *= (1 - pocket) ** (12 * count)
        for row in "ab":
            fraction = record_of(result, row, state).fraction
            assert fraction is not None
            assert fraction.bearings is not None
            assert fraction.bearings.out_of_spec == pytest.approx(1 - inside, rel=1e-6, abs=1e-15)
    found = result["bore_clearance"]
    assert (found.verdict, found.row, found.state) == ("not met", "a", "made")  # bearings alike: most cages


def test_one_row_alone_has_no_rows_to_name() -> None:
    """Neither rows nor states: the record stands alone, and no page tells them apart."""
    result = checked({"min": 0.5}, {}, [])
    assert result["bore_clearance"].by_state == ()
    tables = [section for section in page(result).sections if isinstance(section, Table)]
    assert "In every row and state" not in [table.title for table in tables]
    assert "at worst in" not in [column.head for column in tables[0].columns]


def test_the_page_names_row_and_state() -> None:
    """Where it is decided, and one line for every row with one number for every state."""
    result = checked({"max": 0.8}, WEAR, ROWS)
    tables = {section.title: section for section in page(result).sections if isinstance(section, Table)}
    assert tables["Does it work"].rows[0][-1].text == "row b, worn"
    every = tables["In every row and state"]
    assert [column.head for column in every.columns] == ["requirement", "row", "as made", "worn"]
    assert [[cell.text for cell in line] for line in every.rows] == [
        ["bore_clearance", "a", "0.1500 mm", "0.0500 mm"],
        ["bore_clearance", "b", "0.1300 mm", "0.0300 mm"],
    ]
    assert "row a: 2 rows of 12 rollers and row b: 12 rollers · as made, worn" in page(result).about


def test_a_page_of_what_is_not_met_shows_how_far_outside() -> None:
    """A minus stands before what lies outside; the status is the verdict's."""
    result = checked({"min": 0.56}, WEAR, ROWS)
    (every,) = (one for one in page(result).sections if one.title == "In every row and state")
    assert isinstance(every, Table)
    assert (every.rows[0][2].text, every.rows[0][2].status) == ("−0.0100 mm", "not met")


def test_where_none_failed_the_room_tells_states_apart() -> None:
    """Fractions of none seen are the same in all states; the room of what was drawn differs by the wear of 0.1."""
    allow = {"ppm": 9000, "of": "cages"}
    result = checked({"over": "least", "min": 0.3, "allow": allow}, WEAR, [])
    (every,) = (one for one in page(result).sections if one.title == "In every row and state")
    assert isinstance(every, Table)
    made, worn = (float(cell.text.removesuffix(" mm")) for cell in every.rows[0][1:])
    quantiles = record_of(result, "1", "made").monte_carlo.quantiles  # type: ignore[union-attr]
    assert made == pytest.approx(quantiles["0.00135"] - 0.3, abs=1e-4)
    assert worn == pytest.approx(made + 0.1, abs=1e-4)
    assert "99.73 %" in every.note
    known = page(checked({"min": 0.5, "allow": allow}, WEAR, []))
    (every,) = (one for one in known.sections if one.title == every.title)
    assert isinstance(every, Table)
    assert "99.73 %" not in every.note, "exact fractions stand as they are"


def test_how_often_there_is_a_preload() -> None:
    """The share of cages with raceway_clearance below 0, exact for a normal G_r, in the state where it happens."""
    result = checked({"min": 0.5}, HOT, [])
    mean = (750 + 100 + 0.2) * (1 + 48e-6) - 850 * (1 + 240e-6)
    share = 0.5 * math.erfc(mean / (0.02 * (1 + 48e-6)) / math.sqrt(2))
    assert 0.02 < share < 0.04
    (note,) = (note for note in result.notes if note.about == "raceway_clearance")
    told = f"below 0 in {100 * share:.3g} % of cages (exact for these laws), a preload that counts as 0"
    assert note.text == f"hot: {told}"


def test_a_preload_of_some_rows_names_them() -> None:
    """Row a has enough clearance, row b not."""
    rows = [{"name": "a", "dimensions": {"radial_internal_clearance": {"nominal": 0.4}}}, {"name": "b"}]
    (note,) = (note for note in checked({"min": 0.5}, HOT, rows).notes if note.about == "raceway_clearance")
    assert note.text.startswith("hot in row b: below 0 in")


def test_a_preload_whose_law_is_not_known_is_sampled() -> None:
    """A clearance of a law of its own in Python: the share comes with its interval."""
    uneven = {"nominal": 0.2, "tolerance": 0.06, "process": {"shape": "triangular", "mode": 0.5, "inspected": True}}
    case = case_of({"min": 0.5}, HOT, [{"dimensions": {"radial_internal_clearance": uneven}}])
    result = check(case, Settings(cages=2000, workers=1), all_gaps=False)
    (note,) = (note for note in result.notes if note.about == "raceway_clearance")
    assert re.fullmatch(r"hot: below 0 in .* % of cages \(.* … .* %\), a preload that counts as 0", note.text)


def test_states_are_drawn_on_the_same_parts() -> None:
    """The same cages in every state: wear of a tenth moves what was drawn by a tenth, and nothing else of it."""
    result = checked({"min": 0.5, "allow": {"ppm": 100, "of": "cages"}}, WEAR, [])
    made, worn = (record_of(result, "1", state).monte_carlo for state in ("made", "worn"))
    assert made is not None
    assert worn is not None
    assert worn.mean - made.mean == pytest.approx(0.1, abs=1e-9)
    assert worn.sd == pytest.approx(made.sd, rel=1e-9)
