"""Operating point decks: every kind of element gives what algebra and our solver give, whatever it is called."""

from __future__ import annotations

import math

import pytest

from ignition.errors import InputError, NetworkError
from ignition.network.elements import GROUND, KNEE_VOLTAGE, Element, Network
from ignition.network.solution import solve
from ignition.spice.cards import number
from ignition.spice.deck import OperatingPoint, operating_point_deck, read_operating_point
from ignition.spice.ngspice import run_deck
from tests.spice.test_names import HOSTILE


def resistor(name: str, plus: str, minus: str, parameter: str = "", *, closed: bool = True) -> Element:
    """A resistor; without parameter a link of 0 ohm."""
    terms = ((parameter, 1.0),) if parameter else ()
    return Element(name=name, kind="resistor", plus=plus, minus=minus, resistance=terms, closed=closed)


def battery(plus: str = "top", resistance: str = "") -> Element:
    """A source of E volt."""
    terms = ((resistance, 1.0),) if resistance else ()
    return Element(name="battery", kind="source", plus=plus, minus=GROUND, voltage=(("E", 1.0),), resistance=terms)


def answer(elements: list[Element], values: dict[str, float]) -> OperatingPoint:
    """What ngspice says about a network."""
    network = Network(elements=tuple(elements))
    return read_operating_point(run_deck(operating_point_deck(network, values, "test")).plots[0], network)


def test_loop_with_a_link() -> None:
    """A link of 0 ohm changes nothing and its current can be read; a battery's runs from plus to minus inside."""
    found = answer(
        [battery(resistance="Rb"), resistor("link", "top", "load"), resistor("load", "load", GROUND, "R")],
        {"E": 6.0, "Rb": 0.5, "R": 2.5},
    )
    assert found.voltages["top"] == pytest.approx(5.0, rel=1e-12)
    assert found.currents["link"] == pytest.approx(2.0, rel=1e-12)
    assert found.currents["battery"] == pytest.approx(-2.0, rel=1e-12)
    assert found.voltages[GROUND] == 0.0


def test_open_element_carries_nothing() -> None:
    """An open element is left out, named in a comment, and reads 0 A."""
    network = Network(elements=(battery(), resistor("switch 1", "top", GROUND, "R", closed=False)))
    text = operating_point_deck(network, {"E": 1.0, "R": 1.0}, "open")
    assert "* open, left out: switch_1" in text.splitlines()
    assert "R_switch_1" not in text
    assert read_operating_point(run_deck(text).plots[0], network).currents["switch 1"] == 0.0


def test_sink_takes_its_current_from_its_plus_node() -> None:
    """A sink of 2 A at 1 ohm lowers the node by 2 V."""
    sink = Element(name="pump", kind="sink", plus="top", minus=GROUND, current=(("J", 1.0),))
    found = answer([battery(resistance="Rb"), sink], {"E": 6.0, "Rb": 1.0, "J": 2.0})
    assert found.voltages["top"] == pytest.approx(4.0, rel=1e-12)
    assert found.currents["pump"] == pytest.approx(2.0, rel=1e-12)


@pytest.mark.parametrize(("supply", "share"), [(6.0, 1.0), (0.5e-3, 0.5), (-2e-3, -2.0)])
def test_leakage_follows_the_solver(supply: float, share: float) -> None:
    """Leakage is whole above the knee and proportional below it and at negative voltage."""
    leak = Element(name="leak", kind="leakage", plus="top", minus=GROUND, current=(("J", 1.0),))
    values = {"E": supply, "J": 1e-4}
    found = answer([battery(), leak], values)
    assert found.currents["leak"] == pytest.approx(share * 1e-4, rel=1e-9)
    assert float(solve(Network(elements=(battery(), leak)), values).current("leak")[0]) == pytest.approx(share * 1e-4)
    assert KNEE_VOLTAGE == 1e-3


@pytest.mark.parametrize(
    ("resistance", "most", "current"),
    [(2.0, 1e9, 6.0 / 3.0), (2.0, 1.5, 1.5), (2.0, 1.9, 1.9), (0.5, 1e9, 4.0), (5e-4, 1.0, 1.0)],
)
def test_a_leakage_with_a_resistance_follows_the_solver(resistance: float, most: float, current: float) -> None:
    """6 V behind 1 ohm: 6 V / (1 + R), but no more than its current."""
    leak = Element(
        name="leak", kind="leakage", plus="drain", minus=GROUND, current=(("J", 1.0),), resistance=(("R", 1.0),)
    )
    elements, values = [battery(), resistor("line", "top", "drain", "S"), leak], {"E": 6.0, "S": 1.0}
    values |= {"J": most, "R": resistance}
    found = answer(elements, values)
    assert found.currents["leak"] == pytest.approx(current, rel=1e-6)
    ours = float(solve(Network(elements=tuple(elements)), values).current("leak")[0])
    assert found.currents["leak"] == pytest.approx(ours, rel=1e-9)


