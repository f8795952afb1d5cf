"""The whole circuit as one network: where each part and each path of a fault leads, and its values, by hand."""

from __future__ import annotations

from typing import Any

import pytest

from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.network.elements import GROUND, Element, Network
from ignition.network.whole import gate_box, gate_network, more_than_none, one_way, whole_network
from ignition.toleranced import Toleranced
from tests.analyses.sense_circuits import text
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

BANK = 'capacitor_bank = { capacitance = "10 mF", series_resistance = "50 ohm", recharge_resistance = "1 kohm" }'

SECOND = """second = { bus_divider = { upper = "100 kohm", lower = "33 kohm" }, drain_pull_up = ["60 kohm", "40 kohm"] }
return_contact = "10 mohm .. 16 mohm .. 30 mohm"
shunt = "50 mohm"
high_side = { resistance = "18 mohm .. 20 mohm .. 24 mohm", around = "100 kohm" }"""

OWN = """
[faults]
add = [
    { name = "strap", between = ["line.drain", "battery"], resistance = "1 kohm" },
    { name = "touch", between = ["bus", "ground"] },
]
[[faults.connector]]
name = "J1"
pins = ["line.line out", "ground", "battery"]
"""


def circuit(more: str = "", **changes: Any) -> Circuit:
    """The bench circuit with a pin and a MOSFET whose values all differ."""
    body = edited(
        text(**changes),
        ('output_resistance = "0 ohm"', 'output_resistance = "20 ohm .. 25 ohm .. 40 ohm"'),
        ('leakage = "0 A"\nclamp', 'leakage = "1 uA .. 2 uA .. 3 uA"\nclamp'),
        ('clamp_resistance = "10 ohm"', 'clamp_resistance = "8 ohm .. 10 ohm .. 15 ohm"'),
        ('clamp_drop = "0.5 V"', 'clamp_drop = "0.3 V .. 0.5 V .. 0.6 V"'),
        ('max_junction = "150 degC"', 'max_junction = "150 degC"\ngate_leakage = "10 nA .. 20 nA .. 100 nA"'),
    )
    return parse_circuit(body + more, "whole.toml")


FULL = {"sense": 'upper = ["60 kohm", "40 kohm"], lower = "33 kohm", pin_resistor = "1 kohm"', "second": SECOND}


def ends(network: Network, closed: bool) -> dict[str, tuple[str, str]]:
    """Both ends of each resistor, in the order of their names."""
    some = (e for e in network.elements if e.kind == "resistor" and e.closed is closed)
    return {e.name: tuple(sorted((e.plus, e.minus))) for e in some}  # type: ignore[misc]


def terms(element: Element) -> list[str]:
    """Parameters of its resistance, each counted once."""
    assert {factor for _, factor in element.resistance} <= {1.0}
    return [name for name, _ in element.resistance]


PLAIN = {
    "feed.arm switch short": ("battery terminal", "bus"),
    "line.bridging": ("line.line back", "line.line out"),
    "line.mosfet": (GROUND, "line.drain"),
    "line.mosfet short": (GROUND, "line.drain"),
    "line.reset pull-down": (GROUND, "line.gate pin"),
    "line.pull-down short": (GROUND, "line.gate"),
    "line.gate series short": ("line.gate", "line.gate pin"),
    "line.drain-gate short": ("line.drain", "line.gate"),
    "line.mosfet leaky": (GROUND, "line.drain"),
    "line.upper short": ("line.drain", "line.tap"),
    "line.lower short": (GROUND, "line.tap"),
    "line.pin resistor short": ("line.adc pin", "line.tap"),
    "line.adc pin low": (GROUND, "line.adc pin"),
    "line.line out to ground": (GROUND, "line.line out"),
    "line.line out to battery": ("battery terminal", "line.line out"),
    "line.line back to ground": (GROUND, "line.line back"),
    "line.line back to battery": ("battery terminal", "line.line back"),
    "line.igniter 1.1 short": ("line.line back", "line.line out"),
    "connector wet, line.line out to line.line back": ("line.line back", "line.line out"),
}
"""Every path of a plain line that a fault or a phase closes, and what it joins."""

