"""Every fault a case file can have: one message, at its line, with what is allowed and the nearest name.

The mark ``#!`` stands in each text at the line of its one fault (no mark: the fault has no line).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from case_texts import LEAST

from stackup.errors import Fault

FaultsOf = Callable[[str], list[Fault]]


@dataclass(frozen=True)
class Wrong:
    """A text added to the least case, or put in the place of ``instead_of``, and its one fault."""

    name: str
    text: str
    key: str
    found: str
    near: str | None = None
    allowed: str = ""
    instead_of: str = ""

    def case(self) -> str:
        """Return the whole case file."""
        if not self.instead_of:
            return LEAST + self.text
        assert LEAST.count(self.instead_of) == 1
        return LEAST.replace(self.instead_of, self.text)


PIN = "[dimensions.pin_diameter]\nnominal = 17.4\n"


def pin(name: str, text: str, key: str, found: str, *, near: str | None = None, allowed: str = "") -> Wrong:
    """Return what is wrong with lines added to the pin."""
    return Wrong(name, PIN + text, f"dimensions.pin_diameter.{key}", found, near, allowed, PIN)


def nominal(
    name: str, text: str, key: str, found: str, *, near: str | None = None, allowed: str = ""
) -> Wrong:
    """Return what is wrong with lines in the place of the pin's nominal."""
    return Wrong(name, text, f"dimensions.pin_diameter.{key}", found, near, allowed, "nominal = 17.4\n")


def rollers(
    name: str, text: str, key: str, found: str, *, near: str | None = None, allowed: str = ""
) -> Wrong:
    """Return what is wrong with lines in the place of the number of rollers."""
    return Wrong(name, text, key, found, near, allowed, "rollers = 8\n")


def seat(name: str, text: str, key: str, found: str, *, near: str | None = None, allowed: str = "") -> Wrong:
    """Return what is wrong with lines added to a zone."""
    text = f"[dimensions.pin_seat_a]\nzone = 1\n{text}"
    return Wrong(name, text, f"dimensions.pin_seat_a.{key}", found, near, allowed)


def chain(name: str, text: str, found: str, *, near: str | None = None, allowed: str = "") -> Wrong:
    """Return what is wrong with the formula of a chain."""
    return Wrong(name, f"[chains.c]\nformula = {text}", "chains.c.formula", found, near, allowed)


def rule(name: str, text: str, key: str, found: str, *, near: str | None = None, allowed: str = "") -> Wrong:
    """Return what is wrong with a requirement on a built-in gap."""
    text = f"[requirements.bore_clearance]\n{text}"
    return Wrong(name, text, f"requirements.bore_clearance.{key}", found, near, allowed)


def run(name: str, text: str, key: str, found: str, *, near: str | None = None, allowed: str = "") -> Wrong:
    """Return what is wrong with [run]."""
    return Wrong(name, f"[run]\n{text}", f"run.{key}", found, near, allowed)


KEYS = [
    Wrong("top", "[dimension.x] #!\nnominal = 1\n", "dimension", "the key dimension", near="dimensions"),
    rollers("cage", "rollers = 8\nrolers = 8 #!\n", "cage.rolers", "the key rolers", near="rollers"),
    pin("dimension", "tolerence = 1 #!\n", "tolerence", "the key tolerence", near="tolerance"),
    nominal("form misspelt", "nominl = 17.4 #!\n", "nominl", "the key nominl", near="nominal"),
    pin("process", "process = { cpp = 1 } #!\n", "process.cpp", "the key cpp", near="cp"),
    pin(
        "pattern",
        "process.pattern = [{ order = 1, amplitude = 1 },\n { order = 2, amplitude = 1, fase = 2 }] #!\n",
        "process.pattern[1].fase",
        "the key fase",
        near="phase",
    ),
    pin(
        "cost",
        "cost = { model = 'reciprocal', fixed = 1, rate = 2, powr = 1 } #!\n",
        "cost.powr",
        "the key powr",
        near="power",
    ),
    Wrong(
        "chain",
        "[chains.c]\nformula = '1'\nunits = 'mm' #!\n",
        "chains.c.units",
        "the key units",
        near="unit",
    ),
    Wrong(
        "formula misspelt",
        "[chains.c]\nformla = '1' #!\n",
        "chains.c.formla",
        "the key formla",
        near="formula",
    ),
    rule("requirement", "min = 1\nmaximum = 2 #!\n", "maximum", "the key maximum", near="max"),
    rule("allow", "min = 1\nallow = { ppm = 1, off = 'cages' } #!\n", "allow.off", "the key off", near="of"),
    run("run", "sead = 1 #!\n", "sead", "the key sead", near="seed"),
    seat(
        "shift of a zone",
        "process.shift = 1 #!\n",
        "process.shift",
        "the key shift",
        allowed="process of a zone",
    ),
    seat("cpk of a zone", "process.cpk = 1 #!\n", "process.cpk", "the key cpk"),
    pin("offset of a size", "process.offset = [1, 2] #!\n", "process.offset", "the key offset"),
    Wrong(
        "pattern of a runout",
        "[dimensions.roller_bore_runout]\nlimit = 1\nprocess.pattern = [] #!\n",
        "dimensions.roller_bore_runout.process.pattern",
        "the key pattern",
    ),
    pin("bonus of a size", "bonus_from = 'roller_bore' #!\n", "bonus_from", "the key bonus_from"),
    Wrong(
        "process of values",
        "[dimensions.roller_bore_runout]\nvalues = [0, 0, 0, 0, 0, 0, 0, 0]\nprocess = {} #!\n",
        "dimensions.roller_bore_runout.process",
        "the key process",
    ),
    rollers(
        "option of another kind",
        "weld_fixtur = 'centres' #!\nrollers = 8\n",
        "cage.weld_fixtur",
        "the key weld_fixtur",
        near="weld_fixture",
    ),
]

