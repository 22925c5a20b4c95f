"""``rollers``: counts judged like cases, the largest that fits and its worth, and what cannot follow a count."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import stackup
from stackup.cage import RatingInputs
from stackup.case import Case, changed, from_mapping
from stackup.cli import run
from stackup.decide.check import settings_of
from stackup.decide.rollers import rollers
from stackup.decide.rollers_notes import listed
from stackup.decide.rollers_range import FEWER, MORE, full_complement, range_of
from stackup.decide.rollers_record import RollersResult
from stackup.errors import CaseError, Interrupted
from stackup.report import rollers as screen

CASES = Path(__file__).parents[2] / "cases"
#: an exact cage (invented): pins stand 0.05 mm farther out than the rollers, 25 rollers fill the circle
EXACT: dict[str, dict[str, Any]] = {
    "roller_diameter": {"nominal": 30.0}, "roller_length": {"nominal": 60.0}, "roller_bore": {"nominal": 9.6},
    "pin_diameter": {"nominal": 9.0}, "hole_pitch_diameter": {"nominal": 242.0}, "ring_spacing": {"nominal": 60.9},
    "inner_raceway": {"nominal": 211.9},
}  # fmt: skip
FULL = 25
#: what makes it scatter
SCATTER: dict[str, dict[str, Any]] = {
    "roller_bore": {"nominal": 9.6, "tolerance": 0.1}, "hole_position_a": {"zone": 0.2},
}  # fmt: skip


def cage(requirements: dict[str, Any], count: int = 20, **dimensions: Any) -> Case:
    """Return the exact cage with these requirements and dimensions beside or instead of its own."""
    tables = {
        "title": "exact (invented)",
        "cage": {"kind": "cylindrical", "rollers": count},
        "dimensions": EXACT | dimensions,
        "requirements": requirements,
        "run": {"cages": 100},
    }
    return from_mapping(tables)


def gap_of(count: int) -> float:
    """Return the spacing of the exact cage: closed form of ``docs/model.md``, gap 3, with all zones at 0.

    R = (211.9 + 30)/2, m = 0.05, c₊ = 0.3, Δ = 2π/Z − 2√(c₊² − m²)/R, gap = 2R sin(Δ/2) − D_w.
    """
    radius = 120.95
    apart = 2 * math.pi / count - 2 * math.sqrt(0.3**2 - 0.05**2) / radius
    return 2 * radius * math.sin(apart / 2) - 30.0


def largest_of(limit: float, first: int, last: int) -> int | None:
    return max((n for n in range(first, last + 1) if gap_of(n) >= limit), default=None)


# What is computed ---------------------------------------------------------------------------------------------


def test_spacing_wall_and_ratios_of_an_exact_cage() -> None:
    """Closed forms: the spacing above, wall (30 − 9.6)/2, C_r by Z^(3/4), life by Z^2.5, to the case's own count."""
    found = rollers(cage({"roller_spacing": {"min": 0.9}}), 15, 25)
    assert [one.rollers for one in found.counts] == list(range(15, 26))
    for one in found.counts:
        assert one.spacing.mean == pytest.approx(gap_of(one.rollers), abs=1e-9)
        assert one.spacing.worst_low == pytest.approx(gap_of(one.rollers), abs=1e-9)
        assert one.spacing.bound_low == pytest.approx(gap_of(one.rollers), abs=1e-4)
        assert one.wall == pytest.approx(10.2, abs=1e-9)
        assert one.rating_ratio == pytest.approx((one.rollers / 20) ** 0.75, rel=1e-12)
        assert one.life_ratio == pytest.approx((one.rollers / 20) ** 2.5, rel=1e-12)
        assert one.verdict == ("met" if gap_of(one.rollers) >= 0.9 else "not met")
        assert one.fraction is not None
        assert one.fraction.out_of_spec == (0.0 if one.verdict == "met" else 1.0)
    assert found.largest == largest_of(0.9, 15, 25) == 24
    assert found.as_given == "met"
    assert found.full == FULL


@settings(max_examples=8, deadline=None)
@given(limit=st.floats(-1.0, 6.0), own=st.integers(15, 25))
def test_the_largest_meets_and_the_next_does_not(limit: float, own: int) -> None:
    """For any limit on the spacing the largest count is that of the closed form (a micrometre is left undecided)."""
    edge = min(abs(gap_of(n) - limit) for n in range(20, FULL + 1))
    found = rollers(cage({"roller_spacing": {"min": limit}}, own), 20, FULL)
    if edge > 1e-3:
        assert found.largest == largest_of(limit, 20, FULL)
        assert found.as_given == ("met" if gap_of(own) >= limit else "not met")