FURTHER = {
    "line.high side": ("bus", "line.box out"),
    "line.around short": ("bus", "line.box out"),
    "line.shunt": ("line.box back", "line.box out"),
    "line.bus upper short": ("bus", "line.bus pin"),
    "line.bus lower short": (GROUND, "line.bus pin"),
    "line.bus adc pin low": (GROUND, "line.bus pin"),
}
"""And of a line with contacts and a second measurement."""


def joined(found: dict[str, tuple[str, str]], expected: dict[str, tuple[str, str]]) -> bool:
    """The same whichever end is named first."""
    return found == {name: tuple(sorted(pair)) for name, pair in expected.items()}


def test_what_a_fault_closes() -> None:
    """Each path open, between the nodes that it is named after; a part that is not there has none."""
    assert joined(ends(whole_network(circuit()), closed=False), PLAIN)
    assert joined(ends(whole_network(circuit(**FULL)), closed=False), PLAIN | FURTHER)


def test_without_gates() -> None:
    """Lines alone: no element touches a gate or its pin; those of the gate side are all that is missing."""
    one = circuit()
    lines, whole = whole_network(one, gates=False), whole_network(one)
    assert not [n for n in lines.nodes if n in ("line.gate", "line.gate pin")]
    missing = {e.name for e in whole.elements} - {e.name for e in lines.elements}
    own = {e.name for e in gate_network(one, one.channels[0]).elements} - {"battery"}
    assert missing == own | {"line.drain-gate short"} and lines.igniters == ("line.igniter 1.1",)
    battery = gate_network(one, one.channels[0]).element("battery")
    assert (battery.kind, battery.plus, battery.minus) == ("source", "battery terminal", GROUND)
    assert battery.voltage == (("battery.voltage", 1.0),) and not battery.resistance


def test_parts_and_their_resistances() -> None:
    """Wires, resistors of a chain and contacts have their own parameters; what is ideal is more than none."""
    network = whole_network(circuit(**FULL))
    for name, expected in {
        "line.lead out": ["line.lead out"], "line.lead back": ["line.lead back"],
        "line.upper": ["line.upper 1", "line.upper 2"], "line.lower": ["line.lower"],
        "line.bridging": ["fault.contact"], "line.mosfet short": ["fault.contact"], "line.mosfet": ["line.mosfet"],
        "line.high side": ["line.high side"], "line.return contact": ["line.return contact"], "line.shunt": ["line.shunt"],
        "line.upper short": ["fault.contact"], "line.mosfet leaky": ["line.leaky"],
        "line.adc pin low": ["line.output resistance"], "line.adc pin high": ["line.output resistance"],
        "line.reset pull-down": ["line.reset pull-down"], "line.pull-down": ["line.pull-down"],
        "line.gate series": ["line.gate series"], "line.pin driver": ["line.pin driver"],
        "line.body diode": ["line.body diode resistance"],
        "line.pull-up clamp": ["line.pull-up clamp resistance", "line.drain pull-up 1", "line.drain pull-up 2"],
        "line.pull-up driver": ["line.output resistance", "line.drain pull-up 1", "line.drain pull-up 2"],
        "connector wet, line.line out to line.line back": ["wet"],
    }.items():  # fmt: skip
        assert terms(network.element(name)) == expected, name
    upper = whole_network(circuit()).element("line.upper")
    assert terms(upper) == ["line.upper"]


def test_sources_clamps_and_leakages() -> None:
    """Kind, ends in their direction, and what drives each: a leakage up comes from the battery, a body diode from ground."""
    network = whole_network(circuit(**FULL))
    for name, expected in {
        "line.pin driver": ("source", "line.gate pin", GROUND, "line.pin voltage"),
        "line.adc pin high": ("source", "line.adc pin", GROUND, "line.rail"),
        "line.bus adc pin high": ("source", "line.bus pin", GROUND, "line.rail"),
        "line.pull-up driver": ("source", "line.drain", GROUND, "line.rail"),
        "line.pin leakage up": ("leakage", "battery terminal", "line.gate pin", "line.pin leakage up"),
        "line.pin leakage down": ("leakage", "line.gate pin", GROUND, "line.pin leakage down"),
        "line.gate leakage up": ("leakage", "battery terminal", "line.gate", "line.gate leakage up"),
        "line.gate leakage down": ("leakage", "line.gate", GROUND, "line.gate leakage down"),
        "line.pin upper clamp": ("clamp", "line.gate pin", GROUND, "line.pin clamp voltage"),
        "line.pin lower clamp": ("clamp", GROUND, "line.gate pin", "line.clamp drop"),
        "line.body diode": ("clamp", GROUND, "line.drain", "line.body diode drop"),
    }.items():
        one = network.element(name)
        ((driven, factor),) = one.voltage or one.current
        assert ((one.kind, one.plus, one.minus, driven), factor) == (expected, 1.0), name
        ideal = name.endswith(("adc pin high", "pull-up driver"))
        assert one.closed is not ideal, name
    assert terms(network.element("line.pin upper clamp")) == ["line.pin clamp resistance"]


