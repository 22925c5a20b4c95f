"""What a user may not write: each fault names its key and says in words what is allowed."""

from __future__ import annotations

import math

import numpy as np
import pytest

from stackup.dimension import Bonus, Harmonic, Measured, OneSided, Process, Size, Zone
from stackup.errors import ValueFault

COLUMN = np.array([9.9, 10.0, 10.1, 10.05])
PAIRS = np.array([[0.01, 0.0], [0.0, 0.02], [-0.01, 0.01]])


class NoLaw:
    mean = 3.0

    def __repr__(self) -> str:  # names the test alike in every process
        return "NoLaw"


class Broken:
    mean, moments = math.nan, (1.0,)

    def __repr__(self) -> str:
        return "Broken"

    def quantile(self, u: np.ndarray) -> np.ndarray:
        return u


PROCESS = [
    ({"cp": 0.0}, "cp"),
    ({"cp": -1.0}, "cp"),
    ({"cp": math.nan}, "cp"),
    ({"cp": math.inf}, "cp"),
    ({"cp": True}, "cp"),
    ({"cp": "1"}, "cp"),
    ({"cpk": 0.0}, "cpk"),
    ({"cpk": 1.2, "cp": 1.0}, "cpk"),
    ({"cpk": 0.8, "cp": 1.0}, "toward"),
    ({"cpk": 0.8, "cp": 1.0, "toward": "uper"}, "toward"),
    ({"cpk": 0.8, "cp": 1.0, "toward": "upper", "shift": 0.01}, "cpk"),
    ({"cpk": 0.8, "shift": 0.01}, "cpk"),
    ({"toward": "upper"}, "toward"),
    ({"cpk": 0.8, "toward": "upper"}, "toward"),
    ({"shift": math.inf}, "shift"),
    ({"offset": (0.1,)}, "offset"),
    ({"offset": (0.1, math.nan)}, "offset[1]"),
    ({"offset": 0.1}, "offset"),
    ({"mode": 1.5}, "mode"),
    ({"flat": -0.1}, "flat"),
    ({"flat": 1.1}, "flat"),
    ({"a": 0.0}, "a"),
    ({"b": -1.0}, "b"),
    ({"sigma": 0.0}, "sigma"),
    ({"inspected": "yes"}, "inspected"),
    ({"drift": math.nan}, "drift"),
]


@pytest.mark.parametrize(("keys", "name"), PROCESS, ids=str)
def test_process(keys: dict, name: str) -> None:
    with pytest.raises(ValueFault) as caught:
        Process(**keys)
    assert caught.value.name == name
    assert caught.value.found
    assert caught.value.allowed


SIZE = [
    ({"lower": 0.1, "upper": -0.1}, "tolerance"),
    ({"lower": math.nan}, "tolerance"),
    ({"scope": "ring"}, "scope"),
    ({"feature": "bore"}, "feature"),
    ({"pockets": 0}, "rollers"),
    ({"lot_share": 1.5}, "lot_share"),
    ({"lot_share": -0.1}, "lot_share"),
    ({"lot_share": 0.5, "scope": "cage"}, "lot_share"),
    ({"sorted_to": 0.0}, "sorted_to"),
    ({"sorted_to": -0.1}, "sorted_to"),
    ({"sorted_to": 0.1, "scope": "cage"}, "sorted_to"),
    ({"sorted_to": 0.1, "lot_share": 0.5}, "sorted_to"),
    ({"sorted_to": 1e-9}, "sorted_to"),
    ({"sorted_to": 0.1, "process": Process(drift=0.1)}, "sorted_to"),
    ({"scope": "cage", "process": Process(drift=0.1)}, "drift"),
    ({"scope": "cage", "process": Process(pattern=(Harmonic(1, amplitude=0.1),))}, "pattern"),
    ({"process": Process(shape="rayleigh")}, "shape"),
    ({"process": Process(shape="nromal")}, "shape"),
    ({"process": Process(shape="trapezoid")}, "flat"),
    ({"process": Process(shape="beta", a=1.0)}, "b"),
    ({"process": Process(shape="uniform", flat=0.5)}, "flat"),
    ({"process": Process(mode=0.5)}, "mode"),
    ({"process": Process(sigma=0.5)}, "sigma"),
    ({"process": Process(offset=(0.1, 0.0))}, "offset"),
    ({"process": Process(drift=(0.1, 0.0))}, "drift"),
    ({"process": Process(pattern=(Harmonic(1, r=0.1),))}, "pattern"),
    ({"process": Process(shape=NoLaw())}, "shape"),
    ({"process": Process(shape=Broken())}, "shape"),
    ({"process": Process(measured=Measured(PAIRS))}, "data"),
    ({"process": Process(measured=Measured(COLUMN), cp=1.33)}, "cp"),
    ({"process": Process(measured=Measured(COLUMN), shift=0.1)}, "shift"),
    ({"process": Process(measured=Measured(COLUMN), shape="uniform")}, "shape"),
    ({"process": Process(inspected=True, shift=5.0)}, "inspected"),
    ({"lower": 0.0, "upper": 0.0, "process": Process(inspected=True, shift=0.1)}, "inspected"),
    ({"process": Process(inspected=True, measured=Measured(COLUMN + 7))}, "inspected"),
]


