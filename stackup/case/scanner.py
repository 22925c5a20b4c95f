"""Where every key and value of a TOML text stands.

TOML libraries give values without their places.  This scanner reads the same text once more and keeps, for
every key path, the offset of the key and of the value.  It checks nothing that :mod:`tomllib` checks: on a
text that is not TOML it stops at the first thing it cannot follow.  Its work grows linearly with the text,
and it refuses what is nested or dotted deeper than any case file needs.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from contextlib import suppress
from dataclasses import dataclass, field

#: ``("dimensions", "pin_diameter", "tolerance", 1)``: names of keys and indices of arrays
Path = tuple[str | int, ...]

#: Deepest nesting of brackets, and most parts of one dotted key.
DEEPEST = 64

_BLANK = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\[\]{}#\n]+")
_STRINGS = (
    re.compile(r'"""(?:[^"\\]|\\.|"(?!""))*"{3,5}', re.DOTALL),
    re.compile(r"'''(?:[^']|'(?!''))*'{3,5}", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)


class TooDeep(Exception):  # noqa: N818 - the reader of a case turns it into a fault
    """Brackets or a dotted key nested deeper than :data:`DEEPEST`, at ``offset`` of the text."""

    def __init__(self, offset: int) -> None:
        """Keep the place."""
        self.offset = offset
        super().__init__(f"nested deeper than {DEEPEST}")


class _Lost(Exception):  # noqa: N818 - never leaves this module
    """Something that is not TOML: the scanner stops here."""


@dataclass(frozen=True)
class Place:
    """A place in a text, counted from 1 (0: the whole file)."""

    line: int = 0
    column: int = 0


@dataclass
class Places:
    """The places of all keys and values of one text.

    ``keys`` and ``values`` hold offsets by path, ``again`` the paths that stand a second time, ``unclosed``
    the offset of a string or bracket that never ends.
    """

    text: str = ""
    keys: dict[Path, int] = field(default_factory=dict)
    values: dict[Path, int] = field(default_factory=dict)
    again: list[tuple[Path, int]] = field(default_factory=list)
    unclosed: int | None = None
    _starts: list[int] = field(default_factory=list)

    def at(self, offset: int) -> Place:
        """Return line and column of ``offset``."""
        if not self._starts:
            self._starts = [0, *(found.end() for found in re.finditer("\n", self.text))]
        line = bisect_right(self._starts, offset)
        return Place(line, offset - self._starts[line - 1] + 1)

    def key(self, path: Path) -> Place:
        """Return where the key ``path`` stands, or the nearest key above it that stands in the text."""
        return self._nearest(path, (self.keys, self.values))

    def value(self, path: Path) -> Place:
        """Return where the value at ``path`` begins, or the nearest key above it."""
        return self._nearest(path, (self.values, self.keys))

    def inside(self, path: Path, index: int) -> Place:
        """Return where the character ``index`` of the string at ``path`` stands.

        Where the text holds escapes the place is that of the string's beginning.
        """
        start = self.values.get(path)
        token = _string(self.text, start) if start is not None else None
        if start is None or token is None or (token[0] == '"' and "\\" in token):
            return self.value(path)
        quotes = 3 if token[:3] in ('"""', "'''") else 1
        return self.at(start + quotes + index + (quotes == 3 and token[3:4] == "\n"))

    def written(self, path: Path) -> str | None:
        """Return the number or word at ``path`` as the text has it; None for strings, lists and tables."""
        start = self.values.get(path)
        if start is None or self.text[start : start + 1] in ("", '"', "'", "[", "{"):
            return None
        found = _SCALAR.match(self.text, start)
        return found.group().strip() if found else None

    def _nearest(self, path: Path, tables: tuple[dict[Path, int], ...]) -> Place:
        for length in range(len(path), 0, -1):
            for table in tables:
                if path[:length] in table:
                    return self.at(table[path[:length]])
        return Place()


def scan(text: str) -> Places:
    """Return the places of all keys and values of ``text`` (line ends ``\\n``).

    Raises:
        TooDeep: brackets or a dotted key deeper than :data:`DEEPEST`.
    """
    scanner = _Scanner(text)
    with suppress(_Lost):
        scanner.document()
    return scanner.places


def _string(text: str, start: int) -> str | None:
    """Return the whole string token that begins at ``start``, or None where there is none."""
    for pattern, opening in zip(_STRINGS, ('"""', "'''", '"', "'"), strict=True):
        if text.startswith(opening, start):
            found = pattern.match(text, start)
            return found.group() if found else None
    return None


@dataclass
class _Open:
    """An array or an inline table that is not closed yet."""

    path: Path
    start: int
    is_array: bool
    count: int = 0


class _Scanner:
    """One pass over a text: ``self.here`` is the offset of the next character."""

    def __init__(self, text: str) -> None:
        self.text, self.here = text, 0
        self.places = Places(text)
        self._lists: dict[Path, int] = {}

    def document(self) -> None:
        table: Path = ()
        while self._skip(_BLANK):
            table = self._header() if self.text[self.here] == "[" else self._pair(table)

    def _skip(self, pattern: re.Pattern[str]) -> bool:
        """Pass over ``pattern``; return whether any text is left."""
        found = pattern.match(self.text, self.here)
        self.here = found.end() if found else self.here
        return self.here < len(self.text)

    def _expect(self, token: str) -> None:
        self._skip(_SPACE)
        if not self.text.startswith(token, self.here):
            raise _Lost
        self.here += len(token)

    def _header(self) -> Path:
        """Read ``[a.b]`` or ``[[a.b]]`` and return the path of the table that follows."""
        is_list = self.text.startswith("[[", self.here)
        self.here += 2 if is_list else 1
        start, parts = self._name()
        self._expect("]]" if is_list else "]")
        path = self._resolve(parts)
        for length in range(1, len(path)):
            self.places.keys.setdefault(path[:length], start)
        if is_list:
            count = self._lists.get(path, 0)
            self._lists[path] = count + 1
            self.places.keys.setdefault(path, start)
            path = (*path, count)
        self._note(path, start, start)
        return path

    def _resolve(self, parts: Path) -> Path:
        """Put the index of the last table into every array of tables on the way to ``parts``."""
        path: Path = ()
        for position, part in enumerate(parts, start=1):
            path = (*path, part)
            if path in self._lists and position < len(parts):
                path = (*path, self._lists[path] - 1)
        return path

    def _pair(self, table: Path) -> Path:
        """Read ``key = value`` of ``table`` and return ``table``."""
        opened: list[_Open] = []
        self._member(table, opened)
        while opened:
            self._step(opened)
        return table

    def _step(self, opened: list[_Open]) -> None:
        """Read one thing inside the innermost open container: its end, a comma or a member."""
        container = opened[-1]
        if not self._skip(_BLANK):
            self.places.unclosed = container.start
            raise _Lost
        char = self.text[self.here]
        if char in "]}":
            opened.pop()
        if char in "]},":
            self.here += 1
        elif container.is_array:
            path = (*container.path, container.count)
            container.count += 1
            self._value(path, self.here, opened)
        else:
            self._member(container.path, opened)

    def _member(self, table: Path, opened: list[_Open]) -> None:
        """Read ``key = `` and the beginning of its value."""
        start, parts = self._name()
        self._expect("=")
        path = (*table, *parts)
        for length in range(len(table) + 1, len(path)):
            self.places.keys.setdefault(path[:length], start)
        self._skip(_SPACE)
        self._value(path, start, opened)

    def _value(self, path: Path, key: int, opened: list[_Open]) -> None:
        """Read a whole scalar, or the opening bracket of an array or inline table."""
        start = self.here
        self._note(path, key, start)
        char = self.text[start : start + 1]
        if char and char in "[{":
            if len(opened) >= DEEPEST:
                raise TooDeep(start)
            opened.append(_Open(path, start, char == "["))
            self.here += 1
        elif char and char in "\"'":
            self._quoted()
        elif not self._skip(_SCALAR) and self.here == start:
            raise _Lost
        if self.here == start:
            raise _Lost

    def _quoted(self) -> str:
        """Pass over a string and return it with its quotes."""
        token = _string(self.text, self.here)
        if token is None:
            self.places.unclosed = self.here
            raise _Lost
        self.here += len(token)
        return token

    def _name(self) -> tuple[int, Path]:
        """Read a key, dotted or not; return its offset and its parts."""
        self._skip(_SPACE)
        start, parts = self.here, [self._part()]
        while self._skip(_SPACE) and self.text[self.here] == ".":
            if len(parts) == DEEPEST:
                raise TooDeep(self.here)
            self.here += 1
            self._skip(_SPACE)
            parts.append(self._part())
        return start, tuple(parts)

    def _part(self) -> str:
        if self.text[self.here : self.here + 1] in ('"', "'"):
            return _unquoted(self._quoted())
        found = _BARE.match(self.text, self.here)
        if not found:
            raise _Lost
        self.here = found.end()
        return found.group()

    def _note(self, path: Path, key: int, value: int) -> None:
        if path in self.places.values:
            self.places.again.append((path, key))
        else:
            self.places.keys[path] = key
            self.places.values[path] = value


def _unquoted(token: str) -> str:
    """Return the text that a quoted key stands for."""
    try:
        return str(tomllib.loads(f"k = {token}")["k"])
    except tomllib.TOMLDecodeError as error:
        raise _Lost from error