VALUES = [
    nominal("text for a number", "nominal = 'wide' #!\n", "nominal", '"wide"', allowed="a number"),
    nominal("number as text", "nominal = '17.4' #!\n", "nominal", '"17.4"', near="17.4"),
    nominal("decimal comma as text", "nominal = '17,4' #!\n", "nominal", '"17,4"', near="17.4"),
    nominal("unit as text", "nominal = '17.4 mm' #!\n", "nominal", '"17.4 mm"', near="17.4"),
    pin("plus-minus as text", "tolerance = '±0.018' #!\n", "tolerance", '"±0.018"', near="0.018", allowed="a pair"),
    pin("class or number", "tolerance = 'tight' #!\n", "tolerance", '"tight"', allowed="plus-minus such as 0.02"),
    nominal("nominal of nothing", "nominal = 0 #!\n", "nominal", "0", allowed="above 0"),
    nominal("negative nominal", "nominal = -17.4 #!\n", "nominal", "-17.4", allowed="above 0"),
    pin("tolerance below nothing", "tolerance = 20 #!\n", "tolerance", "a lower limit of -2.6 mm", allowed="above 0"),
    pin("process a number", "process = 1.33 #!\n", "process", "1.33", allowed="{ cp = 1.33 }"),
    nominal("true for a number", "nominal = true #!\n", "nominal", "true", allowed="a number"),
    nominal("nan", "nominal = nan #!\n", "nominal", "nan", allowed="finite"),
    nominal("inf", "nominal = -inf #!\n", "nominal", "-inf", allowed="finite"),
    nominal("huge", "nominal = 1e300 #!\n", "nominal", "1e300", allowed="at most 1e+12"),
    nominal(
        "huge whole number",
        "nominal = " + "9" * 400 + " #!\n",
        "nominal",
        "a whole number of about 400 digits",
    ),
    nominal("date", "nominal = 1979-05-27 #!\n", "nominal", "a date"),
    pin("negative tolerance", "tolerance = -0.1 #!\n", "tolerance", "-0.1"),
    pin("text in a pair", "tolerance = [0.1,\n 'x'] #!\n", "tolerance[1]", '"x"', allowed="a number"),
    pin("three deviations", "tolerance = [1, 2, 3] #!\n", "tolerance", "[1, 2, 3]", allowed="exactly 2"),
    pin("table for a tolerance", "tolerance = {} #!\n", "tolerance", "a table", allowed="ISO 286-1"),
    pin("reversed deviations", "tolerance = [0.1, -0.1] #!\n", "tolerance", "[0.1, -0.1]"),
    pin("no such class", "tolerance = 'h99' #!\n", "tolerance", '"h99"', allowed="ISO 286-1: h1 to h18"),
    nominal(
        "class of a negative size", "nominal = -3 #!\ntolerance = 'h7'\n", "nominal", "-3", allowed="3150"
    ),
    nominal("class of a large size", "nominal = 4000 #!\ntolerance = 'h7'\n", "nominal", "4000"),
    Wrong(
        "class of an angle",
        "[dimensions.x]\nnominal = 3\nunit = 'deg'\ntolerance = 'h7' #!\n[chains.c]\nformula = 'x'\n",
        "dimensions.x.tolerance",
        '"h7" of a size in deg',
    ),
    Wrong("negative zone", "[dimensions.pin_seat_a]\nzone = -1 #!\n", "dimensions.pin_seat_a.zone", "-1"),
    Wrong(
        "negative limit",
        "[dimensions.roller_bore_runout]\nlimit = -1 #!\n",
        "dimensions.roller_bore_runout.limit",
        "-1",
    ),
    rollers("rollers of 2", "rollers = 2 #!\n", "cage.rollers", "2", allowed="3 … 500"),
    rollers("rollers of 501", "rollers = 501 #!\n", "cage.rollers", "501"),
    rollers("rollers of 8.0", "rollers = 8.0 #!\n", "cage.rollers", "8.0", near="8", allowed="whole"),
    rollers("rollers as text", "rollers = '8' #!\n", "cage.rollers", '"8"', near="8", allowed="whole"),
    rollers("no rollers", "", "cage.rollers", "nothing"),
    Wrong(
        "kind",
        'kind = "cylindric" #!\n',
        "cage.kind",
        '"cylindric"',
        near="cylindrical",
        instead_of='kind = "cylindrical"\n',
    ),
    Wrong("kind a number", "kind = 3 #!\n", "cage.kind", "3", instead_of='kind = "cylindrical"\n'),
    rollers(
        "option",
        'weld_fixture = "centers" #!\nrollers = 8\n',
        "cage.weld_fixture",
        '"centers"',
        near="centres",
    ),
    rollers("modulus", "pin_modulus = 0 #!\nrollers = 8\n", "cage.pin_modulus", "0", allowed="above 0"),
    pin("scope", "scope = 'pin' #!\n", "scope", '"pin"'),
    pin("part", "part = 'ring_c' #!\n", "part", '"ring_c"', near="ring_b"),
    pin("feature", "feature = 'shft' #!\n", "feature", '"shft"', near="shaft"),
    pin("lot_share", "lot_share = 1.5 #!\n", "lot_share", "1.5"),
    pin("sorted_to", "sorted_to = 0 #!\n", "sorted_to", "0"),
    Wrong("title", LEAST.replace("[cage]", "title = 1 #!\n[cage]"), "title", "1", instead_of=LEAST),
    Wrong(
        "dimension a number",
        "dimensions.x = 1 #!\n" + LEAST,
        "dimensions.x",
        "1",
        allowed="a table",
        instead_of=LEAST,
    ),
    pin("steps", "steps = 'R7' #!\n", "steps", '"R7"'),
    pin("locked", "locked = 1 #!\n", "locked", "1", allowed="true or false"),
    pin("finest", "finest = 0.2 #!\ncoarsest = 0.1\n", "finest", "0.2 above coarsest"),
    pin("nominal_range", "nominal_range = [2, 1] #!\n", "nominal_range", "[2, 1]"),
    pin(
        "cost model",
        "cost = { model = 'reciproc', fixed = 1, rate = 1 } #!\n",
        "cost.model",
        '"reciproc"',
        near="reciprocal",
    ),
    pin("cost without rate", "cost = { model = 'reciprocal', fixed = 1 } #!\n", "cost.rate", "nothing"),
    pin(
        "choices twice",
        "choices = [{ name = 'a', tolerance = 1, cost = 1 },\n{ name = 'a', tolerance = 2, cost = 1 }] #!\n",
        "choices[1].name",
        '"a" a second time',
    ),
    seat(
        "choice of a zone",
        "choices = [{ name = 'a', tolerance = 'h7', cost = 1 }] #!\n",
        "choices[0].tolerance",
        "no number",
    ),
    pin(
        "choice reversed",
        "choices = [{ name = 'a', tolerance = [1, 0], cost = 1 }] #!\n",
        "choices[0].tolerance",
        "[1, 0]",
    ),
    pin(
        "choice of no class",
        "choices = [{ name = 'a', tolerance = 'h99', cost = 1 }] #!\n",
        "choices[0].tolerance",
        '"h99"',
    ),
    pin(
        "choice with cpk and shift",
        "choices = [{ name = 'a', tolerance = 1, cost = 1, cpk = 1, shift = 0.1 }] #!\n",
        "choices[0].cpk",
        "cpk beside shift",
    ),
    pin("no choices", "choices = [] #!\n", "choices", "[]"),
]

