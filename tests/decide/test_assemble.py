"""``assemble``: rings that cannot be closed, row by row, with the record of ``check``; orders, faults, stops, pages."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest

import stackup
from stackup.case import Case, changed, from_mapping, read
from stackup.chain.model import Requirement
from stackup.cli import run
from stackup.decide.assemble import assemble
from stackup.decide.assemble_order import read_order, whole_order
from stackup.decide.assemble_record import AssembleResult, RowClosing
from stackup.decide.check import settings_of
from stackup.engine.result import Closing, Estimate, Fraction
from stackup.engine.settings import Progress
from stackup.errors import CaseError, Interrupted
from stackup.report import assembling, terminal
from stackup.report.html import html_of

CASES = Path(__file__).parents[2] / "cases"
WIDTHS = (40, 60, 80, 100, 160)
#: a small cage (invented) of which about one in five cannot be closed
SMALL: dict[str, dict[str, Any]] = {
    "roller_diameter": {"nominal": 30.0}, "roller_length": {"nominal": 60.0}, "roller_bore": {"nominal": 9.6},
    "pin_diameter": {"nominal": 9.0}, "hole_pitch_diameter": {"nominal": 242.0}, "ring_spacing": {"nominal": 60.9},
    "inner_raceway": {"nominal": 211.9}, "hole_position_a": {"zone": 0.16}, "hole_position_b": {"zone": 0.16},
    "ring_hole_b": {"nominal": 9.13},
}  # fmt: skip
HALF = {"ppm": 5e5, "of": "cages"}


def cage(requirements: dict[str, Any] | None = None, rollers: int = 6, **more: Any) -> Case:
    """Return the small cage with requirements, and tables of the file beside or instead of its own."""
    tables: dict[str, Any] = {
        "title": "small (invented)",
        "cage": {"kind": "cylindrical", "rollers": rollers},
        "dimensions": SMALL,
        "requirements": requirements or {},
        "run": {"cages": 1000},
    }
    return from_mapping(tables | more)


@pytest.fixture(scope="module")
def small() -> AssembleResult:
    """Assemble the small cage."""
    return assemble(cage({"ring_entry": {"min": 0.0, "allow": HALF}}), [0, 3])


# What is found -------------------------------------------------------------------------------------------------


def test_the_parts_agree(small: AssembleResult) -> None:
    """Stuck cages add up to those that cannot be closed, which are those that ``check`` says are out of spec."""
    assert small.governing is not None
    closing = small.governing.closing
    assert closing.order == (0, 3, 1, 2, 4, 5)
    assert 0.05 < closing.cannot_close.out_of_spec < 0.5
    stuck = small.to_dict()["stuck_at"]
    assert sum(one["fraction"]["out_of_spec"] for one in stuck) == pytest.approx(closing.cannot_close.out_of_spec)
    assert all(one["fraction"]["low"] < one["fraction"]["out_of_spec"] < one["fraction"]["high"] for one in stuck)
    assert small.record is not None
    assert small.record.fraction is not None
    cages = small.record.fraction.cages
    assert cages is not None
    assert (cages.out_of_spec, cages.low, cages.high) == (
        closing.cannot_close.out_of_spec,
        closing.cannot_close.low,
        closing.cannot_close.high,
    )
    assert (small.verdict, small.record.verdict) == ("met", "met")


def test_the_record_is_that_of_check(small: AssembleResult) -> None:
    """Key for key, without its draws."""
    case = cage({"ring_entry": {"min": 0.0, "allow": HALF}})
    wanted = stackup.check(case)["ring_entry"].to_dict()
    del wanted["monte_carlo"]
    assert small.to_dict()["ring_entry"] == wanted


def test_an_order_proved_and_shown(small: AssembleResult) -> None:
    """Six pins: all orders are looked at; the best has no more pins in vain than the given one."""
    record = small.to_dict()
    assert record["best"]["proved"]
    assert record["best"]["pins_in_best"]["mean"] <= record["best"]["pins_in_given"]["mean"]
    assert sorted(record["best_order"]) == list(range(6))
    saved = record["best"]["pins_in_given"]["mean"] - record["best"]["pins_in_best"]["mean"]
    assert record["best"]["saving_here"]["mean"] == pytest.approx(saved)


def test_the_natural_order_beside_one_that_is_given() -> None:
    """Its pins in vain are those of a run by it; it stands on the screen where neither other order is it."""
    case = cage()
    natural, found = assemble(case), assemble(case, [5, 3])
    assert natural.governing and natural.governing.ordering and found.governing and found.governing.ordering
    assert found.governing.ordering.natural == natural.governing.ordering.given == natural.governing.ordering.natural
    assert "pins in vain by 0 … 5" in text_of(found)
    assert "natural order" not in text_of(natural)


def test_the_answer_is_no_order_of_assembly(small: AssembleResult) -> None:
    """What governs is to be made better, and only where anything is to be."""
    assert "first" not in assembling.answer(small).text
    found = assemble(cage({"ring_entry": {"min": 0.0}}))
    assert found.record is not None
    assert f"; make {found.record.governing[0][0]} better first" in assembling.answer(found).text


def test_a_bad_hole_stands_out() -> None:
    """One hole that is bored off in every ring is named, comes first, and saves pins on other cages too."""
    off = [[0.0, 0.0] for _ in range(10)]
    off[7] = [0.13, 0.0]
    dimensions = SMALL | {"hole_position_b": {"values": off}, "hole_position_a": {"zone": 0.1}}
    found = assemble(cage(rollers=10, dimensions=dimensions))
    assert found.governing is not None
    assert found.governing.standing_out()[0] == 7
    assert found.to_dict()["blocking"][0]["pocket"] == 7
    assert found.governing.ordering is not None
    assert 7 in found.governing.ordering.order[:3]
    saving = found.governing.ordering.saving
    assert saving is not None
    assert saving.standard_error is not None
    assert saving.mean > 4 * saving.standard_error
    assert any("beyond chance: 7;" in note.text for note in found.notes)
    assert "none is shown" not in text_of(found)


def row_of(shares: list[float], errors: list[float | None], jammed: int) -> RowClosing:
    estimates = tuple(map(Estimate, shares, errors))
    stuck = (0, jammed, *([0] * (len(shares) - 2)))
    closing = Closing(tuple(range(len(shares))), 1000, Fraction(0.1, 0.09, 0.11), stuck, None, estimates, None, ())
    return RowClosing("1", 1, len(shares), closing, None)


def test_all_that_stand_out_are_listed() -> None:
    """More than the table has room for otherwise."""
    row = row_of([0.1] * 9 + [0.1 / 11] * 11, [0.001] * 20, 100)
    table = assembling._blocking(row, "")
    assert [int(cells[0].text) for cells in table.rows] == list(row.standing_out()) == list(range(9))


def test_what_stands_out() -> None:
    """Above 1/Z by more standard errors than chance lets any pocket have; few jams, or no error, tell of none.

    With four pockets at 1 % it takes 2.81 standard errors (normal quantile of 1 − 0.01/4).
    """
    assert row_of([0.29, 0.25, 0.24, 0.22], [0.01] * 4, 100).standing_out() == (0,)
    assert row_of([0.277, 0.25, 0.24, 0.233], [0.01] * 4, 100).standing_out() == ()
    assert row_of([0.29, 0.25, 0.24, 0.22], [0.001, 0.013, 0.013, 0.013], 100).standing_out() == (0,)
    assert row_of([0.28, 0.25, 0.24, 0.23], [0.001, 0.02, 0.02, 0.02], 100).standing_out() == ()
    assert row_of([0.9, 0.1, 0.0, 0.0], [0.01] * 4, 29).standing_out() == ()
    assert row_of([1.0, 0.0, 0.0, 0.0], [None] * 4, 30).standing_out() == ()


def test_no_cage_jams() -> None:
    """The order stays as given, nothing blocks; what is not seen is not nothing."""
    found = assemble(cage(dimensions=SMALL | {"ring_hole_b": {"nominal": 10.0}}), [5])
    record = found.to_dict()
    assert record["cages_not_closed"]["out_of_spec"] == 0
    assert 0 < record["cages_not_closed"]["high"] < 0.004
    assert (record["stuck_at"], record["blocking"], record["entered"], record["missing"]) == ([], [], None, None)
    assert record["best_order"] == record["order"] == [5, 0, 1, 2, 3, 4]
    assert (found.verdict, record["verdict"], record["ring_entry"]["verdict"]) == (None, None, None)
    assert "none of 1 000 cages jams" in assembling.answer(found).text
    said = "so no pin blocks and no order of assembly, 5, 0 … 4 included, is better than another"
    assert said in " ".join(text_of(found).split())
    assert len(record["pose"]) == len(record["moves"]) == 3


def test_several_requirements() -> None:
    """The worst one's record stands under the gap's name; all of them are told; those on other gaps do not count."""
    case = cage(
        {
            "closes": {"gap": "ring_entry", "min": 0.0, "allow": HALF},
            "spare": {"gap": "ring_entry", "min": 0.05},
            "bore_clearance": {"min": 5.0},
        }
    )
    found = assemble(case)
    record = found.to_dict()
    assert record["requirements"] == [{"name": "closes", "verdict": "met"}, {"name": "spare", "verdict": "not met"}]
    assert (record["ring_entry"]["name"], record["verdict"]) == ("spare", "not met")
    assert assembling.answer(found).text.startswith("NOT MET: ")


ROWS = {
    "dimensions": SMALL,
    "row": [
        {"name": "wide", "count": 2, "dimensions": {"ring_hole_b": {"nominal": 9.20}}},
        {"name": "tight", "rollers": 5},
    ],
}


def test_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each row has its rings; the one of whose cages most jam governs; a bearing fails with any of them."""
    found = assemble(cage({"ring_entry": {"min": 0.0, "allow": {"ppm": 1e5, "of": "bearings"}}}, **ROWS), [4])
    assert found.governing is not None
    assert [(row.name, row.count, row.rollers) for row in found.rows] == [("wide", 2, 6), ("tight", 1, 5)]
    assert found.governing.name == "tight"
    assert [row.closing.order for row in found.rows] == [(4, 0, 1, 2, 3, 5), (4, 0, 1, 2, 3)]
    wide, tight = (row.closing.cannot_close.out_of_spec for row in found.rows)
    assert wide < tight
    assert found.bearings is not None
    assert found.bearings.out_of_spec == pytest.approx(1 - (1 - wide) ** 2 * (1 - tight))
    record = found.to_dict()
    assert record["row"] == "tight"
    assert record["order"] == record["rows"][1]["order"]
    text = text_of(found, 100, monkeypatch)
    assert "wide (2 alike)" in text
    assert "Where they jam, row tight" in text


