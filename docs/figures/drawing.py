"""What the figures are drawn with: lines, labels and dimensions in pixels, as SVG.

``_{…}`` in a label is a subscript, ``^{…}`` a superscript.
"""

from __future__ import annotations

import math
import re
from html import escape

WIDTH, HEIGHT = 760, 420
INK, FAINT, GAP = "#222222", "#6f6f6f", "#c0182b"
ROLLER, PIN, RING, RACE, AIR = "#dbe7f3", "#f3d9a4", "#d9d9d9", "#e9e4da", "#ffffff"
SCRIPT = re.compile(r"([_^])\{([^}]*)\}")

Point = tuple[float, float]


class Figure:
    """A drawing in pixels, y downward, on a light ground of its own."""

    def __init__(self, title: str, note: str) -> None:
        """Begin with the title above and the note below."""
        plain = SCRIPT.sub(r"\2", title)
        self.parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" '
            f'height="{HEIGHT}" font-family="DejaVu Sans, Helvetica, Arial, sans-serif">',
            f"<title>{escape(plain)}</title>",
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{AIR}"/>',
        ]
        self.text((16, 28), title, weight="bold", size=16)
        self.text((16, HEIGHT - 12), note, colour=FAINT, size=13)

    def add(self, tag: str, **keys: float | str) -> None:
        """Add one element; underscores in keys stand for hyphens."""
        shown = {k.replace("_", "-"): v if isinstance(v, str) else f"{v:.1f}" for k, v in keys.items()}
        self.parts.append(f"<{tag} " + " ".join(f'{k}="{escape(v)}"' for k, v in shown.items()) + "/>")

    def circle(self, at: Point, radius: float, fill: str = "none", colour: str = INK, dash: str = "") -> None:
        """Draw a circle."""
        extra = {"stroke_dasharray": dash} if dash else {}
        self.add("circle", cx=at[0], cy=at[1], r=radius, fill=fill, stroke=colour, stroke_width=1.3, **extra)

    def line(self, a: Point, b: Point, colour: str = INK, width: float = 1.2, dash: str = "") -> None:
        """Draw a line."""
        extra = {"stroke_dasharray": dash} if dash else {}
        ends = {"x1": a[0], "y1": a[1], "x2": b[0], "y2": b[1]}
        self.add("line", **ends, stroke=colour, stroke_width=width, **extra)

    def axis(self, a: Point, b: Point) -> None:
        """Draw a centre line."""
        self.line(a, b, FAINT, 1.0, "12 3 2 3")

    def area(self, points: list[Point], fill: str, colour: str = INK, width: float = 1.2) -> None:
        """Draw a closed area."""
        self.add("path", d=_path(points) + " Z", fill=fill, stroke=colour, stroke_width=width)

    def curve(self, points: list[Point], colour: str = INK, width: float = 1.2, dash: str = "") -> None:
        """Draw an open line through points."""
        extra = {"stroke_dasharray": dash} if dash else {}
        self.add("path", d=_path(points), fill="none", stroke=colour, stroke_width=width, **extra)

    def box(self, x: float, y: float, w: float, h: float, fill: str) -> None:
        """Draw a rectangle."""
        self.area([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], fill)

    def text(
        self,
        at: Point,
        words: str,
        anchor: str = "start",
        colour: str = INK,
        *,
        size: float = 15,
        weight: str = "normal",
    ) -> None:
        """Write a label; ``_{…}`` and ``^{…}`` become scripts."""

        def script(found: re.Match[str]) -> str:
            shift = 0.28 * size if found[1] == "_" else -0.38 * size
            return (
                f'<tspan dy="{shift:.1f}" font-size="{0.75 * size:.1f}">{found[2]}</tspan>'
                f'<tspan dy="{-shift:.1f}">\u200b</tspan>'
            )

        keys = f'x="{at[0]:.1f}" y="{at[1]:.1f}" text-anchor="{anchor}" fill="{colour}"'
        body = SCRIPT.sub(script, escape(words))
        self.parts.append(f'<text {keys} font-size="{size:.1f}" font-weight="{weight}">{body}</text>')

    def name(self, at: Point, words: str, anchor: str = "start") -> None:
        """Write the name of the gap."""
        self.text(at, words, anchor, GAP, weight="bold")

    def head(self, tip: Point, angle: float, colour: str, size: float = 10) -> None:
        """Draw an arrow head at ``tip`` that points along ``angle``."""
        sides = [(tip[0] - size * math.cos(angle + s), tip[1] - size * math.sin(angle + s)) for s in (-0.3, 0.3)]
        self.area([tip, *sides], colour, colour, 0.5)

    def arrow(self, a: Point, b: Point, colour: str = INK, width: float = 1.2) -> None:
        """Draw an arrow from a to b."""
        self.line(a, b, colour, width)
        self.head(b, math.atan2(b[1] - a[1], b[0] - a[0]), colour)

    def dim(self, a: Point, b: Point, colour: str = INK, width: float = 1.2) -> None:
        """Draw a dimension line; where there is no room between a and b, arrows point in from outside."""
        angle = math.atan2(b[1] - a[1], b[0] - a[0])
        c, s = math.cos(angle), math.sin(angle)
        self.line(a, b, colour, width)
        if math.dist(a, b) > 24:
            self.head(a, angle + math.pi, colour)
            self.head(b, angle, colour)
            return
        self.arrow((a[0] - 24 * c, a[1] - 24 * s), a, colour, width)
        self.arrow((b[0] + 24 * c, b[1] + 24 * s), b, colour, width)

    def gap(self, a: Point, b: Point) -> None:
        """Mark the gap itself."""
        self.dim(a, b, GAP, 2.4)

    def lead(self, a: Point, b: Point, colour: str = FAINT) -> None:
        """Lead from a label to its place."""
        self.line(a, b, colour, 0.9)

    def cross(self, at: Point, colour: str = INK, size: float = 6) -> None:
        """Mark an axis that is seen end on."""
        self.line((at[0] - size, at[1]), (at[0] + size, at[1]), colour, 1.7)
        self.line((at[0], at[1] - size), (at[0], at[1] + size), colour, 1.7)

    def svg(self) -> str:
        """Return the file's text."""
        return "\n".join([*self.parts, "</svg>", ""])


def _path(points: list[Point]) -> str:
    return "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def on(centre: Point, radius: float, degrees: float) -> Point:
    """Return the point of a circle; 0° to the right, 90° up."""
    a = math.radians(degrees)
    return centre[0] + radius * math.cos(a), centre[1] - radius * math.sin(a)