PROCESS = [
    pin("shape", "process.shape = 'norml' #!\n", "process.shape", '"norml"', near="normal"),
    pin("shape of another form", "process.shape = 'rayleigh' #!\n", "process.shape", '"rayleigh"'),
    pin("cp", "process.cp = 0 #!\n", "process.cp", "0"),
    pin("beta without b", "process = { shape = 'beta', a = 1 } #!\n", "process.b", "nothing"),
    pin("trapezoid", "process = { shape = 'trapezoid' } #!\n", "process.flat", "nothing"),
    Wrong(
        "lognormal",
        "[dimensions.roller_bore_runout]\nlimit = 1\nprocess.shape = 'lognormal' #!\n",
        "dimensions.roller_bore_runout.process.sigma",
        "nothing",
    ),
    pin("flat", "process = { shape = 'trapezoid', flat = 2 } #!\n", "process.flat", "2"),
    pin("mode", "process = { shape = 'triangular', mode = 2 } #!\n", "process.mode", "2"),
    pin("mode of a normal", "process = { mode = 0.5 } #!\n", "process.mode", "mode without"),
    pin(
        "cpk above cp",
        "process = { cp = 1, cpk = 1.2, toward = 'upper' } #!\n",
        "process.cpk",
        "1.2",
        allowed="at most cp",
    ),
    pin("cpk without toward", "process = { cp = 1.2, cpk = 1 } #!\n", "process.toward", "nothing"),
    pin("cpk beside shift", "process = { cpk = 1, shift = 0.1 } #!\n", "process.cpk", "beside shift"),
    pin("toward alone", "process = { toward = 'upper' } #!\n", "process.toward", "upper"),
    pin(
        "toward",
        "process = { cp = 1.2, cpk = 1, toward = 'uper' } #!\n",
        "process.toward",
        '"uper"',
        near="upper",
    ),
    pin("inspected", "process.inspected = 'yes' #!\n", "process.inspected", '"yes"'),
    pin("measured without data", "process.shape = 'measured' #!\n", "process.data", "nothing"),
    pin("how without data", "process.how = 'smoothed' #!\n", "process.how", "how without data"),
    pin("subgroup without data", "process.subgroup = 'a' #!\n", "process.subgroup", "subgroup without data"),
    Wrong(
        "drift of a cage",
        "[dimensions.ring_phase]\ntolerance = 1\nprocess.drift = 1 #!\n",
        "dimensions.ring_phase.process.drift",
        "drift of a dimension of scope cage",
    ),
    Wrong(
        "pattern of a cage",
        "[dimensions.ring_offset]\nzone = 1\nprocess.pattern = [{ order = 1 }] #!\n",
        "dimensions.ring_offset.process.pattern",
        "pattern of a dimension of scope cage",
    ),
    pin("order", "process.pattern = [{ order = -1, amplitude = 1 }] #!\n", "process.pattern[0].order", "-1"),
    pin(
        "r of a size",
        "process.pattern = [{ order = 1, amplitude = 1, r = 1 }] #!\n",
        "process.pattern[0].r",
        "the key r",
    ),
    seat("drift of a zone", "process.drift = 1 #!\n", "process.drift", "1"),
    pin(
        "nothing inside",
        "tolerance = 0.01\nprocess = { shift = 5.0, inspected = true } #!\n",
        "process.inspected",
        "inside the drawing",
    ),
]

