"""The pages of ``slots`` and ``iso286``, and their records."""

from __future__ import annotations

from typing import Any

from stackup.cage.kind import BuiltIn, Kind, Option, Slot
from stackup.report.view import Column, Page, Section, Table, Text
from stackup.standards.iso286 import Fit, Limits

#: stands for the symbol of a slot without one
NO_SYMBOL = "–"


def slots_page(kind: Kind) -> Page:
    """Return the page of a kind of cage: its slots, options of ``[cage]`` and gaps."""
    sections: list[Section] = []
    if kind.slots:
        sections.append(_slots(kind))
    if kind.options:
        sections.append(_options(kind.options))
    if kind.gaps:
        sections.append(_gaps(kind.gaps))
    about = f'kind = "{kind.name}"'
    if not kind.slots:
        about += " · no slots: every dimension is your own, every gap a chain of the file"
    return Page(kind.title, about, tuple(sections))


def _slots(kind: Kind) -> Table:
    columns = (
        Column("slot"),
        Column("kind, scope, part"),
        Column("left out"),
        Column("what it is", loose=True),
        Column("on the drawing", loose=True),
    )
    rows = tuple(
        (
            Text(slot.name, "strong" if slot.required else "plain"),
            Text(f"{slot.kind}, {slot.scope}, {slot.part}"),
            Text(left_out(kind, slot)),
            Text(f"{slot.symbol}: {slot.meaning}" if slot.symbol != NO_SYMBOL else slot.meaning),
            Text(slot.indication),
        )
        for slot in kind.slots
    )
    return Table("Slots", columns, rows, stacks=((0, 1, 2), (3, 4)), note=kind.not_given_note)


def left_out(kind: Kind, slot: Slot) -> str:
    """Return in words what a slot counts as where the case leaves it out."""
    if slot.required:
        return "required"
    if any(slot.name in gap.needs for gap in kind.gaps):
        return "gaps left out"
    return f"as {slot.stands_in}" if slot.stands_in else slot.without or "0"


def _options(options: tuple[Option, ...]) -> Table:
    columns = (Column("key of [cage]"), Column("default"), Column("allowed"), Column("what it is", loose=True))
    rows = tuple(
        (
            Text(option.name),
            Text(f"{option.default:g}" if isinstance(option.default, float) else option.default or "required"),
            Text(" or ".join(option.choices) or f"a positive number, {option.unit}"),
            Text(option.meaning),
        )
        for option in options
    )
    return Table("Options", columns, rows, stacks=((0,), (1, 2), (3,)))


def _gaps(gaps: tuple[BuiltIn, ...]) -> Table:
    columns = (
        Column("gap"),
        Column("unit"),
        Column("of"),
        Column("what it is", loose=True),
        Column("needs beside the required slots"),
    )
    rows = tuple(
        (Text(gap.name), Text(gap.unit), Text(gap.scope), Text(gap.meaning), Text(", ".join(gap.needs)))
        for gap in gaps
    )
    return Table("Gaps", columns, rows, stacks=((0,), (1, 2), (3, 4)))


def slots_record(kind: Kind) -> dict[str, Any]:
    """Return the record of ``slots --json``."""
    return {
        "kind": kind.name,
        "title": kind.title,
        "slots": [
            {
                "name": slot.name,
                "symbol": slot.symbol,
                "kind": slot.kind,
                "scope": slot.scope,
                "part": slot.part,
                "feature": slot.feature,
                "required": slot.required,
                "left_out": left_out(kind, slot),
                "meaning": slot.meaning,
                "indication": slot.indication,
            }
            for slot in kind.slots
        ],
        "options": [
            {
                "name": option.name,
                "default": option.default,
                "choices": list(option.choices),
                "unit": option.unit,
                "meaning": option.meaning,
            }
            for option in kind.options
        ],
        "gaps": [
            {"name": gap.name, "unit": gap.unit, "scope": gap.scope, "meaning": gap.meaning, "needs": list(gap.needs)}
            for gap in kind.gaps
        ],
    }


def limits_page(sizes: tuple[Limits, ...], fit: Fit | None) -> Page:
    """Return the page of one size, or of the two sizes of a fit."""
    columns = (
        Column("size"),
        Column("lower, µm", right=True),
        Column("upper, µm", right=True),
        Column("min, mm", right=True),
        Column("max, mm", right=True),
    )
    rows = tuple(
        (
            Text(f"{one.nominal:g} {one.tolerance_class}", "strong"),
            Text(_micrometres(one.lower)),
            Text(_micrometres(one.upper)),
            Text(f"{one.min:.10g}"),
            Text(f"{one.max:.10g}"),
        )
        for one in sizes
    )
    answer = Text(_fit_in_words(fit), "strong") if fit else None
    return Page("ISO 286-1", "limit deviations and limits of size", (Table("", columns, rows),), answer)


def _micrometres(value: float) -> str:
    return f"{1000 * value:+.10g}" if value else "0"


def _fit_in_words(fit: Fit) -> str:
    least, most = fit.clearance_min, fit.clearance_max
    if least >= 0:
        return f"clearance {1000 * least:.10g} … {1000 * most:.10g} µm"
    if most <= 0:
        return f"interference {-1000 * most:.10g} … {-1000 * least:.10g} µm"
    return f"from {-1000 * least:.10g} µm interference to {1000 * most:.10g} µm clearance"


def limits_record(sizes: tuple[Limits, ...], fit: Fit | None) -> dict[str, Any]:
    """Return the record of ``iso286 --json``."""
    return {
        "sizes": [
            {
                "nominal": one.nominal,
                "class": one.tolerance_class,
                "lower": one.lower,
                "upper": one.upper,
                "min": one.min,
                "max": one.max,
            }
            for one in sizes
        ],
        "fit": fit and {"clearance_min": fit.clearance_min, "clearance_max": fit.clearance_max},
    }
