"""The page of ``check``: one table that answers, the numbers behind it, what to know beside them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from stackup.decide.notes import PASSES, passes_worst_case, to_try
from stackup.decide.record import CheckResult, Record
from stackup.decide.verdict import room as room_left
from stackup.decide.words import LEAST, doubt_if_independent, is_none_seen, of_what, thousands
from stackup.engine.result import Contribution
from stackup.report import numbers, out_of_spec, rows_and_states
from stackup.report.out_of_spec import explained
from stackup.report.view import Column, Facts, Lines, Page, Section, Table, Text

#: contributions named beside a verdict
GOVERN = 3
#: limits with so many decimals more than their gap needs have all of them shown
MORE_PLACES = 3
#: stands behind mean ± 3 sd of a law that is not normal
MARK = "*"
#: a smaller share of the scatter is left out of the details
SMALL = 0.0005
SHOUTED = {"met": "met", "not met": "NOT MET", "undecided": "undecided"}


def page(result: CheckResult, details: bool = False) -> Page:
    """Return the page of a check; ``details`` adds all there is of every requirement."""
    limited = [record for record in result.requirements if record.limited]
    alone = is_alone(result)
    sections: list[Section] = []
    several = rows_and_states.are_several(result)
    if limited:
        sections.append(_verdicts(result, limited))
    if limited and several:
        sections.append(rows_and_states.section(result, limited, _places))
    sections.append(_methods(result))
    if limited:
        sections.append(out_of_spec.section(limited, alone, sum(row.count for row in result.rows) > 1))
    if details:
        sections += [section for record in result.requirements for section in _details(record, alone)]
    sections.append(_notes(result))
    return Page(result.title or "untitled case", _about(result), tuple(sections), answer(result))


def is_alone(result: CheckResult) -> bool:
    """Tell whether the stack stands alone, without a cage: it has one pocket, which is all there is."""
    return result.pockets_per_cage == 1


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
    seen = "none seen" if is_none_seen(cages) else f"95 %: {numbers.interval(cages)}"
    sure = "" if cages.low == cages.high else f" (sampled, {seen})"
    when = " in the state where most do" if len(result.states) > 1 else ""
    return f"; {numbers.share(cages)} of {of_what('cages', is_alone(result))} fail at least one{when}{sure}"


def _about(result: CheckResult) -> str:
    alone = is_alone(result)
    what = rows_and_states.about(result) if not alone else "stack without a cage"
    drawn = f"{_drawn(result)} {of_what('cages', alone)} drawn, seed {result.seed}"
    stopped = ", INTERRUPTED" if result.interrupted else ""
    return f"{what} · {drawn}{stopped} · case {result.digest[:12]} · stackup {result.version}"


def _drawn(result: CheckResult) -> str:
    """Return how many were drawn: of those asked for only some where the run was stopped."""
    if not result.interrupted:
        return thousands(result.cages)
    runs = [one.monte_carlo for record in result.requirements for one in record.by_state or (record,)]
    return f"{thousands(min((run.drawn if run else 0 for run in runs), default=0))} of {thousands(result.cages)}"


# Does it work, what governs, by how much ---------------------------------------------------------------------


def _verdicts(result: CheckResult, records: Sequence[Record]) -> Table:
    alone, several = is_alone(result), rows_and_states.are_several(result)
    columns = (
        Column("requirement"),
        Column("verdict"),
        Column("limit"),
        Column("by how much", list=True, kept=True),
        Column("governed by", list=True),
        *((Column("at worst in"),) if several else ()),
    )
    rows = tuple(
        (
            Text(record.name, "strong"),
            Text(SHOUTED[record.verdict or "undecided"], record.verdict or "undecided"),
            Text(_limit(record)),
            Text(_by_how_much(record, alone)),
            Text(_governed(record)),
            *((Text(rows_and_states.where(result, record)),) if several else ()),
        )
        for record in records
    )
    return Table("Does it work", columns, rows, stacks=((0, 2), (1, 5) if several else (1,), (3, 4)))


def _limit(record: Record) -> str:
    over = "" if record.requirement.over == "each" else f"{record.requirement.over} "
    return over + numbers.limits(record.requirement, record.unit)


def _by_how_much(record: Record, alone: bool) -> str:
    allow, worst = record.requirement.allow, record.worst_case
    if allow is None:
        if worst is None:
            return "not finished"
        found = _margin(record, worst.low, worst.high)
        bound = found if _are_the_same(record) else _margin(record, worst.bound_low, worst.bound_high)
        if record.verdict == "undecided":
            return f"found {found} (bound {bound})"
        return f"worst case {bound if record.verdict == 'met' else found}"
    fraction = getattr(record.fraction, allow.of) if record.fraction else None
    if fraction is None:
        return "not finished"
    told = numbers.share(fraction, least=min(LEAST, allow.ppm * 1e-8))
    more = to_try(record, of_what("cages", alone))
    return f"{told} of {of_what(allow.of, alone)} ({numbers.allowed(allow)} allowed){f', {more}' if more else ''}"


def _margin(record: Record, low: float, high: float) -> str:
    """Return how far both ends stay within the limits, by the digits that the table of methods shows of them."""
    places = _places(record)
    exact = room_left(record.requirement, low, high)
    shown = room_left(record.requirement, round(low, places), round(high, places))
    return numbers.room(shown if shown * exact > 0 else exact, record.unit, places)


def _governed(record: Record) -> str:
    return ", ".join(f"{name} {numbers.percent(part)}" for name, part in record.governing[:GOVERN])


# The numbers behind it --------------------------------------------------------------------------------------


def _places(record: Record) -> int:
    """Return the decimals of a gap's numbers: a thousandth of its width, and no fewer than its limits have."""
    worst, sampled = record.worst_case, record.monte_carlo
    if worst is not None and worst.high > worst.low:
        places = numbers.decimals(worst.high - worst.low)
    else:
        places = numbers.decimals(6 * sampled.sd if sampled else 0.0)
    limits = (record.requirement.min, record.requirement.max)
    return max(places, min(max(map(numbers.written_decimals, limits)), places + MORE_PLACES))


