"""The page of ``rollers``: one line for each count, what the largest is worth, the rating behind it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from stackup.decide.rollers_notes import listed
from stackup.decide.rollers_record import CountRecord, Layout, RollersResult, RowRollers
from stackup.decide.trial import Judgement
from stackup.decide.words import state_in_words
from stackup.report import numbers
from stackup.report.checking import SHOUTED
from stackup.report.view import Column, Facts, Lines, Page, Section, Table, Text

#: decimals of a spacing and of a wall, mm
PLACES = 3
TITLES = {"pitch": "Holes on the pitch circle of the drawing", "raceway": "Holes where the raceways put the rollers"}


def page(result: RollersResult) -> Page:
    """Return the page of a roller count."""
    sections: list[Section] = []
    for row in result.rows:
        sections += [_counts(result, row, layout) for layout in row.layouts]
    sections += [_rating(result, row) for row in result.rows]
    sections.append(_notes(result))
    drawn = f"{result.cages:,}".replace(",", " ") + f" drawn each, seed {result.seed}"
    stopped = ", INTERRUPTED" if result.interrupted else ""
    about = f"{result.kind} cage, {_of_rows(result)} · {drawn}{stopped} · case {result.digest[:12]}"
    return Page(result.title or "untitled case", f"{about} · stackup {result.version}", tuple(sections), answer(result))


def _of_rows(result: RollersResult) -> str:
    """Return how many rollers there are, row by row where they differ."""
    return ", ".join(("" if result.only else f"row {row.name}: ") + _rollers(row) for row in result.rows)


def _rollers(row: RowRollers) -> str:
    return f"{row.count} rows of {row.rollers} rollers" if row.count > 1 else f"{row.rollers} rollers"


def answer_page(result: RollersResult) -> Page:
    """Return the answer alone."""
    return Page("", "", (), answer(result))


# How many fit -------------------------------------------------------------------------------------------------


def _counts(result: RollersResult, row: RowRollers, layout: Layout) -> Table:
    columns = (
        Column("rollers", right=True),
        Column("verdict"),
        Column("first not met", list=True),
        Column("least gap, mm", right=True),
        Column("mean gap, mm", right=True),
        Column("cages out", right=True),
        Column("wall, mm", right=True),
        Column("C_r", right=True),
        Column("L10", right=True),
    )
    records = [one for one in row.counts if one.follow == layout.follow]
    rows = tuple(_row(one, row, result) for one in records)
    title = TITLES[layout.follow] if result.only else f"Row {row.name}: {_lower(TITLES[layout.follow])}"
    return Table(title, columns, rows, stacks=((0,), (1, 2), (3, 4), (5, 6), (7, 8)))


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _row(one: CountRecord, row: RowRollers, result: RollersResult) -> tuple[Text, ...]:
    is_own = one.rollers == row.rollers
    spacing, fraction = one.spacing, one.fraction
    verdict = one.verdict or "met"
    turns = one.stands and not (spacing.mean is not None and spacing.mean < 0)  # rollers that touch carry nothing more
    return (
        Text(f"{one.rollers}{' (now)' if is_own else ''}", "strong" if is_own else "plain"),
        Text(SHOUTED[verdict] if one.verdict else numbers.NONE, verdict if one.verdict else "plain"),
        Text(_reason(one, result), "quiet"),
        Text(_at_least(spacing.bound_low)),
        Text(numbers.number(spacing.mean, PLACES)),
        Text(numbers.share(fraction) if fraction else numbers.NONE),
        Text(_at_least(one.wall)),
        Text(_gain(one.rating_ratio) if turns else numbers.NONE),
        Text(_gain(one.life_ratio) if turns else numbers.NONE),
    )


def _at_least(value: float | None) -> str:
    """Return a least value rounded down; what is a rounding error below a digit counts as that digit."""
    if value is None or not math.isfinite(value):
        return numbers.NONE
    return numbers.number(math.floor(value * 10**PLACES + 1e-6) / 10**PLACES, PLACES)


def _reason(one: CountRecord, result: RollersResult) -> str:
    if not one.stands:
        return "rollers overlap"
    found = one.governing
    if found is None:
        return ""
    where = f" ({state_in_words(found.state)})" if len(result.states) > 1 else ""
    return f"{found.requirement.name}{where}, {_by_how_much(found, result.units)}"


def _by_how_much(found: Judgement, units: Mapping[str, str]) -> str:
    allow, room = found.requirement.allow, found.room
    if allow is not None:
        return f"{numbers.share(found.fraction)} of {allow.of}" if found.fraction else "not finished"
    return numbers.room(math.nan if room is None else room, units[found.requirement.name])


def _gain(ratio: float) -> str:
    """Return a ratio as a change in per cent."""
    return f"{100 * (ratio - 1):+.1f} %" if ratio != 1 else "0"


# What the largest is worth ------------------------------------------------------------------------------------


def answer(result: RollersResult) -> Text:
    """Return how many rollers fit and what they are worth, in one line."""
    if not result.counts:
        return Text("nothing finished: no count can be told", "undecided")
    each = [(row, _answer_of(result, row)) for row in result.rows if row.counts]
    if result.only:
        return each[0][1]
    rank = ("met", "strong", "undecided", "not met")
    status = max((one.status for _, one in each), key=lambda one: rank.index(one) if one in rank else 0)
    return Text("; ".join(f"row {row.name}: {one.text.replace('; ', ', ')}" for row, one in each), status)


def _answer_of(result: RollersResult, row: RowRollers) -> Text:
    """Return the same of one row."""
    tried = listed(one.rollers for one in row.counts)
    if not result.units:
        standing = [one.rollers for one in row.counts if one.stands]
        return Text(f"no requirements: nothing to meet; of {tried} rollers {_most(standing)} stand", "strong")
    if row.largest is not None:
        return _worth(row, row.largest)
    unsure = [one.rollers for one in row.counts if one.verdict == "undecided"]
    if unsure:
        said = f"UNDECIDED: no count tried ({tried}) is sure to meet every requirement{_left(unsure)}"
        return Text(said, "undecided")
    return Text(f"NOT MET: no count tried ({tried}) meets every requirement{_without(row)}", "not met")


def _most(standing: Sequence[int]) -> str:
    return f"up to {max(standing)}" if standing else "none"


def _without(row: RowRollers) -> str:
    """Return what no count mends, and how many rollers would fit without it."""
    if not row.never_met:
        return ""
    names = ", ".join(row.never_met)
    said = f"; {names} {'is' if len(row.never_met) == 1 else 'are'} met with none of them"
    if row.largest_without is None:
        return said
    best = row.at(row.largest_without)
    return f"{said}, all others with up to {best.rollers} ({_against(best, row.rollers)})"


def _worth(row: RowRollers, largest: int) -> Text:
    best = next(one for one in row.counts if one.rollers == largest and one.verdict == "met")
    more = [one.rollers for one in row.counts if one.rollers > largest]
    where = f" ({best.follow})" if len(row.layouts) > 1 else ""
    said = f"{largest} rollers are the most that meet every requirement{where}: {_against(best, row.rollers)}"
    said += _left([one.rollers for one in row.counts if one.rollers > largest and one.verdict == "undecided"])
    if not more:
        said += "; no more can stand on the circle" if largest >= row.full else "; no more were tried"
    head = f"{(row.as_given or 'undecided').upper()} with {row.rollers}"
    return Text(f"{head}; {said}", row.as_given or "undecided")


def _left(unsure: Sequence[int]) -> str:
    return f"; undecided with {listed(unsure)}" if unsure else ""


def _against(one: CountRecord, own: int) -> str:
    if one.rollers == own:
        return "as many as now"
    return f"C_r {_gain(one.rating_ratio)}, L10 at equal load {_gain(one.life_ratio)} against {own}"


# Rating, notes ------------------------------------------------------------------------------------------------


def _rating(result: RollersResult, row: RowRollers) -> Facts:
    rating, inputs, found = row.rating, row.rating.inputs, row.rating.found
    rows = f"{rating.rows} row{'s' * (rating.rows > 1)} of {row.rollers}"
    facts = [
        ("rollers", Text(f"{rows}, D_we {inputs.diameter:.7g} mm, L_we {inputs.length:.7g} mm")),
        ("circle", Text(f"D_pw {inputs.pitch:.7g} mm, α {math.degrees(inputs.angle):.4g}°, γ {rating.gamma:.4g}")),
    ]
    if found is None:
        facts.append(("C_r", Text("none: γ is outside the table of f_c", "undecided")))
    else:
        kilonewtons = f"{found.c_r / 1000:.4g} kN for solid rollers"
        facts.append(("C_r", Text(f"{kilonewtons} (f_c {found.f_c:.4g}, b_m {found.b_m:.4g})")))
    which = "" if result.only else f"Row {row.name}: "
    return Facts(f"{which}{'Rating' if result.only else 'rating'} by ISO 281, as the case has it", tuple(facts))


def _notes(result: RollersResult) -> Lines:
    lines = tuple(Text(str(note), "quiet" if note.level == "caution" else "plain") for note in result.notes)
    return Lines("To know", lines)