DIMENSIONS = [
    pin("nominal beside zone", "zone = 1 #!\n", "zone", "nominal beside zone"),
    Wrong(
        "nothing",
        "[dimensions.pin_seat_a] #!\npart = 'pin'\n",
        "dimensions.pin_seat_a",
        "none of nominal, zone, limit, values",
    ),
    nominal(
        "tolerance alone",
        "tolerance = 0.1\n",
        "nominal",
        "a tolerance without nominal",
        allowed="only ring_phase",
    ),
    nominal("class alone", "tolerance = 'h7'\n", "nominal", "a tolerance without nominal", allowed="only ring_phase"),
    Wrong(
        "class of nothing",
        "[dimensions.ring_phase]\ntolerance = 'h7' #!\n",
        "dimensions.ring_phase.tolerance",
        '"h7" of a nominal of 0',
        allowed="sizes above 0",
    ),
    nominal("zone for a size", "zone = 0.1 #!\n", "zone", "zone", allowed="pin_diameter is a size"),
    Wrong(
        "size for a zone",
        "[dimensions.pin_seat_a]\nnominal = 0.1 #!\n",
        "dimensions.pin_seat_a.nominal",
        "nominal",
        allowed="is a zone",
    ),
    Wrong(
        "tolerance for a zone",
        "[dimensions.pin_seat_a]\ntolerance = 0.1 #!\n",
        "dimensions.pin_seat_a.tolerance",
        "tolerance",
        allowed="is a zone",
    ),
    Wrong(
        "tolerance and bonus for a zone",
        "[dimensions.hole_position_b]\ntolerance = 0.1 #!\nbonus_from = 'roller_bore'\nprocess.offset = [1, 2]\n",
        "dimensions.hole_position_b.tolerance",
        "tolerance, which makes a size",
        allowed="is a zone",
    ),
    Wrong(
        "bore as large as its roller",
        "nominal = 50.0 #!\n",
        "dimensions.roller_bore.nominal",
        "a bore of 50 in a roller of 50",
        allowed="roller_diameter",
        instead_of="nominal = 18.0\n",
    ),
    Wrong(
        "roller longer than between the rings",
        "nominal = 61.5 #!\n",
        "dimensions.roller_length.nominal",
        "a roller of 61.5 between rings 61 apart",
        allowed="ring_spacing",
        instead_of="nominal = 60.0\n",
    ),
    Wrong(
        "size for a runout",
        "[dimensions.roller_bore_runout]\nnominal = 0.1 #!\n",
        "dimensions.roller_bore_runout.nominal",
        "nominal",
        allowed="one-sided",
    ),
    Wrong(
        "scope back",
        "nominal = 150.0\nscope = 'pocket' #!\n",
        "dimensions.hole_pitch_diameter.scope",
        '"pocket"',
        instead_of="nominal = 150.0\n",
    ),
    Wrong(
        "unused",
        "[dimensions.bush] #!\nnominal = 4\n",
        "dimensions.bush",
        "bush, which is no slot and which no formula uses",
    ),
    Wrong(
        "misspelt optional slot",
        "[dimensions.pin_seatb] #!\nzone = 4\n",
        "dimensions.pin_seatb",
        "pin_seatb",
        near="pin_seat_b",
    ),
    Wrong(
        "misspelt required slot",
        "[dimensions.pin_diametr] #!\n",
        "dimensions.pin_diametr",
        "pin_diametr",
        near="pin_diameter",
        instead_of="[dimensions.pin_diameter]\n",
    ),
    Wrong("missing slot", "", "dimensions.pin_diameter", "nothing", allowed="pin_diameter", instead_of=PIN),
    Wrong(
        "never negative",
        "[dimensions.weld_shrinkage]\nnominal = 0.1\ntolerance = 0.2 #!\n",
        "dimensions.weld_shrinkage.tolerance",
        "a lower limit of -0.1 mm",
    ),
    Wrong(
        "never negative, exact",
        "[dimensions.weld_shrinkage]\nnominal = -0.1 #!\n",
        "dimensions.weld_shrinkage.nominal",
        "a lower limit of -0.1 mm",
    ),
    pin("unit of a slot", "unit = 'in' #!\n", "unit", '"in"'),
    pin("degrees of a slot", "unit = 'deg' #!\n", "unit", '"deg"'),
    Wrong(
        "unit of an own dimension",
        "[dimensions.x]\nnominal = 1\nunit = 'in' #!\n[chains.c]\nformula = 'x'\n",
        "dimensions.x.unit",
        '"in"',
        allowed="deg",
    ),
    Wrong(
        "empty unit",
        "[dimensions.x]\nnominal = 1\nunit = '' #!\n[chains.c]\nformula = 'x'\n",
        "dimensions.x.unit",
        '""',
    ),
    pin(
        "sorted and lot_share",
        "lot_share = 0.1\nsorted_to = 0.1 #!\n",
        "sorted_to",
        "sorted_to beside lot_share",
    ),
    Wrong(
        "sorted cage",
        "nominal = 61.0\nsorted_to = 0.1 #!\n",
        "dimensions.ring_spacing.sorted_to",
        "sorted_to of a dimension of scope cage",
        instead_of="nominal = 61.0\n",
    ),
    Wrong(
        "lot_share of a cage",
        "nominal = 61.0\nlot_share = 0.1 #!\n",
        "dimensions.ring_spacing.lot_share",
        "lot_share of a dimension of scope cage",
        instead_of="nominal = 61.0\n",
    ),
    pin("many classes", "tolerance = 1\nsorted_to = 1e-6 #!\n", "sorted_to", "classes"),
    seat(
        "bonus from nothing",
        "bonus_from = 'pin_diametr' #!\n",
        "bonus_from",
        "pin_diametr, which is not in this file",
        near="pin_diameter",
    ),
    seat(
        "bonus without feature", "bonus_from = 'roller_length' #!\n", "bonus_from", "no size with a feature"
    ),
    seat("bonus from a zone", "bonus_from = 'pin_seat_a' #!\n", "bonus_from", "no size with a feature"),
    Wrong(
        "bonus of a cage",
        "[dimensions.ring_offset]\nzone = 1\nbonus_from = 'pin_diameter' #!\n",
        "dimensions.ring_offset.bonus_from",
        "differs from pocket to pocket",
    ),
    Wrong(
        "values of a cage",
        "values = [1, 2, 3, 4, 5, 6, 7, 8] #!\n",
        "dimensions.ring_spacing.values",
        "values of a dimension of scope cage",
        instead_of="nominal = 61.0\n",
    ),
    nominal(
        "values at scope cage",
        "values = [1, 2, 3, 4, 5, 6, 7, 8]\nscope = 'cage' #!\n",
        "scope",
        "values of a dimension of scope cage",
    ),
    nominal("a value of nothing", "values = [1, 2, 3, 4, 5, 6, 7, 0] #!\n", "values", "0", allowed="above 0"),
    nominal("too few values", "values = [17.4, 17.4] #!\n", "values", "2 values", allowed="8"),
    nominal("pairs for a size", "values = [[1, 2], [3, 4]] #!\n", "values", "pairs"),
    Wrong(
        "numbers for a zone",
        "[dimensions.pin_seat_a]\nvalues = [1, 2, 3, 4, 5, 6, 7, 8] #!\n",
        "dimensions.pin_seat_a.values",
        "numbers",
    ),
    Wrong(
        "negative runout",
        "[dimensions.roller_bore_runout]\nvalues = [1, 2, 3, 4, 5, 6, 7, -8] #!\n",
        "dimensions.roller_bore_runout.values",
        "-8",
    ),
    nominal("text among values", "values = [17.4,\n'a'] #!\n", "values[1]", '"a"'),
    nominal(
        "sorting of values",
        "values = [1, 2, 3, 4, 5, 6, 7, 8]\nsorted_to = 1 #!\n",
        "sorted_to",
        "the key sorted_to",
    ),
    nominal("values a number", "values = 3 #!\n", "values", "3"),
]

