"""Writes ``docs/checks.md`` from the tests against outside sources: ``python docs/make_checks.py``.

The convention for a file of ``tests/published/``: its docstring names the source, first line first; a comment
above a table of numbers says where they stand and how they were had; a test's name, in words, says what is held
against them, and its docstring, where there is one, the law or the place.
"""

from __future__ import annotations

import ast
import inspect
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "checks.md"
HEAD = """# Outside checks

Generated from `tests/published/` by `python docs/make_checks.py`; do not edit. One file of tests for one source or
subject.

Marks of a number: READ, read in the primary text; READ-2, read in a text that transcribes it; MEM, from memory and
recomputed; OWN, computed for the check (closed form, quadrature, high precision) without a publication known. In the
ISO 286-1 tables: A, B, C, D, E copies of the tables as named there, R recomputed, X mirrored, M from memory, W a
general web page. No number was taken from the package itself.
"""


def page(folder: Path) -> str:
    """Return the page for the test files of a folder."""
    files = sorted(folder.glob("test_*.py"))
    parsed = [(file, ast.parse(file.read_text(encoding="utf-8"))) for file in files]
    rows = [f"| [{_subject(tree)}](#{file.stem}) | {len(list(_tests(tree)))} |" for file, tree in parsed]
    lines = [HEAD, "| subject and source | tests |", "|---|---|", *rows, ""]
    for file, tree in parsed:
        lines += _section(file, tree)
    return "\n".join(lines)


def _subject(tree: ast.Module) -> str:
    return (ast.get_docstring(tree) or "no docstring").partition("\n")[0].rstrip(".")


def _section(file: Path, tree: ast.Module) -> list[str]:
    rest = inspect.cleandoc((ast.get_docstring(tree) or "").partition("\n")[2])
    lines = [f'<a id="{file.stem}"></a>', "", f"## {_subject(tree)}", "", f"`tests/published/{file.name}`", ""]
    lines += [rest, ""] if rest else []
    tables = [f"- `{name}`: {words}" for name, words in _tables(file.read_text(encoding="utf-8"), tree)]
    lines += ["Numbers:", "", *tables, ""] if tables else []
    return [*lines, "Held against them:", "", *(f"- {words}" for words in _tests(tree)), ""]


def _tables(text: str, tree: ast.Module) -> Iterator[tuple[str, str]]:
    """Yield the names assigned at the top of a module, with the comment that stands above them."""
    lines = text.split("\n")
    for node in tree.body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            first = node.lineno - 1
            start = first
            while start > 0 and lines[start - 1].startswith("# ") and "---" not in lines[start - 1]:
                start -= 1
            if start < first:
                yield node.targets[0].id, " ".join(line[2:].strip() for line in lines[start:first])


def _tests(tree: ast.Module) -> Iterator[str]:
    """Yield every test in words."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            words = node.name.removeprefix("test_").replace("_", " ")
            said = (ast.get_docstring(node) or "").partition("\n")[0]
            yield f"{words} ({said.rstrip('.')})" if said else words


if __name__ == "__main__":
    PAGE.write_text(page(ROOT / "tests" / "published"), encoding="utf-8")
