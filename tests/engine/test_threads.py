"""One thread of linear algebra while an engine runs, where nothing else says so; as many as before after it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

from stackup.engine.threads import VARIABLE

ROOT = Path(__file__).parents[2]
#: a notebook: numpy comes first, scipy when the search needs it
NOTEBOOK = """
import json, numpy
from threadpoolctl import threadpool_info, threadpool_limits

def threads():
    return [one["num_threads"] for one in threadpool_info() if one["user_api"] == "blas"]

with threadpool_limits(limits=2, user_api="blas"):
    import stackup
    from stackup.chain.model import Requirement
    from stackup.engine import worst_case
    model = stackup.load("cases/bush_stack.toml").models()[0].states["made"]
    before, during = threads(), []
    wanted = [Requirement(gap.name, gap.name) for gap in model.gaps]
    worst_case.run(model, wanted, stackup.Settings(), lambda *_: during.extend(threads()))
    print(json.dumps([before, during, threads()]))
"""


def test_a_search_keeps_to_one_thread() -> None:
    """scipy brings a library of its own: that is kept to one thread as well."""
    free = {name: value for name, value in os.environ.items() if name != VARIABLE}
    said = subprocess.run([sys.executable, "-c", NOTEBOOK], cwd=ROOT, env=free, capture_output=True, check=True)
    before, during, after = json.loads(said.stdout)
    assert before
    assert set(before) == {2}
    assert set(during) == {1}
    assert after[: len(before)] == before