NAMES = [
    Wrong(
        "dimension like a tag", "[dimensions.'<x>']\nnominal = true #!\n", "dimensions.'<x>'.nominal", "true"
    ),
    Wrong("dimension a function", "[dimensions.sin] #!\nnominal = 1\n", "dimensions.sin", "the name sin"),
    Wrong(
        "dimension in capitals", "[dimensions.Bush] #!\nnominal = 1\n", "dimensions.Bush", "the name 'Bush'"
    ),
    Wrong(
        "dimension a gap",
        "[dimensions.pin_entry] #!\nnominal = 1\n",
        "dimensions.pin_entry",
        "the name pin_entry",
    ),
    Wrong("chain a constant", "[chains.pi] #!\nformula = '1'\n", "chains.pi", "the name pi"),
    Wrong("chain with a dash", "[chains.a-b] #!\nformula = '1'\n", "chains.a-b", "the name 'a-b'"),
    Wrong(
        "chain a gap",
        "[chains.pin_entry] #!\nformula = '1'\n",
        "chains.pin_entry",
        "the name pin_entry",
        allowed="built-in",
    ),
    Wrong(
        "chain a slot",
        "[chains.pin_seat_a] #!\nformula = '1'\n",
        "chains.pin_seat_a",
        "the name pin_seat_a",
        allowed="slot",
    ),
    Wrong(
        "chain a dimension",
        "[dimensions.bush]\nnominal = 1\n[chains.c]\nformula = 'bush'\n[chains.bush] #!\nformula = '1'\n",
        "chains.bush",
        "the name bush",
        allowed="dimension",
    ),
    Wrong(
        "requirement rollers",
        "[requirements.rollers] #!\ngap = 'bore_clearance'\nmin = 0\n",
        "requirements.rollers",
        "the name rollers",
    ),
    Wrong(
        "requirement with a digit first",
        "[requirements.1a] #!\ngap = 'bore_clearance'\nmin = 0\n",
        "requirements.1a",
        "the name '1a'",
    ),
]

CHAINS = [
    chain("unknown name", "'pin_diametr' #!\n", "the unknown name pin_diametr", near="pin_diameter"),
    chain("unknown function", "'sqt(2)' #!\n", "the unknown function sqt", near="sqrt"),
    chain("grammar", "'1 +' #!\n", "the end of the formula"),
    chain("second line", "'''1 +\n 2 ^ 3''' #!\n", "'^'", near="**"),
    Wrong(
        "bare zone",
        "[dimensions.pin_seat_a]\nzone = 1\n[chains.c]\nformula = 'pin_seat_a' #!\n",
        "chains.c.formula",
        "the zone pin_seat_a without a part",
    ),
    chain("x of a pocket's zone", "'pin_seat_a.x' #!\n", "the part .x"),
    chain("part of a size", "'pin_diameter.r' #!\n", "the part .r"),
    chain("too many next", "'pin_diameter.next.next.next.next' #!\n", ".next 4 times"),
    chain("gap left out", "'ring_clearance_outer' #!\n", "outer_guide, ring_outside"),
    Wrong("no formula", "[chains.c] #!\nunit = 'mm'\n", "chains.c.formula", "nothing"),
    chain("formula a number", "3 #!\n", "3", allowed="text"),
    chain("circle of one", "'c + 1' #!\n", "c uses c"),
    Wrong(
        "circle of three",
        "[chains.c]\nformula = 'e' #!\n[chains.d]\nformula = 'c'\n[chains.e]\nformula = 'd + pin_skew'\n",
        "chains.c.formula",
        "c uses e uses d uses c",
    ),
    chain("not finite", "'1/(pin_diameter - 17.4)' #!\n", "not finite at the nominal"),
    chain("slot left out below the line", "'1/weld_shrinkage' #!\n", "not finite at the nominal"),
    chain("root of a negative number", "'sqrt(roller_bore - 20)' #!\n", "not finite at the nominal"),
    Wrong(
        "not finite by another chain",
        "[chains.c]\nformula = 'd + 1'\n[chains.d]\nformula = 'log(bore_clearance - 1)' #!\n",
        "chains.d.formula",
        "not finite at the nominal",
    ),
    chain("too long", "'" + "1+" * 1100 + "1' #!\n", "1+1+"),
    chain("deep", "'" + "(" * 900 + "1" + ")" * 900 + "' #!\n", "("),
    chain("python", "'__import__(1)' #!\n", "the unknown function __import__"),
]

