"""Every fault a case file can have: one message, at its line, with what is allowed and the nearest name.

The mark ``#!`` stands in each text at the line of its one fault (no mark: the fault has no line).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from conftest import LEAST

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


def dimension(text: str, name: str = "x", use: str = "x") -> str:
    """Return an own dimension, one key to a line, and a chain that uses it."""
    return f"[dimensions.{name}]\n{text}\n[chains.c]\nformula = '{use}'\n"


PIN = "[dimensions.pin_diameter]\nnominal = 17.4\n"
NOMINAL = "nominal = 17.4\n"
CHAIN = "[chains.c]\nformula = "
RULE = "[requirements.bore_clearance]\n"

KEYS = [
    Wrong("top", "[dimension.x] #!\nnominal = 1\n", "dimension", "the key dimension", "dimensions"),
    Wrong("cage", "rollers = 8\nrolers = 8 #!\n", "cage.rolers", "the key rolers", "rollers", instead_of="rollers = 8\n"),
    Wrong("dimension", NOMINAL + "tolerence = 1 #!\n", "dimensions.pin_diameter.tolerence", "the key tolerence", "tolerance", instead_of=NOMINAL),
    Wrong("form misspelt", "nominl = 17.4 #!\n", "dimensions.pin_diameter.nominl", "the key nominl", "nominal", instead_of=NOMINAL),
    Wrong("process", PIN + "process = { cpp = 1 } #!\n", "dimensions.pin_diameter.process.cpp", "the key cpp", "cp", instead_of=PIN),
    Wrong("pattern", PIN + "process.pattern = [{ order = 1, amplitude = 1 },\n { order = 2, amplitude = 1, fase = 2 }] #!\n",
          "dimensions.pin_diameter.process.pattern[1].fase", "the key fase", "phase", instead_of=PIN),
    Wrong("cost", PIN + "cost = { model = 'reciprocal', fixed = 1, rate = 2, powr = 1 } #!\n",
          "dimensions.pin_diameter.cost.powr", "the key powr", "power", instead_of=PIN),
    Wrong("chain", CHAIN + "'1'\nunits = 'mm' #!\n", "chains.c.units", "the key units", "unit"),
    Wrong("formula misspelt", "[chains.c]\nformla = '1' #!\n", "chains.c.formla", "the key formla", "formula"),
    Wrong("requirement", RULE + "min = 1\nmaximum = 2 #!\n", "requirements.bore_clearance.maximum", "the key maximum", "max"),
    Wrong("allow", RULE + "min = 1\nallow = { ppm = 1, off = 'cages' } #!\n", "requirements.bore_clearance.allow.off", "the key off", "of"),
    Wrong("run", "[run]\nsead = 1 #!\n", "run.sead", "the key sead", "seed"),
    Wrong("shift of a zone", "[dimensions.pin_seat_a]\nzone = 1\nprocess.shift = 1 #!\n", "dimensions.pin_seat_a.process.shift", "the key shift", allowed="process of a zone"),
    Wrong("cpk of a zone", "[dimensions.pin_seat_a]\nzone = 1\nprocess.cpk = 1 #!\n", "dimensions.pin_seat_a.process.cpk", "the key cpk"),
    Wrong("offset of a size", PIN + "process.offset = [1, 2] #!\n", "dimensions.pin_diameter.process.offset", "the key offset", instead_of=PIN),
    Wrong("pattern of a runout", "[dimensions.roller_bore_runout]\nlimit = 1\nprocess.pattern = [] #!\n", "dimensions.roller_bore_runout.process.pattern", "the key pattern"),
    Wrong("bonus of a size", PIN + "bonus_from = 'roller_bore' #!\n", "dimensions.pin_diameter.bonus_from", "the key bonus_from", instead_of=PIN),
    Wrong("process of values", "[dimensions.pin_seat_a]\nvalues = [[0, 0], [0, 0], [0, 0], [0, 0], [0, 0], [0, 0], [0, 0], [0, 0]]\nprocess = {} #!\n", "dimensions.pin_seat_a.process", "the key process"),
    Wrong("option of another kind", "weld_fixtur = 'centres' #!\nrollers = 8\n", "cage.weld_fixtur", "the key weld_fixtur", "weld_fixture", instead_of="rollers = 8\n"),
]

VALUES = [
    Wrong("text for a number", "nominal = '17.4' #!\n", "dimensions.pin_diameter.nominal", '"17.4"', allowed="a number", instead_of=NOMINAL),
    Wrong("true for a number", "nominal = true #!\n", "dimensions.pin_diameter.nominal", "true", allowed="a number", instead_of=NOMINAL),
    Wrong("nan", "nominal = nan #!\n", "dimensions.pin_diameter.nominal", "nan", allowed="finite", instead_of=NOMINAL),
    Wrong("inf", "nominal = -inf #!\n", "dimensions.pin_diameter.nominal", "-inf", allowed="finite", instead_of=NOMINAL),
    Wrong("huge", "nominal = 1e300 #!\n", "dimensions.pin_diameter.nominal", "1e+300", allowed="at most 1e+12", instead_of=NOMINAL),
    Wrong("huge whole number", f"nominal = {'9' * 400} #!\n", "dimensions.pin_diameter.nominal", "a whole number of about 400 digits", instead_of=NOMINAL),
    Wrong("date", "nominal = 1979-05-27 #!\n", "dimensions.pin_diameter.nominal", "a date", instead_of=NOMINAL),
    Wrong("negative tolerance", NOMINAL + "tolerance = -0.1 #!\n", "dimensions.pin_diameter.tolerance", "-0.1", instead_of=NOMINAL),
    Wrong("text in a pair", NOMINAL + "tolerance = [0.1,\n 'x'] #!\n", "dimensions.pin_diameter.tolerance[1]", '"x"', allowed="a number", instead_of=NOMINAL),
    Wrong("three deviations", NOMINAL + "tolerance = [1, 2, 3] #!\n", "dimensions.pin_diameter.tolerance", "[1, 2, 3]", allowed="exactly 2", instead_of=NOMINAL),
    Wrong("table for a tolerance", NOMINAL + "tolerance = {} #!\n", "dimensions.pin_diameter.tolerance", "a table", allowed="ISO 286-1", instead_of=NOMINAL),
    Wrong("reversed deviations", NOMINAL + "tolerance = [0.1, -0.1] #!\n", "dimensions.pin_diameter.tolerance", "[0.1, -0.1]", instead_of=NOMINAL),
    Wrong("no such class", NOMINAL + "tolerance = 'h99' #!\n", "dimensions.pin_diameter.tolerance", '"h99"', "h18", instead_of=NOMINAL),
    Wrong("class of a negative size", "nominal = -3 #!\ntolerance = 'h7'\n", "dimensions.pin_diameter.nominal", "-3", allowed="3150", instead_of=NOMINAL),
    Wrong("class of a large size", "nominal = 4000 #!\ntolerance = 'h7'\n", "dimensions.pin_diameter.nominal", "4000", instead_of=NOMINAL),
    Wrong("class of an angle", dimension("nominal = 3\nunit = 'deg'\ntolerance = 'h7' #!"), "dimensions.x.tolerance", '"h7" of a size in deg'),
    Wrong("negative zone", "[dimensions.pin_seat_a]\nzone = -1 #!\n", "dimensions.pin_seat_a.zone", "-1"),
    Wrong("negative limit", "[dimensions.roller_bore_runout]\nlimit = -1 #!\n", "dimensions.roller_bore_runout.limit", "-1"),
    Wrong("rollers of 2", "rollers = 2 #!\n", "cage.rollers", "2", allowed="at least 3", instead_of="rollers = 8\n"),
    Wrong("rollers of 501", "rollers = 501 #!\n", "cage.rollers", "501", instead_of="rollers = 8\n"),
    Wrong("rollers of 8.0", "rollers = 8.0 #!\n", "cage.rollers", "8.0", allowed="whole", instead_of="rollers = 8\n"),
    Wrong("no rollers", "", "cage.rollers", "nothing", instead_of="rollers = 8\n"),
    Wrong("kind", 'kind = "cylindric" #!\n', "cage.kind", '"cylindric"', "cylindrical", instead_of='kind = "cylindrical"\n'),
    Wrong("kind a number", "kind = 3 #!\n", "cage.kind", "3", instead_of='kind = "cylindrical"\n'),
    Wrong("option", 'weld_fixture = "centers" #!\nrollers = 8\n', "cage.weld_fixture", '"centers"', "centres", instead_of="rollers = 8\n"),
    Wrong("modulus", "pin_modulus = 0 #!\nrollers = 8\n", "cage.pin_modulus", "0", allowed="above 0", instead_of="rollers = 8\n"),
    Wrong("scope", PIN + "scope = 'pin' #!\n", "dimensions.pin_diameter.scope", '"pin"', instead_of=PIN),
    Wrong("part", PIN + "part = 'ring_c' #!\n", "dimensions.pin_diameter.part", '"ring_c"', "ring_b", instead_of=PIN),
    Wrong("feature", PIN + "feature = 'shft' #!\n", "dimensions.pin_diameter.feature", '"shft"', "shaft", instead_of=PIN),
    Wrong("lot_share", PIN + "lot_share = 1.5 #!\n", "dimensions.pin_diameter.lot_share", "1.5", instead_of=PIN),
    Wrong("sorted_to", PIN + "sorted_to = 0 #!\n", "dimensions.pin_diameter.sorted_to", "0", instead_of=PIN),
    Wrong("title", LEAST.replace("[cage]", "title = 1 #!\n[cage]"), "title", "1", instead_of=LEAST),
    Wrong("dimension a number", "dimensions.x = 1 #!\n" + LEAST, "dimensions.x", "1", allowed="a table", instead_of=LEAST),
    Wrong("steps", PIN + "steps = 'R7' #!\n", "dimensions.pin_diameter.steps", '"R7"', None, instead_of=PIN),
    Wrong("locked", PIN + "locked = 1 #!\n", "dimensions.pin_diameter.locked", "1", allowed="true or false", instead_of=PIN),
    Wrong("finest", PIN + "finest = 0.2 #!\ncoarsest = 0.1\n", "dimensions.pin_diameter.finest", "0.2 above coarsest", instead_of=PIN),
    Wrong("nominal_range", PIN + "nominal_range = [2, 1] #!\n", "dimensions.pin_diameter.nominal_range", "[2, 1]", instead_of=PIN),
    Wrong("cost model", PIN + "cost = { model = 'reciproc', fixed = 1, rate = 1 } #!\n", "dimensions.pin_diameter.cost.model", '"reciproc"', "reciprocal", instead_of=PIN),
    Wrong("cost without rate", PIN + "cost = { model = 'reciprocal', fixed = 1 } #!\n", "dimensions.pin_diameter.cost.rate", "nothing", instead_of=PIN),
    Wrong("choices twice", PIN + "choices = [\n{ name = 'a', tolerance = 1, cost = 1 },\n{ name = 'a', tolerance = 1, cost = 1 }] #!\n", "dimensions.pin_diameter.choices[1].name", '"a" a second time', instead_of=PIN),
    Wrong("choice of a zone", "[dimensions.pin_seat_a]\nzone = 1\nchoices = [{ name = 'a', tolerance = 'h7', cost = 1 }] #!\n", "dimensions.pin_seat_a.choices[0].tolerance", "no number"),
    Wrong("choice reversed", PIN + "choices = [{ name = 'a', tolerance = [1, 0], cost = 1 }] #!\n", "dimensions.pin_diameter.choices[0].tolerance", "[1, 0]", instead_of=PIN),
    Wrong("choice of no class", PIN + "choices = [{ name = 'a', tolerance = 'h99', cost = 1 }] #!\n", "dimensions.pin_diameter.choices[0].tolerance", '"h99"', instead_of=PIN),
    Wrong("choice with cpk and shift", PIN + "choices = [{ name = 'a', tolerance = 1, cost = 1, cpk = 1, shift = 0.1 }] #!\n", "dimensions.pin_diameter.choices[0].cpk", "cpk beside shift", instead_of=PIN),
    Wrong("no choices", PIN + "choices = [] #!\n", "dimensions.pin_diameter.choices", "[]", instead_of=PIN),
]

PROCESS = [
    Wrong("shape", PIN + "process.shape = 'norml' #!\n", "dimensions.pin_diameter.process.shape", '"norml"', "normal", instead_of=PIN),
    Wrong("shape of another form", PIN + "process.shape = 'rayleigh' #!\n", "dimensions.pin_diameter.process.shape", '"rayleigh"', instead_of=PIN),
    Wrong("cp", PIN + "process.cp = 0 #!\n", "dimensions.pin_diameter.process.cp", "0", instead_of=PIN),
    Wrong("beta without b", PIN + "process = { shape = 'beta', a = 1 } #!\n", "dimensions.pin_diameter.process.b", "nothing", instead_of=PIN),
    Wrong("trapezoid", PIN + "process = { shape = 'trapezoid' } #!\n", "dimensions.pin_diameter.process.flat", "nothing", instead_of=PIN),
    Wrong("lognormal", "[dimensions.roller_bore_runout]\nlimit = 1\nprocess.shape = 'lognormal' #!\n", "dimensions.roller_bore_runout.process.sigma", "nothing"),
    Wrong("flat", PIN + "process = { shape = 'trapezoid', flat = 2 } #!\n", "dimensions.pin_diameter.process.flat", "2", instead_of=PIN),
    Wrong("mode", PIN + "process = { shape = 'triangular', mode = 2 } #!\n", "dimensions.pin_diameter.process.mode", "2", instead_of=PIN),
    Wrong("mode of a normal", PIN + "process = { mode = 0.5 } #!\n", "dimensions.pin_diameter.process.mode", "mode without", instead_of=PIN),
    Wrong("cpk above cp", PIN + "process = { cp = 1, cpk = 1.2, toward = 'upper' } #!\n", "dimensions.pin_diameter.process.cpk", "1.2", allowed="at most cp", instead_of=PIN),
    Wrong("cpk without toward", PIN + "process = { cp = 1.2, cpk = 1 } #!\n", "dimensions.pin_diameter.process.toward", "nothing", instead_of=PIN),
    Wrong("cpk beside shift", PIN + "process = { cpk = 1, shift = 0.1 } #!\n", "dimensions.pin_diameter.process.cpk", "beside shift", instead_of=PIN),
    Wrong("toward alone", PIN + "process = { toward = 'upper' } #!\n", "dimensions.pin_diameter.process.toward", "upper", instead_of=PIN),
    Wrong("toward", PIN + "process = { cp = 1.2, cpk = 1, toward = 'uper' } #!\n", "dimensions.pin_diameter.process.toward", '"uper"', "upper", instead_of=PIN),
    Wrong("inspected", PIN + "process.inspected = 'yes' #!\n", "dimensions.pin_diameter.process.inspected", '"yes"', instead_of=PIN),
    Wrong("measured without data", PIN + "process.shape = 'measured' #!\n", "dimensions.pin_diameter.process.data", "nothing", instead_of=PIN),
    Wrong("how without data", PIN + "process.how = 'smoothed' #!\n", "dimensions.pin_diameter.process.how", "how without data", instead_of=PIN),
    Wrong("subgroup without data", PIN + "process.subgroup = 'a' #!\n", "dimensions.pin_diameter.process.subgroup", "subgroup without data", instead_of=PIN),
    Wrong("drift of a cage", "[dimensions.ring_phase]\ntolerance = 1\nprocess.drift = 1 #!\n", "dimensions.ring_phase.process.drift", "drift of a dimension of scope cage"),
    Wrong("pattern of a cage", "[dimensions.ring_offset]\nzone = 1\nprocess.pattern = [{ order = 1 }] #!\n", "dimensions.ring_offset.process.pattern", "pattern of a dimension of scope cage"),
    Wrong("order", PIN + "process.pattern = [{ order = -1, amplitude = 1 }] #!\n", "dimensions.pin_diameter.process.pattern[0].order", "-1", instead_of=PIN),
    Wrong("r of a size", PIN + "process.pattern = [{ order = 1, amplitude = 1, r = 1 }] #!\n", "dimensions.pin_diameter.process.pattern[0].r", "the key r", instead_of=PIN),
    Wrong("drift of a zone", "[dimensions.pin_seat_a]\nzone = 1\nprocess.drift = 1 #!\n", "dimensions.pin_seat_a.process.drift", "1"),
    Wrong("nothing inside", PIN + "tolerance = 0.01\nprocess = { shift = 5.0, inspected = true } #!\n", "dimensions.pin_diameter.process.inspected", "inside the drawing", instead_of=PIN),
]

DIMENSIONS = [
    Wrong("nominal beside zone", NOMINAL + "zone = 1 #!\n", "dimensions.pin_diameter.zone", "nominal beside zone", instead_of=NOMINAL),
    Wrong("nothing", "[dimensions.pin_seat_a] #!\npart = 'pin'\n", "dimensions.pin_seat_a", "none of nominal, zone, limit, values"),
    Wrong("tolerance alone", "tolerance = 0.1\n", "dimensions.pin_diameter.nominal", "a tolerance without nominal", allowed="only ring_phase", instead_of=NOMINAL),
    Wrong("zone for a size", "zone = 0.1 #!\n", "dimensions.pin_diameter.zone", "zone", allowed="pin_diameter is a size", instead_of=NOMINAL),
    Wrong("size for a zone", "[dimensions.pin_seat_a]\nnominal = 0.1 #!\n", "dimensions.pin_seat_a.nominal", "nominal", allowed="is a zone"),
    Wrong("tolerance for a zone", "[dimensions.pin_seat_a]\ntolerance = 0.1 #!\n", "dimensions.pin_seat_a.tolerance", "tolerance", allowed="is a zone"),
    Wrong("size for a runout", "[dimensions.roller_bore_runout]\nnominal = 0.1 #!\n", "dimensions.roller_bore_runout.nominal", "nominal", allowed="one-sided"),
    Wrong("scope back", "nominal = 150.0\nscope = 'pocket' #!\n", "dimensions.hole_pitch_diameter.scope", '"pocket"', instead_of="nominal = 150.0\n"),
    Wrong("unused", "[dimensions.bush] #!\nnominal = 4\n", "dimensions.bush", "bush, which is no slot and which no formula uses", None),
    Wrong("misspelt optional slot", "[dimensions.pin_seatb] #!\nzone = 4\n", "dimensions.pin_seatb", "pin_seatb", "pin_seat_b"),
    Wrong("misspelt required slot", "[dimensions.pin_diametr] #!\n", "dimensions.pin_diametr", "pin_diametr", "pin_diameter", instead_of="[dimensions.pin_diameter]\n"),
    Wrong("missing slot", "", "dimensions.pin_diameter", "nothing", allowed="pin_diameter", instead_of=PIN),
    Wrong("never negative", "[dimensions.weld_shrinkage]\nnominal = 0.1\ntolerance = 0.2 #!\n", "dimensions.weld_shrinkage.tolerance", "a lower limit of -0.1 mm"),
    Wrong("never negative, exact", "[dimensions.weld_shrinkage]\nnominal = -0.1 #!\n", "dimensions.weld_shrinkage.nominal", "a lower limit of -0.1 mm"),
    Wrong("unit of a slot", PIN + "unit = 'in' #!\n", "dimensions.pin_diameter.unit", '"in"', instead_of=PIN),
    Wrong("degrees of a slot", PIN + "unit = 'deg' #!\n", "dimensions.pin_diameter.unit", '"deg"', instead_of=PIN),
    Wrong("unit of an own dimension", dimension("nominal = 1\nunit = 'in' #!"), "dimensions.x.unit", '"in"', allowed="deg"),
    Wrong("empty unit", dimension("nominal = 1\nunit = '' #!"), "dimensions.x.unit", '""'),
    Wrong("sorted and lot_share", PIN + "lot_share = 0.1\nsorted_to = 0.1 #!\n", "dimensions.pin_diameter.sorted_to", "sorted_to beside lot_share", instead_of=PIN),
    Wrong("sorted cage", "nominal = 61.0\nsorted_to = 0.1 #!\n", "dimensions.ring_spacing.sorted_to", "sorted_to of a dimension of scope cage", instead_of="nominal = 61.0\n"),
    Wrong("lot_share of a cage", "nominal = 61.0\nlot_share = 0.1 #!\n", "dimensions.ring_spacing.lot_share", "lot_share of a dimension of scope cage", instead_of="nominal = 61.0\n"),
    Wrong("many classes", PIN + "tolerance = 1\nsorted_to = 1e-6 #!\n", "dimensions.pin_diameter.sorted_to", "classes", instead_of=PIN),
    Wrong("bonus from nothing", "[dimensions.pin_seat_a]\nzone = 1\nbonus_from = 'pin_diametr' #!\n", "dimensions.pin_seat_a.bonus_from", "no dimension pin_diametr", "pin_diameter"),
    Wrong("bonus without feature", "[dimensions.pin_seat_a]\nzone = 1\nbonus_from = 'roller_length' #!\n", "dimensions.pin_seat_a.bonus_from", "no size with a feature"),
    Wrong("bonus from a zone", "[dimensions.pin_seat_a]\nzone = 1\nbonus_from = 'pin_seat_a' #!\n", "dimensions.pin_seat_a.bonus_from", "no size with a feature"),
    Wrong("bonus of a cage", "[dimensions.ring_offset]\nzone = 1\nbonus_from = 'pin_diameter' #!\n", "dimensions.ring_offset.bonus_from", "differs from pocket to pocket"),
    Wrong("values of a cage", "values = [1, 2, 3, 4, 5, 6, 7, 8] #!\n", "dimensions.ring_spacing.values", "values of a dimension of scope cage", instead_of="nominal = 61.0\n"),
    Wrong("values at scope cage", "values = [1, 2, 3, 4, 5, 6, 7, 8]\nscope = 'cage' #!\n", "dimensions.pin_diameter.scope", "values of a dimension of scope cage", instead_of=NOMINAL),
    Wrong("too few values", "values = [17.4, 17.4] #!\n", "dimensions.pin_diameter.values", "2 values", allowed="8", instead_of=NOMINAL),
    Wrong("pairs for a size", "values = [[1, 2], [3, 4]] #!\n", "dimensions.pin_diameter.values", "pairs", instead_of=NOMINAL),
    Wrong("numbers for a zone", "[dimensions.pin_seat_a]\nvalues = [1, 2, 3, 4, 5, 6, 7, 8] #!\n", "dimensions.pin_seat_a.values", "numbers"),
    Wrong("negative runout", "[dimensions.roller_bore_runout]\nvalues = [1, 2, 3, 4, 5, 6, 7, -8] #!\n", "dimensions.roller_bore_runout.values", "-8"),
    Wrong("text among values", "values = [17.4,\n'a'] #!\n", "dimensions.pin_diameter.values[1]", '"a"', instead_of=NOMINAL),
    Wrong("sorting of values", "values = [1, 2, 3, 4, 5, 6, 7, 8]\nsorted_to = 1 #!\n", "dimensions.pin_diameter.sorted_to", "the key sorted_to", instead_of=NOMINAL),
    Wrong("values a number", "values = 3 #!\n", "dimensions.pin_diameter.values", "3", instead_of=NOMINAL),
]

NAMES = [
    Wrong("dimension a function", "[dimensions.sin] #!\nnominal = 1\n", "dimensions.sin", "the name sin"),
    Wrong("dimension in capitals", "[dimensions.Bush] #!\nnominal = 1\n", "dimensions.Bush", "the name 'Bush'"),
    Wrong("dimension a gap", "[dimensions.pin_entry] #!\nnominal = 1\n", "dimensions.pin_entry", "the name pin_entry"),
    Wrong("chain a constant", "[chains.pi] #!\nformula = '1'\n", "chains.pi", "the name pi"),
    Wrong("chain with a dash", "[chains.a-b] #!\nformula = '1'\n", "chains.a-b", "the name 'a-b'"),
    Wrong("chain a gap", "[chains.pin_entry] #!\nformula = '1'\n", "chains.pin_entry", "the name pin_entry", allowed="built-in"),
    Wrong("chain a slot", "[chains.pin_seat_a] #!\nformula = '1'\n", "chains.pin_seat_a", "the name pin_seat_a", allowed="slot"),
    Wrong("chain a dimension", "[dimensions.bush]\nnominal = 1\n[chains.c]\nformula = 'bush'\n[chains.bush] #!\nformula = '1'\n", "chains.bush", "the name bush", allowed="dimension"),
    Wrong("requirement rollers", "[requirements.rollers] #!\ngap = 'bore_clearance'\nmin = 0\n", "requirements.rollers", "the name rollers"),
    Wrong("requirement with a digit first", "[requirements.1a] #!\ngap = 'bore_clearance'\nmin = 0\n", "requirements.1a", "the name '1a'"),
]

CHAINS = [
    Wrong("unknown name", CHAIN + "'pin_diametr' #!\n", "chains.c.formula", "the unknown name pin_diametr", "pin_diameter"),
    Wrong("unknown function", CHAIN + "'sqt(2)' #!\n", "chains.c.formula", "the unknown function sqt", "sqrt"),
    Wrong("grammar", CHAIN + "'1 +' #!\n", "chains.c.formula", "the end of the formula"),
    Wrong("second line", CHAIN + "'''1 +\n 2 ^ 3''' #!\n", "chains.c.formula", "'^'", "**"),
    Wrong("bare zone", "[dimensions.pin_seat_a]\nzone = 1\n" + CHAIN + "'pin_seat_a' #!\n", "chains.c.formula", "the zone pin_seat_a without a part"),
    Wrong("x of a pocket's zone", CHAIN + "'pin_seat_a.x' #!\n", "chains.c.formula", "the part .x"),
    Wrong("part of a size", CHAIN + "'pin_diameter.r' #!\n", "chains.c.formula", "the part .r"),
    Wrong("too many next", CHAIN + "'pin_diameter.next.next.next.next' #!\n", "chains.c.formula", ".next 4 times"),
    Wrong("gap left out", CHAIN + "'ring_clearance_outer' #!\n", "chains.c.formula", "outer_guide, ring_outside"),
    Wrong("no formula", "[chains.c] #!\nunit = 'mm'\n", "chains.c.formula", "nothing"),
    Wrong("formula a number", CHAIN + "3 #!\n", "chains.c.formula", "3", allowed="text"),
    Wrong("circle of one", CHAIN + "'c + 1' #!\n", "chains.c.formula", "c uses c"),
    Wrong("circle of three", CHAIN + "'e' #!\n[chains.d]\nformula = 'c'\n[chains.e]\nformula = 'd + bore_clearance'\n", "chains.c.formula", "c uses e uses d uses c"),
    Wrong("not finite", CHAIN + "'1/(pin_diameter - 17.4)' #!\n", "chains.c.formula", "not finite at the nominal"),
    Wrong("slot left out below the line", CHAIN + "'1/weld_shrinkage' #!\n", "chains.c.formula", "not finite at the nominal"),
    Wrong("root of a negative number", CHAIN + "'sqrt(roller_bore - 20)' #!\n", "chains.c.formula", "not finite at the nominal"),
    Wrong("not finite by another chain", "[chains.c]\nformula = 'd + 1'\n[chains.d]\nformula = 'log(bore_clearance - 1)' #!\n", "chains.d.formula", "not finite at the nominal"),
    Wrong("too long", CHAIN + f"'{'1+' * 1100}1' #!\n", "chains.c.formula", "1+1+"),
    Wrong("deep", CHAIN + f"'{'(' * 900}1{')' * 900}' #!\n", "chains.c.formula", "("),
    Wrong("python", CHAIN + "'__import__(1)' #!\n", "chains.c.formula", "the unknown function __import__"),
]

REQUIREMENTS = [
    Wrong("no such gap", "[requirements.bore_clearence] #!\nmin = 1\n", "requirements.bore_clearence", "no gap called bore_clearence", "bore_clearance"),
    Wrong("no such gap, named", "[requirements.r]\ngap = 'bore_clearence' #!\nmin = 1\n", "requirements.r.gap", "no gap called bore_clearence", "bore_clearance"),
    Wrong("gap left out", "[requirements.pin_entry] #!\nmin = 1\n", "requirements.pin_entry", "ring_hole_b"),
    Wrong("no limit", "[requirements.bore_clearance] #!\nover = 'least'\n", "requirements.bore_clearance", "neither min nor max"),
    Wrong("limits reversed", RULE + "min = 2 #!\nmax = 1\n", "requirements.bore_clearance.min", "min 2 above max 1"),
    Wrong("over", RULE + "min = 1\nover = 'lest' #!\n", "requirements.bore_clearance.over", '"lest"', "least"),
    Wrong("allow without of", RULE + "min = 1\nallow = { ppm = 1 } #!\n", "requirements.bore_clearance.allow.of", "nothing"),
    Wrong("allow without ppm", RULE + "min = 1\nallow = { of = 'cages' } #!\n", "requirements.bore_clearance.allow.ppm", "nothing"),
    Wrong("ppm 0", RULE + "min = 1\nallow = { ppm = 0, of = 'cages' } #!\n", "requirements.bore_clearance.allow.ppm", "0"),
    Wrong("of", RULE + "min = 1\nallow = { ppm = 1, of = 'cage' } #!\n", "requirements.bore_clearance.allow.of", '"cage"', "cages"),
    Wrong("pockets of a least", RULE + "min = 1\nover = 'least'\nallow = { ppm = 1, of = 'pockets' } #!\n", "requirements.bore_clearance.allow.of", '"pockets" beside over'),
    Wrong("over of a cage's chain", CHAIN + "'ring_spacing'\n[requirements.c]\nmin = 1\nover = 'least' #!\n", "requirements.c.over", "which belongs to the cage"),
    Wrong("pockets of a cage's chain", CHAIN + "'ring_spacing'\n[requirements.c]\nmin = 1\nallow = { ppm = 1, of = 'pockets' } #!\n", "requirements.c.allow.of", "which belongs to the cage"),
]

RUN = [
    Wrong("seed", "[run]\nseed = -1 #!\n", "run.seed", "-1"),
    Wrong("cages", "[run]\ncages = 0 #!\n", "run.cages", "0"),
    Wrong("cages as float", "[run]\ncages = 1e5 #!\n", "run.cages", "100000.0"),
    Wrong("precision", "[run]\nprecision = 0 #!\n", "run.precision", "0"),
    Wrong("inflation", "[run]\ninflation = -1 #!\n", "run.inflation", "-1"),
    Wrong("mean_shift", "[run]\nmean_shift = 1.5 #!\n", "run.mean_shift", "1.5"),
    Wrong("rule", "[run]\nmean_shift_rule = 'add' #!\n", "run.mean_shift_rule", '"add"', "added"),
]

LATER = [
    Wrong("operating", "[operating.wear] #!\npin_diameter = 1\n", "operating", "[operating]", allowed="not built yet"),
    Wrong("rows", "rows = 2 #!\nrollers = 8\n", "cage.rows", "the key rows", allowed="not built yet", instead_of="rollers = 8\n"),
    Wrong("ring_face", "ring_face = 'flat' #!\nrollers = 8\n", "cage.ring_face", "the key ring_face", allowed="not built yet", instead_of="rollers = 8\n"),
    Wrong("row", "[[row]] #!\nname = '1'\n[[row]]\nname = '2'\n", "row", "[row]", allowed="not built yet"),
    Wrong("tapered", "kind = 'tapered' #!\n", "cage.kind", '"tapered"', allowed="not built yet", instead_of='kind = "cylindrical"\n'),
]

ALL = {
    f"{group}: {wrong.name}": wrong
    for group, wrongs in (
        ("keys", KEYS), ("values", VALUES), ("process", PROCESS), ("dimensions", DIMENSIONS), ("names", NAMES),
        ("chains", CHAINS), ("requirements", REQUIREMENTS), ("run", RUN), ("later", LATER),
    )
    for wrong in wrongs
}  # fmt: skip


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
