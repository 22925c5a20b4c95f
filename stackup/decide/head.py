"""What every recorded run says first: which case, which version of the tool, which seed, how many cages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from stackup.decide.displays import Shown


@dataclass(frozen=True)
class Drawn(Shown):
    """A result that draws cages: its title, kind, tool version, case digest, seed and number of cages."""

    title: str
    kind: str
    version: str
    digest: str
    seed: int
    cages: int


def head(run: Drawn) -> dict[str, Any]:
    """Return the first entries of the record that ``--json`` prints."""
    return {
        "title": run.title,
        "kind": run.kind,
        "version": run.version,
        "digest": run.digest,
        "seed": run.seed,
        "cages": run.cages,
    }