def test_two_pull_downs_are_parts_of_their_own() -> None:
    """Each from gate to ground, with the name and the value that the file has in their order."""
    two = parse_circuit(text().replace('pull_down = "10 kohm"', 'pull_down = ["20 kohm", "30 kohm"]'), "pair.toml")
    found = ends(whole_network(two), closed=True)
    assert found["line.pull-down 1"] == found["line.pull-down 2"] == tuple(sorted((GROUND, "line.gate")))
    box = gate_box(two, Toleranced.exact(3.3, "V"))
    assert (box["line.pull-down 1"].nominal, box["line.pull-down 2"].nominal) == (20e3, 30e3)


def test_swapped_pairs_of_two_lines() -> None:
    """Each lead to the other line's igniters and back, both wires, as resistant as the lead itself."""
    network = whole_network(circuit(channels=2))
    found = {e.name: e for e in network.elements if " to line" in e.name and ".lead " in e.name}
    assert {name: tuple(sorted((e.plus, e.minus))) for name, e in found.items()} == {
        "line.lead out to line 2": ("bus", "line 2.line out"),
        "line.lead back to line 2": ("line 2.line back", "line.drain"),
        "line 2.lead out to line": ("bus", "line.line out"),
        "line 2.lead back to line": ("line 2.drain", "line.line back"),
    }
    assert not any(e.closed for e in found.values())
    assert {name.partition(" to ")[0]: terms(e) for name, e in found.items()} == {
        f"{name}.lead {end}": [f"{name}.lead {end}"] for name in ("line", "line 2") for end in ("out", "back")
    }


def test_wet_connectors_of_two_lines() -> None:
    """Any two of four wires, six pairs."""
    network = whole_network(circuit(channels=2))
    assert sum(terms(e) == ["wet"] for e in network.elements) == 6


def test_faults_and_connectors_of_the_file() -> None:
    """The battery is its terminal; an own fault without a resistance is a short; pins of a connector pair by pair."""
    one = circuit(OWN)
    network, box = whole_network(one), gate_box(one, Toleranced.exact(3.3, "V"))
    strap, touch = network.element("own fault strap"), network.element("own fault touch")
    assert (strap.plus, strap.minus, terms(strap), strap.closed) == (
        "line.drain", "battery terminal", ["own fault strap"], False,
    )  # fmt: skip
    assert (touch.plus, touch.minus) == ("bus", GROUND)
    assert box["own fault strap"].nominal == 1e3 and box["own fault touch"].nominal == 1e-6
    wet = {e.name: (e.plus, e.minus) for e in network.elements if terms(e) == ["wet"]}
    assert wet == {
        "J1 wet, line.line out to ground": ("line.line out", GROUND),
        "J1 wet, line.line out to battery": ("line.line out", "battery terminal"),
        "J1 wet, ground to battery": (GROUND, "battery terminal"),
    }


@pytest.mark.parametrize("recharged", [True, False])
def test_a_bank(recharged: bool) -> None:
    """A short across it, one of what recharges it where that is there, and wires that touch its pole."""
    bank = BANK if recharged else BANK.replace(', recharge_resistance = "1 kohm"', "")
    banked = parse_circuit(edited(SOUND, ('protection = "none"', f'protection = "none"\n{bank}')), "banked.toml")
    found = ends(whole_network(banked), closed=False)
    assert found["bank short"] == tuple(sorted(("bank terminal", GROUND)))
    assert found.get("recharge short") == (("bank terminal", "battery terminal") if recharged else None)
    assert found["line.line out to bank"] == ("bank terminal", "line.line out")
    assert found["line.line back to bank"] == ("bank terminal", "line.line back")