@pytest.mark.parametrize(("supply", "current"), [(3.0, 0.0), (5.0, 1.0 / 1100.0), (-5.0, 0.0)])
def test_clamp_conducts_above_its_voltage(supply: float, current: float) -> None:
    """A clamp at 4 V behind 1 kohm takes (5 - 4) / (1000 + 100) ampere at 5 V and nothing at 3 V or -5 V."""
    clamp = Element(
        name="clamp", kind="clamp", plus="pin", minus=GROUND, voltage=(("Vc", 1.0),), resistance=(("Rc", 1.0),)
    )
    elements = [battery(), resistor("series", "top", "pin", "R"), clamp]
    found = answer(elements, {"E": supply, "R": 1000.0, "Vc": 4.0, "Rc": 100.0})
    assert found.currents["clamp"] == pytest.approx(current, rel=1e-9, abs=1e-15)


def test_clamp_without_resistance_holds_its_voltage() -> None:
    """A clamp of 0 ohm is written with 0.1 mohm, which moves the pin by less than a millionth at 1 mA."""
    clamp = Element(name="clamp", kind="clamp", plus="pin", minus=GROUND, voltage=(("Vc", 1.0),))
    found = answer([battery(), resistor("series", "top", "pin", "R"), clamp], {"E": 5.0, "R": 1000.0, "Vc": 4.0})
    assert found.voltages["pin"] == pytest.approx(4.0, rel=1e-7)
    assert found.currents["clamp"] == pytest.approx(1e-3, rel=1e-6)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_change_no_number(name: str) -> None:
    """Nodes, elements, title and notes of any text run, and the numbers are those of plain names."""
    network = Network(
        elements=(
            battery(plus=f"{name} top"),
            resistor(f"{name}", f"{name} top", f"{name}.middle", "R1"),
            resistor(f"{name.upper()} ", f"{name}.middle", GROUND, "R2"),
        )
    )
    text = operating_point_deck(network, {"E": 3.0, "R1": 1.0, "R2": 2.0}, name, notes=(name, name))
    assert text.isascii()
    found = read_operating_point(run_deck(text).plots[0], network)
    assert found.voltages[f"{name}.middle"] == pytest.approx(2.0, rel=1e-12)
    assert found.currents[name] == pytest.approx(1.0, rel=1e-12)


def test_names_equal_but_for_signs_stay_apart() -> None:
    """Nodes that differ only in case or in signs are not joined."""
    nodes = ["a b", "a.b", "A_B", "a-b", "middle a b", "gnd"]
    elements = [battery(plus=nodes[0])]
    for first, second in zip(nodes, [*nodes[1:], GROUND], strict=True):
        elements.append(resistor(first, first, second, "R"))
    found = answer(elements, {"E": 6.0, "R": 1.0})
    assert [found.voltages[n] for n in nodes] == pytest.approx([6.0, 5.0, 4.0, 3.0, 2.0, 1.0], rel=1e-12)


def test_values_are_written_in_full() -> None:
    """Numbers carry no scale letter and read back as the same double."""
    for value in (0.1 + 0.2, 4700.0, 1e-15, -3.3):
        assert float(number(value)) == value
    with pytest.raises(InputError, match="must be finite"):
        number(math.nan)


def test_missing_value_is_named() -> None:
    """A parameter without value is refused."""
    with pytest.raises(NetworkError, match="no value for parameter 'R'"):
        operating_point_deck(Network(elements=(battery(), resistor("r", "top", GROUND, "R"))), {"E": 1.0}, "t")


def test_floating_node_is_refused() -> None:
    """A node without tie is refused: SPICE would answer with a plausible voltage."""
    network = Network(elements=(battery(), resistor("r", "left", "right", "R")))
    with pytest.raises(NetworkError, match="'left' is floating"):
        operating_point_deck(network, {"E": 1.0, "R": 1.0}, "t")