def test_states_do_not_count() -> None:
    """Rings are closed as made: a case with operating states says the same as one without, and a note tells."""
    operating = {
        "parts": {"ring_b": {"temperature": 120, "expansion": 12e-6}},
        "wear": {"pin_diameter": 0.2},
    }
    asked = {"ring_entry": {"min": 0.0, "allow": HALF}}
    made, hot = assemble(cage(asked)), assemble(cage(asked, operating=operating))
    assert hot.governing == made.governing
    assert hot.to_dict()["ring_entry"] == made.to_dict()["ring_entry"]
    assert any("does not count here" in note.text for note in hot.notes)
    assert not any("does not count here" in note.text for note in made.notes)


def test_workers_change_nothing() -> None:
    case = cage({"ring_entry": {"min": 0.0, "allow": HALF}})
    one, two = (assemble(case, None, settings_of(case, workers=workers)).to_dict() for workers in (1, 2))
    assert one == two


def test_a_tapered_cage() -> None:
    """The other kind with rings: holes so tight that some jam."""
    case = read(CASES / "tapered.toml")
    nominal = float(case.dimensions["ring_hole_b"].nominal[0])
    tight = changed(case, {"dimensions.ring_hole_b.nominal": nominal - 0.10})
    found = assemble(tight, None, settings_of(case, cages=600))
    assert found.governing is not None
    assert found.governing.jammed > 0
    assert found.record is not None
    assert found.record.monte_carlo is not None
    assert found.record.monte_carlo.cages is not None
    assert found.record.monte_carlo.cages.out_of_spec == found.governing.closing.cannot_close.out_of_spec


