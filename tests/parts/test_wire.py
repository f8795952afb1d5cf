"""The range of a wire size against published tables: each make-up that was found lies inside."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import Any

import pytest

from ignition.errors import InputError
from ignition.parts.wire import WIRE_CLASSES, clad_factor, resistance_range
from ignition.toleranced import Toleranced

Published = Callable[[str], dict[str, Any]]


def theory(size: str) -> float:
    """Ohm per kilometre at 20 degC of the size, by IEC 60028 and ASTM B258 alone."""
    number, _, unit = size.partition(" ")
    if unit == "mm2":
        return 1000.0 / 58.0 / float(number)
    return 1000.0 / 58.0 / (math.pi / 4 * (0.127 * 92 ** ((36 - int(unit)) / 39)) ** 2)


def inside(found: Toleranced, size: str, ohms_per_kilometre: float) -> bool:
    """Whether a wire of this resistance lies in the range, to rounding."""
    return found.low * (1 - 1e-12) <= ohms_per_kilometre / theory(size) <= found.high * (1 + 1e-12)


@pytest.mark.parametrize("name", ["solid", "stranded", "flexible"])
def test_highest_of_the_standard(name: Any, published: Published) -> None:
    """The high end is the standard's highest resistance of metal-coated wire, 1.2 % more as a pair; plain is inside."""
    plain, coated = published("wire_class.plain"), published("wire_class.coated")
    for area, bare, tinned in zip(plain["area"], plain[name], coated[name], strict=True):
        found = resistance_range(f"{area:g} mm2", name)
        assert found.high * theory(f"{area:g} mm2") == pytest.approx(1.012 * tinned, rel=1e-12), coated["source"]
        assert found.nominal == 1.0 and inside(found, f"{area:g} mm2", bare), plain["source"]


@pytest.mark.parametrize("name", ["solid", "flexible"])
def test_excess_of_the_standard(name: str, published: Published) -> None:
    """The standard's plain wire exceeds the theoretical resistance by the computed shares."""
    plain, excess = published("wire_class.plain"), published("wire_class.excess")
    ohms = dict(zip(plain["area"], plain[name], strict=True))
    for area, value in zip(excess["area"], excess[name], strict=True):
        found = 100.0 * (ohms[area] / theory(f"{area:g} mm2") - 1.0)
        assert found == pytest.approx(value, abs=excess["abs_tol"]), excess["source"]


def test_pairs_lie_inside(published: Published) -> None:
    """Cores laid up as a pair, 1.1 % above the standard's table, are inside, as solid and as stranded ones."""
    pair = published("wire_class.pair")
    for (area, ohms), name in itertools.product(zip(pair["area"], pair["value"], strict=True), WIRE_CLASSES):
        assert inside(resistance_range(f"{area:g} mm2", name), f"{area:g} mm2", ohms), pair["source"]


def test_a_cable_sold_with_less_copper_lies_inside(published: Published) -> None:
    """26 strands of 0.25 mm sold as 1.5 mm2 and as 16 AWG: inside where the class is not given; its strands agree."""
    cable = published("wire_class.figure_eight")
    count, diameter = cable["strands"]
    strands = 1e-3 / 58.0 / (count * math.pi / 4 * diameter**2)
    assert 1.0 < cable["value"] / strands < 1.05, cable["source"]
    assert resistance_range("1.5 mm2").high == pytest.approx(cable["value"] / theory("1.5 mm2"), rel=1e-4)
    for size in ("1.5 mm2", "AWG 16"):
        assert inside(resistance_range(size), size, cable["value"] * (1 - 1e-4)), cable["source"]


def test_solid_and_seven_strands_of_the_code(published: Published) -> None:
    """Bare and coated wire of the code, brought from 75 to 20 degC by its own coefficient."""
    code = published("wire_class.code")
    for kind, name in (("solid", "solid"), ("seven", "stranded")):
        for gauge, bare, coated in zip(code["gauge"], code[kind], code[f"{kind}_coated"], strict=True):
            for ohms in (bare, coated):
                at_20 = ohms * (1.0 - code["coefficient"] * 55.0) / 0.3048
                assert inside(resistance_range(f"AWG {gauge}", name), f"AWG {gauge}", at_20), code["source"]  # type: ignore[arg-type]