REQUIREMENTS = [
    Wrong(
        "no such gap",
        "[requirements.bore_clearence] #!\nmin = 1\n",
        "requirements.bore_clearence",
        "no gap called bore_clearence",
        near="bore_clearance",
    ),
    Wrong(
        "no such gap, named",
        "[requirements.r]\ngap = 'bore_clearence' #!\nmin = 1\n",
        "requirements.r.gap",
        "no gap called bore_clearence",
        near="bore_clearance",
    ),
    Wrong("gap left out", "[requirements.pin_entry] #!\nmin = 1\n", "requirements.pin_entry", "ring_hole_b is missing"),
    Wrong(
        "gap left out for two",
        "[requirements.ring_clearance_outer] #!\nmin = 1\n",
        "requirements.ring_clearance_outer",
        "outer_guide, ring_outside are missing",
        allowed="the slots outer_guide, ring_outside,",
    ),
    Wrong(
        "no limit",
        "[requirements.bore_clearance] #!\nover = 'least'\n",
        "requirements.bore_clearance",
        "neither min nor max",
    ),
    rule("limits reversed", "min = 2 #!\nmax = 1\n", "min", "min 2 above max 1"),
    rule("over", "min = 1\nover = 'lest' #!\n", "over", '"lest"', near="least"),
    rule("allow without of", "min = 1\nallow = { ppm = 1 } #!\n", "allow.of", "nothing", allowed='of = "pockets" or'),
    rule("allow without ppm", "min = 1\nallow = { of = 'cages' } #!\n", "allow.ppm", "nothing", allowed="ppm = …"),
    rule("allow a number", "min = 1\nallow = 100 #!\n", "allow", "100", allowed='{ ppm = 100, of = "pockets" }'),
    rule("stacks of a cage", "min = 1\nallow = { ppm = 1, of = 'stacks' } #!\n", "allow.of", '"stacks"'),
    rule("ppm 0", "min = 1\nallow = { ppm = 0, of = 'cages' } #!\n", "allow.ppm", "0"),
    rule("of", "min = 1\nallow = { ppm = 1, of = 'cage' } #!\n", "allow.of", '"cage"', near="cages"),
    rule(
        "of a cage",
        "min = 1\nallow = { ppm = 1, of = 'pocket' } #!\n",
        "allow.of",
        '"pocket"',
        near="pockets",
        allowed='"pockets", "cages", "bearings"',
    ),
    rule(
        "pockets of a least",
        "min = 1\nover = 'least'\nallow = { ppm = 1, of = 'pockets' } #!\n",
        "allow.of",
        '"pockets" beside over',
    ),
    Wrong(
        "over of a cage's chain",
        "[chains.c]\nformula = 'ring_spacing'\n[requirements.c]\nmin = 1\nover = 'least' #!\n",
        "requirements.c.over",
        "which belongs to the cage",
    ),
    Wrong(
        "pockets of a cage's chain",
        "[chains.c]\nformula = '3'\n[requirements.c]\nmin = 1\nallow = { ppm = 1, of = 'pockets' } #!\n",
        "requirements.c.allow.of",
        "which belongs to the cage",
    ),
]

RUN = [
    run("seed", "seed = -1 #!\n", "seed", "-1"),
    run("cages", "cages = 0 #!\n", "cages", "0"),
    run("cages as float", "cages = 1e5 #!\n", "cages", "1e5", near="100000"),
    run("precision", "precision = 0 #!\n", "precision", "0"),
    run("inflation", "inflation = -1 #!\n", "inflation", "-1"),
    run("mean_shift", "mean_shift = 1.5 #!\n", "mean_shift", "1.5"),
    run("rule", "mean_shift_rule = 'add' #!\n", "mean_shift_rule", '"add"', near="added"),
]


def part(name: str, text: str, key: str, found: str, *, near: str | None = None, allowed: str = "") -> Wrong:
    """Return what is wrong with the pins in operation."""
    return Wrong(name, f"[operating.parts]\npin = {text}", f"operating.parts.{key}", found, near, allowed)


def wear(name: str, text: str, key: str, found: str, *, near: str | None = None, allowed: str = "") -> Wrong:
    """Return what is wrong with wear."""
    return Wrong(name, f"[operating.wear]\n{text} #!\n", f"operating.wear.{key}", found, near, allowed)


