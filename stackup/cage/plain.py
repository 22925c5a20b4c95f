"""The kind "none": no cage at all, chains of the case file only, one pocket that is also the cage."""

from __future__ import annotations

from stackup.cage.kind import Kind

KIND = Kind(name="none", title="stack without a cage", slots=(), gaps=(), steps=lambda _: (), one_pocket=True)
