"""What every recorded run says first: which case, which version of the tool, which seed, how many cages."""

from __future__ import annotations

from typing import Any, Protocol


class Run(Protocol):
    """A result that draws cages: its title, kind, tool version, case digest, seed and number of cages."""

    @property
    def title(self) -> str:
        """The case's title."""
        ...

    @property
    def kind(self) -> str:
        """The kind of bearing."""
        ...

    @property
    def version(self) -> str:
        """The version of the tool."""
        ...

    @property
    def digest(self) -> str:
        """The case file's digest."""
        ...

    @property
    def seed(self) -> int:
        """The seed of the draws."""
        ...

    @property
    def cages(self) -> int:
        """The number of cages drawn."""
        ...


def head(run: Run) -> dict[str, Any]:
    """Return the first entries of the record that ``--json`` prints."""
    return {
        "title": run.title,
        "kind": run.kind,
        "version": run.version,
        "digest": run.digest,
        "seed": run.seed,
        "cages": run.cages,
    }
