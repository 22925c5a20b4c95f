"""Case files: reading with all faults at once, writing with comments kept, and the models for engines."""

from __future__ import annotations

from stackup.case.case import Case, Row, Run
from stackup.case.reader import from_mapping, read

__all__ = ["Case", "Row", "Run", "from_mapping", "read"]