def turning(name: str, text: str, key: str, found: str, *, allowed: str = "") -> Wrong:
    """Return what is wrong with the rotation of the cage."""
    lines = {"speed": "speed = 300", "density": "density = 7850", "modulus": "modulus = 206000"}
    lines[key] = f"{text} #!" if text else ""
    text = "[operating.rotation]\n" + "\n".join(lines.values())
    return Wrong(name, text, f"operating.rotation.{key}", found, None, allowed)


OPERATING = [
    Wrong("table", "[operating]\nparst = {} #!\n", "operating.parst", "the key parst", near="parts"),
    Wrong("no table", "operating = 3 #!\n" + LEAST, "operating", "3", allowed="[operating.wear]", instead_of=LEAST),
    Wrong("part", "[operating.parts.rolller] #!\n", "operating.parts.rolller", "the key rolller", near="roller"),
    Wrong("part none", "[operating.parts.none] #!\n", "operating.parts.none", "the key none", allowed="inner_ring"),
    part("no part", "80 #!\n", "pin", "80", allowed="{ temperature, expansion }"),
    part("no expansion", "{ temperature = 80 } #!\n", "pin.expansion", "nothing", allowed="expansion = …"),
    part("no temperature", "{ expansion = 1e-5 } #!\n", "pin.temperature", "nothing", allowed="degrees Celsius"),
    part("key", "{ temprature = 80, expansion = 1e-5 } #!\n", "pin.temprature", "the key", near="temperature"),
    part("cold", "{ temperature = -300, expansion = 1e-5 } #!\n", "pin.temperature", "-300", allowed="-200 … 1000 °C"),
    part("text", '{ temperature = "80", expansion = 1e-5 } #!\n', "pin.temperature", '"80"', near="80"),
    part("expansion", "{ temperature = 80, expansion = 11.5 } #!\n", "pin.expansion", "11.5", allowed="11.5e-6"),
    wear("misspelt slot", "pin_diametr = 0.1", "pin_diametr", "no slot", near="pin_diameter"),
    wear("other slot", "inner_raceway = 0.1", "inner_raceway", "wear of", allowed="roller_length, roller_bore"),
    wear("none", "pin_diameter = 0", "pin_diameter", "0", allowed="above 0"),
    wear("below none", "pin_diameter = -0.1", "pin_diameter", "-0.1", allowed="above 0"),
    wear("all of it", "pin_diameter = 17.4", "pin_diameter", "17.4", allowed="less than pin_diameter itself"),
    turning("speed", "speed = 0", "speed", "0", allowed="above 0"),
    turning("no speed", "", "speed", "nothing", allowed="1/min"),
    turning("density", "density = 7.85", "density", "7.85", allowed="kg/m3"),
    turning("modulus", "modulus = 206", "modulus", "206", allowed="N/mm2"),
    turning("modulus in Pa", "modulus = 206e9", "modulus", "206e9", allowed="N/mm2"),
    turning("pins", "pin_mass_ratio = -1", "pin_mass_ratio", "-1", allowed="at least 0"),
    Wrong(
        "not finite in a state",
        "[operating.wear]\npin_diameter = 0.5\n[chains.c]\nformula = '1/(pin_diameter - 16.9)' #!\n",
        "chains.c.formula",
        "not finite at the nominal in the state worn",
    ),
    Wrong(
        "gap of operation",
        "[dimensions.radial_internal_clearance]\nnominal = 0.1\n[requirements.raceway_clearance] #!\nmin = 0\n",
        "requirements.raceway_clearance",
        "for which nothing in [operating] changes a part",
        allowed="temperatures, wear or a speed in [operating]",
    ),
    rollers(
        "ring_face",
        "ring_face = 'flat' #!\nrollers = 8\n",
        "cage.ring_face",
        "the key ring_face",
        allowed='kind = "cylindrical" has',
    ),
]

ROW = "[[row]]\nname = 'left'\n"
VALUES_OF_8 = "[dimensions.weld_shrinkage]\nvalues = [0, 0, 0, 0, 0, 0, 0, 0] {}\n"


def row(name: str, text: str, key: str, found: str, *, near: str | None = None, allowed: str = "") -> Wrong:
    """Return what is wrong with the second of two rows."""
    return Wrong(name, f"{ROW}[[row]]\n{text}", f"row[1].{key}", found, near, allowed)


