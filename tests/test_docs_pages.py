"""The glossary owns every symbol and slot, the generated pages are up to date, links lead somewhere."""

import re
import runpy
from pathlib import Path

import pytest

from stackup.cage import KINDS, Given, kind

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
PAGES = sorted(DOCS.glob("*.md"))
SLOTS = [(name, slot) for name in KINDS for slot in kind(name).slots]


@pytest.mark.parametrize(("name", "slot"), SLOTS, ids=[f"{name}-{slot.name}" for name, slot in SLOTS])
def test_the_glossary_has_the_slot_with_its_symbol(name, slot):
    """In the table of its kind, or in that of the cylindrical cage where the kind does not differ from it."""
    tables = [table_of(one) for one in (name, "cylindrical")]
    rows = next(rows for table in tables if (rows := [line for line in table if f"| `{slot.name}` |" in line]))
    assert len(rows) == 1, f"{slot.name} of {name}"
    cells = [cell.strip() for cell in rows[0].strip("|").split("|")]
    kind_of = slot.kind + " ≥ 0" * slot.nonnegative
    assert cells[0] == slot.symbol
    assert cells[2:7] == [kind_of, slot.scope, slot.part, slot.meaning, slot.indication]


def table_of(name):
    """Return the lines of the slots of a kind, none for a kind that has none."""
    parts = read("symbols.md").split(f"## Slots of a {kind(name).title}\n")
    return parts[1].split("\n## ")[0].splitlines() if len(parts) > 1 else []


def test_the_glossary_has_every_gap_with_its_unit():
    for gap in (gap for name in KINDS for gap in kind(name).gaps):
        assert f"| `{gap.name}` | {gap.unit.replace('mm2', 'mm²')} | {gap.meaning} |" in read("symbols.md")


def test_the_steps_that_the_glossary_names_exist():
    steps = {step.name.partition(".")[0] for name in KINDS for step in kind(name).steps(Given(frozenset(), {}))}
    derived = read("symbols.md").split("## Frame and derived symbols")[1].split("\n## ")[0]
    named = set(re.findall(r"`([a-z_]{4,})`", derived)) - {"angle"}
    assert named - steps - {"stackup explain"} == set()


def test_the_page_of_checks_is_up_to_date():
    """Regenerate with ``python docs/make_checks.py``."""
    make = runpy.run_path(str(DOCS / "make_checks.py"))
    assert read("checks.md") == make["page"](ROOT / "tests" / "published")


@pytest.mark.parametrize("file", sorted((ROOT / "tests" / "published").glob("test_*.py")), ids=lambda f: f.stem)
def test_a_published_test_names_its_source(file):
    first = file.read_text(encoding="utf-8").partition("\n")[0]
    assert first.startswith('"""')
    assert len(first) > 20


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
        assert (page.parent / target).exists(), target


def read(name):
    return (DOCS / name).read_text(encoding="utf-8")
