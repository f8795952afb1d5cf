"""Role files: every mistake with its line, all at once, in the file itself and against the netlist."""

from __future__ import annotations

import re

import pytest

from ignition.errors import CircuitFileError, InputError
from ignition.foreign.binding import Bound, bind
from ignition.foreign.reader import parse_netlist
from ignition.foreign.roles import parse_roles, tolerance_of
from tests.foreign.foreign_cases import BENCH_NETLIST, BENCH_ROLES


def bound(roles: str = BENCH_ROLES, netlist: str = BENCH_NETLIST) -> Bound:
    """The bench netlist with its roles."""
    return bind(parse_netlist(netlist, "bench.cir"), parse_roles(roles, "roles.toml"))


def line_of(text: str, part: str) -> int:
    """Line of a text where a part stands."""
    return text[: text.index(part)].count("\n") + 1


def test_good_roles_bind_every_element() -> None:
    """Battery, arm switch, igniter, switch and values are found, whatever the case of the names."""
    found = bound(BENCH_ROLES.replace('"VBAT"', '"vbat"').replace("RIGN =", "rign ="))
    assert (found.battery, found.arm, found.pins, found.supply) == ("VBAT", ("R_ARM",), (), None)
    (channel,) = found.channels
    assert dict(channel.igniters) == {"RIGN": "match"}
    assert (channel.drain, channel.gate, channel.source, channel.pin, channel.sense) == (
        "drain", "gate", "ground", "pin", "adc",
    )  # fmt: skip
    assert set(found.values) == {"RLEAD", "R3", "R4", "R5", "R6"}
    assert found.values["R5"].high == pytest.approx(101e3)
    assert not any(a.key.startswith(("channel[", "feed[")) for a in found.assumptions)
    assert any(a.key == "mosfet body diode" for a in found.assumptions)


IN_ITSELF = {
    "unknown key": ('[arm_switch]\nelements', '[arm_switch]\nelement', "unknown key 'element' in .arm_switch.; "
                                                                       "did you mean 'elements'"),
    "missing": ('sense_node = "adc"\n', "", r"channel\[0\]\.sense_node: is missing; write sense_node = 'adc'"),
    "no unit": ('resistance = "10 mohm .. 20 mohm .. 50 mohm"', "resistance = 5", "a bare number has no unit"),
    "igniter type": ('RIGN = "match"', 'RIGN = "mtch"', "unknown igniter 'mtch'; did you mean 'match'"),
    "mosfet type": ('mosfet = "low_side"', 'mosfet = "high"', "unknown mosfet 'high'"),
    "two pins": ('{ node = "pin" }', '{ node = "pin", element = "V1" }', "exactly one of node and element"),
    "two roles": ('elements = ["R_ARM"]', 'elements = ["VBAT"]', "'VBAT' has two roles"),
    "settling": ("total_error = 2", 'total_error = 2\nsample_capacitance = "8 pF"', "settling is not computed"),
    "tolerance": ('R5 = "1 %"', "R5 = 1", "is text: a share such as '1 %'"),
    "share": ("format = 1", 'format = 1\nresistor_tolerance = "5 ohm"', "is a share such as '1 %'"),
    "capacitor": (
        '\n[arm_switch]', '\n[battery.capacitor_bank]\ncapacitance = "1 mF"\nseries_resistance = "0 ohm"\n[arm_switch]',
        "capacitor_bank is not covered",
    ),
    "igniter table": ('time_constant = "10 ms"', 'time_constant = "0 s"', "time_constant must be above 0 s"),
}  # fmt: skip


@pytest.mark.parametrize("old, new, says", IN_ITSELF.values(), ids=IN_ITSELF.keys())
def test_mistakes_of_the_file_itself(old: str, new: str, says: str) -> None:
    """Each mistake is named, with the line of its key."""
    assert old in BENCH_ROLES
    with pytest.raises(CircuitFileError, match=says) as caught:
        parse_roles(BENCH_ROLES.replace(old, new, 1), "roles.toml")
    assert all(m.line is not None for m in caught.value.mistakes)


AGAINST = {
    "no element": ('element = "VBAT"', 'element = "VBATT"', "the netlist has no element 'VBATT'; did you mean 'VBAT'"),
    "wrong kind": (
        'element = "VBAT"',
        'element = "R6"',
        r"the battery is an element V of the netlist; 'R6' \(line 10\)",
    ),
    "no node": ('sense_node = "adc"', 'sense_node = "adcc"', "the netlist has no node 'adcc'; did you mean 'adc'"),
    "ground": ('sense_node = "adc"', 'sense_node = "gnd"', "is ground in the netlist"),
    "igniter kind": ("RIGN =", "C1 =", "an igniter is an element R"),
    "arm kind": ('["R_ARM"]', '["C1"]', "the arm switch is an element R or V"),
    "no tolerance": ('R5 = "1 %"\n', "", r"'R5' \(line 9\) has no tolerance; give resistor_tolerance, or tolerance.R5"),
    "role and tolerance": ('R5 = "1 %"', 'R5 = "1 %"\nRIGN = "1 %"', "'RIGN' has a role, which gives its value"),
    "does not hold": ('R5 = "1 %"', 'R5 = "10 kohm .. 20 kohm"', "does not hold the netlist's value, 100000 ohm"),
    "below zero": ('R5 = "1 %"', 'R5 = "150 %"', "brings 'R5' below 0 ohm"),
    "unknown tolerance": ('R5 = "1 %"', 'R5 = "1 %"\nR55 = "1 %"', "the netlist has no element 'R55'"),
    "unknown diode": ("[tolerance]", '[diode.D9]\ndrop = "0.6 V"\n[tolerance]', "the netlist has no element 'D9'"),
    "pin element": ('{ node = "pin" }', '{ element = "R3" }', "a gate pin is an element V"),
}


