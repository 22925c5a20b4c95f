"""Records as JSON text."""

from __future__ import annotations

import json
from typing import Any


def text_of(record: Any) -> str:
    """Return ``record`` as JSON with a line end; numbers with all their digits.

    Raises ValueError for a number that JSON does not know.
    """
    return json.dumps(record, ensure_ascii=False, allow_nan=False) + "\n"
