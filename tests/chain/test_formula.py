"""The formula reader: its grammar, its faults, and the text that reads back the same."""

from __future__ import annotations

import math
import time
from datetime import timedelta
from typing import Any

import mpmath
import pytest
import sympy
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from stackup.chain.formula import FUNCTIONS, RESERVED, Kind, Names, Reference, names_in, read
from stackup.chain.symbols import Greatest, Least, Length, Magnitude, symbol
from stackup.chain.writing import show
from stackup.errors import FormulaError

VALUES = {"p": 0.75, "q": -1.25, "bush": 4.0, "spacing": 0.3, "far": 17.4, "nothing": 0.0}
NAMES = Names(dict.fromkeys(VALUES, Kind.SCALAR) | {"hole": Kind.POCKET_ZONE, "ring": Kind.CAGE_ZONE})
LONE = Names({"p": Kind.SCALAR}, neighbours=False)

p, q, bush, spacing = (symbol(name) for name in ("p", "q", "bush", "spacing"))


def fault(text: str, names: Names = NAMES) -> FormulaError:
    with pytest.raises(FormulaError) as caught:
        read(text, names)
    return caught.value


def number(value: float) -> sympy.Float:
    return sympy.Float(value)


# A slow obvious twin --------------------------------------------------------------------------------------
#
# A tree is ("number", text), ("name", name), ("neg", a), ("in brackets", a), (operator, a, b) or
# (function, a, …).  It is rendered to text by its own table of binding strengths, and evaluated by Python's
# floats or, with `lib=mpmath`, with 50 digits, which tells where floats are too badly conditioned to compare.

STRENGTH = {"+": 1, "-": 1, "*": 2, "/": 2, "neg": 3, "**": 4}
ONE = ("sqrt", "sin", "cos", "tan", "asin", "acos", "atan", "abs", "exp", "log")
TWO = ("atan2", "hypot", "min", "max")
Tree = tuple[Any, ...]


class UnclearError(Exception):
    """A point where rounding decides."""


def text_of(tree: Tree, space: str = "") -> str:
    head, *rest = tree
    if head in ("number", "name"):
        return str(rest[0])
    if head == "in brackets":
        return f"({space}{text_of(rest[0], space)}{space})"
    if head == "neg":
        return "-" + space + bound(rest[0], 3, space)
    if head == "**":
        return bound(rest[0], 5, space) + space + "**" + space + bound(rest[1], 3, space)
    if head in STRENGTH:
        strength = STRENGTH[head]
        return bound(rest[0], strength, space) + space + head + space + bound(rest[1], strength + 1, space)
    return f"{head}{space}({(space + ',').join(text_of(each, space) for each in rest)})"


def bound(tree: Tree, strength: int, space: str) -> str:
    text = text_of(tree, space)
    return text if STRENGTH.get(tree[0], 5) >= strength else f"({text})"


def value_of(tree: Tree, lib: Any = math) -> Any:
    head, *rest = tree
    if head == "number":
        return lib.mpf(float(rest[0])) if lib is mpmath else float(rest[0])
    if head == "name":
        return lib.mpf(VALUES[rest[0]]) if lib is mpmath else VALUES[rest[0]]
    return applied(head, [value_of(each, lib) for each in rest], lib)


def applied(head: str, values: list[Any], lib: Any) -> Any:
    a, b = values[0], values[-1]
    if head in ("+", "-", "*", "/", "**"):
        value = {"+": lambda: a + b, "-": lambda: a - b, "*": lambda: a * b, "/": lambda: a / b}.get(
            head, lambda: a**b
        )()
    elif head in ("neg", "in brackets"):
        value = -a if head == "neg" else a
    elif head in ("min", "max", "abs"):
        value = {"min": min, "max": max}[head](*values) if head != "abs" else abs(a)
    else:
        if head == "atan2" and b < 0 and abs(a) < 1e-9:
            raise UnclearError
        value = getattr(lib, head)(*values)
    if isinstance(value, complex | mpmath.mpc) or not mpmath.isfinite(value) or abs(value) > 1e100:
        raise UnclearError
    return value