@pytest.mark.parametrize(("keys", "name"), SIZE, ids=str)
def test_size(keys: dict, name: str) -> None:
    with pytest.raises(ValueFault) as caught:
        Size(**{"name": "a", "nominal": 10.0, "lower": -0.2, "upper": 0.2, **keys})
    assert caught.value.name == name


def test_nominal() -> None:
    with pytest.raises(ValueFault) as caught:
        Size("a", math.inf)
    assert caught.value.name == "nominal"


ZONE = [
    ({"diameter": -0.1}, "zone"),
    ({"diameter": math.nan}, "zone"),
    ({"process": Process(shape="triangular")}, "shape"),
    ({"process": Process(shape="beta", a=1.0, b=1.0)}, "shape"),
    ({"process": Process(shift=0.1)}, "shift"),
    ({"process": Process(cpk=0.8)}, "cpk"),
    ({"process": Process(sigma=0.8)}, "sigma"),
    ({"process": Process(drift=0.1)}, "drift"),
    ({"process": Process(pattern=(Harmonic(1, amplitude=0.1),))}, "pattern"),
    ({"process": Process(measured=Measured(COLUMN))}, "data"),
    ({"process": Process(measured=Measured(PAIRS)), "lot_share": 0.5}, "lot_share"),
    ({"process": Process(measured=Measured(PAIRS), offset=(0.1, 0.0))}, "offset"),
    ({"process": Process(inspected=True, offset=(0.9, 0.0))}, "inspected"),
    ({"process": Process(inspected=True, measured=Measured(PAIRS + 9))}, "inspected"),
    ({"diameter": 0.0, "process": Process(inspected=True, offset=(0.1, 0.0))}, "inspected"),
    ({"scope": "cage", "process": Process(drift=(0.1, 0.0))}, "drift"),
]


@pytest.mark.parametrize(("keys", "name"), ZONE, ids=str)
def test_zone(keys: dict, name: str) -> None:
    with pytest.raises(ValueFault) as caught:
        Zone(**{"name": "z", "diameter": 0.1, **keys})
    assert caught.value.name == name


ONE_SIDED = [
    ({"limit": -0.1}, "limit"),
    ({"process": Process(shape="normal")}, "shape"),
    ({"process": Process(shape="lognormal")}, "sigma"),
    ({"process": Process(shift=0.1)}, "shift"),
    ({"process": Process(cpk=0.9)}, "cpk"),
    ({"process": Process(drift=0.1)}, "drift"),
    ({"process": Process(pattern=(Harmonic(1, amplitude=0.1),))}, "pattern"),
    ({"process": Process(measured=Measured(-COLUMN))}, "data"),
    ({"lot_share": 0.2, "scope": "cage"}, "lot_share"),
]


@pytest.mark.parametrize(("keys", "name"), ONE_SIDED, ids=str)
def test_one_sided(keys: dict, name: str) -> None:
    with pytest.raises(ValueFault) as caught:
        OneSided(**{"name": "k", "limit": 0.03, **keys})
    assert caught.value.name == name


MEASURED = [
    ({"values": [1.0]}, "data"),
    ({"values": [1.0, math.nan]}, "data"),
    ({"values": np.zeros((3, 3))}, "data"),
    ({"values": PAIRS, "diameter": True}, "data"),
    ({"values": [-0.1, 0.1], "diameter": True}, "data"),
    ({"values": COLUMN, "how": "smooth"}, "how"),
    ({"values": COLUMN, "uncertainty": -1.0}, "uncertainty"),
    ({"values": COLUMN, "subgroup": ["a"]}, "subgroup"),
]


@pytest.mark.parametrize(("keys", "name"), MEASURED, ids=str)
def test_measured(keys: dict, name: str) -> None:
    with pytest.raises(ValueFault) as caught:
        Measured(**keys)
    assert caught.value.name == name


@pytest.mark.parametrize(
    "keys", [{"order": -1}, {"order": 1.5}, {"order": 1, "r": math.nan}, {"order": 1, "phase_deg": math.inf}]
)
def test_pattern(keys: dict) -> None:
    with pytest.raises(ValueFault, match=r"pattern\."):
        Harmonic(**keys)


def test_bonus_is_of_a_hole_or_a_shaft() -> None:
    with pytest.raises(ValueFault, match="bonus_from"):
        Bonus("a", "bore", 10.0)


def test_a_misspelt_shape_names_the_nearest() -> None:
    with pytest.raises(ValueFault, match=r"found trapezium; allowed: .*did you mean trapezoid"):
        Size("a", 10.0, process=Process(shape="trapezium"))


def test_a_parameter_names_the_shape_it_belongs_to() -> None:
    with pytest.raises(ValueFault, match="only with shape trapezoid"):
        Size("a", 10.0, process=Process(flat=0.4))


def test_measured_may_be_spelt_out() -> None:
    assert Size("a", 10.0, process=Process(shape="measured", measured=Measured(COLUMN))).law.mean[
        0
    ] == pytest.approx(10.0, abs=0.02)
