"""Draws one figure for every built-in gap: ``python docs/figures/make.py`` writes NAME.svg beside this file.

Standard library only, and the same bytes on every machine.  Clearances are drawn much larger than the parts;
each figure says so.  ``_{…}`` in a label is a subscript, ``^{…}`` a superscript.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from html import escape
from pathlib import Path

HERE = Path(__file__).parent
WIDTH, HEIGHT = 760, 420
INK, FAINT, GAP = "#222222", "#777777", "#c0182b"
ROLLER, PIN, RING, RACE = "#dbe7f3", "#f3d9a4", "#d9d9d9", "#e9e4da"
SCRIPT = re.compile(r"([_^])\{([^}]*)\}")

Point = tuple[float, float]


class Figure:
    """A drawing in pixels, y downward, on a light ground of its own."""

    def __init__(self, title: str, note: str) -> None:
        self.parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" '
            f'height="{HEIGHT}" font-family="DejaVu Sans, Helvetica, Arial, sans-serif" font-size="15">',
            f"<title>{escape(title)}</title>",
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>',
        ]
        self.text(16, 26, title, weight="bold")
        self.text(16, HEIGHT - 14, note, colour=FAINT, size=13)

    def add(self, tag: str, **keys: float | str) -> None:
        """Add one element; underscores in keys stand for hyphens."""
        named = {k.replace("_", "-"): f"{v:.1f}" if isinstance(v, float) else str(v) for k, v in keys.items()}
        self.parts.append(f"<{tag} " + " ".join(f'{k}="{escape(v)}"' for k, v in named.items()) + "/>")

    def circle(self, at: Point, radius: float, fill: str = "none", colour: str = INK, **keys: float | str) -> None:
        """Draw a circle."""
        self.add("circle", cx=at[0] + 0.0, cy=at[1] + 0.0, r=radius + 0.0, fill=fill, stroke=colour, **keys)

    def line(self, a: Point, b: Point, colour: str = INK, width: float = 1.2, dash: str = "") -> None:
        """Draw a line."""
        extra = {"stroke_dasharray": dash} if dash else {}
        ends = {"x1": a[0] + 0.0, "y1": a[1] + 0.0, "x2": b[0] + 0.0, "y2": b[1] + 0.0}
        self.add("line", **ends, stroke=colour, stroke_width=width, **extra)

    def axis(self, a: Point, b: Point) -> None:
        """Draw a centre line."""
        self.line(a, b, FAINT, 1.0, "12 3 2 3")

    def path(self, points: list[Point], fill: str = "none", colour: str = INK, width: float = 1.2, *, closed: bool = True) -> None:
        """Draw a line through points, closed to an area or open."""
        d = "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in points) + (" Z" if closed else "")
        self.add("path", d=d, fill=fill, stroke=colour, stroke_width=width)

    def box(self, x: float, y: float, w: float, h: float, fill: str) -> None:
        """Draw a rectangle."""
        self.add("rect", x=x + 0.0, y=y + 0.0, width=w + 0.0, height=h + 0.0, fill=fill, stroke=INK, stroke_width=1.2)

    def text(self, x: float, y: float, words: str, anchor: str = "start", colour: str = INK, size: float = 15, weight: str = "normal") -> None:
        """Write a label; ``_{…}`` and ``^{…}`` become scripts."""
        drop = 0.28 * size
        words = escape(words)

        def script(found: re.Match[str]) -> str:
            shift = drop if found[1] == "_" else -drop * 1.4
            return f'<tspan dy="{shift:.1f}" font-size="{0.75 * size:.1f}">{found[2]}</tspan><tspan dy="{-shift:.1f}">\u200b</tspan>'

        body = SCRIPT.sub(script, words)
        keys = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}" font-size="{size:.1f}" font-weight="{weight}"'
        self.parts.append(f"<text {keys}>{body}</text>")

    def head(self, tip: Point, angle: float, colour: str, size: float = 9) -> None:
        """Draw an arrow head at ``tip`` that points along ``angle``."""
        left, right = (
            (tip[0] - size * math.cos(angle + s), tip[1] - size * math.sin(angle + s)) for s in (-0.32, 0.32)
        )
        self.path([tip, left, right], colour, colour, 0.5)

    def arrow(self, a: Point, b: Point, colour: str = INK, width: float = 1.2) -> None:
        """Draw an arrow from a to b."""
        self.line(a, b, colour, width)
        self.head(b, math.atan2(b[1] - a[1], b[0] - a[0]), colour)

    def dim(self, a: Point, b: Point, colour: str = INK, width: float = 1.2) -> None:
        """Draw a dimension line; where there is no room between a and b, arrows point in from outside."""
        angle = math.atan2(b[1] - a[1], b[0] - a[0])
        c, s = math.cos(angle), math.sin(angle)
        self.line(a, b, colour, width)
        if math.dist(a, b) > 26:
            self.head(a, angle + math.pi, colour)
            self.head(b, angle, colour)
            return
        self.arrow((a[0] - 24 * c, a[1] - 24 * s), a, colour, width)
        self.arrow((b[0] + 24 * c, b[1] + 24 * s), b, colour, width)

    def gap(self, a: Point, b: Point) -> None:
        """Mark the gap itself."""
        self.dim(a, b, GAP, 2.2)

    def cross(self, at: Point, colour: str = INK, size: float = 6) -> None:
        """Mark an axis that is seen end on."""
        self.line((at[0] - size, at[1]), (at[0] + size, at[1]), colour, 1.6)
        self.line((at[0], at[1] - size), (at[0], at[1] + size), colour, 1.6)

    def svg(self) -> str:
        """Return the file's text."""
        return "\n".join([*self.parts, "</svg>", ""])


def on(centre: Point, radius: float, degrees: float) -> Point:
    """Return the point of a circle; 0° to the right, 90° up."""
    a = math.radians(degrees)
    return centre[0] + radius * math.cos(a), centre[1] - radius * math.sin(a)


def bore_clearance() -> Figure:
    """Gap 1: the pin lies in the bore, the whole play is on one side."""
    f = Figure("bore_clearance = d_{b} − d_{p}", "Seen along the axis. Clearance drawn 20 times too large.")
    c = (300.0, 215.0)
    f.circle(c, 160, ROLLER)
    f.circle(c, 92, "#ffffff")
    pin = (300.0, 239.0)
    f.circle(pin, 68, PIN)
    f.text(300, 244, "pin", "middle")
    f.text(300, 92, "roller", "middle")
    f.gap((300, 123), (300, 171))
    f.text(474, 152, "bore_clearance", colour=GAP, weight="bold")
    f.line((306, 147), (468, 147), GAP, 1)
    f.dim((208, 215), (208, 215))if False else None
    f.line((300 - 92, 215), (300 - 92, 400), FAINT, 0.8)
    f.line((300 + 92, 215), (300 + 92, 400), FAINT, 0.8)
    f.line((300 - 68, 239), (300 - 68, 358), FAINT, 0.8)
    f.line((300 + 68, 239), (300 + 68, 358), FAINT, 0.8)
    return f