def value_of_expr(expr: sympy.Expr) -> float:
    """Return the value of a sympy expression by Python's floats, node by node."""
    if expr.is_Number:
        return float(expr)
    if expr.is_Symbol:
        return VALUES[expr.name]
    values = [value_of_expr(argument) for argument in expr.args]
    if expr.is_Add:
        return math.fsum(values)
    if expr.is_Mul:
        return math.prod(values)
    if expr.is_Pow:
        return math.pow(*values)
    own = {Length: math.hypot, Least: min, Greatest: max, Magnitude: abs}
    return own[type(expr)](*values) if type(expr) in own else getattr(math, type(expr).__name__)(*values)


def floats(tree: Tree) -> float:
    """Return the tree's value, or drop the example where it has none or rounding decides."""
    try:
        value = value_of(tree)
        with mpmath.workdps(50):
            exact = value_of(tree, mpmath)
    except (ArithmeticError, ValueError, UnclearError):
        assume(False)
    assume(abs(value - exact) <= 1e-12 * (1 + abs(exact)))
    return float(value)


def numbers(*texts: str) -> st.SearchStrategy[Tree]:
    return st.sampled_from([("number", text) for text in texts])


leaves = numbers("0.5", "2", "3.", ".25", "1e-2", "17.4", "1.5E+1", "0", "1") | st.sampled_from(
    [("name", name) for name in VALUES]
)
exponents = numbers("2", "3", "0.5", "1", "0", "1.5", "0.3")
exponents = exponents | st.tuples(st.just("neg"), exponents)


def grown(trees: st.SearchStrategy[Tree]) -> st.SearchStrategy[Tree]:
    squares = st.tuples(st.just("**"), trees, numbers("2"))
    return st.one_of(
        st.tuples(st.sampled_from(["+", "-", "*", "/"]), trees, trees),
        st.tuples(st.sampled_from(["neg", "in brackets", *ONE]), trees),
        st.tuples(st.sampled_from(TWO), trees, trees),
        st.tuples(st.sampled_from(["min", "max"]), trees, trees, trees),
        st.tuples(st.just("**"), trees, exponents),
        st.tuples(st.just("sqrt"), st.tuples(st.just("+"), squares, squares)),
    )


trees = st.recursive(leaves, grown, max_leaves=12)
spaces = st.sampled_from(["", " ", "\n\t"])


@given(trees, spaces)
@settings(max_examples=600, deadline=None)
@example(("-", ("name", "p"), ("-", ("name", "q"), ("number", "2"))), "")
@example(("neg", ("**", ("name", "q"), ("number", "2"))), "")
@example(("**", ("neg", ("name", "q")), ("neg", ("number", "2"))), " ")
@example(("/", ("name", "p"), ("/", ("name", "q"), ("name", "bush"))), "")
def test_a_formula_has_the_value_that_python_gives_it(tree: Tree, space: str) -> None:
    value = floats(tree)
    try:
        expr = read(text_of(tree, space), NAMES)
    except FormulaError as error:
        assert "powers of powers" in error.found  # the one limit that the trees know nothing of
        assume(False)
    assert value_of_expr(expr) == pytest.approx(value, rel=1e-7, abs=1e-7)


@given(trees)
@settings(max_examples=600, deadline=None)
def test_what_is_shown_reads_back_the_same(tree: Tree) -> None:
    try:
        expr = read(text_of(tree), NAMES)
    except FormulaError:
        assume(False)
    assert read(show(expr), NAMES) == expr
    assert show(read(show(expr), NAMES)) == show(expr)


