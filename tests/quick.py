"""Worst cases that are looked for a moment only: for tests of forms, words and orders, whatever the numbers are."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import partialmethod

import pytest

from stackup.engine.search import Search

#: of the way to a local extreme; to its end there are some hundred at most, and they take most of the time
STEPS = 3


@contextmanager
def quick_ends() -> Iterator[None]:
    """Let the search for an end move its best point a few steps only: still found, and within what is guaranteed."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(Search, "polish", partialmethod(Search.polish, steps=STEPS))
        yield
