"""The page of ``check``: one table that answers, the numbers behind it, what to know beside them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from stackup.decide.record import CheckResult, Record, RowRecord
from stackup.decide.verdict import room as room_left
from stackup.engine.result import Sampled
from stackup.report import numbers
from stackup.report.view import Column, Facts, Lines, Page, Section, Table, Text

#: contributions named beside a verdict
GOVERN = 3
#: a smaller share of the scatter is left out of the details
SMALL = 0.0005
SHOUTED = {"met": "met", "not met": "NOT MET", "undecided": "undecided"}


def page(result: CheckResult, details: bool = False) -> Page:
    """Return the page of a check; ``details`` adds all there is of every requirement."""
    limited = [record for record in result.requirements if record.limited]
    sections: list[Section] = []
    if limited:
        sections.append(_verdicts(limited))
    sections.append(_methods(result.requirements))
    if limited:
        sections.append(_out_of_spec(limited, alone=result.pockets_per_cage == 1))
    if details:
        sections += [section for record in result.requirements for section in _details(record)]
    sections.append(_notes(result))
    return Page(result.title or "untitled case", _about(result), tuple(sections), answer(result))


def answer(result: CheckResult) -> Text:
    """Return whether it works, in one line."""
    limited = [record for record in result.requirements if record.limited]
    if result.verdict is None:
        return Text("no requirements: nothing to meet", "strong")
    counts = {v: [r.name for r in limited if r.verdict == v] for v in ("not met", "undecided", "met")}
    if len(counts["met"]) == len(limited):
        what = "the requirement is met" if len(limited) == 1 else f"all {len(limited)} requirements are met"
        return Text(f"MET: {what}{_any(result)}", "met")
    del counts["met"]
    said = [f"{len(names)} {verdict} ({', '.join(names)})" for verdict, names in counts.items() if names]
    head = SHOUTED[result.verdict].upper()
    return Text(f"{head}: of {len(limited)} requirements {', '.join(said)}{_any(result)}", result.verdict)


def _any(result: CheckResult) -> str:
    cages = result.any_requirement.cages
    if cages is None:
        return ""
    what = "stacks" if result.pockets_per_cage == 1 else "cages"
    return f"; {numbers.share(cages)} of {what} fail at least one"


def _about(result: CheckResult) -> str:
    what = "stack without a cage"
    if result.pockets_per_cage > 1:
        what = f"{result.kind} cage, {' and '.join(_row(row) for row in result.rows)}"
    drawn = f"{_thousands(result.cages)} drawn, seed {result.seed}{', INTERRUPTED' if result.interrupted else ''}"
    return f"{what} · {drawn} · case {result.digest[:12]} · stackup {result.version}"


def _row(row: RowRecord) -> str:
    return f"{row.count} rows of {row.rollers} rollers" if row.count > 1 else f"{row.rollers} rollers"


# Does it work, what governs, by how much ---------------------------------------------------------------------


def _verdicts(records: Sequence[Record]) -> Table:
    columns = (
        Column("requirement"),
        Column("verdict"),
        Column("limit"),
        Column("by how much", list=True),
        Column("governed by", list=True),
    )
    rows = tuple(
        (
            Text(record.name, "strong"),
            Text(SHOUTED[record.verdict or "undecided"], record.verdict or "undecided"),
            Text(_limit(record)),
            Text(_by_how_much(record)),
            Text(_governed(record), "quiet"),
        )
        for record in records
    )
    return Table("Does it work", columns, rows, stacks=((0, 2), (1,), (3, 4)))


def _limit(record: Record) -> str:
    over = "" if record.requirement.over == "each" else f"{record.requirement.over} "
    return over + numbers.limits(record.requirement, record.unit)


def _by_how_much(record: Record) -> str:
    allow, worst = record.requirement.allow, record.worst_case
    if allow is None:
        if worst is None:
            return "not finished"
        bound = room_left(record.requirement, worst.bound_low, worst.bound_high)
        found = room_left(record.requirement, worst.low, worst.high)
        if record.verdict == "undecided":
            return f"found {numbers.room(found, record.unit)} (bound {numbers.room(bound, record.unit)})"
        return f"worst case {numbers.room(bound if record.verdict == 'met' else found, record.unit)}"
    fraction = getattr(record.fraction, allow.of) if record.fraction else None
    if fraction is None:
        return "not finished"
    more = f", {_rounded_up(record.more_cages)} more cages decide" if record.more_cages else ""
    return f"{numbers.share(fraction)} of {allow.of} ({numbers.allowed(allow)} allowed){more}"


def _rounded_up(cages: int) -> str:
    """Return a number of cages with two digits, rounded up."""
    step = 10 ** max(len(str(cages)) - 2, 0)
    return _thousands(-(-cages // step) * step)


def _thousands(count: int) -> str:
    return f"{count:,}".replace(",", " ")


def _governed(record: Record) -> str:
    by_width = record.requirement.allow is None and record.limited
    named = []
    for one in record.contributions[:GOVERN]:
        part = one.width_share if by_width and one.width_share is not None else one.variance_share
        if part:
            named.append(f"{one.dimension} {numbers.percent(part)}")
    return ", ".join(named)


# The numbers behind it --------------------------------------------------------------------------------------


def _places(record: Record) -> int:
    worst, sampled = record.worst_case, record.monte_carlo
    if worst is not None and worst.high > worst.low:
        return numbers.decimals(worst.high - worst.low)
    return numbers.decimals(6 * sampled.sd if sampled else 0.0)


def _methods(records: Sequence[Record]) -> Table:
    columns = (
        Column("gap"),
        Column("nominal", right=True),
        Column("worst case found", right=True),
        Column("guaranteed", right=True),
        Column("RSS, ±3 sd", right=True),
        Column("Monte Carlo, 99.73 %", right=True),
    )
    rows = tuple(_method_row(record) for record in records)
    return Table("By three methods", columns, rows, stacks=((0, 1), (2, 3), (4, 5)))


def _method_row(record: Record) -> tuple[Text, ...]:
    places, worst, rss, sampled = _places(record), record.worst_case, record.rss, record.monte_carlo
    quantiles = list(sampled.quantiles.values()) if sampled else []
    return (
        Text(f"{record.name}, {record.unit}"),
        Text(numbers.number(record.nominal, places)),
        Text(numbers.span(worst.low, worst.high, places) if worst else numbers.NONE),
        _guaranteed(record, places),
        Text(numbers.span(rss.low, rss.high, places) if rss else numbers.NONE),
        Text(numbers.span(quantiles[0], quantiles[-1], places) if quantiles else numbers.NONE),
    )


def _guaranteed(record: Record, places: int) -> Text:
    worst = record.worst_case
    if worst is None:
        return Text(numbers.NONE)
    if worst.certified:
        return Text("the same", "quiet")
    return Text(numbers.span(worst.bound_low, worst.bound_high, places), "undecided")


def _out_of_spec(records: Sequence[Record], alone: bool) -> Table:
    """Return the fractions; a stack that stands ``alone`` is its own cage and needs one column."""
    if alone:
        heads = (Column("requirement"), *(Column(head, right=True) for head in ("stacks", "95 %", "RSS")))
        cells = (_fraction_row(record) for record in records)
        return Table("How many are out of spec", heads, tuple((row[0], row[3], row[4], row[6]) for row in cells))
    columns = (
        Column("requirement"),
        Column("pockets", right=True),
        Column("95 %", right=True),
        Column("cages", right=True),
        Column("95 %", right=True),
        Column("were pockets independent", right=True),
        Column("RSS, pockets", right=True),
    )
    rows = tuple(_fraction_row(record) for record in records)
    return Table("How many are out of spec", columns, rows, stacks=((0,), (1, 2), (3, 4), (5, 6)))


def _fraction_row(record: Record) -> tuple[Text, ...]:
    found, sampled, rss = record.fraction, record.monte_carlo, record.rss
    cells = []
    for fraction in (found.pockets, found.cages) if found else (None, None):
        cells.append(Text(numbers.share(fraction) if fraction else numbers.NONE))
        cells.append(Text(numbers.interval(fraction) if fraction else "", "quiet"))
    alone = sampled.cages.if_independent if sampled and sampled.cages else None
    apart = _is_apart(alone, sampled.cages.out_of_spec if sampled and sampled.cages else None)
    said = numbers.parts(alone, _doubt(sampled)) if alone else numbers.NONE
    law = numbers.tail(rss.out_of_spec) if rss and rss.out_of_spec is not None and not record.of_cage else numbers.NONE
    return (Text(record.name), *cells, Text(said, "undecided" if apart else "plain"), Text(law))


def _doubt(sampled: Sampled | None) -> float:
    """Return the half-width of what independence says, from that of the pockets."""
    pockets, cages = (sampled.pockets, sampled.cages) if sampled else (None, None)
    if not (pockets and cages and cages.if_independent and pockets.out_of_spec):
        return 0.0
    return (pockets.high - pockets.low) / 2 / pockets.out_of_spec * cages.if_independent


def _is_apart(alone: float | None, cages: float | None) -> bool:
    """Tell whether independence would mislead by half or more."""
    return bool(alone and cages and not 2 / 3 < alone / cages < 1.5)


# Details ------------------------------------------------------------------------------------------------------


def _details(record: Record) -> Iterable[Section]:
    yield Facts(_detail_title(record), tuple(_facts(record)))
    if record.contributions:
        yield _contributions(record)


def _detail_title(record: Record) -> str:
    named = record.name if record.requirement.gap == record.name else f"{record.name} ({record.requirement.gap})"
    verdict = SHOUTED[record.verdict] if record.verdict else "no requirement"
    return f"{named}: {verdict}"


def _facts(record: Record) -> Iterable[tuple[str, Text]]:
    places, unit = _places(record), record.unit
    if record.limited:
        allow = record.requirement.allow
        after = f", {numbers.allowed(allow)} of {allow.of} allowed" if allow else ", by worst case"
        yield "limit", Text(f"{_limit(record)}{after}")
    yield "nominal", Text(f"{numbers.number(record.nominal, places)} {unit}")
    yield from _worst_facts(record, places)
    yield from _rss_facts(record, places)
    yield from _sampled_facts(record, places)


def _worst_facts(record: Record, places: int) -> Iterable[tuple[str, Text]]:
    worst = record.worst_case
    if worst is None:
        return
    yield "worst case, found", Text(numbers.span(worst.low, worst.high, places))
    sure = "certified" if worst.certified else "not certified"
    yield "worst case, guaranteed", Text(f"{numbers.span(worst.bound_low, worst.bound_high, places)}, {sure}")
    yield "worst case, linearised", Text(numbers.span(worst.linear_low, worst.linear_high, places))


def _rss_facts(record: Record, places: int) -> Iterable[tuple[str, Text]]:
    rss = record.rss
    if rss is None:
        return
    yield "RSS", Text(_normal(rss.mean, rss.sd, rss.out_of_spec, places) + (", exact" if rss.exact else ""))
    for label, law in (("RSS, inflated", rss.inflated), ("RSS, mean shifted", rss.shifted)):
        if law is not None:
            yield label, Text(_normal(law.mean, law.sd, law.out_of_spec, places))
    second = rss.second_order
    if second is not None:
        shape = "" if second.skewness is None else f", skewness {second.skewness:.2f}, kurtosis {second.kurtosis:.2f}"
        yield "RSS, second order", Text(_normal(second.mean, second.sd, second.out_of_spec, places) + shape)


def _normal(mean: float, sd: float, outside: float | None, places: int) -> str:
    tail = "" if outside is None else f", {numbers.tail(outside)} out of spec"
    return f"mean {numbers.number(mean, places)}, sd {numbers.number(sd, places + 1)}{tail}"


def _sampled_facts(record: Record, places: int) -> Iterable[tuple[str, Text]]:
    sampled = record.monte_carlo
    if sampled is None:
        return
    shape = "" if sampled.skewness is None else f", skewness {sampled.skewness:.2f}, kurtosis {sampled.kurtosis:.2f}"
    yield "Monte Carlo", Text(_normal(sampled.mean, sampled.sd, None, places) + shape)
    first, *_, last = (numbers.number(edge, places) for edge in sampled.histogram.edges)
    yield "drawn", Text(f"{first} {numbers.spark(sampled.histogram.counts)} {last}")
    for label, fraction in (("pockets", sampled.pockets), ("cages", sampled.cages)):
        if fraction is not None:
            yield f"{label} out of spec", Text(f"{numbers.share(fraction)} (95 %: {numbers.interval(fraction)})")
    if sampled.cages is not None and sampled.cages.if_independent:
        yield "cages, if independent", Text(numbers.parts(sampled.cages.if_independent, _doubt(sampled)))


def _contributions(record: Record) -> Table:
    columns = (
        Column("dimension"),
        Column("sensitivity", right=True),
        Column("of scatter", right=True),
        Column("of worst case", right=True),
        Column("10 % tighter", right=True),
    )
    rows = tuple(
        (
            Text(one.dimension),
            Text(numbers.sensitivity(one.sensitivity)),
            Text(numbers.percent(one.variance_share)),
            Text(numbers.percent(one.width_share)),
            Text(numbers.NONE if one.tighter is None else f"{100 * one.tighter:+.0f} %"),
        )
        for one in record.contributions
        if max(one.variance_share or 0, one.width_share or 0) >= SMALL
    )
    return Table("", columns, rows)


# Notes --------------------------------------------------------------------------------------------------------


def _notes(result: CheckResult) -> Lines:
    """Return findings and cautions, equal ones once with all names; why numbers are missing stays in JSON."""
    about: dict[tuple[str, str], list[str]] = {}
    for note in result.notes:
        if note.level != "reason":
            about.setdefault((note.text, note.level), []).extend([note.about] if note.about else [])
    lines = []
    for (text, level), names in about.items():
        said = f"{', '.join(names)}: {text}" if names else text
        lines.append(Text(said, "quiet" if level == "caution" else "plain"))
    return Lines("To know", tuple(lines))


def answer_page(result: CheckResult, details: bool = False) -> Page:
    """Return the answer alone."""
    del details
    return Page("", "", (), answer(result))