@given(trees)
@settings(max_examples=300, deadline=None)
def test_numbers_are_floats_and_exponents_small(tree: Tree) -> None:
    try:
        expr = read(text_of(tree), NAMES)
    except FormulaError:
        assume(False)
    for node in sympy.preorder_traversal(expr):
        if node.is_Pow:
            assert node.exp.is_Number and 0 < abs(float(node.exp)) <= 12
        numbers = [each for each in node.args if each.is_Number] if not node.is_Pow else []
        assert all(each.is_Float or each is sympy.S.NegativeOne for each in numbers)
        assert all(math.isfinite(float(each)) for each in numbers)


pieces = st.sampled_from([*FUNCTIONS, "p", "hole.r", "ring.x", "(", ")", "**", "*", "-", ",", "2", "9e99"])
any_text = st.one_of(
    st.text(max_size=60),
    st.text(alphabet="pq.next0123456789e+-*/(), rt_%^'", max_size=200),
    st.lists(pieces).map(" ".join),
)


@given(any_text)
@settings(max_examples=600, deadline=timedelta(seconds=1))
def test_any_text_is_read_or_is_a_fault_at_once(text: str) -> None:
    for reader in (lambda: read(text, NAMES), lambda: names_in(text)):
        try:
            reader()
        except FormulaError as error:
            assert 0 <= error.place <= len(text) and error.found and error.allowed
            assert error.caret()


# What is read ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "expr"), [
    ("spacing - p - 2*bush", spacing - p - number(2) * bush),
    ("p - q/bush + p*q**2", p - q / bush + p * q**2),
    ("-p**2", -(p**2)),
    ("p/q/bush", p / q / bush),
    ("p - (q - bush)", p - q + bush),
    ("-(p + q)", -p - q),
    ("p**-2", p**-2),
    ("p**0.5", sympy.sqrt(p)),
    ("sqrt(p)", sympy.sqrt(p)),
    ("p**(1/2)", sympy.sqrt(p)),
    ("hypot(p, q)", Length(p, q)),
    ("min(p, q, 0)", Least(p, q, number(0))),
    ("max(p, q)", Greatest(p, q)),
    ("abs(p)", Magnitude(p)),
    ("atan2(p, q)", sympy.atan2(p, q)),
    ("sin(angle)", sympy.sin(symbol("angle"))),
    ("angle.next", symbol("angle.next")),
    ("p*rollers", p * symbol("rollers")),
    ("p.next.next.next", symbol("p.next.next.next")),
    ("hole.r", symbol("hole.r")),
    ("hole.next.t", symbol("hole.t.next")),
    ("ring.next.next.x", symbol("ring.x.next.next")),
])  # fmt: skip
def test_the_expression_is_the_one_written_with_symbols(text: str, expr: sympy.Expr) -> None:
    assert read(text, NAMES) == expr


def test_symbols_are_real() -> None:
    assert all(each.is_real for each in read("p + hole.r + angle", NAMES).free_symbols)


@pytest.mark.parametrize(("text", "value"), [
    ("2**3**2", 512.0), ("-2**2", -4.0), ("2**-1", 0.5), ("7-2-3", 2.0), ("8/2/2", 2.0), ("- -3", 3.0),
    ("acos(0.5)/deg", 60.0), ("sin(30*deg)", 0.5), ("pi/deg", 180.0), ("min(3, 1, 2)", 1.0),
    ("max(3, 4)", 4.0), ("hypot(3, 4)", 5.0), ("atan2(1, -1)/deg", 135.0),
    ("exp(log(7))", 7.0), ("abs(-3)", 3.0), ("p - p", 0.0),
    ("0*p", 0.0), ("p**0", 1.0), ("1.e1 + .5", 10.5), ("tan(45*deg)", 1.0),
])  # fmt: skip
def test_constants_fold_to_one_float(text: str, value: float) -> None:
    expr = read(text, NAMES)
    assert expr.is_Float
    assert float(expr) == pytest.approx(value, rel=1e-15)


def test_powers_bind_from_the_right() -> None:
    assert float(read("2**2**3", NAMES)) == 256.0
    assert read("p**2**3", NAMES) == p**8


