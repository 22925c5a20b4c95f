"""Linear algebra on one thread.

The matrices of a search are small: threads that share one out wait for each other longer than it takes (on two busy
cores a check took eight times as long).  The command line says so before numpy is loaded; a notebook has loaded it.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

#: what the command line sets, and a user may
VARIABLE = "OPENBLAS_NUM_THREADS"


@contextmanager
def one_thread() -> Iterator[None]:
    """Keep linear algebra on one thread meanwhile; a decorator too."""
    if os.environ.get(VARIABLE) == "1":
        yield
        return
    import scipy.linalg  # noqa: F401 - has a library of its own, which would not be kept when it came later
    from threadpoolctl import threadpool_limits  # type: ignore[import-untyped] # reached here alone

    with threadpool_limits(limits=1, user_api="blas"):
        yield
