"""What a case leaves unsaid is said: zeros, exact sizes, usual processes, clearances that nominal parts do not have."""

from __future__ import annotations

from collections.abc import Callable

from case_texts import FILES, LEAST

from stackup.case import Case, read

ReadText = Callable[[str], Case]
ENTRY = "[dimensions.ring_hole_b]\nnominal = 17.6\ntolerance = 0.05\n[requirements.pin_entry]\nmin = 0.0\n"


def beginning(case: Case, words: str) -> list[str]:
    """Return what follows ``words`` in the notes that begin with them."""
    return [note.removeprefix(words) for note in case.notes if note.startswith(words)]


def test_zeros_of_a_requirement(read_text: ReadText) -> None:
    """Slots left out that the entry of a pin uses stand first, by model.md section 3 gap 6; the others beside them."""
    case = read_text(LEAST + ENTRY)
    first, others = beginning(case, "counted as 0, not given")
    uses = "hole_position_a, hole_position_b, pin_seat_a, pin_squareness_a, ring_offset, ring_phase"
    assert first == f": {uses}"
    assert others.startswith(", in gaps without a requirement: roller_bore_runout, ")
    assert "pin_seat_b" in others  # the weld's stress has no requirement here
    assert not any(name in others.split(", ") for name in uses.split(", "))


def test_zeros_through_a_chain(read_text: ReadText) -> None:
    """A requirement on a chain counts for the gaps that its chains use."""
    chains = "[chains.c]\nformula = 'd + 1'\n[chains.d]\nformula = 'roller_wall'\n[requirements.c]\nmin = 0\n"
    first, _ = beginning(read_text(LEAST + chains), "counted as 0, not given")
    assert first == ": roller_bore_runout"


def test_all_zeros_without_requirements(read_text: ReadText) -> None:
    """Without requirements every gap is asked for: one list."""
    (zeros,) = beginning(read_text(LEAST), "counted as 0, not given")
    assert zeros.startswith(": roller_bore_runout, ")
    assert "roller_effective_length" not in zeros  # no gap uses it
    assert "hole_pitch_diameter_b" not in zeros  # hole_pitch_diameter stands in


def test_what_is_given_is_no_zero(read_text: ReadText) -> None:
    """A slot in the file, even of no width, is not left out; the demo leaves out the two that it does not have."""
    case = read_text(LEAST + ENTRY + "[dimensions.pin_squareness_a]\nzone = 0.0\n")
    assert "pin_squareness_a" not in "".join(case.notes)
    assert beginning(read(FILES / "demo.toml"), "counted as 0, not given: ") == [
        "pitch_shrinkage_b, hole_position_common"
    ]


def test_hints_of_the_kind(read_text: ReadText) -> None:
    """A gap that hinges on a slot left out says what it misses, each hint once with its gaps."""
    notes = read_text(LEAST + ENTRY).notes
    assert "pin_entry: a pin leans with its seat: see pin_squareness_a" in notes
    both = read_text(LEAST + ENTRY + "[requirements.weld_stress]\nmax = 100\n").notes
    assert "pin_entry, weld_stress: a pin leans with its seat: see pin_squareness_a" in both
    given = read_text(LEAST + ENTRY + "[dimensions.pin_squareness_a]\nzone = 0.1\n").notes
    assert not any("a pin leans" in note for note in given)


def test_exact_sizes(read_text: ReadText) -> None:
    """Sizes without tolerance are named; a tolerance of 0 is said, not left out."""
    text = LEAST.replace("nominal = 17.4", "nominal = 17.4\ntolerance = 0.0")
    (exact,) = beginning(read_text(text), "exact, no tolerance given: ")
    assert "pin_diameter" not in exact.split(", ")
    assert "roller_bore" in exact.split(", ")


def test_usual_processes(read_text: ReadText) -> None:
    """Dimensions without a process: few are named, many counted of those with a tolerance."""
    words = "no process given, taken as normal, centred, cp = 1: "
    assert beginning(read_text(LEAST + ENTRY), words) == ["ring_hole_b"]
    said = ENTRY.replace("tolerance = 0.05", "tolerance = 0.05\nprocess = { cp = 1.33 }")
    assert not any("no process" in note for note in read_text(LEAST + said).notes)
    rayleigh = "no process given, taken as normal (0 … limit: Rayleigh), centred, cp = 1: "
    (count,) = beginning(read(FILES / "demo.toml"), rayleigh)
    # closed form: the demo's dimensions, and those of them with a process
    text = (FILES / "demo.toml").read_text(encoding="utf-8")
    dimensions, with_process = text.count("[dimensions."), text.count("\nprocess = ")
    assert count == f"{dimensions - with_process} of {dimensions} dimensions"


def test_clearances_below_zero(read_text: ReadText) -> None:
    """A gap that nominal parts do not have is said, requirement or not; a lean has a direction and may be negative."""
    case = read_text(LEAST.replace("nominal = 17.4", "nominal = 19.0"))
    assert "bore_clearance is below 0 for parts at their nominals: -1 mm" in case.notes
    tilted = read_text(LEAST + "[dimensions.hole_pitch_diameter_b]\nnominal = 149.0\n")
    assert not any("pin_tilt" in note for note in tilted.notes)


def test_rollers_that_overlap(read_text: ReadText) -> None:
    """Rollers drawn into each other, and rollers that can pass each other: the spacing is below 0 either way."""
    close = read_text(LEAST.replace("rollers = 8", "rollers = 12"))
    # closed form: 2·R·sin(π/12 − α) − D_w with R = 75, sin of α about c₊/R, c₊ = 0.3
    (told,) = beginning(close, "roller_spacing is below 0 for parts at their nominals: ")
    assert -13 < float(told.split()[0]) < -11
    loose = read_text(LEAST.replace("rollers = 8", "rollers = 80").replace("nominal = 17.4", "nominal = 1.0"))
    (told,) = beginning(loose, "roller_spacing is below 0 for parts at their nominals: ")
    assert float(told.split()[0]) < -50


def test_parts_as_built_are_as_they_are(read_text: ReadText) -> None:
    """A measured bore as large as its roller, or a roller longer than its rings, is said and no fault."""
    bores = LEAST.replace("nominal = 18.0", "values = [18, 18, 18, 18, 18, 18, 18, 51]")
    assert "roller_wall is below 0 for parts at their nominals: -0.5 mm" in read_text(bores).notes
    lengths = LEAST.replace("nominal = 60.0", "values = [60, 60, 60, 60, 60, 60, 60, 62]")
    assert "end_clearance is below 0 for parts at their nominals: -1 mm" in read_text(lengths).notes
