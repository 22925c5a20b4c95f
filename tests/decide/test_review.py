"""``review``: what counts as a change, what can be accepted together, counter-proposals, what is left unsaid."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from scipy.stats import norm

import stackup
from stackup.case import Case
from stackup.case.proposal import Proposal, read_over
from stackup.decide import agree, shapley
from stackup.decide.check import settings_of
from stackup.decide.differences import changes_of
from stackup.decide.review import ReviewResult, review
from stackup.decide.review_record import ChangeReview
from stackup.decide.rulings import rulings_of
from stackup.decide.unsaid import Unsaid, unsaid_of
from stackup.errors import CaseError, Interrupted

CASES = Path(__file__).parents[2] / "cases"
FEW = {"cages": 3000}


def stack(sizes: dict[str, float], **requirements: Any) -> Case:
    """Return a stack of sizes about 1, ± what is given each, and requirements on their sum."""
    names = " + ".join(sizes)
    return stackup.from_mapping(
        {
            "cage": {"kind": "none"},
            "dimensions": {name: {"nominal": 1.0, "tolerance": width} for name, width in sizes.items()},
            "chains": {"total": {"formula": names}, "first": {"formula": f"2*{next(iter(sizes))}"}},
            "requirements": requirements or {"total": {"max": len(sizes) + sum(sizes.values()) + 0.05}},
        }
    )


def wider(**widths: Any) -> dict[str, Any]:
    """Return a proposal of tolerances."""
    return {"dimensions": {name: {"tolerance": width} for name, width in widths.items()}}


def reviewed(case: Case, said: Any) -> ReviewResult:
    result = review(case, said, settings_of(case, **FEW))
    json.dumps(result.to_dict(), allow_nan=False)
    return result


def decisions(result: ReviewResult) -> list[str | None]:
    return [change.decision for change in result.changes]


def one(result: ReviewResult) -> ChangeReview:
    (change,) = result.changes
    return change


# Against itself ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("case", sorted(CASES.glob("*.toml")), ids=lambda file: file.stem)
def test_a_case_says_nothing_new_of_itself(case: Path) -> None:
    """No change, no ruling, no question, nothing unsaid."""
    drawing = stackup.load(case)
    proposal = read_over(drawing, case)
    assert proposal.whole
    assert (changes_of(drawing, proposal), rulings_of(drawing, proposal)) == ((), ())
    assert unsaid_of(drawing, proposal, ()) == Unsaid((), ())


@pytest.mark.parametrize("name", ["bush_stack.toml", "every_key_plain.toml"])
def test_against_itself_everything_is_accepted(name: str) -> None:
    """No change, no question, nothing unsaid; every requirement after is as before."""
    case = stackup.load(CASES / name)
    result = review(case, read_over(case, CASES / name), settings_of(case, cages=500))
    assert (result.verdict, result.changes, result.questions, result.unsaid) == ("accept", (), (), ())
    assert all(r.before == r.after == r.agreed for r in result.requirements)
    assert result.digest == result.proposal_digest


def test_the_same_in_other_words_is_no_change(tmp_path: Path) -> None:
    """h7 for its deviations, defaults written out, a column named from another folder, plans and costs."""
    case = stackup.load(CASES / "every_key_cage.toml")
    text = """
