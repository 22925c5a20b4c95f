"""Expressions in one normal form, made by rules of our own and shown as text that reads back the same.

sympy's automatic evaluation is never asked: it would fold numbers without a bound, replace sqrt(x²) by a
node the walkers do not know, and cancel what can be undefined.  The rules here are all there is:

* constants are Python floats and fold at once; a result that is not finite is an error;
* a sum is flat, like terms are collected, the sign of a bracket is carried into it;
* a product is flat, with one coefficient in front; equal factors above the line are collected, and
  those below it, but never one against the other: x/x stays, it is undefined at x = 0;
* a zero coefficient removes a term only when the term is defined everywhere: 0*log(x) stays;
* a broken power of a square is a power of a Magnitude, of a sum of two squares a power of a Length;
* operands stand in sympy's own order, so that ``a - b/c`` equals the same line written with symbols.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from fractions import Fraction
from functools import cmp_to_key
from typing import Any, TypeAlias

import sympy

from stackup.chain.symbols import NEXT, BestPose, Expr, Greatest, Least, Length, Magnitude, split_next

#: A constant, or an expression with a symbol in it.
Value: TypeAlias = float | Any

#: The largest exponent in magnitude, of a power of a power the product of both.
MOST_EXPONENT = 12
#: One degree in rad.
DEGREE = math.pi / 180


def expression(value: Value) -> Expr:
    """Return ``value`` as sympy: a constant as Float."""
    return sympy.Float(value) if isinstance(value, float) else value


def finite(number: float) -> float:
    """Return ``number``, a negative zero as zero; raises OverflowError where it is not finite."""
    if not math.isfinite(number):
        raise OverflowError(number)
    return number + 0.0


def power(base: Value, exponent: float) -> Value:
    """Return base**exponent; ``steepness(base)``·|exponent| is at most MOST_EXPONENT.

    Raises ValueError (a negative constant to a broken power), ZeroDivisionError or OverflowError.
    """
    if isinstance(base, float):
        if base == 0 > exponent:
            raise ZeroDivisionError
        return finite(math.pow(base, exponent))
    if exponent == 0:
        return 1.0
    return _whole(base, int(exponent)) if exponent.is_integer() else _broken(base, exponent)


def magnitude(expr: Expr) -> Expr:
    """Return |expr|; what is never negative stays as it is."""
    never_negative = isinstance(expr, Length | Magnitude) or _root(expr) is not None
    return expr if never_negative else Magnitude(expr, evaluate=False)


def steepness(value: Value) -> float:
    """Return the exponent already there: 3 for x**3 and 2*x**3, 1 for what is no power."""
    if isinstance(value, float) or not (value.is_Pow or value.is_Mul):
        return 1.0
    if value.is_Mul:
        return max(steepness(factor) for factor in value.args)
    return abs(float(value.exp)) * steepness(value.base)


class Product:
    """A product in the making: a coefficient and whole powers, above and below the line apart."""

    def __init__(self) -> None:
        """Start with 1."""
        self.coefficient = 1.0
        self.powers: dict[tuple[Expr, bool], int] = {}

    def take(self, value: Value, exponent: int = 1) -> Product:
        """Multiply by ``value`` (1) or divide by it (−1); raises ZeroDivisionError or OverflowError."""
        number, factors = _split(value)
        self.coefficient = finite(self.coefficient * number if exponent > 0 else self.coefficient / number)
        for base, count in factors:
            key = (base, count * exponent > 0)
            self.powers[key] = self.powers.get(key, 0) + count * exponent
        return self

    def value(self) -> Value:
        """Return the product."""
        if not self.powers:
            return self.coefficient
        factors = [_pow(base, n) for (base, _), total in self.powers.items() for n in _portions(total)]
        return _scaled(self.coefficient, sympy.Mul(*_ordered(factors), evaluate=False))


class Sum:
    """A sum in the making: a constant, and the coefficient of each term."""

    def __init__(self) -> None:
        """Start with 0."""
        self.constant = 0.0
        self.terms: dict[Expr, float] = {}

    def take(self, value: Value, sign: float = 1.0) -> Sum:
        """Add ``value`` (sign 1) or subtract it (−1); raises OverflowError."""
        if isinstance(value, float) or value.is_Number:
            self.constant = finite(self.constant + sign * float(value))
        elif value.is_Add:
            for term in value.args:
                self.take(term, sign)
        else:
            number, rest = value.as_coeff_Mul()
            self.terms[rest] = finite(self.terms.get(rest, 0.0) + sign * float(number))
        return self

    def value(self) -> Value:
        """Return the sum."""
        while brackets := [term for term, number in self.terms.items() if term.is_Add and abs(number) == 1]:
            for term in brackets:
                self.take(term, self.terms.pop(term))
        scaled = (_scaled(number, term) for term, number in self.terms.items())
        terms = _ordered(term for term in scaled if not isinstance(term, float))
        if not terms:
            return self.constant
        constants = [sympy.Float(self.constant)] if self.constant else []
        return sympy.Add(*constants, *terms, evaluate=False)


def _ordered(exprs: Iterable[Expr]) -> list[Expr]:
    return sorted(exprs, key=cmp_to_key(sympy.Basic.compare))


def _split(value: Value) -> tuple[float, list[tuple[Expr, int]]]:
    """Return the coefficient, and the factors as bases with whole exponents."""
    if isinstance(value, float):
        return value, []
    number, rest = value.as_coeff_Mul()
    return float(number), [_base_and_count(factor) for factor in sympy.Mul.make_args(rest)]


def _base_and_count(expr: Expr) -> tuple[Expr, int]:
    if expr.is_Pow and expr.exp.is_Integer:
        return expr.base, int(expr.exp)
    return (_pow(expr.base, -expr.exp), -1) if _stands_below(expr) else (expr, 1)


def _portions(total: int) -> list[int]:
    """Split a collected exponent so that none exceeds MOST_EXPONENT and none but a lone one is ±1."""
    sign, left, portions = (1 if total > 0 else -1), abs(total), []
    while left > MOST_EXPONENT:
        portions.append(MOST_EXPONENT - (left == MOST_EXPONENT + 1))
        left -= portions[-1]
    return [sign * portion for portion in (*portions, left)]


def _pow(base: Expr, exponent: Expr | int) -> Expr:
    if exponent == -1 and base.is_Pow:  # 1/sqrt(x) is x**(-1/2)
        return _pow(base.base, -base.exp)
    return base if exponent == 1 else sympy.Pow(base, exponent, evaluate=False)


def _whole(expr: Expr, exponent: int) -> Value:
    base, count = _base_and_count(expr)
    if base.is_Mul and count * exponent == -1:
        return Product().take(base, -1).value()
    return _pow(base, count * exponent)


def _broken(base: Expr, exponent: float) -> Value:
    length, doubled = _length(base), 2 * exponent
    if length is not None and abs(doubled) * steepness(length) <= MOST_EXPONENT:
        return power(length, doubled)
    return _pow(base, sympy.Rational(int(doubled), 2) if doubled.is_integer() else sympy.Float(exponent))


def _length(expr: Expr) -> Expr | None:
    """Return the square root of squares, sums of two squares and their products, None of anything else."""
    coefficient, factors = _split(expr)
    lengths = [_length_of_power(base, count) for base, count in factors]
    return None if coefficient <= 0 or None in lengths else _product(math.sqrt(coefficient), lengths)


def _length_of_power(base: Expr, count: int) -> Expr | None:
    if count % 2 == 0:
        return magnitude(_whole(base, count // 2))
    roots = [_root(term) for term in base.args] if base.is_Add and len(base.args) == 2 else [None]
    return None if None in roots else _whole(Length(*roots, evaluate=False), count)


def _root(expr: Expr) -> Expr | None:
    """Return an expression whose square is ``expr``, None where there is none without a root."""
    coefficient, factors = _split(expr)
    if coefficient <= 0 or any(count % 2 for _, count in factors):
        return None
    return _product(math.sqrt(coefficient), [_whole(base, count // 2) for base, count in factors])


def _product(coefficient: float, factors: Iterable[Expr]) -> Expr:
    product = Product().take(coefficient)
    for factor in factors:
        product.take(factor)
    return product.value()


def _scaled(number: float, expr: Expr) -> Value:
    """Return number·expr, where ``expr`` has no coefficient of its own."""
    if number == 0 and not _may_be_undefined(expr):
        return 0.0
    if number == 1:
        return expr
    if number == -1 and expr.is_Add:
        return Sum().take(expr, -1.0).value()
    coefficient = sympy.S.NegativeOne if number == -1 else sympy.Float(number)
    return sympy.Mul(coefficient, *(expr.args if expr.is_Mul else (expr,)), evaluate=False)


def _may_be_undefined(expr: Expr) -> bool:
    """Say whether some finite values of the symbols leave ``expr`` without a value."""
    nodes = [expr]
    while nodes:
        node = nodes.pop()
        if isinstance(node, sympy.log | sympy.asin | sympy.acos):
            return True
        if node.is_Pow and not (node.exp.is_Integer and node.exp > 0):
            return True
        nodes.extend(node.args)
    return False


# Writing: each node to its text and how strongly that text holds together.
SUM, PRODUCT, POWER, ATOM = range(4)
Text = tuple[str, int]
SPOKEN = {Length: "hypot", Least: "min", Greatest: "max", Magnitude: "abs"}


def show(expr: Expr) -> str:
    """Return ``expr`` as a formula that the reader takes back to the same expression.

    Numbers have at most 12 digits where that is their whole value; others stand as a fraction, as a
    multiple of pi or deg where they are exactly that, else with every digit.  Positive terms come first.
    An expression that the reader did not make (fractions, pi of sympy's own) is shown alike.
    """
    texts: dict[Expr, Text] = {}
    waiting = [expr]
    while waiting:
        node = waiting[-1]
        missing = [argument for argument in node.args if argument not in texts]
        if missing:
            waiting.extend(missing)
        else:
            texts[waiting.pop()] = _written(node, texts)
    return texts[expr][0]


def shown_symbols(expr: Expr) -> set[Any]:
    """Return the symbols that :func:`show` writes; what bounds a number of the whole cage is not written."""
    return set(expr.cones.free_symbols if isinstance(expr, BestPose) else expr.free_symbols)


def _written(node: Expr, texts: dict[Expr, Text]) -> Text:
    if node.is_Symbol:
        return _spoken(node.name), ATOM
    if node.is_Add:
        return _sum_written(node, texts), SUM
    if node.is_Number or node.is_Mul or _stands_below(node):
        return _product_written(node, texts)
    if node.is_Pow:
        return _power_written(node.base, node.exp, texts)
    return _call_written(node, texts), ATOM


def _call_written(node: Expr, texts: dict[Expr, Text]) -> str:
    if not node.args:
        return str(node)
    if isinstance(node, BestPose):
        return _pose_written(node, texts)
    name = SPOKEN.get(type(node), type(node).__name__.lower())  # Min, Max, Abs of sympy's own: in lower case
    return f"{name}({', '.join(texts[argument][0] for argument in node.args)})"


def _pose_written(node: BestPose, texts: dict[Expr, Text]) -> str:
    """Return what each pocket asks of the pose, its parts moved by it in brackets."""
    rooms = (
        f"{texts[play][0]} - hypot([{texts[radial][0]}], [{texts[tangential][0]}])"
        for play, radial, tangential, _, _ in node.cones
    )
    return f"best_pose({'; '.join(rooms)})"


def _spoken(name: str) -> str:
    """Return the user's own form of a symbol's name: ``pin.r.next`` is written ``pin.next.r``."""
    own, count = split_next(name)
    base, dot, part = own.partition(".")
    return base + f".{NEXT}" * count + dot + part


def _held(text: Text, strength: int) -> str:
    return text[0] if text[1] >= strength else f"({text[0]})"


def _stands_below(node: Expr) -> bool:
    return bool(node.is_Pow and node.exp.is_Number and node.exp < 0)


def _sum_written(node: Expr, texts: dict[Expr, Text]) -> str:
    terms = sorted(node.args, key=lambda term: (texts[term][0].startswith("-"), bool(term.is_Number)))
    written = [_held(texts[term], PRODUCT if term.is_Add else SUM) for term in terms]
    signed = [f" - {text[1:]}" if text.startswith("-") else f" + {text}" for text in written[1:]]
    return written[0] + "".join(signed)


def _product_written(node: Expr, texts: dict[Expr, Text]) -> Text:
    sign, above, below = "", list[str](), list[str]()
    for factor in sympy.Mul.make_args(node):
        if factor.is_Number:
            sign = "-" if factor.is_negative else ""
            numerator, denominator = _digits(abs(factor), lone=node is factor)
            above, below = above + numerator, below + denominator
        elif _stands_below(factor):
            below.append(_held(_power_written(factor.base, -factor.exp, texts), POWER))
        else:
            above.append(_held(texts[factor], POWER))
    text = sign + ("*".join(above) or "1")
    if below:
        text += "/" + (below[0] if len(below) == 1 else f"({'*'.join(below)})")
    alone = node.is_Number and len(above) + 2 * len(below) <= 1
    return text, SUM if sign else ATOM if alone else PRODUCT


def _power_written(base: Expr, exponent: Expr, texts: dict[Expr, Text]) -> Text:
    if exponent == 1:
        return texts[base]
    if exponent == sympy.S.Half:
        return f"sqrt({texts[base][0]})", ATOM
    written = _product_written(sympy.Float(exponent), {}) if exponent.is_Number else texts[exponent]
    return f"{_held(texts[base], ATOM)}**{_held(written, ATOM)}", POWER


def _digits(number: Expr, lone: bool) -> tuple[list[str], list[str]]:
    """Return a number that is not negative as factors above and below the line, none for 1."""
    if number.is_Rational:
        return _not_one(number.p), _not_one(number.q)
    value = float(number)
    short = f"{value:.12g}"
    if float(short) == value:
        return ([], ["2"]) if value == 0.5 and not lone else ([short] * (value != 1), [])
    fits = _fractions(value) if 1e-6 < value < 1e6 else ()
    return min(fits, key=lambda sides: len(str(sides)), default=([repr(value)], []))


def _fractions(value: float) -> Iterator[tuple[list[str], list[str]]]:
    """Yield the ways to write ``value`` exactly as p/q, p*pi/q, p/(q*pi), and with deg for pi."""
    for name, unit in (("", 1.0), ("pi", math.pi), ("deg", DEGREE)):
        over, under = Fraction(value / unit).limit_denominator(360).as_integer_ratio()
        if over * unit / under == value:
            yield _not_one(over, name), _not_one(under)
        over, under = Fraction(value * unit).limit_denominator(360).as_integer_ratio()
        if over / (under * unit) == value:
            yield _not_one(over), _not_one(under, name)


def _not_one(number: int, name: str = "") -> list[str]:
    return [str(number)] * (number != 1) + [name] * bool(name)