@pytest.mark.parametrize(("one", "other"), [
    ("sqrt(p**2 + q**2)", "hypot(p, q)"), ("sqrt(p*p + q*q)", "hypot(p, q)"),
    ("(p**2 + q**2)**0.5", "hypot(p, q)"),
    ("(q*q + p**2)**1.5", "hypot(p, q)**3"), ("1/sqrt(p**2 + q**2)", "1/hypot(p, q)"),
    ("sqrt(4*p**2 + q**2)", "hypot(q, 2*p)"), ("sqrt((p**2 + q**2)/4)", "hypot(p, q)/2"),
    ("sqrt((p - q)**2 + bush**2)", "hypot(bush, p - q)"), ("sqrt(p**2)", "abs(p)"),
    ("sqrt(9*p*p)", "3*abs(p)"), ("1/p**0.5", "p**-0.5"), ("1/sqrt(p)/sqrt(p)", "1/sqrt(p)**2"),
    ("(p**2)**1.5", "abs(p)**3"), ("sqrt(p**4)", "p**2"), ("abs(p**2)", "p**2"), ("abs(abs(p))", "abs(p)"),
    ("p + p", "2*p"), ("p*p", "p**2"), ("(p**2)**3", "p**6"), ("1/(1/p)", "p"), ("p + q", "q + p"),
    ("p*q", "q*p"), ("2*(3*p)", "6*p"), ("p/(2*q)", "0.5*p/q"), ("1*p + 0", "p"), ("-1*p", "-p"),
    ("3*(p + q) - 2*(p + q)", "p + q"), ("+p", "p"), ("p - -q", "p + q"), ("1/(p*q)", "1/p/q"),
])  # fmt: skip
def test_the_same_thing_written_two_ways(one: str, other: str) -> None:
    assert read(one, NAMES) == read(other, NAMES)


@pytest.mark.parametrize(("text", "shown"), [
    ("sqrt(p**2 + q**2 + bush)", "sqrt(bush + p**2 + q**2)"), ("sqrt(p**2 + 1)", "sqrt(p**2 + 1)"),
    ("sqrt(p**2 - q**2)", "sqrt(p**2 - q**2)"),
    ("p/p", "p/p"), ("0*log(p)", "0*log(p)"), ("log(p) - log(p)", "0*log(p)"), ("sqrt(p)**2", "sqrt(p)**2"),
    ("exp(log(p))", "exp(log(p))"), ("sin(asin(p))", "sin(asin(p))"), ("0/p", "0/p"),
])  # fmt: skip
def test_what_may_be_undefined_is_never_cancelled(text: str, shown: str) -> None:
    assert show(read(text, NAMES)) == shown


@pytest.mark.parametrize(("text", "shown"), [
    ("-p + spacing - 2*bush", "spacing - p - 2*bush"), ("1*p", "p"), ("-1*p*q", "-p*q"), ("p*0.5", "p/2"),
    ("2*pi*p", "2*pi*p"), ("30*deg*p", "pi*p/6"), ("acos(p)/deg", "acos(p)/deg"), ("p/3", "p/3"),
    ("0.1*p", "0.1*p"), ("(0.1 + 0.2)*p", "0.30000000000000004*p"), ("p/(q*bush)", "p/(bush*q)"),
    ("1/p**2", "1/p**2"), ("p**1.5", "p**1.5"), ("(p + q)**2*bush", "bush*(p + q)**2"),
    ("1/sqrt(p)", "1/sqrt(p)"), ("(-p)**2", "(-p)**2"),
    ("1 - p", "1 - p"), ("-1 - p", "-p - 1"), ("p**(1/3)", "p**(1/3)"), ("hole.next.r", "hole.next.r"),
    ("min(p, -q, 2)", "min(p, -q, 2)"), ("max(p, q)*abs(bush)", "max(p, q)*abs(bush)"),
    ("p**7*p**7", "p**2*p**12"), ("1e-5*p", "1e-05*p"), ("2.5e20", "2.5e+20"), ("-2/3", "-2/3"),
    ("p - p", "0"),
])  # fmt: skip
def test_text_for_the_screen(text: str, shown: str) -> None:
    expr = read(text, NAMES)
    assert show(expr) == shown
    assert read(shown, NAMES) == expr