def test_the_own_count_is_judged_as_by_check() -> None:
    """Same seed and cages: the same verdicts, fraction of cages failing any requirement, and worst case."""
    case = cage(
        {
            "running_clearance": {"min": 0.2, "allow": {"ppm": 1e5, "of": "pockets"}},
            "bore_clearance": {"min": 0.45, "max": 0.75},
            "roller_spacing": {"min": 6.0},
            "roller_wall": {"max": 10.15},
        },
        **SCATTER,
    )
    asked = settings_of(case, cages=1000)
    found = rollers(case, 20, 20, settings=asked).at(20)
    checked = stackup.check(case, asked)
    verdicts = {r.name: r.verdict for r in checked.requirements if r.verdict is not None}
    assert {name: one.verdict for name, one in found.judgements.items()} == verdicts
    assert set(verdicts.values()) == {"met", "not met"}
    assert found.fraction == checked.any_requirement.cages
    worst = checked["roller_spacing"].worst_case
    assert worst is not None
    assert found.spacing.worst_low == pytest.approx(worst.low, abs=1e-6)
    assert found.spacing.bound_low is not None
    assert worst.bound_low - 0.01 <= found.spacing.bound_low <= worst.bound_low + 1e-9
    sampled = checked["roller_spacing"].monte_carlo
    assert sampled is not None
    assert found.spacing.mean == pytest.approx(sampled.mean, abs=1e-12)
    assert found.wall == pytest.approx((30.0 - 9.7) / 2, abs=1e-9)


def test_another_count_is_the_case_with_that_count() -> None:
    """19 rollers of a case of 20 are judged like a case that has 19."""
    case = cage({"running_clearance": {"min": 0.12, "allow": {"ppm": 1e4, "of": "pockets"}}}, **SCATTER)
    found = rollers(case, 19, 19).at(19)
    own = rollers(changed(case, {"cage.rollers": 19}), 19, 19).at(19)
    assert found.fraction == own.fraction
    assert found.spacing == own.spacing
    assert own.fraction is not None
    assert 0 < own.fraction.out_of_spec < 1


def test_no_roller_too_many() -> None:
    """Rollers that overlap are told as such, and nothing is computed of them; the ratios follow from the count."""
    found = rollers(cage({"bore_clearance": {"min": 0.1}}), 24, 28)
    for one in found.counts:
        assert one.stands == (one.rollers <= FULL)
        assert one.verdict == ("met" if one.stands else "not met")
        assert (one.fraction is None) == (one.spacing.mean is None) == (one.wall is None) == (not one.stands)
        assert one.rating_ratio == pytest.approx((one.rollers / 20) ** 0.75)
    assert found.largest == FULL
    assert any("with 26 … 28 the rollers overlap" in note.text for note in found.notes)
    assert gap_of(25) < 0 < gap_of(24)
    assert any("with 25 neighbours can touch" in note.text for note in found.notes)


def test_full_complement() -> None:
    """The rollers touch: 6 of equal size round an equal one (D_pw = 2 D_we), and one less where they nearly do."""
    assert full_complement(RatingInputs(10.0, 1.0, 20.0, 0.0)) == 6
    assert full_complement(RatingInputs(10.0001, 1.0, 20.0, 0.0)) == 5
    assert full_complement(RatingInputs(10.0, 1.0, 5.0, 0.0)) == 0


def test_undecided_is_not_met() -> None:
    """A hundred cages cannot show 1 ppm: no count is the largest, and none is said to fail at every count."""
    case = cage(
        {"bore_clearance": {"min": 0.1, "allow": {"ppm": 1, "of": "cages"}}, "roller_wall": {"min": 1.0}},
        roller_bore={"nominal": 9.6, "tolerance": 0.05, "process": {"shape": "uniform"}},
    )
    found = rollers(case, 20, 21)
    assert [one.verdict for one in found.counts] == ["undecided", "undecided"]
    assert (found.largest, found.largest_without, found.never_met) == (None, None, ())
    assert found.as_given == "undecided"
    assert found.at(20).governing is not None
    assert found.at(20).to_dict()["governed_by"] == "bore_clearance"
    assert screen.answer(found).text.startswith("UNDECIDED: no count tried (20, 21)")


