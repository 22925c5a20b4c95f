"""What a reader of ``rollers`` must know beside the numbers, as data: every renderer shows the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from stackup.decide.notes import CAUTIONS
from stackup.decide.record import Note
from stackup.decide.rollers_record import CountRecord, Layout, RatingRecord, RowRollers

SOLID = (
    "C_r is that of solid rollers: ISO 281 has no term for a bore, the allowance for it is yours; between counts of "
    "the same rollers the ratios stand"
)
GAP = (
    "gap: between neighbours that have drifted towards each other; least gap and wall: of parts to the drawing, "
    "nothing is less"
)
LIFE = "L10 at equal load: life goes with C_r^(10/3), so with Z^2.5"
SEED = (
    "all counts draw with the same seed: what a cage draws once is the same in all, what pockets draw is not; "
    "neighbouring fractions differ by chance within their intervals"
)


def of_layout(layout: Layout, own: dict[str, float]) -> Note:
    """Return where the holes stand; ``own`` are the nominals of the drawing [mm]."""
    if layout.follow == "pitch":
        return Note("pitch: for every count the holes stand on the pitch circle of the drawing")
    moves = ", ".join(f"{name} {own[name]:.10g} → {nominal:.10g} mm" for name, nominal in layout.nominals.items())
    if all(own[name] == nominal for name, nominal in layout.nominals.items()):
        moves = "they do already"
    return Note(f"raceway: for every count the pins stand in the middle of the seats that the raceways give: {moves}")


def of_rating(rating: RatingRecord) -> Iterator[Note]:
    """Yield what the standard does not cover."""
    if rating.found is None:
        yield Note(
            f"no C_r: gamma = {rating.gamma:.4g} lies outside the table of f_c in ISO 281 (0.01 … 0.30); "
            "the ratios follow from Z^(3/4) alone, f_c is the same for all counts"
        )


def of_all(rows: Sequence[RowRollers]) -> Iterator[Note]:
    """Yield what holds of every rating and every count."""
    yield Note(SOLID, level="caution")
    yield Note(LIFE, level="caution")
    if any(one.fraction is not None for row in rows for one in row.counts):
        yield Note(GAP)
        yield Note(SEED, level="caution")


def of_rows(rows: Sequence[RowRollers], states: Sequence[str]) -> Iterator[Note]:
    """Yield how rows that differ are asked, and that states count."""
    if len(rows) > 1:
        yield Note("rows that differ are asked one by one: a count of one row, all others as they are")
        yield Note("C_r is that of the rows that are alike, taken as a bearing: ISO 281 rates no rows that differ")
    if len(states) > 1:
        yield Note(f"every count must hold in all states ({', '.join(states)}): the worst of them is shown")


def of_counts(counts: Iterable[CountRecord], full: int) -> Iterator[Note]:
    """Yield what stands beside single counts."""
    records = list(counts)
    over = sorted({one.rollers for one in records if not one.stands})
    if over:
        yield Note(f"with {listed(over)} the rollers overlap, nothing is computed: at most {full} stand on the circle")
    free = [one for one in records if one.verdict in ("met", None) and (one.spacing.bound_low or 0.0) < 0]
    if free:
        yield Note(f"with {listed(one.rollers for one in free)} neighbours can touch, and no requirement forbids it")
    unsure = sorted({one.rollers for one in records if one.verdict == "undecided"})
    if unsure:
        yield Note(f"undecided with {listed(unsure)}, which does not count as met: more cages decide (--cages)")
    yield from _not_in_order(records)


def _not_in_order(records: list[CountRecord]) -> Iterator[Note]:
    for follow in dict.fromkeys(one.follow for one in records):
        same = [one for one in records if one.follow == follow]
        most = max((one.rollers for one in same if one.verdict == "met"), default=0)
        fewer = [one.rollers for one in same if one.rollers < most and one.verdict != "met"]
        if fewer:
            yield Note(f"not met or undecided with {listed(fewer)}, although {most} rollers meet everything ({follow})")


def of_range(counts: range, full: int, is_cut: bool) -> Iterator[Note]:
    """Yield that the range was cut short of what can stand."""
    if is_cut and counts[-1] < full:
        yield Note(f"tried up to {counts[-1]} rollers; up to {full} can stand on their circle (--to)")


def of_run(interrupted: bool) -> Iterator[Note]:
    """Yield an interruption, and the usual cautions."""
    if interrupted:
        yield Note("interrupted: counts that were not finished are left out")
    for text in CAUTIONS:
        yield Note(text, level="caution")


def listed(counts: Iterable[int]) -> str:
    """Return counts in words, three neighbours and more as ranges: ``43, 44, 47 … 50``."""
    runs: list[list[int]] = []
    for count in sorted(set(counts)):
        if runs and count == runs[-1][-1] + 1:
            runs[-1].append(count)
        else:
            runs.append([count])
    return ", ".join(f"{run[0]} … {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)