[dimensions.pin_diameter]
tolerance = [-0.018, 0.0]
locked = true
[dimensions.roller_bore]
process = { shape = "trapezoid", flat = 0.5, cp = 1.2, shift = 0.0 }
[dimensions.ring_phase]
nominal = 0.0
[dimensions.hole_position_a]
scope = "pocket"
part = "ring_a"
[dimensions.pin_seat_a]
process = { data = "../there/measured.csv#x,y", how = "resampled" }
[run]
cages = 7
"""
    (tmp_path / "here").mkdir()
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "measured.csv").write_text((CASES / "measured.csv").read_text())
    file = tmp_path / "here" / "proposal.toml"
    file.write_text(text)
    proposal = read_over(case, file)
    assert changes_of(case, proposal) == ()
    assert not proposal.whole
    other = (CASES / "measured.csv").read_text().replace("0.003;0.002", "0.004;0.002")
    (tmp_path / "there" / "measured.csv").write_text(other)
    (change,) = changes_of(case, read_over(case, file))
    assert (change.name, change.what, change.full) == ("pin_seat_a", "process", 1)


def test_requirements_alone_are_checked_alike() -> None:
    """``check`` without the gaps that no requirement names gives the same records of those that one does."""
    case = stack({"a": 0.1, "b": 0.1}, total={"max": 2.15, "allow": {"ppm": 9000, "of": "cages"}})
    settings = settings_of(case, **FEW)
    every, some = stackup.check(case, settings), stackup.check(case, settings, all_gaps=False)
    assert [record.name for record in some.requirements] == ["total"]
    assert some["total"] == every["total"]


def test_the_supplier_of_the_demo() -> None:
    """The invented proposal beside the cases is read, and changes what it says."""
    case = stackup.load(CASES / "demo.toml")
    proposal = read_over(case, CASES / "proposals" / "demo_supplier.toml")
    assert "invented" in (CASES / "proposals" / "demo_supplier.toml").read_text()
    assert [change.name for change in changes_of(case, proposal)] == [
        name for name in case.dimensions if name in proposal.tables["dimensions"]
    ]
    assert [ruling.decision for ruling in rulings_of(case, proposal)] == ["refuse"]


# What is one change -------------------------------------------------------------------------------------------

DRAWING: dict[str, Any] = {
    "cage": {"kind": "none"},
    "dimensions": {
        "a": {"nominal": 10.0, "tolerance": [-0.1, 0.0], "process": {"cp": 1.2}},
        "b": {"nominal": 5.0, "tolerance": 0.1},
        "z": {"zone": 0.1, "bonus_from": "h"},
        "h": {"nominal": 4.0, "tolerance": [0.0, 0.1], "feature": "hole"},
    },
    "chains": {"gap": {"formula": "a - b - hypot(z.r, z.t) + h"}},
    "requirements": {"gap": {"min": 8.0, "allow": {"ppm": 1000, "of": "cages"}}},
}


@pytest.mark.parametrize(
    ("entry", "changes"),
    [
        ({"a": {"nominal": 10.1}}, ["a nominal"]),
        ({"a": {"nominal": 10.1, "tolerance": [-0.2, 0.0]}}, ["a nominal, tolerance"]),
        ({"b": {"nominal": 5.1, "tolerance": 0.2}}, ["b nominal", "b tolerance"]),
        ({"a": {"tolerance": [-0.2, 0.0], "process": {"cp": 1.0}}}, ["a tolerance, process"]),
        ({"b": {"sorted_to": 0.05, "process": {"cp": 1.4}}}, ["b process", "b sorting"]),
        ({"z": {"zone": 0.2}, "h": {"tolerance": [0.0, 0.2]}}, ["z zone", "h tolerance"]),
        ({"b": {"values": [5.02]}}, ["b values"]),
        ({"a": {"nominal": 10.0, "tolerance": [-0.1, 0.0]}}, []),
    ],
    ids=lambda value: ", ".join(value) if isinstance(value, list) else "",
)
def test_what_is_one_change(entry: dict[str, Any], changes: list[str]) -> None:
    """Aspects stand alone unless they mean nothing without each other."""
    case = stackup.from_mapping(DRAWING)
    found = changes_of(case, stackup.decide.review.proposal_of(case, {"dimensions": entry}))
    assert [f"{change.name} {change.what}" for change in found] == changes
    for change in found:
        assert change.ladder[0] == {}
        assert len(change.ladder) == len(change.values)
        stackup.changed(case, change.ladder[-1])


def test_what_needs_each_other_is_one_change() -> None:
    """Values for another number of rollers make no case without it, nor it without them."""
    entries: dict[str, Any] = {
        "roller_diameter": {"nominal": 20.0},
        "roller_length": {"nominal": 30.0},
        "roller_bore": {"nominal": 8.0, "tolerance": 0.03},
        "pin_diameter": {"values": [7.5, 7.51, 7.49, 7.5, 7.52, 7.48]},
        "hole_pitch_diameter": {"nominal": 120.0},
        "ring_spacing": {"nominal": 31.0},
        "inner_raceway": {"nominal": 100.0},
    }
    case = stackup.from_mapping({"cage": {"kind": "cylindrical", "rollers": 6}, "dimensions": entries})
    said = {"cage": {"rollers": 5}, "dimensions": {"pin_diameter": {"values": [7.5] * 5}}}
    (change,) = changes_of(case, stackup.decide.review.proposal_of(case, said))
    assert (change.name, change.what) == ("cage, pin_diameter", "rollers, values")


# What can be accepted together --------------------------------------------------------------------------------


def test_each_alone_and_no_two_together() -> None:
    """Three changes of which each takes the whole margin: one is accepted, the verdict is in part."""
    case = stack({"a": 0.1, "b": 0.1, "c": 0.1})
    for name in "abc":
        assert reviewed(case, wider(**{name: 0.15})).verdict == "accept"
    result = reviewed(case, wider(a=0.15, b=0.15, c=0.15))
    assert decisions(result).count("accept") == 1
    assert decisions(result).count("refuse") == 2
    assert (result.verdict, result.largest) == ("accept in part", True)
    for change in result.changes:
        assert change.shares["total"] is not None
        assert change.shares["total"].value == pytest.approx(0.05)
        if change.decision == "refuse":
            (cause,) = change.causes
            assert (cause.requirement, cause.together, cause.after.verdict) == ("total", True, "not met")
            assert cause.after.room == pytest.approx(-0.05)


def test_the_largest_set_is_not_the_first() -> None:
    """Two small changes go before the large one that stands first in the drawing; a helpful one makes more room."""
    case = stack({"a": 0.1, "b": 0.1, "c": 0.1})
    assert decisions(reviewed(case, wider(a=0.151, b=0.12, c=0.13))) == ["refuse", "accept", "accept"]
    result = reviewed(case, wider(a=0.15, b=0.15, c=0.05))
    assert decisions(result) == ["accept", "accept", "accept"]
    assert [change.effect for change in result.changes] == ["takes", "takes", "adds"]


def test_counters_are_the_loosest_that_hold_together() -> None:
    """Closed form: both widths may grow by 0.05 in all; in steps of 1 µm they take all of it, and share it."""
    result = reviewed(stack({"a": 0.1, "b": 0.1}), wider(a=0.2, b=0.3))
    assert [change.decision for change in result.changes] == ["limit", "limit"]
    assert result.verdict == "accept in part"
    a, b = (change.counter for change in result.changes)
    assert a + b == pytest.approx(0.25)
    assert min(a, b) > 0.11
    assert result.requirements[0].agreed is not None
    assert result.requirements[0].agreed.verdict == "met"
    for change in result.changes:
        assert change.causes[0].after.room == pytest.approx(-0.05 if change.dimension == "a" else -0.15)
        assert not change.causes[0].together


def test_a_counter_of_a_fraction() -> None:
    """Closed form: with ppm allowed of a normal stack the width may grow until sd = (limit − mean)/z; 1 µm steps."""
    allow = {"ppm": 3000, "of": "cages"}
    case = stack({"a": 0.1}, total={"max": 1.1, "allow": allow})
    sd = 0.1 / norm.isf(3000e-6)
    change = one(reviewed(case, wider(a=0.2)))
    assert change.decision == "limit"
    assert change.counter == pytest.approx(int(3 * sd * 1000) / 1000)
    assert change.causes[0].after.fraction is not None
    assert change.causes[0].after.fraction.out_of_spec == pytest.approx(norm.sf(0.1 / (0.2 / 3)), rel=1e-9)


def test_what_is_not_met_may_not_get_worse() -> None:
    """A requirement that the drawing misses: what takes from it is refused, what adds to it accepted."""
    case = stack({"a": 0.1, "b": 0.1}, total={"max": 2.15}, first={"max": 2.5})
    assert decisions(reviewed(case, wider(a=0.12))) == ["refuse"]
    assert decisions(reviewed(case, wider(a=0.12, b=0.09))) == ["limit", "accept"]
    assert decisions(reviewed(case, wider(a=0.08))) == ["accept"]
    assert decisions(reviewed(case, wider(a=0.11, b=0.09))) == ["accept", "accept"]


def test_a_change_that_nothing_hangs_on() -> None:
    """Costs nothing, accepted; its shares are 0."""
    case = stack({"a": 0.1, "b": 0.1}, first={"max": 2.25})
    change = one(reviewed(case, wider(b=0.4)))
    assert (change.decision, change.effect) == ("accept", "nothing")
    assert change.shares["first"] is not None
    assert change.shares["first"].value == 0


def test_shares_add_up_to_the_loss() -> None:
    """Efficiency, by every kind of margin: worst case, RSS, sampled quantile; before and after are the records'."""
    mapping = {**DRAWING, "requirements": {
        "gap": {"min": 8.0, "allow": {"ppm": 5000, "of": "cages"}},
        "sure": {"gap": "gap", "min": 8.0},
        "sum": {"min": 4.0, "allow": {"ppm": 5000, "of": "cages"}},
    }}  # fmt: skip
    mapping["chains"] = {**DRAWING["chains"], "sum": {"formula": "a - b"}}
    case = stackup.from_mapping(mapping)
    said = {"dimensions": {
        "a": {"tolerance": [-0.14, 0.0], "process": {"cp": 1.1}}, "b": {"tolerance": 0.14},
        "z": {"zone": 0.16}, "h": {"tolerance": [0.0, 0.05]},
    }}  # fmt: skip
    result = reviewed(case, said)
    assert [r.margin.method for r in result.requirements if r.margin] == ["sampled", "worst case", "rss"]
    for requirement in result.requirements:
        margin = requirement.margin
        assert margin is not None
        assert margin.before is not None
        assert margin.after is not None
        parts = [change.shares[requirement.name] for change in result.changes]
        total = sum(part.value for part in parts if part)
        assert total == pytest.approx(margin.before - margin.after, abs=1e-12)
    sure, law = result.requirements[1], result.requirements[2]
    assert sure.before is not None
    assert sure.before.worst_case is not None
    assert sure.margin is not None
    assert sure.margin.before == pytest.approx(sure.before.worst_case.bound_low - 8.0)
    assert law.after is not None
    assert law.after.rss is not None
    assert law.margin is not None
    assert law.margin.after == pytest.approx(law.after.rss.low - 4.0)
    bore = next(change for change in result.changes if change.dimension == "h")
    assert bore.shares["sum"] is not None
    assert bore.shares["sum"].value == 0