def _methods(result: CheckResult) -> Table:
    records, several = result.requirements, rows_and_states.are_several(result)
    columns = (
        Column("gap"),
        Column("nominal", right=True),
        Column("worst case found", right=True),
        Column("guaranteed", right=True),
        Column("RSS, ±3 sd", right=True),
        Column("Monte Carlo, 99.73 %", right=True),
        *((Column("in"),) if several else ()),
    )
    places = [Text(rows_and_states.where(result, record)) for record in records] if several else []
    rows = tuple((*_method_row(record), *places[i : i + 1]) for i, record in enumerate(records))
    note = f"{MARK} {PASSES}" if any(passes_worst_case(record) for record in records) else ""
    stacks = ((0, 6, 1) if several else (0, 1), (2, 3), (4, 5))
    return explained(Table("By three methods", columns, rows, stacks=stacks, note=note))


def _method_row(record: Record) -> tuple[Text, ...]:
    places, worst, rss, sampled = _places(record), record.worst_case, record.rss, record.monte_carlo
    quantiles = list(sampled.quantiles.values()) if sampled else []
    return (
        Text(f"{record.name}, {record.unit}"),
        Text(numbers.number(record.nominal, places)),
        Text(numbers.span(worst.low, worst.high, places) if worst else numbers.NONE),
        _guaranteed(record, places),
        Text(numbers.span(rss.low, rss.high, places) + MARK * passes_worst_case(record) if rss else numbers.NONE),
        Text(numbers.span(quantiles[0], quantiles[-1], places) if quantiles else numbers.NONE),
    )


