"""Notes beside verdicts are true: parts outside the drawing, what would decide, what bounds and RSS do not tell."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from scipy.stats import norm

import stackup
from stackup.chain.model import Allowance, Requirement
from stackup.decide.check import settings_of
from stackup.decide.notes import PASSES, of_record, passes_worst_case, to_try
from stackup.decide.record import Record
from stackup.engine.result import AnyRequirement, Fraction, WorstCase


def stack(formula: str, dimensions: dict[str, Any], requirements: dict[str, Any]) -> stackup.Case:
    """Return a stack without a cage, of one chain."""
    return stackup.from_mapping(
        {
            "cage": {"kind": "none"},
            "dimensions": dimensions,
            "chains": {"gap": {"formula": formula}},
            "requirements": requirements,
        }
    )


def checked(case: stackup.Case, cages: int = 2000) -> stackup.CheckResult:
    return stackup.check(case, settings_of(case, cages=cages))


def texts(result: stackup.CheckResult, name: str) -> list[str]:
    return [note.text for note in result.notes if note.about == name]


SIZE = {"a": {"nominal": 1.0, "tolerance": 0.3}}


def test_parts_outside_the_drawing_that_were_seen() -> None:
    """Met by worst case, and Φ(−3) of the stacks out: both are said, in this order."""
    (text,) = texts(checked(stack("a", SIZE, {"gap": {"min": 0.7}})), "gap")
    told = f"{1e6 * norm.cdf(-3.0):.0f}"
    assert text == (
        "met for parts to drawing; the processes make parts outside it too: "
        f"with them {told} ppm of stacks are out of spec"
    )


def test_parts_outside_the_drawing_of_which_none_were_seen() -> None:
    """Where none of the stacks drawn was out, up to the upper end may be: −ln(0.025)/2000."""
    (text,) = texts(checked(stack("a*a", SIZE, {"gap": {"min": 0.0}})), "gap")
    assert text == (
        "met for parts to drawing; where processes make parts outside it, "
        "up to 1843 ppm of stacks may be out of spec (none seen)"
    )


def test_a_cage_is_a_cage() -> None:
    """A record by itself says cages."""
    record = checked(stack("a", SIZE, {"gap": {"min": 0.7}}))["gap"]
    (note,) = of_record(record)
    assert note.text.endswith("ppm of cages are out of spec")
    (note,) = of_record(record, alone=True)
    assert note.text.endswith("ppm of stacks are out of spec")


def test_stacks_are_what_cages_are_elsewhere() -> None:
    """`of = "stacks"` counts as cages: the same record, key for key."""
    said, meant = (
        checked(stack("a", SIZE, {"gap": {"min": 0.7, "allow": {"ppm": 2000, "of": of}}})).to_dict()["requirements"]
        for of in ("stacks", "cages")
    )
    assert said == meant
    assert said[0]["allow"] == {"ppm": 2000, "of": "cages"}


@pytest.mark.parametrize(("failed", "asked"), [(12, "try --cages "), (3, " at least"), (0, " at least")])
def test_what_to_ask_for(failed: int, asked: str) -> None:
    """The total, and with few failures a least one; the same in the note and by itself."""
    record = undecided(failed)
    told = to_try(record)
    assert asked in told
    assert told.endswith(" at least") == (failed < 10)
    assert [note.text for note in of_record(record)] == [f"undecided; {told}"]


def undecided(failed: int, more: int | None = 34_567, drawn: int = 10_000) -> Record:
    """Return a record whose fraction of cages is undecided, ``failed`` of those drawn out."""
    requirement = Requirement("gap", "gap", min=0.7, allow=Allowance(1000, "cages"))
    record = checked(stack("a*a", SIZE, {"gap": {"min": 0.7, "allow": {"ppm": 1000, "of": "cages"}}}))["gap"]
    assert record.monte_carlo is not None
    fraction = Fraction(failed / drawn, 0.0, 0.01)
    sampled = replace(record.monte_carlo, cages=fraction, drawn=drawn)
    return replace(record, requirement=requirement, monte_carlo=sampled, more_cages=more, verdict="undecided")


def test_the_total_is_asked_for() -> None:
    """10 000 drawn and 34 567 more: 44 567, two digits rounded up."""
    assert to_try(undecided(12)) == "try --cages 45000"
    assert to_try(undecided(12, more=0)) == ""
    hopeless = to_try(undecided(12, more=None), "stacks")
    assert hopeless == "the estimate is too near the allowance for any number of stacks"


def ends(low: float, high: float, bound_low: float, bound_high: float) -> WorstCase:
    sure = (low - bound_low <= 1e-4, bound_high - high <= 1e-4)
    return WorstCase(low, high, bound_low, bound_high, *sure, low, high)


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (ends(0.0, 1.0, -0.00012, 1.0), "worst case, low end: the guaranteed bound is farther out than what was found, "
         "by up to 0.00012 mm"),
        (ends(0.0, 1.0, -0.01, 1.125), "worst case, low and high end: the guaranteed bound is farther out than what "
         "was found, by up to 0.13 mm"),
        (ends(0.0, 1.0, float("-inf"), 1.0), "worst case unbounded: the formula has a pole or no value within the "
         "tolerances"),
    ],
)  # fmt: skip
def test_how_far_a_bound_is_out(found: WorstCase, told: str) -> None:
    """An end that is not certified says by how much; one without bound says why."""
    record = checked(stack("a*a", SIZE, {}))["gap"]
    assert [note.text for note in of_record(replace(record, worst_case=found))] == [told]


def test_a_pole_within_the_tolerances() -> None:
    """1/(a − 1.2) with a = 1 ± 0.3 has no bound."""
    result = checked(stack("1/(a - 1.2)", SIZE, {"gap": {"max": 1.0}}))
    assert any("the formula has a pole or no value within the tolerances" in text for text in texts(result, "gap"))


def test_a_law_that_is_not_normal() -> None:
    """Closed form: |a − 1| is half-normal, mean − 3 sd is below 0; a plain sum keeps within its worst case."""
    kinked, plain = checked(stack("abs(a - 1)", SIZE, {})), checked(stack("a", SIZE, {}))
    assert passes_worst_case(kinked["gap"])
    assert not passes_worst_case(plain["gap"])
    assert any(note.text.startswith(PASSES) and note.level == "reason" for note in kinked.notes)
    wide = checked(stack("a*1", {"a": {"nominal": 1.0, "tolerance": 0.3, "process": {"cp": 0.5}}}, {}))
    assert not passes_worst_case(wide["gap"])  # parts really come out there


# The fraction failing any requirement -----------------------------------------------------------------------------


def test_any_is_no_less_than_a_single_one() -> None:
    """Closed form: Φ(−4) of the stacks fail a requirement that 2000 draws do not see (seed 1)."""
    case = stack("a", SIZE, {"gap": {"min": 0.6, "allow": {"ppm": 100, "of": "cages"}}})
    result = checked(case)
    single = result["gap"].fraction
    assert single is not None
    assert single.cages is not None
    assert single.cages.out_of_spec == pytest.approx(norm.cdf(-4.0), rel=1e-9)
    anyone = result.any_requirement.cages
    assert anyone is not None
    assert anyone.out_of_spec == single.cages.out_of_spec
    assert anyone.low == single.cages.low
    assert anyone.high > 1e-3  # that of nothing seen in 2000


def test_any_is_what_was_sampled_where_that_is_more() -> None:
    """Two requirements fail more stacks than either: nothing is raised."""
    limits = {"low": {"gap": "gap", "min": 0.85}, "high": {"gap": "gap", "max": 1.15}}
    result = checked(stack("a", SIZE, limits))
    anyone = result.any_requirement
    assert isinstance(anyone, AnyRequirement)
    assert anyone.cages is not None
    # the sum of both tails of a normal at 1.5 sd, five standard errors of 2000 draws
    p = 2 * norm.cdf(-1.5)
    assert anyone.cages.out_of_spec == pytest.approx(p, abs=5 * (p * (1 - p) / 2000) ** 0.5)
    assert anyone.cages.low < anyone.cages.out_of_spec < anyone.cages.high
