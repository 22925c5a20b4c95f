"""The formula reader: a user's text to a sympy expression, by the grammar below and nothing else.

::

    formula   = sum
    sum       = product { ("+" | "-") product }
    product   = signed { ("*" | "/") signed }
    signed    = { "+" | "-" } atom [ "**" signed ]           the exponent: a constant up to 12
    atom      = NUMBER | "pi" | "deg" | reference | function "(" sum { "," sum } ")" | "(" sum ")"
    reference = NAME { ".next" } [ ".r" | ".t" | ".x" | ".y" ]
    function  = sqrt sin cos tan asin acos atan atan2 hypot abs min max exp log

White space may stand between any two words.  The text is never evaluated as Python, and sympy never sees
it: constants fold as floats while they are read, and the expression is made in the normal form of
``stackup.chain.writing``.  So no text of the allowed length can cost more than a moment.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from enum import Enum
from typing import Any, NamedTuple

import sympy

from stackup.chain import writing
from stackup.chain.symbols import ANGLE, MOST_NEXT, NEXT, PARTS, ROLLERS, Greatest, Least, Length, symbol
from stackup.errors import FormulaError, nearest

#: Limits of a text: its length, and brackets within brackets.
MOST_CHARACTERS, MOST_LEVELS = 2000, 60


@dataclass(frozen=True)
class Function:
    """A function of a formula: its number of arguments, its value of floats, its node."""

    least: int
    most: float
    of_floats: Callable[..., float]
    node: Callable[..., Any]

    def of(self, *arguments: writing.Value) -> writing.Value:
        """Return the function of ``arguments``, of constants alone folded; raises as ``of_floats`` does."""
        if all(isinstance(argument, float) for argument in arguments):
            return writing.finite(self.of_floats(*arguments))
        plain = {"evaluate": False} if isinstance(self.node, type) else {}
        return self.node(*map(writing.expression, arguments), **plain)

    def arity(self) -> str:
        """Return the number of arguments in words."""
        return f"{self.least} {'or more ' * (self.most > self.least)}argument{'s' * (self.most > 1)}"


FUNCTIONS: Mapping[str, Function] = {
    "sqrt": Function(1, 1, math.sqrt, lambda x: writing.power(x, 0.5)),
    "sin": Function(1, 1, math.sin, sympy.sin),
    "cos": Function(1, 1, math.cos, sympy.cos),
    "tan": Function(1, 1, math.tan, sympy.tan),
    "asin": Function(1, 1, math.asin, sympy.asin),
    "acos": Function(1, 1, math.acos, sympy.acos),
    "atan": Function(1, 1, math.atan, sympy.atan),
    "atan2": Function(2, 2, math.atan2, sympy.atan2),
    "hypot": Function(2, 2, math.hypot, Length),
    "abs": Function(1, 1, abs, writing.magnitude),
    "min": Function(2, math.inf, min, Least),
    "max": Function(2, math.inf, max, Greatest),
    "exp": Function(1, 1, math.exp, sympy.exp),
    "log": Function(1, 1, math.log, sympy.log),
}
CONSTANTS: Mapping[str, float] = {"pi": math.pi, "deg": writing.DEGREE}
#: The words of the grammar: no dimension, chain or requirement may bear one of them as its name.
RESERVED = frozenset({*FUNCTIONS, *CONSTANTS, ANGLE, ROLLERS})


class Kind(Enum):
    """What a name stands for; the value is the parts through which alone it may be used."""

    SCALAR = ()
    POCKET_ZONE = ("r", "t")
    CAGE_ZONE = ("r", "t", "x", "y")


@dataclass(frozen=True)
class Reference:
    """A name as it stands in a formula: its part, how many pockets ahead, its place counted from 0."""

    name: str
    part: str | None
    next: int
    place: int

    @property
    def symbol(self) -> str:
        """The canonical name of its symbol: name, part, then ``.next`` for each pocket ahead."""
        return ".".join((self.name, *([self.part] if self.part else []), *[NEXT] * self.next))


@dataclass(frozen=True)
class Names:
    """The names a formula may use, each with its kind; whether pockets have neighbours (``.next``).

    ``angle``, ``rollers`` and the constants are known without being listed.
    """

    kinds: Mapping[str, Kind]
    neighbours: bool = True

    def check(self, reference: Reference, text: str) -> None:
        """Raise FormulaError unless ``reference`` (of the formula ``text``) is a number here."""
        name, place, part = reference.name, reference.place, reference.part
        if name not in self.kinds and name not in RESERVED:
            like = nearest(name.lower(), [*self.kinds, *CONSTANTS, ANGLE, ROLLERS])
            raise FormulaError(text, place, f"the unknown name {name}", _KNOWN, like)
        if reference.next and not self.neighbours:
            allowed = f'{name} without .{NEXT}: a pocket of kind = "none" has no neighbour'
            raise FormulaError(text, place + len(name), f"{name}.{NEXT}", allowed)
        parts = self.kinds.get(name, Kind.SCALAR).value
        forms = ", ".join(f"{name}.{each}" for each in parts) or f"{name} alone: it has no parts"
        if parts and part is None:
            raise FormulaError(text, place, f"the zone {name} without a part", forms)
        if part is not None and part not in parts:
            place += len(name) + len(NEXT) * reference.next + reference.next
            raise FormulaError(text, place, f"the part .{part}", forms, nearest(part, (*parts, NEXT)))


def read(text: str, names: Names) -> sympy.Expr:
    """Return the expression that ``text`` stands for, in the normal form; a lone constant as Float.

    Symbols are real and bear the canonical names of ``Reference.symbol``; hypot, min, max, abs become
    Length, Least, Greatest, Magnitude, and so do square roots of one square or of two squares.

    Raises FormulaError at the first place that is outside the grammar, beyond a limit (2000 characters,
    60 levels of brackets, exponents up to 12, those of a power of a power multiplied), a name that
    ``names`` does not know as it is used, or a constant part that has no finite value.
    """
    return writing.expression(_Reader(text, names).formula())


def names_in(text: str) -> list[Reference]:
    """Return every use of a name in ``text``, in its order; nothing needs to be known of the names.

    Constants, ``angle`` and ``rollers`` are left out.  Raises FormulaError as ``read`` does, but for
    what depends on what a name stands for.
    """
    reader = _Reader(text, None)
    reader.formula()
    return reader.references


_WORD = re.compile(
    r"""(?P<space>  [ \t\r\n]+ )
      | (?P<number> (?: [0-9]+ \.? [0-9]* | \.[0-9]+ ) (?: [eE][+-]?[0-9]+ )? )
      | (?P<name>   [A-Za-z_][A-Za-z0-9_]* (?: \.[A-Za-z0-9_]* )* )
      | (?P<sign>   \*\* | [-+*/(),] )""",
    re.VERBOSE,
)
#: What is often written for a sign of the grammar.
_MEANT = {"^": "**", "−": "-", "–": "-", "—": "-", "×": "*", "·": "*", "÷": "/", "[": "(", "]": ")", ";": ","}
_NO_VALUE: Mapping[type[Exception], tuple[str, str]] = {
    ZeroDivisionError: ("a division by zero", "a divisor other than zero"),
    OverflowError: ("a number too large", "numbers up to 1.8e308 in magnitude"),
    ValueError: ("a function or power that has no value", "constants for which it is defined"),
}
_EXPONENT = f"constants up to {writing.MOST_EXPONENT} in magnitude, also for powers of powers in all"
_KNOWN = "dimensions, chains and gaps of this case, angle, rollers, pi, deg"
_WORDS_ALLOWED = "numbers, names, + - * / ** , and round brackets"


class _Word(NamedTuple):
    kind: str
    text: str
    place: int


def _words(text: str) -> Iterator[_Word]:
    """Yield the words of ``text``, and last an empty one of kind "end"."""
    if len(text) > MOST_CHARACTERS:
        raise FormulaError(text, MOST_CHARACTERS, f"{len(text)} characters", f"at most {MOST_CHARACTERS}")
    place = 0
    while place < len(text):
        match = _WORD.match(text, place)
        if match is None:
            char = text[place]
            found = f"the character {char!r}" + f" (U+{ord(char):04X})" * (not char.isascii())
            raise FormulaError(text, place, found, _WORDS_ALLOWED, _MEANT.get(char))
        if match.lastgroup != "space":
            yield _Word(str(match.lastgroup), match.group(), place)
        place = match.end()
    yield _Word("end", "", place)


class _Reader:
    """One walk through the words of a formula; each method reads what the grammar calls by its name."""

    def __init__(self, text: str, names: Names | None) -> None:
        self.text, self.names = text, names
        self.words = list(_words(text))
        self.index = self.level = 0
        self.references: list[Reference] = []

    @property
    def word(self) -> _Word:
        return self.words[self.index]

    def formula(self) -> writing.Value:
        value = self.sum()
        if self.word.kind != "end":
            raise self.unexpected("an operator + - * / ** or the end of the formula")
        return value

    def sum(self) -> writing.Value:
        total, sign, place = writing.Sum(), 1.0, self.word.place
        while True:
            term = self.product()
            with self.arithmetic(place):
                total.take(term, sign)
            if self.word.text not in ("+", "-"):
                break
            place, sign = self.word.place, 1.0 if self.take() == "+" else -1.0
        with self.arithmetic(place):
            return total.value()

    def product(self) -> writing.Value:
        product, exponent, place = writing.Product(), 1, self.word.place
        while True:
            factor = self.signed()
            with self.arithmetic(place):
                product.take(factor, exponent)
            if self.word.text not in ("*", "/"):
                break
            exponent = 1 if self.take() == "*" else -1
            place = self.word.place
        return product.value()

    def signed(self) -> writing.Value:  # one loop: -a**-b**c is -(a**(-(b**c)))
        tower = [self.signed_atom()]
        while self.word.text == "**":
            self.take()
            tower.append(self.signed_atom())
        place, minus, value = tower.pop()
        while True:
            value = writing.Product().take(value).take(-1.0).value() if minus else value
            if not tower:
                return value
            exponent, at = value, place
            place, minus, base = tower.pop()
            value = self.power(base, place, exponent, at)

    def signed_atom(self) -> tuple[int, bool, writing.Value]:
        place, minus = self.word.place, False
        while self.word.text in ("+", "-"):
            minus ^= self.take() == "-"
        return place, minus, self.atom()

    def power(self, base: writing.Value, place: int, exponent: writing.Value, at: int) -> writing.Value:
        if not isinstance(exponent, float):
            raise self.fault(at, "an exponent that is not constant", _EXPONENT)
        if abs(exponent) > writing.MOST_EXPONENT:
            raise self.fault(at, f"the exponent {exponent:.12g}", _EXPONENT)
        total = abs(exponent) * writing.steepness(base)
        if total > writing.MOST_EXPONENT * (1 + 1e-9):
            raise self.fault(at, f"powers of powers that come to the exponent {total:.12g}", _EXPONENT)
        with self.arithmetic(place):
            return writing.power(base, exponent)

    def atom(self) -> writing.Value:
        word = self.word
        if word.text == "(":
            return self.bracketed()[0]
        if word.kind not in ("number", "name"):
            raise self.unexpected("a number, a name, a function or a bracket")
        self.take()
        if word.kind == "number":
            with self.arithmetic(word.place):
                return writing.finite(float(word.text))
        if word.text.partition(".")[0] in FUNCTIONS or self.word.text == "(":
            return self.call(word)
        return CONSTANTS[word.text] if word.text in CONSTANTS else self.reference(word)

    def call(self, word: _Word) -> writing.Value:
        name = word.text
        if name not in FUNCTIONS:
            like = nearest(name, FUNCTIONS)
            raise self.fault(word.place, f"the unknown function {name}", " ".join(FUNCTIONS), like)
        function = FUNCTIONS[name]
        if self.word.text != "(":
            raise self.fault(word.place, f"{name} without brackets", f"{name}(…) with {function.arity()}")
        arguments = self.bracketed(many=True)
        if not function.least <= len(arguments) <= function.most:
            found = f"{name} with {len(arguments)} argument{'s' * (len(arguments) != 1)}"
            raise self.fault(word.place, found, function.arity())
        with self.arithmetic(word.place):
            return function.of(*arguments)

    def bracketed(self, many: bool = False) -> list[writing.Value]:
        if self.level == MOST_LEVELS:
            raise self.unexpected(f"at most {MOST_LEVELS} levels of brackets")
        self.level += 1
        self.take()
        values = [self.sum()]
        while many and self.word.text == ",":
            self.take()
            values.append(self.sum())
        if self.word.text != ")":
            raise self.unexpected("an operator + - * / **" + ", a comma" * many + " or a closing bracket )")
        self.take()
        self.level -= 1
        return values

    def reference(self, word: _Word) -> writing.Value:
        """Read ``name.next.r``: every ``.next`` first, then at most one part."""
        name, *rest = word.text.split(".")
        count = next((i for i, piece in enumerate(rest) if piece != NEXT), len(rest))
        reference = Reference(name, rest[count] if rest[count:] else None, count, word.place)
        if self.names is not None:
            self.names.check(reference, self.text)
        place = word.place + len(name)
        if name in RESERVED and rest and (name != ANGLE or rest[count:]):
            raise self.fault(place, word.text, f"{name} alone" + f", {name}.{NEXT}" * (name == ANGLE))
        if count > MOST_NEXT:
            raise self.fault(place, f".{NEXT} {count} times", f".{NEXT} at most {MOST_NEXT} times")
        if len(rest) > count + 1 or reference.part not in (None, *PARTS):
            raise self.fault(place, word.text, f"{name}.{NEXT}.r: .{NEXT} first, then one part")
        if name not in RESERVED:
            self.references.append(reference)
        return symbol(reference.symbol)

    def take(self) -> str:
        """Go past the word that stands here and return its text; the end stays."""
        self.index += 1
        return self.words[self.index - 1].text

    def fault(self, place: int, found: str, allowed: str, like: str | None = None) -> FormulaError:
        return FormulaError(self.text, place, found, allowed, like)

    def unexpected(self, allowed: str) -> FormulaError:
        return self.fault(self.word.place, self.word.text or "the end of the formula", allowed)

    @contextmanager
    def arithmetic(self, place: int) -> Iterator[None]:
        """Turn what Python says of floats into a fault at ``place``."""
        try:
            yield
        except (ZeroDivisionError, OverflowError, ValueError) as error:
            raise self.fault(place, *_NO_VALUE[type(error)]) from None