def _are_the_same(record: Record) -> bool:
    """Tell whether found and guaranteed are one: certified so, or not to be told apart by the digits shown."""
    worst, places = record.worst_case, _places(record)
    if worst is None or worst.certified:
        return True
    ends = ((worst.low, worst.bound_low), (worst.high, worst.bound_high))
    return all(numbers.number(found, places) == numbers.number(bound, places) for found, bound in ends)


def _guaranteed(record: Record, places: int) -> Text:
    worst = record.worst_case
    if worst is None:
        return Text(numbers.NONE)
    if _are_the_same(record):
        return Text("the same", "quiet")
    return Text(numbers.span(worst.bound_low, worst.bound_high, places), "undecided")


# Details ------------------------------------------------------------------------------------------------------


def _details(record: Record, alone: bool) -> Iterable[Section]:
    yield Facts(_detail_title(record), tuple(_facts(record, alone)))
    shares = contributions(record.contributions, "dimension", tighter=True)
    if shares.rows:
        yield shares


def _detail_title(record: Record) -> str:
    named = record.name if record.requirement.gap == record.name else f"{record.name} ({record.requirement.gap})"
    verdict = SHOUTED[record.verdict] if record.verdict else "no requirement"
    return f"{named}: {verdict}"


def _facts(record: Record, alone: bool) -> Iterable[tuple[str, Text]]:
    places, unit = _places(record), record.unit
    if record.limited:
        allow = record.requirement.allow
        after = ", by worst case"
        if allow:
            after = f", {numbers.allowed(allow)} of {of_what(allow.of, alone)} allowed"
        yield "limit", Text(f"{_limit(record)}{after}")
    yield "nominal", Text(f"{numbers.number(record.nominal, places)} {unit}")
    yield from _worst_facts(record, places)
    yield from _rss_facts(record, places)
    yield from _sampled_facts(record, places, alone)


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
    exact = ", exact for these laws" if rss.exact else ""
    yield "RSS", Text(_normal(rss.mean, rss.sd, rss.out_of_spec, places) + exact)
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


def _sampled_facts(record: Record, places: int, alone: bool) -> Iterable[tuple[str, Text]]:
    sampled = record.monte_carlo
    if sampled is None:
        return
    shape = "" if sampled.skewness is None else f", skewness {sampled.skewness:.2f}, kurtosis {sampled.kurtosis:.2f}"
    yield "Monte Carlo", Text(_normal(sampled.mean, sampled.sd, None, places) + shape)
    first, *_, last = (numbers.number(edge, places) for edge in sampled.histogram.edges)
    yield "drawn", Text(f"{first} {numbers.spark(sampled.histogram.counts)} {last}")
    for label, fraction in (("pockets", None if alone else sampled.pockets), ("cages", sampled.cages)):
        if fraction is not None:
            told = f"{numbers.share(fraction)} (95 %: {numbers.interval(fraction)})"
            yield f"{of_what(label, alone)} out of spec", Text(told)
    if sampled.cages is not None and sampled.cages.if_independent and not alone:
        told = numbers.parts(sampled.cages.if_independent, doubt_if_independent(sampled))
        yield "cages, if pockets were independent", Text(told)


def contributions(found: Iterable[Contribution], head: str, tighter: bool = False) -> Table:
    """Return the contributions that count, the column of dimensions under ``head``; what 10 % ``tighter`` changes."""
    shown = [one for one in found if max(one.variance_share or 0, one.width_share or 0) >= SMALL]
    columns = [Column(head), *(Column(name, right=True) for name in ("sensitivity", "of scatter", "of worst case"))]
    rows = [
        (
            Text(one.dimension),
            Text(numbers.sensitivity(one)),
            Text(numbers.percent(one.variance_share)),
            Text(numbers.percent(one.width_share)),
            Text(numbers.NONE if one.tighter is None else f"{100 * one.tighter:+.0f} %"),
        )
        for one in shown
    ]
    if tighter:
        columns.append(Column("10 % tighter", right=True))
    cells = tuple(row[: len(columns)] for row in rows)
    return Table("", tuple(columns), cells, note=numbers.means_of_sensitivities(shown))


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