@pytest.mark.parametrize("helpful", [1, 4])
def test_more_changes_than_are_enumerated(helpful: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Shares are sampled, with an interval; what does no harm is in, the rest by enumeration, or greedily.

    The limits of twelve are lowered to three: seven changes, six or three of them take 0.01 of 0.03 and what is added.
    """
    for module in (agree, shapley):
        monkeypatch.setattr(module, "EXACT", 3)
    monkeypatch.setattr(shapley, "PAIRS", 8)
    names = [f"d{i}" for i in range(7)]
    case = stack(dict.fromkeys(names, 0.1), total={"max": 7.72})
    result = reviewed(case, wider(**{name: 0.09 if i < helpful else 0.11 for i, name in enumerate(names)}))
    assert decisions(result)[:helpful] == ["accept"] * helpful
    assert decisions(result).count("accept") == helpful + min(2 + helpful, 7 - helpful)
    assert result.largest is False
    assert any("not all sets" in note.text for note in result.notes)
    assert any("pairs of orders" in note.text for note in result.notes)
    for i, change in enumerate(result.changes):
        part = change.shares["total"]
        assert part is not None
        assert part.low <= part.value <= part.high
        assert part.value == pytest.approx(-0.01 if i < helpful else 0.01)


# A cage ---------------------------------------------------------------------------------------------------------

CAGE: dict[str, Any] = {
    "cage": {"kind": "cylindrical", "rollers": 6},
    "dimensions": {
        "roller_diameter": {"nominal": 20.0},
        "roller_length": {"nominal": 30.0},
        "roller_bore": {"nominal": 8.0, "tolerance": 0.03},
        "pin_diameter": {"nominal": 7.5, "tolerance": 0.04},
        "hole_pitch_diameter": {"nominal": 120.0, "tolerance": 0.05},
        "hole_position_b": {"zone": 0.06, "bonus_from": "ring_hole_b", "process": {"inspected": True}},
        "ring_hole_b": {"nominal": 7.7, "tolerance": [0.0, 0.05]},
        "ring_spacing": {"nominal": 31.0, "tolerance": 0.1},
        "inner_raceway": {"nominal": 100.0},
    },
    "requirements": {
        "running_clearance": {"min": 0.08, "allow": {"ppm": 50_000, "of": "cages"}},
        "pin_entry": {"min": 0.03, "allow": {"ppm": 20_000, "of": "pockets"}},
        "weld_gap": {"min": 0.05},
    },
}


def test_a_cage_with_a_new_slot_and_another_count() -> None:
    """A slot that is new and another number of rollers change the chains; a hole widens the zone it gives a bonus."""
    said = {
        "cage": {"rollers": 5},
        "dimensions": {
            "pitch_shrinkage_b": {"nominal": 0.05, "tolerance": 0.02},
            "ring_hole_b": {"tolerance": [0.0, 0.07]},
            "hole_position_b": {"process": {"cp": 1.2, "inspected": True}},
        },
    }
    result = reviewed(stackup.from_mapping(CAGE), said)
    assert [(c.dimension, c.what) for c in result.changes] == [
        ("cage", "rollers"),
        ("hole_position_b", "process"),
        ("ring_hole_b", "tolerance"),
        ("pitch_shrinkage_b", "added"),
    ]
    running, entry, gap = ({c.dimension: c.shares[r.name] for c in result.changes} for r in result.requirements)
    assert running["pitch_shrinkage_b"] is not None
    assert running["pitch_shrinkage_b"].value > 0
    assert entry["pitch_shrinkage_b"] is not None
    assert entry["pitch_shrinkage_b"].value == 0
    assert entry["ring_hole_b"] is not None
    assert entry["ring_hole_b"].value < 0
    assert gap["cage"] is not None
    assert gap["cage"].value == 0
    met = [r for r in result.requirements if r.before and r.before.verdict == "met"]
    assert len(met) == 3
    assert all(r.agreed is not None and r.agreed.verdict == "met" for r in met)


# What is not the maker's to change ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "what", "decision"),
    [
        ({"max": 2.3}, "upper limit", "refuse"),
        ({"max": 2.2}, "upper limit", "accept"),
        ({"min": 1.0}, "lower limit", "accept"),
        ({"allow": {"ppm": 100, "of": "cages"}}, "allowance", "refuse"),
        ({"gap": "first", "max": 2.25}, "gap", "refuse"),
    ],
)
def test_requirements(said: dict[str, Any], what: str, decision: str) -> None:
    """Loosened is refused, tightened noted; the drawing's own is what is checked either way."""
    case = stack({"a": 0.1, "b": 0.1}, total={"max": 2.25})
    result = reviewed(case, {"requirements": {"total": said}})
    change = one(result)
    assert (change.dimension, change.what, change.decision) == ("total", what, decision)
    assert change.reason
    assert result.requirements[0].after is not None
    assert result.requirements[0].after.requirement == case.requirements[0]


@pytest.mark.parametrize(
    ("old", "new", "decision"),
    [
        ({"ppm": 100, "of": "pockets"}, {"ppm": 200, "of": "pockets"}, "refuse"),
        ({"ppm": 100, "of": "pockets"}, {"ppm": 100, "of": "cages"}, "accept"),
        ({"ppm": 100, "of": "cages"}, {"ppm": 50, "of": "pockets"}, "refuse"),
        ({"ppm": 100, "of": "cages"}, {"ppm": 50, "of": "cages"}, "accept"),
    ],
)
def test_allowances(old: dict[str, Any], new: dict[str, Any], decision: str) -> None:
    """More ppm, or of a smaller part of the bearing, is looser; both at once counts as looser."""
    case = stack({"a": 0.1}, total={"max": 1.25, "allow": old})
    assert one(reviewed(case, {"requirements": {"total": {"allow": new}}})).decision == decision


def test_chains_and_additions() -> None:
    """Another formula is refused; what the drawing does not ask for is noted and moves no number."""
    case = stack({"a": 0.1, "b": 0.1})
    said = {
        "chains": {"total": {"formula": "a + 0.9*b"}, "more": {"formula": "a + c"}},
        "dimensions": {"c": {"nominal": 1.0}},
        "requirements": {"more": {"max": 3.0}},
    }
    result = reviewed(case, said)
    assert [(c.dimension, c.what, c.decision) for c in result.changes] == [
        ("more", "requirement", "accept"),
        ("total", "formula", "refuse"),
        ("more", "chain", "accept"),
        ("c", "added", "accept"),
    ]
    assert [r.name for r in result.requirements] == ["total"]
    assert result.requirements[0].before == result.requirements[0].after


# What is left unsaid ----------------------------------------------------------------------------------------------


def whole(**entries: Any) -> dict[str, Any]:
    """Return the drawing as a whole proposal with some dimensions as given (None: left out)."""
    kept = {**DRAWING["dimensions"], **entries}
    return {**DRAWING, "dimensions": {name: entry for name, entry in kept.items() if entry is not None}}


@pytest.mark.parametrize(
    ("said", "asked", "unsaid"),
    [
        ({"dimensions": {"b": {"tolerance": 0.2}}}, ["b: no process is stated for 5 ±0.2"], "dimensions.a"),
        ({"dimensions": {"b": {"nominal": 5.1}}}, ["b: no tolerance", "b: no process"], "dimensions.b.tolerance"),
        ({"dimensions": {"b": {"tolerance": 0.2, "process": {}}}}, ["b: no process"], "requirements.gap"),
        ({"dimensions": {"b": {"process": {"cpk": 1.2}}}}, ["b: the process (cpk 1.2)"], "chains.gap"),
        (whole(b=None), ["b is not in the proposal: does the drawing's 5 ±0.1 hold?"], "dimensions.b"),
        (whole(b={"nominal": 5.0}), ["b: no tolerance is stated"], "dimensions.b.tolerance"),
        (whole(a={"nominal": 10.0, "tolerance": [-0.1, 0.0]}), ["a: no process is stated"], "dimensions.a.process"),
        (whole(z={"zone": 0.1}), ["z: no bonus is stated"], "dimensions.z.bonus_from"),
        ({**DRAWING, "requirements": {}}, ["the requirement gap is not in the proposal"], "requirements.gap"),
        (whole(), [], None),
    ],
    ids=range(10),
)
def test_questions(said: dict[str, Any], asked: list[str], unsaid: str | None) -> None:
    """What is not said is taken from the drawing, listed, and asked where it matters."""
    case = stackup.from_mapping(DRAWING)
    result = reviewed(case, said)
    assert len(result.questions) == len(asked)
    assert all(question.startswith(start) for question, start in zip(result.questions, asked, strict=True))
    assert unsaid is None or unsaid in result.unsaid
    assert bool(result.unsaid) == (unsaid is not None)


# Reading a proposal -------------------------------------------------------------------------------------------------


def read_text(case: Case, text: str, folder: Path) -> Proposal:
    file = folder / "proposal.toml"
    file.write_text(text)
    return read_over(case, file)


@pytest.mark.parametrize(
    ("text", "key", "line", "near"),
    [
        ("\n[cage]\nkind = 'cylindrical'", "cage.kind", 3, None),
        ("[dimensions]\na = { tolerance = -0.1 }", "dimensions.a.tolerance", 2, None),
        ("[dimensions]\na = { zone = 0.1 }\nb = { tolerence = 0.2 }", "dimensions.b.tolerence", 3, "tolerance"),
        ("[dimensions.arc]\nnominal = 1.0", "dimensions.arc", 1, None),
        ("[dimensions.aa]\nnominal = 1.0", "dimensions.aa", 1, "a"),
        ("[requirements.total]\nallow = { ppm = 1, of = 'cage' }", "requirements.total.allow.of", 2, "cages"),
        ("[requirement.total]\nmin = 1", "requirement", 1, "requirements"),
        ("dimensions = 5", "dimensions", 1, None),
    ],
    ids=range(8),
)
def test_faults_stand_in_the_proposal(text: str, key: str, line: int, near: str | None, tmp_path: Path) -> None:
    """Key path and line of the proposal; the nearest name, of the drawing too."""
    with pytest.raises(CaseError) as caught:
        read_text(stack({"a": 0.1, "b": 0.1}), text, tmp_path)
    fault = next(fault for fault in caught.value.faults if fault.key == key)
    assert (fault.line, fault.nearest) == (line, near)
    assert fault.file.endswith("proposal.toml")


def test_all_faults_at_once(tmp_path: Path) -> None:
    """Each fault of the file once; none of what the drawing says well."""
    text = "[dimensions]\na = { tolerance = -0.1 }\nb = { nominal = true }\n[run]\nseed = -1\n"
    with pytest.raises(CaseError) as caught:
        read_text(stack({"a": 0.1, "b": 0.1}), text, tmp_path)
    assert [fault.line for fault in caught.value.faults] == [2, 3, 5]


def test_an_empty_proposal(tmp_path: Path) -> None:
    """Changes nothing, leaves everything unsaid, asks nothing."""
    case = stack({"a": 0.1})
    result = reviewed(case, read_text(case, "", tmp_path))
    assert (result.verdict, result.changes, result.questions) == ("accept", (), ())
    assert "dimensions.a" in result.unsaid


def test_workers_change_no_number() -> None:
    """The worst cases found in a process beside this one are the same."""
    case = stack({"a": 0.1, "b": 0.1}, total={"max": 2.3, "allow": {"ppm": 9000, "of": "cages"}}, first={"max": 2.25})
    one, two = (review(case, wider(a=0.15, b=0.2), settings_of(case, workers=n, **FEW)) for n in (1, 2))
    assert one == two


# Stopping --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("what", ["worst case", "sets of changes", "common cages", "contributions"])
def test_interrupted_records_are_complete_in_form(what: str) -> None:
    """Wherever the user stops: every key is there, nothing is decided, the mark is set."""
    case = stack({"a": 0.1, "b": 0.1}, total={"max": 2.3, "allow": {"ppm": 9000, "of": "cages"}}, first={"max": 2.3})
    case = stackup.changed(case, {"chains.total.formula": "hypot(a, b) + 0.6"})
    whole_record = reviewed(case, wider(a=0.15, b=0.15)).to_dict()

    def stop(_done: float, _of: float, which: str) -> None:
        if which == what:
            raise KeyboardInterrupt

    with pytest.raises(Interrupted) as caught:
        review(case, wider(a=0.15, b=0.15), settings_of(case, **FEW), stop)
    record = caught.value.records.to_dict()
    assert record["interrupted"] is True
    assert record["verdict"] is None
    assert record.keys() == whole_record.keys()
    assert [c.keys() for c in record["changes"]] == [c.keys() for c in whole_record["changes"]]
    assert all(change["decision"] is None for change in record["changes"])
    json.dumps(record, allow_nan=False)


def test_in_a_notebook(tmp_path: Path) -> None:
    """The package has it, and the result shows itself."""
    case = stack({"a": 0.1, "b": 0.1})
    file = tmp_path / "proposal.toml"
    file.write_text("[dimensions]\na = { tolerance = 0.2 }\n")
    result = stackup.review(case, stackup.read_proposal(case, file))
    assert "ACCEPT IN PART" in result._repr_html_()
    assert result.changes == stackup.review(case, {"dimensions": {"a": {"tolerance": 0.2}}}).changes