@pytest.mark.parametrize("old, new, says", AGAINST.values(), ids=AGAINST.keys())
def test_mistakes_against_the_netlist(old: str, new: str, says: str) -> None:
    """Each name that does not fit the netlist is a mistake of the role file, with its line."""
    assert old in BENCH_ROLES
    with pytest.raises(CircuitFileError, match=says):
        bound(BENCH_ROLES.replace(old, new, 1))


def test_line_of_a_mistake_and_all_at_once() -> None:
    """Two mistakes in one file are reported together, each with the line where it stands."""
    text = BENCH_ROLES.replace('element = "VBAT"', 'element = "V7"').replace('sense_node = "adc"', 'sense_node = "tap"')
    with pytest.raises(CircuitFileError) as caught:
        bound(text)
    lines = [m.line for m in caught.value.mistakes]
    assert lines == [line_of(text, 'element = "V7"'), line_of(text, 'sense_node = "tap"')]


def test_not_toml_names_the_line() -> None:
    """A syntax error is one mistake with its line."""
    with pytest.raises(CircuitFileError, match=r"roles\.toml:2: is not TOML"):
        parse_roles("format = 1\ntitle = \n", "roles.toml")


MORE = {
    "unclaimed mosfet": ("M9 out gate 0 SW\n", r"'M9' \(line 12\) is no channel's low-side switch"),
    "p-channel": ("", "is p-channel by its model"),
    "time function": ("V5 x 0 PULSE(0 1)\nR9 x 0 1k\n", r"'V5' \(line 12\) has no tolerance; give tolerance\.V5"),
    "breakdown": ("D1 0 adc DZ\n.model DZ D (Bv=5.1)\n", r"breaks down at 5\.1 V; give diode\.D1\.breakdown"),
}


@pytest.mark.parametrize("name", MORE)
def test_elements_without_a_role(name: str) -> None:
    """A MOSFET, a source or a Zener that the role file does not explain is a mistake, never a guess."""
    cards, says = MORE[name]
    netlist = BENCH_NETLIST.replace(".model", cards + ".model", 1)
    if name == "p-channel":
        netlist = netlist.replace("(Vto=1.5", "(pchan Vto=1.5")
    roles = BENCH_ROLES.replace("[tolerance]", '[tolerance]\nR9 = "1 %"') if "R9" in cards else BENCH_ROLES
    with pytest.raises(CircuitFileError, match=says):
        bound(roles, netlist)


def test_bulk_apart_from_the_source_is_refused() -> None:
    """A body effect is not in the steady model."""
    with pytest.raises(CircuitFileError, match="bulk apart from its source"):
        bound(netlist=BENCH_NETLIST.replace("M1 drain gate 0 SW", "M1 drain gate 0 bus SW"))


def test_pin_source_must_lead_to_ground() -> None:
    """A source stands for a pin only from the pin's node to ground; then its own waveform does not count."""
    netlist = BENCH_NETLIST.replace("R3 pin", "VPIN pin 0 PULSE(0 3.3 1m)\nR3 pin")
    roles = BENCH_ROLES.replace('{ node = "pin" }', '{ element = "VPIN" }')
    assert bound(roles, netlist).channels[0].pin == "pin"
    with pytest.raises(CircuitFileError, match="must lead from the pin's node to ground"):
        bound(roles, netlist.replace("VPIN pin 0", "VPIN pin bus"))


def test_values_of_the_netlist_that_a_role_replaces_are_noted() -> None:
    """A battery or igniter whose value lies outside the role file's range leaves a note."""
    (note,) = bound(netlist=BENCH_NETLIST.replace("RIGN out drain 1", "RIGN out drain 10")).notes
    assert re.match(r"line 5: RIGN is 10 ohm in the netlist; the role file's .* counts", note)
    assert bound().notes == ()


def test_tolerance_forms() -> None:
    """A share applies to the netlist's value, with or without its sign; a whole value stands for itself."""
    for text in ("5 %", "± 5 %", "+/- 5%"):
        assert (tolerance_of(text, 100.0, "ohm").low, tolerance_of(text, 100.0, "ohm").high) == (95.0, 105.0)
    assert tolerance_of("2 V .. 3 V", None, "V").nominal == 2.5
    assert (tolerance_of("10 %", -2.0, "V").low, tolerance_of("10 %", -2.0, "V").high) == (-2.2, -1.8)
    with pytest.raises(InputError, match="gives no steady value"):
        tolerance_of("5 %", None, "V")