ROWS = [
    rollers("rows", "rows = 0 #!\nrollers = 8\n", "cage.rows", "0", allowed="1 … 4"),
    rollers("many rows", "rows = 5 #!\nrollers = 8\n", "cage.rows", "5", allowed="1 … 4"),
    rollers("rows as float", "rows = 2.0 #!\nrollers = 8\n", "cage.rows", "2.0", near="2"),
    Wrong(
        "rows beside row",
        LEAST.replace("rollers", "rows = 2 #!\nrollers") + ROW,
        "cage.rows",
        "rows beside [[row]]",
        instead_of=LEAST,
    ),
    Wrong("no rows", "row = [] #!\n" + LEAST, "row", "[]", allowed="at least 1 item", instead_of=LEAST),
    Wrong("no tables", "row = 3 #!\n" + LEAST, "row", "3", allowed="[[row]]", instead_of=LEAST),
    Wrong("five tables", "[[row]] #!\n" + 4 * "[[row]]\n", "row", "a table", allowed="at most 4 items"),
    Wrong(
        "none has rows",
        "[cage]\nkind = 'none'\n[dimensions.x]\nnominal = 1\n[chains.c]\nformula = 'x'\n[[row]] #!\n",
        "row",
        "[[row]]",
        allowed="has one pocket",
        instead_of=LEAST,
    ),
    row("key", "nmae = 'right' #!\n", "nmae", "the key nmae", near="name"),
    row("name twice", "name = 'left' #!\n", "name", '"left" a second time', allowed="a name of its own"),
    row("empty name", "name = '' #!\n", "name", '""', allowed="not empty"),
    row("count", "count = 0 #!\n", "count", "0", allowed="1 … 4"),
    row("rows in all", "count = 4 #!\n", "count", "5 rows in all", allowed="at most 4"),
    row("rollers", "rollers = 2 #!\n", "rollers", "2", allowed="3 … 500"),
    row("no dimension", "dimensions.pin_diameter = 17 #!\n", "dimensions.pin_diameter", "17", allowed="a table"),
    row(
        "key of a dimension",
        "dimensions.pin_diameter = { tolerence = 0.1 } #!\n",
        "dimensions.pin_diameter.tolerence",
        "the key tolerence",
        near="tolerance",
    ),
    row(
        "value of a dimension",
        "dimensions.pin_diameter.tolerance = [0.1, -0.1] #!\n",
        "dimensions.pin_diameter.tolerance",
        "[0.1, -0.1]",
        allowed="the lower one first",
    ),
    row(
        "number as written",
        "dimensions.pin_seat_a = { zone = -1e-1 } #!\n",
        "dimensions.pin_seat_a.zone",
        "-1e-1",
        allowed="at least 0",
    ),
    row(
        "table of a dimension",
        "[row.dimensions.pin_diameter]\nprocess.cp = 0 #!\n",
        "dimensions.pin_diameter.process.cp",
        "0",
        allowed="above 0",
    ),
    row(
        "other form than the slot",
        "dimensions.pin_diameter = { zone = 1 } #!\n",
        "dimensions.pin_diameter.zone",
        "zone, which makes a zone",
    ),
    row(
        "misspelt slot",
        "dimensions.pin_diametr = { nominal = 17 } #!\n",
        "dimensions.pin_diametr",
        "no slot",
        near="pin_diameter",
    ),
    row(
        "gap of one row",
        "dimensions.ring_hole_b = { nominal = 18 } #!\n",
        "dimensions.ring_hole_b",
        "not every row has",
        allowed="ring_hole_b in [dimensions]",
    ),
    row(
        "values of a row",
        "rollers = 9\ndimensions.weld_shrinkage = { values = [0, 0] } #!\n",
        "dimensions.weld_shrinkage.values",
        "2 values",
        allowed="9, one for each pocket",
    ),
    Wrong(
        "values of all rows",
        VALUES_OF_8.format("#!") + ROW + "rollers = 9\n",
        "dimensions.weld_shrinkage.values",
        "8 values, in row left",
        allowed="9, one for each pocket",
    ),
    Wrong(
        "a fault of all rows once",
        "[dimensions.pin_seat_a]\nzone = -1 #!\n" + ROW + "dimensions.pin_seat_a.process = { cp = 1.2 }\n",
        "dimensions.pin_seat_a.zone",
        "-1",
    ),
    Wrong(
        "dimension of one row in a formula",
        ROW + "dimensions.bush = { nominal = 1 }\n[chains.c]\nformula = 'bush' #!\n",
        "chains.c.formula",
        "the unknown name bush",
    ),
    Wrong(
        "not finite in a row",
        "[chains.c]\nformula = '1/(pin_diameter - 17)' #!\n" + ROW + "dimensions.pin_diameter.nominal = 17.0\n",
        "chains.c.formula",
        "not finite at the nominal, in row left",
    ),
    Wrong(
        "scope in one row",
        ROW + "dimensions.pin_diameter.scope = 'cage'\ndimensions.roller_bore.scope = 'cage'\n"
        "[requirements.c]\nover = 'least' #!\nmin = 0\n[chains.c]\nformula = 'pin_diameter - roller_bore'\n",
        "requirements.c.over",
        "belongs to the cage, in row left",
    ),
]

ALL = {
    f"{group}: {wrong.name}": wrong
    for group, wrongs in (
        ("keys", KEYS),
        ("values", VALUES),
        ("process", PROCESS),
        ("dimensions", DIMENSIONS),
        ("names", NAMES),
        ("chains", CHAINS),
        ("requirements", REQUIREMENTS),
        ("run", RUN),
        ("operating", OPERATING),
        ("rows", ROWS),
    )
    for wrong in wrongs
}


@pytest.mark.parametrize("wrong", ALL.values(), ids=ALL.keys())
def test_fault(wrong: Wrong, faults_of: FaultsOf) -> None:
    """One fault gives one message: its key, its line, what was found, what is allowed, the nearest name."""
    text = wrong.case()
    faults = faults_of(text)
    assert [(fault.key, fault.nearest) for fault in faults] == [(wrong.key, wrong.near)]
    (fault,) = faults
    assert wrong.found in fault.found
    assert wrong.allowed in fault.allowed
    assert fault.allowed
    marked = [number for number, line in enumerate(text.splitlines(), start=1) if "#!" in line]
    if marked:
        assert fault.line == marked[0]
        assert fault.column > 0
    assert fault.file.endswith("case.toml")


def test_least_case_is_right(read_text: Callable[[str], object]) -> None:
    """The case that all wrong ones are made from is right."""
    read_text(LEAST)


def test_a_cage_is_not_offered_stacks(faults_of: FaultsOf) -> None:
    """`of = "stacks"` is for kind = "none" alone: no list offers it where it would be refused."""
    for text in ("ppm = 1, of = 'pocket'", "ppm = 1"):
        (fault,) = faults_of(LEAST + f"[requirements.bore_clearance]\nmin = 1\nallow = {{ {text} }}\n")
        assert '"bearings"' in fault.allowed
        assert "stacks" not in fault.allowed
