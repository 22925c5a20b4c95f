"""How a result shows itself: a table of renderers that the room ``report`` fills; this room knows no screen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from typing import Any


@dataclass(frozen=True)
class Display:
    """The renderers of one type of result: for rich, and as HTML."""

    rich: Callable[[Any], Any]
    html: Callable[[Any], str]


_DISPLAYS: dict[type, Display] = {}


def register(result: type, display: Display) -> None:
    """Show results of the type ``result`` by ``display``."""
    _DISPLAYS[result] = display


def rich_of(result: Any) -> Any:
    """Return what rich prints of ``result``: its plain text where no renderer is registered."""
    display = _DISPLAYS.get(type(result))
    return display.rich(result) if display else repr(result)


def html_of(result: Any) -> str:
    """Return ``result`` as HTML: its plain text where no renderer is registered."""
    display = _DISPLAYS.get(type(result))
    return display.html(result) if display else f"<pre>{escape(repr(result))}</pre>"


class Shown:
    """A result that shows itself: printed by rich, and in a notebook."""

    def __rich__(self) -> Any:
        """Return what rich prints."""
        return rich_of(self)

    def _repr_html_(self) -> str:
        """Return what a notebook shows."""
        return html_of(self)
