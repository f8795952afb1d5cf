"""The fault list: every mode of the table, every part of a circuit, every change in the network, and what excludes what."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest

from ignition.analyses.faults.fault import Fault, left_out, single_faults
from ignition.analyses.faults.faults import faults
from ignition.analyses.faults.modes import fault_modes
from ignition.circuit.examples import example_names, load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.errors import CircuitFileError, InputError
from ignition.network.whole import CONTACT, gate_box, whole_network
from ignition.toleranced import Toleranced
from tests.analyses.sense_circuits import bench, text
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND


def full() -> Circuit:
    """Two channels with every part that a fault can be of."""
    own = '\n[faults]\nadd = [{ name = "strap", between = ["line.drain", "ground"] }]\n'
    return of_text(
        own,
        channels=2,
        sense='upper = ["60 kohm", "40 kohm"], lower = "33 kohm", filter = "100 nF", pin_resistor = "1 kohm"',
        second='second = { bus_divider = { upper = "100 kohm", lower = "33 kohm" }, drain_pull_up = "100 kohm" }\n'
        'return_contact = "20 mohm"\nshunt = "20 mohm"\n'
        'high_side = { resistance = "20 mohm", around = "100 kohm" }',
        igniters='[["match", "match"], ["match"]]',
    )


def of_text(more: str, **changes: Any) -> Circuit:
    """The bench circuit with more text."""
    return parse_circuit(text(**changes) + more, "bench.toml")


BANK = 'capacitor_bank = { capacitance = "10 mF", series_resistance = "50 ohm", recharge_resistance = "1 kohm" }'


def banked() -> Circuit:
    """The sound circuit on a bank that is recharged."""
    text = edited(SOUND, ('protection = "none"', f'protection = "none"\n{BANK}'))
    return parse_circuit(text, "banked.toml")


def test_a_bank_and_its_recharge() -> None:
    """A shorted recharge resistor, or a wire on the battery's own pole, leaves the bank's 50 ohm out.

    With the MOSFET shorted: 8.4 V over 40 mohm of battery, 20 mohm of feed, lead and 1 ohm of bridge, about 6.8 A.
    """
    circuit = banked()
    found = faults(circuit, 2)
    assert found.fewest == {"disarmed": 2, "reset": 2, "armed": 2, "firing": None}
    pairs = {p.phase: {frozenset(r.faults): r for r in p.faults if len(r.faults) == 2} for p in found.phases}
    short = "line.mosfet drain-source-short"
    armed = pairs["armed"][frozenset({"recharge resistor short", short})]
    lead = circuit.channels[0].lead.resistance.low
    assert armed.current == pytest.approx(8.4 / (0.04 + 0.02 + lead + 1.0), rel=0.02)
    assert frozenset({"line.lead out to-battery", short}) in pairs["disarmed"]
    assert "line.lead out to-bank" in names(circuit) and "line.lead out to-bank" not in names(bench())


def names(circuit: Circuit) -> list[str]:
    """Names of all faults."""
    return [fault.name for fault in single_faults(circuit)]


def test_every_mode_is_some_fault() -> None:
    """No mode of the table is left out, and each says whose word it is; shares of a kind of part are at most one."""
    kelp = single_faults(load_example("demo"))
    used = {(f.mode.kind, f.mode.mode) for f in (*single_faults(full()), *kelp)}
    used |= {(f.mode.kind, f.mode.mode) for f in single_faults(banked())}
    foreign = {key for key in fault_modes() if key[0] in ("diode", "inductor")}  # parts that no circuit file has
    assert used == set(fault_modes()) - foreign and len(foreign) == 5
    shares: Counter[str] = Counter()
    for (kind, _), mode in fault_modes().items():
        assert mode.basis
        assert mode.says
        assert mode.share is not None or "common practice" in mode.basis
        shares[kind] += mode.share or 0.0
    assert all(total <= 1.0 + 1e-9 for total in shares.values())


def test_modes_of_a_film_resistor() -> None:
    """MIL-HDBK-338B (1998) as transcribed in an open database: open .59, parameter change .36, short .05."""
    modes = fault_modes()
    shares = [modes["resistor", mode].share for mode in ("open", "drifted", "short")]
    assert shares == [0.59, 0.36, 0.05]
    assert sum(share or 0.0 for share in shares) == pytest.approx(1.0)


@pytest.mark.parametrize("name", [*example_names(), "full"])
def test_changes_are_of_the_network(name: str) -> None:
    """Every element that a fault opens or closes exists, every parameter has bounds; names are unique."""
    circuit = full() if name == "full" else load_example(name)
    network = whole_network(circuit)
    elements, parameters = {e.name for e in network.elements}, set(network.parameters)
    faults = single_faults(circuit)
    assert max(Counter(fault.name for fault in faults).values()) == 1
    known = parameters | set(gate_box(circuit, Toleranced.exact(3.3, "V")))
    for fault in faults:
        assert fault.opened | fault.closed <= elements, fault.name
        assert set(fault.values) | set(fault.scaled) | fault.from_rail <= known, fault.name
        assert not fault.opened & fault.closed, fault.name


def test_every_part_has_faults() -> None:
    """Parts by hand: each resistor, capacitor, pin, switch, wire and igniter of the full circuit, of both channels."""
    circuit = full()
    found = {fault.part for fault in single_faults(circuit)}
    for channel in ("line", "line 2"):
        parts = [
            "upper 1", "upper 2", "lower", "pin resistor", "filter", "converter pin", "bus upper", "bus lower",
            "bus converter pin", "drain pull-up", "gate pin", "gate series", "pull-down", "mosfet", "lead out", "lead back",
            "line", "igniter 1.1", "igniter 1.2", "igniter 2.1", "high side", "around", "return contact", "shunt",
        ]  # fmt: skip
        assert {f"{channel}.{part}" for part in parts} <= found
    assert {"arm switch", "regulator", "controller", "line, line 2"} <= found
    water = [fault for fault in single_faults(circuit) if fault.mode.mode == "wet"]
    assert len(water) == 6  # two wires of each of two lines: any two of four


def test_parts_that_are_not_there() -> None:
    """A part that the file does not have has no fault."""
    plain = names(bench())
    for part in (
        "pin resistor",
        "filter",
        "bus upper",
        "drain pull-up",
        "gate capacitor",
        "upper 1",
        "high side",
        "shunt",
    ):
        assert not [name for name in plain if f".{part}" in name], part
    assert "line.upper short" in plain
    assert not [name for name in plain if "swapped" in name or "jammed" in name]


def find(circuit: Circuit, name: str) -> Fault:
    """One fault by its name."""
    return next(fault for fault in single_faults(circuit) if fault.name == name)


def test_values() -> None:
    """What a shorted, open and drifted part of several leaves, by hand."""
    circuit = full()
    assert find(circuit, "line.upper 1 short").values["line.upper 1"].high == CONTACT
    assert find(circuit, "line.upper 1 open").opened == {"line.upper"}
    assert find(circuit, "line.upper 2 drifted").scaled["line.upper 2"] == (0.5, 2.0)
    terms = whole_network(circuit).element("line.upper").resistance
    assert terms == (("line.upper 1", 1.0), ("line.upper 2", 1.0))
    assert find(circuit, "line.lower drifted").scaled["line.lower"] == (0.5, 2.0)
    jammed = find(circuit, "arm switch jammed-closed")
    assert jammed.closed == {"feed.arm switch", "line.return contact", "line 2.return contact"}
    assert jammed.opened == {"line.shunt", "line 2.shunt"}
    assert {"line.high side", "line 2.high side"} <= find(circuit, "controller all-pins-high").closed
    assert find(circuit, "line.mosfet leaky").values["line.leaky"].nominal == 10e3
    assert find(circuit, "connector wet, line.line out to line.line back").values["wet"].nominal == 10e3


def test_sides() -> None:
    """Test path: divider, pin, clamps, second measurement. Switch: MOSFET, gate, its pin. The rest is neither."""
    circuit = full()
    for fault in single_faults(circuit):
        words = fault.name
        parts = ("upper", "lower", "pin resistor", "filter", "converter", "drain pull-up", "pull-up pin", "around")
        test_path = any(w in words for w in parts)
        switch = any(w in words for w in ("mosfet", "gate", "pull-down", "all-pins-high"))
        assert fault.side == ("test path" if test_path else "switch" if switch else ""), fault.name


OWN = """
[faults]
off = [{{ fault = "{off}", because = "sealed" }}]
add = [{{ name = "strap", between = ["{one}", "{other}"], resistance = "1 kohm" }}]
"""


def test_what_the_file_leaves_out_and_adds() -> None:
    """A pattern leaves out what it matches, with its reason; an own short is one more fault between two places."""
    plain = names(bench())
    changed = of_text(OWN.format(off="connector wet*", one="line.drain", other="ground"))
    assert set(plain) - set(names(changed)) == set(left_out(changed))
    assert left_out(changed) == {"connector wet, line.line out to line.line back": "sealed"}
    assert set(names(changed)) - set(plain) == {"strap short"}
    element = whole_network(changed).element("own fault strap")
    assert (element.plus, element.minus, element.closed) == ("line.drain", "ground", False)
    assert gate_box(changed, Toleranced.exact(3.3, "V"))["own fault strap"].nominal == 1e3
    pole = whole_network(of_text(OWN.format(off="*", one="battery", other="bus"))).element("own fault strap")
    assert (pole.plus, pole.minus) == ("battery terminal", "bus")
    assert left_out(bench()) == {}


def test_mistakes_in_the_fault_table() -> None:
    """A pattern that matches nothing and a place that does not exist are told with what there is."""
    with pytest.raises(InputError, match=r"faults.off\[0\].fault: 'line.uper short' is no fault .*line.upper short"):
        single_faults(of_text(OWN.format(off="line.uper short", one="bus", other="ground")))
    taken = OWN.format(off="*", one="bus", other="ground").replace('"strap"', '"line.upper"')
    with pytest.raises(InputError, match=r"faults.add\[0\].name: 'line.upper' gives 'line.upper short'"):
        single_faults(of_text(taken))
    with pytest.raises(CircuitFileError, match=r"faults.add\[0\].between\[1\].*no place 'frame'"):
        of_text(OWN.format(off="*", one="bus", other="frame"))
    with pytest.raises(CircuitFileError, match="both ends are 'bus'"):
        of_text(OWN.format(off="*", one="bus", other="bus"))
    with pytest.raises(InputError, match=r"'line.uppe\? short' is no fault"):
        single_faults(of_text(OWN.format(off="line.uppe? short", one="bus", other="ground")))


CONNECTOR = '\n[[faults.connector]]\nname = "J1"\npins = ["line.line back", "ground", "battery"]\n'


def test_pins_of_a_connector_that_may_be_wet() -> None:
    """Any two pins of a connector that the file describes, and no others; without one, all wires of all leads."""
    assert [name for name in names(bench()) if " wet, " in name] == ["connector wet, line.line out to line.line back"]
    circuit = of_text(CONNECTOR)
    wet = [fault for fault in single_faults(circuit) if " wet, " in fault.name]
    assert [fault.name for fault in wet] == [
        "J1 wet, line.line back to ground",
        "J1 wet, line.line back to battery",
        "J1 wet, ground to battery",
    ]
    elements = [whole_network(circuit).element(fault.name) for fault in wet]
    assert [(e.plus, e.minus) for e in elements] == [
        ("line.line back", "ground"),
        ("line.line back", "battery terminal"),
        ("ground", "battery terminal"),
    ]
    assert all(fault.values["wet"].low == 1e4 for fault in wet)


def test_mistakes_in_connectors() -> None:
    """A place that does not exist, a pin named twice, a name taken twice."""
    with pytest.raises(CircuitFileError, match=r"faults.connector\[0\].pins\[1\].*no place 'frame'"):
        of_text(CONNECTOR.replace('"ground"', '"frame"'))
    with pytest.raises(CircuitFileError, match="names 'battery' twice"):
        of_text(CONNECTOR.replace('"ground"', '"battery"'))
    with pytest.raises(CircuitFileError, match=r"faults.connector\[1\].name"):
        of_text(CONNECTOR + CONNECTOR)


def test_likelihoods() -> None:
    """A mode's share of its part's failures, or the weight that the file gives; the last that names a fault counts."""
    weights = (
        '\n[faults]\nweight = [{ fault = "line.upper *", weight = 3 }, { fault = "line.upper short", weight = 0.25 }]\n'
    )
    plain = {fault.name: fault.likelihood for fault in single_faults(bench())}
    found = {fault.name: fault.likelihood for fault in single_faults(of_text(weights))}
    assert (plain["line.upper open"], plain["line.upper short"]) == (0.59, 0.05)
    assert (found["line.upper open"], found["line.upper short"]) == (3.0, 0.25)
    assert found["line.lower short"] == 0.05
    assert plain["connector wet, line.line out to line.line back"] is None
    with pytest.raises(InputError, match=r"faults.weight\[0\].fault: 'line.uper' is no fault"):
        single_faults(of_text('\n[faults]\nweight = [{ fault = "line.uper", weight = 1 }]\n'))
    with pytest.raises(CircuitFileError, match=r"faults.weight\[0\].weight"):
        of_text('\n[faults]\nweight = [{ fault = "line.upper short", weight = 0 }]\n')


def test_a_name_with_brackets_stands_for_itself() -> None:
    """What a pattern would take as a choice of letters is a name where a fault has it."""
    own = '\n[faults]\nadd = [{ name = "strap [a]", between = ["bus", "ground"] }]\n'
    off = own + 'off = [{ fault = "strap [a] short", because = "taped" }]\n'
    assert "strap [a] short" in names(of_text(own)) and left_out(of_text(off)) == {"strap [a] short": "taped"}