@pytest.mark.parametrize("expr", [
    (spacing - p / 2) * sympy.pi, sympy.Rational(3, 7) * p - q, 2 * p**2 / 3 - sympy.sqrt(q) / (p + 1),
    sympy.Max(p, q) - sympy.Min(p, 2) + sympy.Abs(q), -p * (q - 1) ** -3, sympy.Rational(1, 2),
    Length(p - 1, q * sympy.pi / 180), p ** sympy.Rational(2, 3) + q - q / p, sympy.cos(sympy.pi * p / 6),
])  # fmt: skip
def test_an_expression_of_sympys_own_is_shown_with_the_same_value(expr: sympy.Expr) -> None:
    values = {symbol(name): abs(value) for name, value in VALUES.items()}
    back = read(show(expr), NAMES)
    as_number = [value_of_expr_at(each, values) for each in (expr, back)]
    assert as_number[0] == pytest.approx(as_number[1], rel=1e-12)


def value_of_expr_at(expr: sympy.Expr, values: dict[Any, float]) -> float:
    plain = {Least: sympy.Min, Greatest: sympy.Max, Magnitude: sympy.Abs}
    for node, function in {**plain, Length: lambda a, b: sympy.sqrt(a**2 + b**2)}.items():
        expr = expr.replace(node, function)
    return float(expr.subs(values))


# Names ----------------------------------------------------------------------------------------------------


def test_names_are_found_with_part_and_place_and_need_not_be_known() -> None:
    assert names_in("foo - 2*bar.next.r + pi*deg*angle*rollers + foo") == [
        Reference("foo", None, 0, 0), Reference("bar", "r", 1, 8), Reference("foo", None, 0, 44),
    ]  # fmt: skip


def test_a_reference_knows_its_symbol() -> None:
    references = names_in("a + a.next.next + z.next.t")
    assert [each.symbol for each in references] == ["a", "a.next.next", "z.t.next"]


def test_names_in_finds_the_same_grammar_faults() -> None:
    for text in ("a +", "a.foo", "a.next.next.next.next", "a.r.next", "sin", "1/(a - a)", "foo(a)", "pi.r"):
        with pytest.raises(FormulaError):
            names_in(text)


def test_the_words_of_the_grammar_are_reserved() -> None:
    assert {*FUNCTIONS, "pi", "deg", "angle", "rollers"} == RESERVED