@pytest.mark.parametrize("name", WIRE_CLASSES)
def test_make_ups_of_the_trade(name: Any, published: Published) -> None:
    """Every make-up of the charts lies inside its class, and inside the range of an unknown class."""
    chart = published("wire_class.strands")
    for strands, gauge, ohms in chart[name]:
        size = f"AWG {gauge}"
        for found in (resistance_range(size, name), resistance_range(size)):
            assert inside(found, size, ohms / 0.3048), f"{strands} strands, {size}: {chart['source']}"


def test_cable_of_unknown_make_up(published: Published) -> None:
    """Power pairs whose strands are not stated lie inside the range of an unknown class."""
    usb = published("wire_class.usb")
    for gauge, ohms in zip(usb["gauge"], usb["value"], strict=True):
        assert inside(resistance_range(f"AWG {gauge}"), f"AWG {gauge}", ohms), usb["source"]


def test_solid_wire_by_its_diameter_and_tin(published: Published) -> None:
    """+-1 % of diameter, 101 % IACS at best, tinned at most as the standard says, and below 0.254 mm 2.54 um."""
    share, tin = published("wire_class.diameter_tolerance"), published("wire_class.tinned")
    for end, value in zip((1.01, 0.99), share["value"], strict=True):
        assert 100.0 * (1.0 / end**2 - 1.0) == pytest.approx(value, abs=share["abs_tol"]), share["source"]
    assert resistance_range("AWG 14", "solid").low == pytest.approx(1.0 / 1.01**3, rel=1e-12)
    fine = 0.127e-3 * 92.0 ** (-4 / 39)  # AWG 40
    drawn = 1.0 / (1.0 - 2.54e-6 / fine) ** 2
    assert resistance_range("AWG 40", "solid").high == pytest.approx(1.0735 * drawn, rel=1e-12)
    for limit, ohms in zip(tin["diameter"], tin["value"], strict=True):
        # the coarsest wire of the row, and the row's own limit of resistivity
        gauge = math.ceil(36 - 39 * math.log(limit / 0.127e-3, 92))
        coated = theory(f"AWG {gauge}") * ohms / tin["standard"] / 0.99**2
        assert inside(resistance_range(f"AWG {gauge}", "solid"), f"AWG {gauge}", coated), tin["source"]


@pytest.mark.parametrize("size", ["0.34 mm2", "1.25 mm2", "25 mm2"])
@pytest.mark.parametrize("name", [*WIRE_CLASSES, None])
def test_a_size_outside_the_standard_has_the_widest_range(size: str, name: Any) -> None:
    """Nothing is promised for a size that the standard does not list."""
    found = resistance_range(size, name)
    assert (found.low, found.high) == (0.82, 1.2154)


@pytest.mark.parametrize("size", ["AWG 40", "AWG 24", "awg20", "AWG 2/0", "0.5 mm2", "0.75mm^2", "16 mm²", "3 mm2"])
def test_a_class_narrows_the_range(size: str) -> None:
    """The range of an unknown class holds that of every class."""
    whole = resistance_range(size)
    for name in WIRE_CLASSES:
        part = resistance_range(size, name)
        assert whole.low <= part.low < part.nominal < part.high <= whole.high


def test_clad_aluminium(published: Published) -> None:
    """The factor named for copper-clad aluminium is one over its least share of IACS, to two digits."""
    entry = published("wire_class.clad")
    assert clad_factor() == pytest.approx(1.0 / entry["value"], abs=0.005), entry["source"]


def test_refusals() -> None:
    """A size or a class that is not known is refused with what to write."""
    with pytest.raises(InputError, match="must be a gauge or an area in mm2"):
        resistance_range("20 AWG")
    with pytest.raises(InputError, match=r"must be one of solid, stranded, flexible, received 'litz'"):
        resistance_range("AWG 20", "litz")  # type: ignore[arg-type]
