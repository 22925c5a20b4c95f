"""Signs for a stream that cannot encode ours: ``>=`` for ≥, ``..`` for …; a question mark for what only does harm."""

from __future__ import annotations

import codecs
import unicodedata

#: name of the way to encode; see :func:`codecs.register_error`
IN_OTHER_SIGNS = "stackup.in_other_signs"
_SIGNS = {
    "≥": ">=",
    "≤": "<=",
    "…": "..",
    "±": "+-",
    "∓": "-+",
    "–": "-",
    "−": "-",
    "·": "-",
    "×": "x",
    "→": "->",
    "↗": "/",
    "⌀": "dia ",
    "°": "deg",
    "µ": "u",
    "√": "sqrt",
    "½": "1/2",
    "²": "^2",
    "ß": "ss",
    "‘": "'",
    "’": "'",
    "“": '"',
    "”": '"',
} | dict(zip("▁▂▃▄▅▆▇█", "_.:-=+*#", strict=True))


#: categories of signs that move a cursor, change a colour or turn the reading round, and show nothing
_UNSEEN = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})


def harmless(text: str) -> str:
    """Return text that a case file may have brought: signs that show nothing become question marks, but line ends."""
    if text.isprintable():
        return text
    return "".join("?" if unicodedata.category(char) in _UNSEEN and char != "\n" else char for char in text)


def spelled(text: str, encoding: str | None) -> str:
    """Return ``text`` in the signs that ``encoding`` has (None: all)."""
    return text.encode(encoding, IN_OTHER_SIGNS).decode(encoding) if encoding else text


def _in_other_signs(error: UnicodeError) -> tuple[str, int]:
    """Return what stands for the signs that could not be encoded, in ASCII, and where to go on."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(map(_sign, error.object[error.start : error.end])), error.end


def _sign(char: str) -> str:
    if char in _SIGNS:
        return _SIGNS[char]
    name = unicodedata.name(char, "")
    if name.startswith("GREEK ") and " LETTER " in name:
        word = name.split(" LETTER ")[1].split(" WITH ")[0].lower()
        return word.capitalize() if "CAPITAL" in name else word
    plain = "".join(_SIGNS.get(part, part) for part in unicodedata.normalize("NFKD", char))
    told = "".join(part for part in plain if part.isascii())
    return told or char.encode("ascii", "backslashreplace").decode("ascii")


codecs.register_error(IN_OTHER_SIGNS, _in_other_signs)