# Orders and faults ---------------------------------------------------------------------------------------------


def faults_of(call: Any) -> list[str]:
    with pytest.raises(CaseError) as caught:
        call()
    return [str(fault) for fault in caught.value.faults]


def test_orders() -> None:
    """A beginning is completed in natural order; spaces do not count."""
    assert read_order(" 3, 0,1 ") == (3, 0, 1)
    assert whole_order((3, 0), cage()) == {"1": (3, 0, 1, 2, 4, 5)}
    assert whole_order(None, cage()) == {"1": (0, 1, 2, 3, 4, 5)}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "found nothing between commas"),
        ("1,,2", "found nothing between commas"),
        ("1,b", 'found "b"'),
        ("-1", 'found "-1"'),
        ("2.0", 'found "2.0"'),
        ("1 2", 'found "1 2"'),
        ("٣", 'found "٣"'),
        ("9" * 20, "found"),
    ],
)
def test_an_order_that_is_none(text: str, words: str) -> None:
    (said,) = faults_of(lambda: read_order(text))
    assert words in said
    assert said.startswith("--order: ")
    assert "numbers of pockets" in said


def test_pockets_that_are_not_there() -> None:
    """All faults at once, each once; with rows that differ the smallest is named."""
    said = faults_of(lambda: assemble(cage(), [6, 0, 6, 0, 7]))
    assert [one.partition(";")[0] for one in said] == [
        "--order: found pocket 6",
        "--order: found pocket 0 a second time",
        "--order: found pocket 7",
    ]
    assert "0 … 5" in said[0]
    assert "which row tight has not" in faults_of(lambda: assemble(cage(**ROWS), [5]))[0]
    assert faults_of(lambda: assemble(cage(), [1.5, True]))  # type: ignore[list-item]