def test_what_no_count_mends() -> None:
    """A wall that no count meets is named, and how many rollers the others allow."""
    found = rollers(cage({"roller_wall": {"min": 11.0}, "roller_spacing": {"min": 0.9}}), 20, 25)
    assert (found.largest, found.never_met, found.largest_without) == (None, ("roller_wall",), 24)
    assert [one.to_dict()["governed_by"] for one in found.counts] == ["roller_wall"] * 6
    said = screen.answer(found).text
    assert "roller_wall is met with none of them, all others with up to 24 (C_r +14.7 %" in said


def test_without_requirements() -> None:
    """Nothing to meet: no verdicts, and what stands is told."""
    found = rollers(cage({}), 24, 26)
    assert [one.verdict for one in found.counts] == [None, None, "not met"]
    assert (found.as_given, found.largest, found.never_met) == (None, None, ())
    assert screen.answer(found).text == "no requirements: nothing to meet; of 24 … 26 rollers up to 25 stand"


def test_fewer_may_fail() -> None:
    """An upper limit on the spacing fails with fewer rollers: the largest still counts, and a note tells."""
    found = rollers(cage({"roller_spacing": {"max": 6.0, "min": 0.5}}), 18, 25)
    assert [one.verdict for one in found.counts][:2] == ["not met", "not met"]
    assert found.largest == largest_of(0.5, 18, 25) == 24
    assert found.as_given == ("met" if gap_of(20) <= 6.0 else "not met")
    assert any("although 24 rollers meet everything" in note.text for note in found.notes)


# Rating -------------------------------------------------------------------------------------------------------


def test_the_rating_takes_its_inputs_from_the_nominals() -> None:
    """D_pw = F_w + D_w + G_r/2, L_we the roller's length unless given; a preload counts as no clearance."""
    plain = rollers(cage({}), 20, 20).rating
    assert (plain.inputs.diameter, plain.inputs.length, plain.inputs.angle, plain.rows) == (30.0, 60.0, 0.0, 1)
    assert plain.inputs.pitch == pytest.approx(241.9)
    loose = cage({}, radial_internal_clearance={"nominal": 0.2}, roller_effective_length={"nominal": 57.0})
    found = rollers(loose, 20, 20).rating
    assert found.inputs.pitch == pytest.approx(242.0)
    assert found.inputs.length == 57.0
    assert rollers(cage({}, radial_internal_clearance={"nominal": -0.2}), 20, 20).rating.inputs.pitch == 241.9


def test_the_effective_length_is_for_the_rating_alone() -> None:
    """C_r goes with L_we^(7/9) (the standard's formula); no gap changes."""
    whole, short = (rollers(cage({}, **more), 20, 21) for more in ({}, {"roller_effective_length": {"nominal": 54.0}}))
    assert whole.rating.found is not None
    assert short.rating.found is not None
    assert short.rating.found.c_r / whole.rating.found.c_r == pytest.approx(0.9 ** (7 / 9), rel=1e-12)
    assert [one.spacing for one in short.counts] == [one.spacing for one in whole.counts]


def test_outside_the_table_there_is_no_rating() -> None:
    """γ = 110/330 > 0.30: a note, no C_r; the ratios need no f_c."""
    dimensions = {"roller_diameter": {"nominal": 110.0}, "inner_raceway": {"nominal": 220.0}}
    case = cage({}, 8, **dimensions, hole_pitch_diameter={"nominal": 330.0})
    found = rollers(case, 8, 8)
    assert found.rating.found is None
    assert found.to_dict()["rating"]["c_r"] is None
    assert (found.at(8).c_r, found.at(8).rating_ratio) == (None, 1.0)
    assert any("0.3333 lies outside the table" in note.text for note in found.notes)


def test_solid_rollers_are_said_to_be_assumed() -> None:
    """In the record and on the screen."""
    found = rollers(cage({}), 20, 20)
    assert any("solid rollers" in note for note in found.to_dict()["notes"])


