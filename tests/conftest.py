"""What all tests share: the helpers that stand beside the rooms, how wide screens are, and how hypothesis draws.

Being here puts ``tests/`` on the path.  Examples are derandomised: a law that fails fails for everyone.
"""

import os

# as the command line does it, before numpy is loaded: on small matrices threads of linear algebra wait for each other
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings

# pages are as wide as a file, whatever the terminal or the script that began the suite says of its own width
os.environ.pop("COLUMNS", None)

settings.register_profile(
    "house",
    derandomize=True,
    deadline=None,
    database=None,
    phases=[Phase.explicit, Phase.generate],  # shrinking a cage takes minutes and tells little
    max_examples=15,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.load_profile("house")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files that run whole commands, the slowest, first: so all processes end at about the same time."""
    items.sort(key=lambda item: item.path.parent != Path(__file__).parent)