# Faults ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "place", "found", "allowed", "nearest"), [
    ("", 0, "end of the formula", "a number, a name", None),
    ("  \n", 3, "end of the formula", "a number, a name", None),
    ("p +", 3, "end of the formula", "a number, a name", None),
    ("p + * q", 4, "*", "a number, a name", None),
    ("p // q", 3, "/", "a number, a name", None),
    ("*p", 0, "*", "a number", None),
    ("(p + q", 6, "end of the formula", "closing bracket", None),
    ("p + q)", 5, ")", "operator", None),
    ("()", 1, ")", "a number", None),
    ("sin()", 4, ")", "a number", None),
    ("p q", 2, "q", "operator", None),
    ("2p", 1, "p", "operator", None),
    ("2(p)", 1, "(", "operator", None),
    ("1.5.2", 3, ".2", "operator", None),
    ("2,5*p", 1, ",", "operator", None),
    ("(p, q)", 2, ",", "closing bracket", None),
    ("p $ q", 2, "'$'", "numbers, names", None),
    ("p^2", 1, "'^'", "numbers, names", "**"),
    ("p % q", 2, "'%'", "numbers, names", None),
    ("'p'", 0, "\"'\"", "numbers, names", None),
    ('"p"', 0, "'\"'", "numbers, names", None),
    ("__import__('os')", 11, "\"'\"", "numbers, names", None),
    ("__import__(p)", 0, "unknown function __import__", "sqrt sin", None),
    ("p.__class__", 1, ".__class__", "no parts", None),
    ("().__class__", 2, "'.'", "numbers, names", None),
    ("p[0]", 1, "'['", "numbers, names", "("),
    ("lambda p: p", 8, "':'", "numbers, names", None),
    ("p == q", 2, "'='", "numbers, names", None),
    ("p < q", 2, "'<'", "numbers, names", None),
    ("p = 2", 2, "'='", "numbers, names", None),
    ("p; q", 1, "';'", "numbers, names", ","),
    ("p − q", 2, "U+2212", "numbers, names", "-"),
    ("р + q", 0, "U+0440", "numbers, names", None),  # the Cyrillic look-alike of p
    ("p\u00a0+ q", 1, "U+00A0", "numbers, names", None),
    ("p + ２", 4, "U+FF12", "numbers, names", None),
    ("p\x00", 1, "\\x00", "numbers, names", None),
    ("p\x1b[31m", 1, "\\x1b", "numbers, names", None),
    ("p\nq", 2, "q", "operator", None),
    ("hole", 0, "zone hole without a part", "hole.r, hole.t", None),
    ("2*hole.next", 2, "zone hole without a part", "hole.r, hole.t", None),
    ("hole.x", 4, ".x", "hole.r, hole.t", None),
    ("ring.z", 4, ".z", "ring.r, ring.t, ring.x, ring.y", None),
    ("hole.nxt", 4, ".nxt", "hole.r, hole.t", "next"),
    ("p.r", 1, ".r", "no parts", None),
    ("p.next.r", 6, ".r", "no parts", None),
    ("p.", 1, ".", "no parts", None),
    ("hole.r.next", 4, "hole.r.next", "hole.next.r", None),
    ("hole.r.t", 4, "hole.r.t", "one part", None),
    ("p.next.next.next.next", 1, ".next 4 times", "at most 3", None),
    ("angle.r", 5, ".r", "no parts", None),
    ("rollers.next", 7, "rollers.next", "rollers alone", None),
    ("pi.next", 2, "pi.next", "pi alone", None),
    ("p + buhs", 4, "unknown name buhs", "dimensions", "bush"),
    ("BUSH", 0, "unknown name BUSH", "dimensions", "bush"),
    ("Pi", 0, "unknown name Pi", "dimensions", "pi"),
    ("zzzzzzzz", 0, "unknown name zzzzzzzz", "dimensions", None),
    ("sin", 0, "sin without brackets", "sin(…) with 1 argument", None),
    ("2*max + 1", 2, "max without brackets", "2 or more", None),
    ("sin.r", 0, "unknown function sin.r", "sqrt sin", "sin"),
    ("cosh(p)", 0, "unknown function cosh", "sqrt sin", "cos"),
    ("bush(2)", 0, "unknown function bush", "sqrt sin", None),
    ("sin(p, q)", 0, "sin with 2 arguments", "1 argument", None),
    ("hypot(p)", 0, "hypot with 1 argument", "2 arguments", None),
    ("atan2(p, q, 1)", 0, "atan2 with 3 arguments", "2 arguments", None),
    ("1 + min(p)", 4, "min with 1 argument", "2 or more arguments", None),
    ("min(p,)", 6, ")", "a number", None),
    ("p**q", 3, "not constant", "12 in magnitude", None),
    ("2**p", 3, "not constant", "12 in magnitude", None),
    ("p**13", 3, "exponent 13", "12 in magnitude", None),
    ("p**-13", 3, "exponent -13", "12 in magnitude", None),
    ("9**9**9**9", 6, "exponent 387420489", "12 in magnitude", None),
    ("(p**12)**12", 9, "exponent 144", "powers of powers", None),
    ("1e999", 0, "number too large", "1.8e308", None),
    ("1e200*1e200", 6, "number too large", "1.8e308", None),
    ("exp(1000)", 0, "number too large", "1.8e308", None),
    ("p + 1e308 + 1e308", 10, "number too large", "1.8e308", None),
    ("1e200**2", 0, "number too large", "1.8e308", None),
    ("p/0", 2, "division by zero", "other than zero", None),
    ("1/(p - p)", 2, "division by zero", "other than zero", None),
    ("0**-1", 0, "division by zero", "other than zero", None),
    ("p + log(-1)", 4, "no value", "defined", None),
    ("sqrt(2 - 3)", 0, "no value", "defined", None),
    ("asin(2)", 0, "no value", "defined", None),
    ("log(0)", 0, "no value", "defined", None),
    ("(-8)**(1/3)", 0, "no value", "defined", None),
])  # fmt: skip
def test_a_fault_says_where_what_and_what_is_allowed(
    text: str, place: int, found: str, allowed: str, nearest: str | None
) -> None:
    error = fault(text)
    assert error.place == place
    assert found in error.found
    assert allowed in error.allowed
    assert error.nearest == nearest
    caret = error.caret().splitlines()[1]
    assert caret.index("^") == 2 + place