# Where the holes stand ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dimensions", "expected"),
    [
        # F_w + D_w + G_r/2, everything at the middle of its tolerance
        ({}, {"hole_pitch_diameter": 241.9}),
        ({"radial_internal_clearance": {"nominal": 0.2, "tolerance": [0.0, 0.04]}}, {"hole_pitch_diameter": 242.01}),
        ({"inner_raceway": {"nominal": 211.9, "tolerance": [-0.04, 0.0]}}, {"hole_pitch_diameter": 241.88}),
        # the middle of the circle stands on 241.9, not its nominal
        ({"hole_pitch_diameter": {"nominal": 242.0, "tolerance": [0.0, 0.1]}}, {"hole_pitch_diameter": 241.85}),
        # half the shrinkage of ring B is lost on the mean of both rings
        ({"pitch_shrinkage_b": {"nominal": 0.1, "tolerance": 0.02}}, {"hole_pitch_diameter": 241.95}),
        # two circles keep their difference; their mean stands on 241.9
        (
            {"hole_pitch_diameter_b": {"nominal": 242.2}},
            {"hole_pitch_diameter": 241.8, "hole_pitch_diameter_b": 242.0},
        ),
    ],
)
def test_holes_follow_the_raceways(dimensions: dict[str, Any], expected: dict[str, float]) -> None:
    """D_h = (D_hA + D_hB − x_w)/2 = F_w + D_w + G_r/2 (ρ + G_r/4 = 0 in ``docs/model.md``)."""
    (layout,) = rollers(cage({}, **dimensions), 20, 20, "raceway").layouts
    assert layout.nominals == pytest.approx(expected, abs=1e-6)


def test_pins_in_the_middle_run_free() -> None:
    """Pins 0.05 mm off their seats: c − 0.05 = 0.25 with the drawing's circle, c = 0.3 where the holes follow."""
    case = cage({"running_clearance": {"min": 0.28}})
    found = rollers(case, 19, 20, "pitch,raceway")
    assert [(one.follow, one.rollers, one.verdict) for one in found.counts] == [
        ("pitch", 19, "not met"),
        ("pitch", 20, "not met"),
        ("raceway", 19, "met"),
        ("raceway", 20, "met"),
    ]
    assert (found.as_given, found.largest) == ("not met", 20)
    assert rollers(case, 19, 20, "raceway").as_given == "not met"
    assert screen.answer(found).text.startswith("NOT MET with 20; 20 rollers are the most that meet every requirement")
    assert "requirement (raceway): as many as now" in screen.answer(found).text


# The range, and what cannot follow it -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("own", "full", "first", "last", "expected"),
    [
        (20, 25, None, None, (15, 25)),
        (20, 60, None, None, (15, 34)),
        (20, 18, None, None, (15, 20)),
        (5, 9, None, None, (3, 9)),
        (20, 25, 22, None, (22, 25)),
        (20, 25, 30, None, (30, 30)),
        (20, 25, None, 10, (10, 10)),
        (20, 25, None, 22, (15, 22)),
        (20, 25, 3, 500, (3, 500)),
        (498, 600, None, None, (493, 500)),
    ],
)
def test_ranges(own: int, full: int, first: int | None, last: int | None, expected: tuple[int, int]) -> None:
    """By default from five fewer to as many as stand, never more than twenty counts."""
    found = range_of(own, full, first, last)
    assert (found[0], found[-1]) == expected
    assert first is not None or last is not None or len(found) <= FEWER + MORE + 1


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"first": 2}, ["--from: found 2; allowed: a whole number, 3 … 500."]),
        ({"first": 0, "last": 501}, ["--from: found 0", "--to: found 501"]),
        ({"first": 22, "last": 21}, ["--to: found 21, below --from 22; allowed: 22 or more."]),
        ({"follow": "racway"}, ["Did you mean raceway?"]),
        ({"follow": "pitch,"}, ['--follow: found ""']),
    ],
)
def test_what_is_asked_wrongly(asked: dict[str, Any], said: list[str]) -> None:
    """A fault each, with what is allowed."""
    with pytest.raises(CaseError) as raised:
        rollers(cage({}), **asked)
    assert len(raised.value.faults) == len(said)
    for text in said:
        assert text in str(raised.value)


def test_values_belong_to_their_count() -> None:
    """Each dimension as built is named with its line; the case's own count alone may be tried."""
    case = stackup.load(CASES / "every_key_cage.toml")
    with pytest.raises(CaseError) as raised:
        rollers(case)
    keys = {fault.key: fault.line for fault in raised.value.faults}
    assert set(keys) == {"dimensions.weld_shrinkage.values", "dimensions.hole_position_common.values"}
    assert case.document.splitlines()[keys["dimensions.weld_shrinkage.values"] - 1].startswith("values")
    with pytest.raises(CaseError):
        rollers(case, 9, 9)


def test_a_kind_without_rollers() -> None:
    """A fault at the kind."""
    with pytest.raises(CaseError, match="which has no rollers") as raised:
        rollers(stackup.load(CASES / "bush_stack.toml"))
    assert raised.value.faults[0].key == "cage.kind"
    assert raised.value.faults[0].line > 0