LEAD = 0.39970799955868247


def test_values() -> None:
    """Half of the round trip and of the joints for each wire; contacts, pins, clamps, leakages."""
    box = gate_box(circuit(**FULL), Toleranced(low=3.2, nominal=3.3, high=3.5, unit="V"))
    expected = {
        "fault.contact": (1e-6, 1e-6, 1e-6), "wet": (1e-6, 1e-6, 1e-6),
        "line.lead out": (0.5 * LEAD + 0.01, 0.5 * LEAD + 0.02, 0.5 * LEAD + 0.05),
        "line.lead back": (0.5 * LEAD + 0.01, 0.5 * LEAD + 0.02, 0.5 * LEAD + 0.05),
        "line.high side": (0.018, 0.02, 0.024), "line.return contact": (0.01, 0.016, 0.03),
        "line.pin voltage": (0.0, 0.0, 0.0), "line.pin driver": (20.0, 25.0, 40.0),
        "line.reset pull-down": (1e12, 1e12, 1e12), "line.gate series": (100.0, 100.0, 100.0),
        "line.pin clamp voltage": (3.5, 3.8, 4.1), "line.pin clamp resistance": (8.0, 10.0, 15.0),
        "line.clamp drop": (0.3, 0.5, 0.6), "line.rail": (3.2, 3.3, 3.5), "line.output resistance": (20.0, 25.0, 40.0),
        "line.body diode drop": (0.2, 0.7, 1.2), "line.body diode resistance": (1e-3, 0.01, 1.0),
        "line.leaky": (0.0, 0.0, 0.0), "line.pull-up clamp resistance": (8.0, 10.0, 15.0),
        "line.pin leakage up": (0.0, 0.0, 3e-6), "line.pin leakage down": (0.0, 0.0, 3e-6),
        "line.gate leakage up": (0.0, 0.0, 100e-9), "line.gate leakage down": (0.0, 0.0, 100e-9),
        "line.upper 1": (60e3, 60e3, 60e3), "line.upper 2": (40e3, 40e3, 40e3), "line.pull-down": (10e3, 10e3, 10e3),
        "line.drain pull-up 1": (60e3, 60e3, 60e3), "line.drain pull-up 2": (40e3, 40e3, 40e3),
    }  # fmt: skip
    assert set(box) == set(expected)
    for name, values in expected.items():
        assert (box[name].low, box[name].nominal, box[name].high) == pytest.approx(values, rel=1e-7, abs=0.0), name
    plain = gate_box(circuit(), Toleranced.exact(3.3, "V"))
    wires = [plain[f"line.lead {end}"] for end in ("out", "back")]
    assert [(w.low, w.high) for w in wires] == [pytest.approx((0.5 * LEAD + 0.01, 0.5 * LEAD + 0.05))] * 2
    assert not [name for name in plain if "pull-up" in name]


def test_a_pull_down_of_the_pin_in_reset() -> None:
    """Its own value where the file gives one."""
    body = text().replace(
        'clamp_drop = "0.5 V"', 'clamp_drop = "0.5 V"\nreset_pull_down = "30 kohm .. 40 kohm .. 60 kohm"'
    )
    value = gate_box(parse_circuit(body, "down.toml"), Toleranced.exact(3.3, "V"))["line.reset pull-down"]
    assert (value.low, value.nominal, value.high) == (30e3, 40e3, 60e3)


def test_ends_of_a_resistance_and_a_leakage() -> None:
    """No end of a resistance below 1 uohm; of a leakage what flows the other way is none."""
    value = more_than_none(Toleranced(low=0.0, nominal=1.0, high=2.0, unit="ohm"))
    assert (value.low, value.nominal, value.high) == (1e-6, 1.0, 2.0)
    assert (one_way(2e-6).low, one_way(2e-6).nominal, one_way(2e-6).high) == (0.0, 0.0, 2e-6)
    assert one_way(-2e-6).high == 0.0