def test_nothing_to_close() -> None:
    """A kind without rings, and slots that the gap needs."""
    (said,) = faults_of(lambda: assemble(read(CASES / "bush_stack.toml")))
    assert "cage.kind" in said
    assert 'found "none", which has no rings to close' in said
    assert '"cylindrical" or "tapered"' in said
    without = {name: entry for name, entry in SMALL.items() if name != "ring_hole_b"}
    (said,) = faults_of(lambda: assemble(cage(dimensions=without)))
    assert "the gap ring_entry, for which ring_hole_b is missing" in said
    assert "the slot ring_hole_b" in said


# The command ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limits", "code"),
    [
        ("", 0),
        ("min = 0.0\nallow = { ppm = 500000, of = 'cages' }", 0),
        ("min = 0.0\nallow = { ppm = 1000, of = 'cages' }", 1),
        ("min = 0.0", 1),
        ("min = -5.0", 0),
    ],
)
def test_exit_codes(limits: str, code: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0: all requirements on closing are met, whatever the others say; 1: one is not."""
    text = "[cage]\nkind = 'cylindrical'\nrollers = 6\n[dimensions]\n"
    text += "".join(f"{name} = {{ {key} = {value} }}\n" for name, e in SMALL.items() for key, value in e.items())
    text += "[requirements.bore_clearance]\nmin = 5.0\n"
    text += f"[requirements.ring_entry]\n{limits}\n" if limits else ""
    file = tmp_path / "case.toml"
    file.write_text(text, encoding="utf-8")
    assert run(["assemble", str(file), "--cages", "600", "--order", "5,2", "--json"]) == code
    assert json.loads(capsys.readouterr().out)["order"] == [5, 2, 0, 1, 3, 4]
    assert run(["assemble", str(file), "--cages", "600", "--quiet"]) == code
    assert capsys.readouterr().out.count("\n") <= 3
    assert run(["assemble", str(file), "--order", "9", "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["faults"][0]["found"] == "pocket 9"


class Stop:
    """A progress that stops the run when it hears of ``what``."""

    def __init__(self, what: str) -> None:
        self.what = what

    def __call__(self, _done: float, _of: float, what: str) -> None:
        if what == self.what:
            raise KeyboardInterrupt


@pytest.mark.parametrize(
    ("progress", "rows", "ordered", "checked"),
    [(Stop("cages"), 1, 0, False), (Stop("orders"), 1, 0, False), (Stop("worst case"), 2, 2, False)],
    ids=lambda value: value.what if isinstance(value, Stop) else "",
)
def test_stopped(progress: Progress, rows: int, ordered: int, checked: bool) -> None:
    """What was finished is told, what was not is null; the record is complete and its page too."""
    case = cage({"ring_entry": {"min": 0.0, "allow": HALF}}, **ROWS)
    with pytest.raises(Interrupted) as caught:
        assemble(case, None, settings_of(case, cages=5000), progress)
    found: AssembleResult = caught.value.records
    assert found.interrupted
    assert len(found.rows) == rows
    assert sum(row.ordering is not None for row in found.rows) == ordered
    record = found.to_dict()
    json.dumps(record, allow_nan=False)
    assert record["interrupted"]
    assert record["verdict"] == "undecided"
    assert (record["best_order"] is None) == (ordered == 0)
    assert (record["bearings_not_closed"] is None) == (rows == 1)
    drawn = 4096 if isinstance(progress, Stop) and progress.what == "cages" else 5000
    assert record["drawn"] == drawn
    text = text_of(found)
    assert "INTERRUPTED" in text
    assert "UNDECIDED" in text
    assert checked == any(one.monte_carlo for one in found.requirements)


def test_stopped_before_anything() -> None:
    """Nothing is drawn, nothing is told of the rings, and every key is there all the same."""
    case = cage({"ring_entry": {"min": 0.0, "allow": HALF}})

    def at_once(*_: object) -> None:
        raise KeyboardInterrupt

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("stackup.engine.closing._chunks", at_once)
        with pytest.raises(Interrupted) as caught:
            assemble(case)
    found: AssembleResult = caught.value.records
    record, whole = found.to_dict(), assemble(case, None, settings_of(case, cages=50)).to_dict()
    assert record.keys() == whole.keys()
    assert (record["row"], record["drawn"], record["cages_not_closed"], record["ring_entry"]) == (None, 0, None, None)
    assert record["order"] == [0, 1, 2, 3, 4, 5]
    assert "nothing finished" in text_of(found)


# Pages ---------------------------------------------------------------------------------------------------------


def text_of(found: AssembleResult, width: int = 160, patch: pytest.MonkeyPatch | None = None) -> str:
    """Return the page as a file has it."""
    if patch:
        patch.setenv("COLUMNS", str(width))
    return terminal.text_of(assembling.page(found), io.StringIO())


@pytest.mark.parametrize("width", WIDTHS)
def test_no_line_is_wider_than_the_screen(small: AssembleResult, width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    text = text_of(small, width, monkeypatch)
    assert max(map(len, text.splitlines())) <= width
    for word in ("Can the rings be closed", "Where they jam", "Which pins block", "Best order", "MET", "verify"):
        assert word in text


def test_the_page_says_how_sure_it_is(small: AssembleResult, monkeypatch: pytest.MonkeyPatch) -> None:
    """Fractions with their intervals, means with standard errors, and which saving is to be expected."""
    text = text_of(small, 160, monkeypatch)
    assert "cannot be closed (sampled, 95 %:" in text
    assert "the least over all orders of 6 pins" in text
    assert "of the cages it was chosen from" in text
    assert "of cages it was not chosen from" in text
    assert "all alike would have 16.7 % each" in text
    assert html_of(assembling.page(small)).count("Best order") == 1
    assert small._repr_html_()


def test_an_order_in_words() -> None:
    """Runs of more than three neighbours are cut short."""
    assert assembling.written((0, 1, 2, 3, 4)) == "0 … 4"
    assert assembling.written((3, 0, 1, 2)) == "3, 0, 1, 2"
    assert assembling.written((5, 0, 1, 2, 3, 4)) == "5, 0 … 4"


def test_bands() -> None:
    """Few numbers stand alone; many in at most eight bands that hold each once."""
    assert assembling.bands([3, 5]) == [(3, 3), (5, 5)]
    seen = [*range(2, 40), 47]
    made = assembling.bands(seen)
    assert len(made) <= 8
    assert [sum(first <= one <= last for first, last in made) for one in seen] == [1] * len(seen)


def test_a_requirement_by_the_worst_case() -> None:
    """Its verdict stands with both ends; the record of the gap without limits has none."""
    case = cage({"ring_entry": {"min": 0.0}})
    found = assemble(case)
    assert isinstance(case.requirements[0], Requirement)
    assert "≥ 0 mm, worst case -0.0950 …" in text_of(found)