def test_a_count_that_the_case_does_not_allow() -> None:
    """A chain that is not finite with 21 rollers is a fault that names the count."""
    tables = dict(cage({}).mapping) | {"chains": {"odd": {"formula": "roller_wall/(rollers - 21)"}}}
    with pytest.raises(CaseError, match="with 21 rollers"):
        rollers(from_mapping(tables), 20, 22)


def test_counts_in_words() -> None:
    """Three neighbours and more are a range."""
    assert listed([50, 43, 44, 47, 48, 49, 49]) == "43, 44, 47 … 50"
    assert listed([]) == ""


# Processes, interruption --------------------------------------------------------------------------------------


def test_the_same_whatever_the_workers() -> None:
    """Shared out to two processes or not: equal records."""
    case = cage(
        {"roller_spacing": {"min": 3.0, "allow": {"ppm": 1000, "of": "cages"}}},
        **SCATTER,
    )
    one, two = (rollers(case, 20, 22, settings=settings_of(case, cages=500, workers=n)) for n in (1, 2))
    assert one.to_dict() == two.to_dict()


@pytest.mark.parametrize("workers", [1, 2])
def test_interrupted_after_some_counts(workers: int) -> None:
    """The record is complete in form and holds what was finished; the own count comes first."""
    case = cage({"roller_spacing": {"min": 1.0}})

    def stop(done: float, of: float, what: str) -> None:
        assert what == "counts"
        assert of == 6
        if done >= 2:
            raise KeyboardInterrupt

    with pytest.raises(Interrupted) as raised:
        rollers(case, 20, 25, settings=settings_of(case, cages=100, workers=workers), progress=stop)
    found = raised.value.records
    assert isinstance(found, RollersResult)
    assert found.interrupted
    if workers == 1:  # with two, the other process may be two counts ahead of the own one
        assert found.as_given == "met"
        assert 20 in [one.rollers for one in found.counts]
    assert 2 <= len(found.counts) < 6
    assert any("interrupted" in note.text for note in found.notes)
    assert screen.page(found).answer is not None


# Command ------------------------------------------------------------------------------------------------------


def case_file(folder: Path, limit: float) -> str:
    lines = ["title = 'exact (invented)'", "[cage]", "kind = 'cylindrical'", "rollers = 20", "[dimensions]"]
    lines += [f"{name} = {{ nominal = {entry['nominal']} }}" for name, entry in EXACT.items()]
    path = folder / "case.toml"
    path.write_text("\n".join([*lines, "[requirements.roller_spacing]", f"min = {limit}", ""]))
    return str(path)


@pytest.mark.parametrize(("limit", "code"), [(0.9, 0), (10.0, 1)])
def test_exit_codes(limit: float, code: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0 when the case as given meets all, whatever other counts do; else 1; one line with --quiet."""
    words = ["rollers", case_file(tmp_path, limit), "--cages", "50", "--from", "23"]
    assert run([*words, "--json"]) == code
    record = json.loads(capsys.readouterr().out)
    assert [one["rollers"] for one in record["counts"]] == [23, 24, 25]
    assert record["as_given"] == ("met" if code == 0 else "not met")
    assert run([*words, "--quiet"]) == code
    out = capsys.readouterr().out
    assert out.startswith("MET with 20; 24 rollers are the most" if code == 0 else "NOT MET: no count tried (23 … 25)")


@pytest.mark.parametrize(
    "words", [["--from", "x"], ["--from", "2"], ["--follow", "rings"], ["--from", "9", "--to", "8"]], ids=" ".join
)
def test_wrong_input(words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """2, words on stderr, the faults on stdout with --json."""
    assert run(["rollers", case_file(tmp_path, 1.0), *words, "--json"]) == 2
    out, err = capsys.readouterr()
    assert json.loads(out)["faults"]
    assert "allowed" in err
    assert "Traceback" not in err


@pytest.mark.parametrize("width", [40, 60, 80, 100, 160])
def test_the_screen_fits(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """No line is wider; no count, verdict or gain is cut; the notebook says the same."""
    import io

    from stackup.report import terminal

    found = rollers(cage({"roller_spacing": {"min": 0.9}, "roller_wall": {"min": 2.0}}), 20, 26)
    monkeypatch.setenv("COLUMNS", str(width))
    text = terminal.text_of(screen.page(found), io.StringIO())
    assert max(len(line) for line in text.splitlines()) <= width
    for word in ("20 (now)", "NOT MET", "rollers overlap", "roller_spacing", "+14.7 %", "+57.7 %", "solid rollers"):
        assert word in " ".join(text.split())
    assert "+57.7 %" in found._repr_html_()
