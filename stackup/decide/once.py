"""What is the same in several states of a row is worked out once: a gap that no parameter which differs enters."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TypeVar

from stackup.chain.model import Model, Requirement
from stackup.chain.together import together
from stackup.engine.settings import Progress

Record = TypeVar("Record")


class Once:
    """The requirements of a row, each in the states in which its gap is not that of a state before."""

    def __init__(self, models: Mapping[str, Model], requirements: Sequence[Requirement]) -> None:
        """Find out where each gap is the same; ``models`` differ in the values of parameters only (else ValueError)."""
        joined = together(models, [r.gap for r in requirements])
        first = {gap: states[0] for r in requirements for gap, states in joined.states_of(r.gap).items()}
        self._where = {
            state: {r.name: first[outputs[r.gap]] for r in requirements} for state, outputs in joined.outputs.items()
        }
        self.asked = {
            state: [r for r in requirements if where[r.name] == state] for state, where in self._where.items()
        }

    def run(
        self, engine: Callable[[str, Sequence[Requirement], Progress], Mapping[str, Record]], progress: Progress
    ) -> dict[str, dict[str, Record]]:
        """Return, by state and requirement, what ``engine(state, requirements, progress)`` finds of those asked of it.

        ``progress`` hears how far all states together are.  Raises what the engine raises.
        """
        found = {}
        for state in self.asked:
            found[state] = engine(state, self.asked[state], self.within(state, progress)) if self.asked[state] else {}
        return self.filled(found)

    def within(self, state: str, progress: Progress) -> Progress:
        """Return what an engine reports to in one state, so that ``progress`` hears how far all are."""
        places = list(self.asked)
        before = sum(len(self.asked[one]) for one in places[: places.index(state)])
        total = sum(map(len, self.asked.values()))

        def tell(done: float, of: float, what: str) -> None:
            share = done * len(self.asked[state]) / of if of else 0.0
            progress(before + share, total, what)

        return tell

    def filled(self, found: Mapping[str, Mapping[str, Record]]) -> dict[str, dict[str, Record]]:
        """Return what was found, in every state in which it holds; what was not found (yet) is left out."""
        return {
            state: {name: found[one][name] for name, one in where.items() if name in found.get(one, ())}
            for state, where in self._where.items()
        }
