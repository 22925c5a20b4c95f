"""Every example of ``docs/case-file.md`` is a case that is read; every key of a case file stands on the page."""

import re
from pathlib import Path
from types import UnionType
from typing import Annotated, Union, get_args, get_origin

import pytest

from stackup.case import read
from stackup.case.schema import Document
from stackup.case.values import Table
from stackup.errors import CaseError

DOCS = Path(__file__).parents[1] / "docs"
PAGE = (DOCS / "case-file.md").read_text(encoding="utf-8")
FILES = re.findall(r"<!-- file: (\S+) -->\n```csv\n(.*?)```", PAGE, re.DOTALL)
FAULTY = re.search(r"<!-- faults -->\n```toml\n(.*?)```", PAGE, re.DOTALL)[1]
MESSAGES = re.search(r"<!-- messages -->\n```text\n(.*?)```", PAGE, re.DOTALL)[1]
CASES = [text for text in re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL) if text != FAULTY]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    for name, text in FILES:
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("text", CASES, ids=range(len(CASES)))
def test_an_example_is_a_case(text, folder):
    (folder / "case.toml").write_text(text, encoding="utf-8")
    assert "invented" in read("case.toml").title


def test_the_faulty_example_has_the_printed_messages(folder):
    (folder / "case.toml").write_text(FAULTY, encoding="utf-8")
    with pytest.raises(CaseError) as raised:
        read("case.toml")
    assert str(raised.value) == MESSAGES.rstrip("\n")


def tables_in(annotation):
    """Yield the tables that an annotation of the schema holds."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        yield annotation
    elif get_origin(annotation) in (Annotated, Union, UnionType, list, dict):
        for part in get_args(annotation):
            yield from tables_in(part)


def keys(table, seen=frozenset()):
    """Return every key of a table and of all tables below it."""
    found = set()
    for name, field in table.model_fields.items():
        found.add(name)
        for below in {*tables_in(field.annotation), *(t for m in field.metadata for t in tables_in(m))} - seen:
            found |= keys(below, seen | {below})
    return found


def test_every_key_stands_on_the_page_and_in_an_example():
    examples = "\n".join(CASES)
    known = keys(Document)
    assert len(known) > 50
    named = set(re.findall(r"[a-z_]+", " ".join(re.findall(r"`[^`]+`", PAGE))))
    assert known - named - {"dimensions", "chains", "requirements", "run", "cage"} == set()
    assert {key for key in known if not re.search(rf"\b{key}\b", examples)} == set()