@pytest.mark.parametrize("text", ["p.next", "angle.next", "1 + p.next.next"])
def test_a_pocket_alone_has_no_neighbours(text: str) -> None:
    error = fault(text, LONE)
    assert ".next" in error.found and 'kind = "none"' in error.allowed
    assert read("p*angle", LONE) == p * symbol("angle")


def nest(opening: str, inside: str, closing: str, levels: int = 60) -> str:
    return opening * levels + inside + closing * levels


@pytest.mark.parametrize("text", [
    nest("(", "p**2", ")"), nest("sqrt(", "p", ")"), nest("-(", "p + q", ")"), nest("(1+2*", "p", ")**12"),
    nest("sqrt(1+2*", "p", ")**3"), nest("atan2(q,1+3*sin(", "p", "))", 30), nest("hypot(p-q,1-q*", "p", ")"),
    nest("(1+q/(", "p", ")**3)", 30), nest("p*(p-", "q", ")"), nest("exp(log(", "p", "))", 30),
    "p" + "**1" * 600, "-" * 1999 + "p", "p" + "*p" * 999, "p" + "/p" * 999, "p" + "+p" * 999,
    "+".join(f"{i}*sin({i}*p)" for i in range(130)), "*".join(["p**12"] * 300), nest("2/(", "p", ")"),
])  # fmt: skip
def test_the_largest_formulas_are_read_shown_and_read_again_at_once(text: str) -> None:
    start = time.perf_counter()
    expr = read(text, NAMES)
    assert time.perf_counter() - start < 1
    assert show(expr)
    if len(show(expr)) <= 2000:
        assert read(show(expr), NAMES) == expr


@pytest.mark.parametrize(("text", "found"), [
    ("(" * 5000, "5000 characters"), ("(" * 1000, "("), (nest("(", "p", ")", 61), "("),
    (nest("sin(", "p", ")", 61), "("), (nest("(2*", "p", ")**12"), "powers of powers"),
    (nest("(", "p", "**12)"), "powers of powers"), ("p" + " " * 2000, "2001 characters"),
    ("9" * 2000, "too large"),
    ("2" + "**2" * 600, "exponent"), ("1e" + "9" * 1990, "too large"), ("(p*p)**12", "powers of powers"),
])  # fmt: skip
def test_beyond_a_limit_is_a_fault_at_once(text: str, found: str) -> None:
    start = time.perf_counter()
    assert found in fault(text).found
    assert time.perf_counter() - start < 1


def test_the_limits_themselves_are_allowed() -> None:
    assert read("p" + " " * 1999, NAMES) == p
    assert read(nest("(", "p", ")"), NAMES) == p
    assert read("p**12 + p**-12", NAMES) == p**12 + p**-12
