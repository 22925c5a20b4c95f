"""The house keeps its order: imports run one way and in no circle, nobody knows a kind by name, starts are light."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

from stackup.cage import KINDS, kind

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "stackup"
FILES = sorted(PACKAGE.rglob("*.py"))

#: room → the rooms it may import beside itself; "stackup" is ``__init__``, its version
ARROWS: dict[str, set[str]] = {
    "errors": set(),
    "standards": {"errors"},
    "dimension": {"errors"},
    "chain": {"errors", "dimension"},
    "cage": {"errors", "dimension", "chain"},
    "case": {"errors", "standards", "dimension", "chain", "cage"},
    "engine": {"errors", "dimension", "chain"},
    "decide": {"errors", "standards", "dimension", "chain", "cage", "case", "engine", "stackup"},
    "report": {"errors", "standards", "dimension", "chain", "cage", "case", "engine", "decide"},
    "exits": {"errors", "report"},
    "cli": {
        *("errors", "standards", "dimension", "chain", "cage", "case", "engine", "decide", "report", "exits"),
        "stackup",
    },
    "__main__": {"cli"},
    "stackup": {"case", "engine", "decide", "report"},
}
MOST_LINES = 400


def module_of(file: Path) -> str:
    parts = file.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_of(file): file for file in FILES}


def room_of(module: str) -> str:
    return module.split(".")[1] if "." in module else "stackup"


def imported(file: Path, top_only: bool = False) -> Iterator[str]:
    """Yield the modules of the package that ``file`` imports; ``top_only``: when it is itself imported."""
    tree = ast.parse(file.read_text())
    skipped = {id(n) for top in ast.walk(tree) if top_only and _is_later(top) for n in ast.walk(top)}
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Import):
            yield from (one.name for one in node.names if one.name.split(".")[0] == "stackup")
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "stackup":
            for one in node.names:
                whole = f"{node.module}.{one.name}"
                yield whole if whole in MODULES else node.module


def _is_later(node: ast.AST) -> bool:
    """Tell whether a node runs only when called, or only for the type checker."""
    checking = isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"
    return checking or isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)


@pytest.mark.parametrize("module", MODULES)
def test_arrows(module: str) -> None:
    """A room imports only the rooms before it."""
    room = room_of(module)
    others = {room_of(one) for one in imported(MODULES[module])} - {room}
    assert others <= ARROWS[room], f"{module} imports {sorted(others - ARROWS[room])}"


def test_no_circles() -> None:
    """No module needs, while it is imported, one that needs it."""
    graph = {module: set(imported(file, top_only=True)) - {module} for module, file in MODULES.items()}
    list(TopologicalSorter(graph).static_order())


def names_of_kinds() -> set[str]:
    """Return the names of all kinds, slots and built-in gaps."""
    found = set(KINDS) - {"none"}
    for name in KINDS:
        found |= {slot.name for slot in kind(name).slots} | {gap.name for gap in kind(name).gaps}
    return found


@pytest.mark.parametrize("module", [m for m in MODULES if room_of(m) in {"engine", "decide", "chain", "dimension"}])
def test_nobody_knows_a_name(module: str) -> None:
    """No engine, decision, chain or dimension holds the name of a kind, a slot or a gap; docstrings may."""
    tree = ast.parse(MODULES[module].read_text())
    prose = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant)}
    words = names_of_kinds()
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in prose:
            assert not words & set(node.value.replace(".", " ").split()), f"{module}:{node.lineno}"
        if isinstance(node, ast.Name | ast.Attribute):
            assert (node.id if isinstance(node, ast.Name) else node.attr) not in words, f"{module}:{node.lineno}"


@pytest.mark.parametrize("module", MODULES)
def test_modules_are_small(module: str) -> None:
    """At most 400 lines."""
    assert len(MODULES[module].read_text().splitlines()) <= MOST_LINES


HEAVY = ("numpy", "scipy", "sympy", "rich", "tomlkit", "matplotlib")


def imports_of(code: str) -> set[str]:
    """Return the top names of all modules that are loaded after ``code`` has run."""
    shown = f"import sys\n{code}\nprint(*{{m.partition('.')[0] for m in sys.modules}}, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", shown], capture_output=True, text=True, check=True, cwd=ROOT)
    return set(done.stderr.split())


COMMANDS = [
    "new", "check", "explain", "allocate", "rollers", "capability", "assemble", "review", "slots", "iso286", "schema",
]  # fmt: skip


@pytest.mark.parametrize("name", ["", *COMMANDS])
def test_help_is_light(name: str) -> None:
    """Help loads nothing heavy that an empty program does not load too."""
    loaded = imports_of(f"from stackup.cli import run\nrun({[*([name] if name else []), '--help']!r})")
    empty = imports_of(
        "import typer, sys\nsys.argv[1:] = []\ntry:\n    typer.run(lambda: None)\nexcept SystemExit:\n    pass"
    )
    assert not (loaded - empty) & {*HEAVY, "pydantic"}


def test_importing_the_package_is_light() -> None:
    """``import stackup`` loads nothing; its names are there all the same."""
    import stackup

    assert not imports_of("import stackup") & {*HEAVY, "typer", "pydantic"}
    for name in stackup.__all__:
        assert getattr(stackup, name) is not None
    assert set(stackup.__all__) <= set(dir(stackup))
    with pytest.raises(AttributeError):
        stackup.nothing  # noqa: B018


def test_decisions_load_no_screen() -> None:
    """Checking a case loads neither rich nor the command line."""
    code = "import stackup.decide.check, stackup.case"
    assert not imports_of(code) & {"rich", "typer"}


def test_test_files_have_names_of_their_own() -> None:
    """pytest imports test files by their bare names."""
    names = [file.name for file in (ROOT / "tests").rglob("*.py") if file.name != "conftest.py"]
    assert len(names) == len(set(names))
