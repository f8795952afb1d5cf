"""A netlist laid out for faults, element by element, bound by bound and fault by fault, written down by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ignition.analyses.faults.results import Faults
from ignition.analyses.faults.single import SingleFaults, single_fault_inputs
from ignition.analyses.faults.situations import Situation
from ignition.findings.finding import Finding, Question, Reason
from ignition.foreign.binding import Bound, bind
from ignition.foreign.board import netlist_board
from ignition.foreign.check import check_netlist, judge_netlist_faults, netlist_fault_sets
from ignition.foreign.fault_list import netlist_faults
from ignition.foreign.reader import parse_netlist
from ignition.foreign.roles import parse_roles
from ignition.foreign.settings import netlist_setting, quiet_situations
from ignition.foreign.whole import gate_sides, lines_network, tie_name, whole_netlist
from ignition.network.elements import Element
from tests.foreign.foreign_cases import BENCH_NETLIST, BENCH_ROLES

SECOND = """RLEAD2 bus out2 400mohm
RIGN2 out2 drain2 1
M2 drain2 gate2 0 SW
R32 pin2 gate2 100
R42 gate2 0 10k
R52 drain2 adc2 100k
R62 adc2 0 33kohm
"""
CHANNEL2 = """
[[channel]]
name = "line 2"
igniters = { RIGN2 = "match" }
low_side_switch = "M2"
mosfet = "low_side"
gate_pin = { node = "pin2" }
sense_node = "adc2"
[tolerance]
RLEAD2 = "0 %"
R32 = "0 %"
R42 = "0 %"
R52 = "0 %"
R62 = "0 %"
"""


def bound(*swaps: tuple[str, str], parts: str = "", more: str = "", channels: int = 1) -> Bound:
    """The bench netlist with further parts and their tolerances, or with a second channel."""
    netlist, roles = (
        BENCH_NETLIST.replace("C1 adc", f"{parts}C1 adc"),
        BENCH_ROLES.replace("[tolerance]\n", f"[tolerance]\n{more}"),
    )
    if channels == 2:
        netlist, roles = netlist.replace("C1 adc", f"{SECOND}C1 adc"), roles.replace("[tolerance]\n", CHANNEL2)
    for old, new in swaps:
        assert (old in netlist) != (old in roles), old
        netlist, roles = netlist.replace(old, new), roles.replace(old, new)
    return bind(parse_netlist(netlist, "bench.cir"), parse_roles(roles, "roles.toml"))


ELEMENTS = """
VBAT                         source   batt ground            battery.voltage + battery.resistance
R_ARM                        resistor batt bus               R_ARM
RLEAD                        resistor bus out                RLEAD
RLEAD short                  resistor bus out                fault.contact                            open
RIGN                         resistor out drain              RIGN
RIGN short                   resistor out drain              fault.contact                            open
R3                           resistor pin gate               R3
R3 short                     resistor pin gate               fault.contact                            open
R4                           resistor gate ground            R4
R4 short                     resistor gate ground            fault.contact                            open
R5                           resistor drain adc              R5
R5 short                     resistor drain adc              fault.contact                            open
R6                           resistor adc ground             R6
R6 short                     resistor adc ground             fault.contact                            open
C1 short                     resistor adc ground             fault.contact                            open
battery at rest              source   battery_at_rest ground battery.voltage
pin pin driver               source   pin ground             pin pin.voltage + pin pin.resistance
pin pin reset pull-down      resistor pin ground             pin pin.reset pull-down                  open
pin pin leakage up           leakage  battery_at_rest pin    pin pin.leakage up
pin pin leakage down         leakage  pin ground             pin pin.leakage down
pin pin upper clamp          clamp    pin ground             pin pin.clamp voltage + pin pin.clamp resistance
pin pin lower clamp          clamp    ground pin             pin pin.clamp drop + pin pin.clamp resistance
converter adc leakage        sink     adc ground             converter adc.leakage
converter adc upper clamp    clamp    adc ground             converter adc.clamp voltage + converter adc.clamp resistance
converter adc lower clamp    clamp    ground adc             converter adc.clamp drop + converter adc.clamp resistance
converter adc high           source   adc ground             converter adc.rail + converter adc.output resistance  open
converter adc low            resistor adc ground             converter adc.output resistance          open
M1 off                       leakage  drain ground           M1 off current + M1 resistance
M1 body diode                clamp    ground drain           M1 body diode drop + M1 body diode resistance
M1 gate leakage up           leakage  battery_at_rest gate   M1 gate.leakage up
M1 gate leakage down         leakage  gate ground            M1 gate.leakage down
M1 drain-source short        resistor drain ground           fault.contact                            open
M1 gate-source short         resistor gate ground            fault.contact                            open
M1 drain-gate short          resistor drain gate             fault.contact                            open
M1 leaky                     resistor drain ground           M1 leaky                                 open
wire out to ground           resistor out ground             fault.contact                            open
wire out to battery          resistor out batt               fault.contact                            open
wire drain to ground         resistor drain ground           fault.contact                            open
wire drain to battery        resistor drain batt             fault.contact                            open
connector wet, out to drain  resistor out drain              wet                                      open
"""


def written(element: Element) -> str:
    """An element as a line of the table, its columns apart by one space."""
    assert {factor for terms in (element.voltage, element.resistance, element.current) for _, factor in terms} <= {1.0}
    values = [
        " ".join(n for n, _ in terms) for terms in (element.voltage, element.current, element.resistance) if terms
    ]
    ends = f"{element.plus.replace(' ', '_')} {element.minus.replace(' ', '_')}"
    return f"{element.name} {element.kind} {ends} {' + '.join(values)}" + ("" if element.closed else " open")


def table(text: str) -> list[str]:
    """Lines with single spaces."""
    return [" ".join(line.split()) for line in text.strip().splitlines()]


def test_every_element_of_the_bench() -> None:
    """Parts in their order, then pins, MOSFETs and wires."""
    whole = whole_netlist(bound())
    assert [written(element) for element in whole.elements] == table(ELEMENTS)
    assert whole.igniters == ("RIGN",)


OTHERS = """
L1                resistor out mid             fault.contact
L1 short          resistor out mid             fault.contact                    open
D1                clamp    adc ground          D1 drop + D1 resistance
D1 leakage        leakage  ground adc          D1 leakage
D1 leaky          resistor adc ground          D1 leaky                         open
D1 short          resistor adc ground          fault.contact                    open
D2                clamp    ground adc          D2 drop + D2 resistance
D2 leakage        leakage  adc ground          D2 leakage
D2 leaky          resistor ground adc          D2 leaky                         open
D2 breakdown      clamp    adc ground          D2 breakdown + D2 resistance
D2 short          resistor ground adc          fault.contact                    open
ILOAD             sink     bus ground          ILOAD
VDD               source   vdd ground          supply.voltage + supply.resistance
supply fed        source   vdd ground          supply.fed + supply.fed resistance  open
VM                source   vdd gate_m          VM
RX                resistor gate_m ground       RX
RX short          resistor gate_m ground       fault.contact                    open
C2 short          resistor adc loose           fault.contact                    open
C3 short          resistor loose looser        fault.contact                    open
tie loose         resistor loose ground        tie
tie looser        resistor looser ground       tie
"""
PARTS = """D1 adc 0 DX
D2 0 adc DZ
ILOAD bus 0 10m
VDD vdd 0 3.3
VM vdd gate_m 0
RX gate_m 0 1k
C2 adc loose 1n
C3 loose looser 1n
.model DX D(Is=1e-14)
.model DZ D(Is=1e-14 BV=5.1)
"""
FED = ('supply = "3.3 V"', 'supply = "3.3 V"\nsupply_element = "VDD"')
COIL = ("RIGN out drain 1", "L1 out mid 1u\nRIGN mid drain 1")


def rich(*swaps: tuple[str, str]) -> Bound:
    """With a coil, two diodes, a load, a supply, an ammeter and two capacitors that lead nowhere."""
    more = 'RX = "0 %"\nILOAD = "10 %"\nVM = "0 %"\n'
    zener = ("[tolerance]", '[diode.D2]\nbreakdown = "4.8 V .. 5.1 V .. 5.4 V"\n[tolerance]')
    return bound(FED, COIL, zener, *swaps, parts=PARTS, more=more)


def test_every_other_kind_of_part() -> None:
    """A coil is a link, a diode a clamp with leakage and perhaps breakdown; what nothing holds is tied to ground."""
    lines = {written(element) for element in whole_netlist(rich()).elements}
    assert set(table(OTHERS)) <= lines
    assert not [line for line in lines if line.startswith("D1 breakdown")]
    names = [element.name for element in whole_netlist(rich()).elements]
    assert len(names) == len(set(names))


def test_two_channels_have_their_own_wires() -> None:
    """Two pins, two converters; water lies between any two ends of igniters."""
    names = [element.name for element in whole_netlist(bound(channels=2)).elements]
    assert [name for name in names if name.startswith("connector wet")] == [
        f"connector wet, {pair}"
        for pair in (
            "out to drain", "out to out2", "out to drain2", "drain to out2", "drain to drain2", "out2 to drain2",
        )
    ]  # fmt: skip
    assert {"pin pin driver", "pin pin2 driver", "converter adc low", "converter adc2 low", "M2 off"} <= set(names)
    shared = bound(('node = "pin2"', 'node = "pin"'), ("R32 pin2", "R32 pin"), channels=2)
    assert [e.name for e in whole_netlist(shared).elements].count("pin pin driver") == 1


def test_what_a_gate_hangs_on() -> None:
    """Pin and gate by themselves; with a resistor to the drain, the other's drain, an igniter or the battery on lines."""
    one = bound(channels=2)
    whole = whole_netlist(one)
    sides = gate_sides(one, whole)
    assert {name: (set(side.nodes), side.apart) for name, side in sides.items()} == {
        "line": ({"gate", "pin"}, True), "line 2": ({"gate2", "pin2"}, True),
    }  # fmt: skip
    lines, gates = lines_network(whole, sides)
    first = gates["line"]
    assert first is not None
    apart = {"M1 drain-gate short", "M2 drain-gate short"}  # ties that only the whole network has
    inside = {e.name for e in first.elements}
    assert inside == {
        "battery at rest", "R3", "R3 short", "R4", "R4 short", "pin pin driver", "pin pin reset pull-down",
        "pin pin leakage up", "pin pin leakage down", "pin pin upper clamp", "pin pin lower clamp",
        "M1 gate leakage up", "M1 gate leakage down", "M1 gate-source short",
    }  # fmt: skip
    second = {e.name for e in gates["line 2"].elements} if gates["line 2"] else set()
    assert {e.name for e in lines.elements} == {e.name for e in whole.elements} - apart - inside - second | {
        "battery at rest"
    }
    assert lines.igniters == whole.igniters == ("RIGN", "RIGN2")


@pytest.mark.parametrize(
    ("part", "apart"),
    [
        ("RZ gate drain 100k", (False, True)), ("RZ gate drain2 100k", (False, True)),
        ("RZ gate2 out 100k", (True, False)), ("RZ gate batt 100k", (False, True)),
        ("RZ gate gate2 100k", (True, True)), ("RZ gate bus 100k", (False, True)), ("RZ gate2 adc 1meg", (True, False)),
    ],
)  # fmt: skip
def test_which_gates_settle_apart(part: str, apart: tuple[bool, bool]) -> None:
    """A drain tied to nothing else than its MOSFET and igniter is a line as well."""
    one = bound(("RLEAD2 = ", 'RZ = "1 %"\nRLEAD2 = '), parts=f"{part}\n", channels=2)
    sides = gate_sides(one, whole_netlist(one))
    assert tuple(side.apart for side in sides.values()) == apart
    board = netlist_board(one)
    assert board.hung[-1].tolist() == [not each for each in apart]
    assert [line.gate_side is None for line in board.lines] == [not each for each in apart]


def test_a_short_from_drain_to_gate_ties_gates_to_the_lines() -> None:
    """Of one MOSFET, its own; where gates are connected both hang; no other fault does that."""
    board = netlist_board(bound(channels=2))
    names = [fault.name for fault in board.faults]
    first, second = (names.index(f"{m} drain-gate-short") for m in ("M1", "M2"))
    assert np.flatnonzero(board.tied).tolist() == [first, second]
    assert np.flatnonzero(board.hung.any(axis=1)).tolist() == [first, second]
    assert board.hung[[first, second]].tolist() == [[True, False], [False, True]]
    shared = bound(("RLEAD2 = ", 'RZ = "1 %"\nRLEAD2 = '), parts="RZ gate gate2 100k\n", channels=2)
    board = netlist_board(shared)
    first = [fault.name for fault in board.faults].index("M1 drain-gate-short")
    assert board.hung[first].tolist() == [True, True]


def test_lines_of_a_netlist() -> None:
    """Each igniter by itself; beside it every other one of the netlist whole, open or shorted."""
    board = netlist_board(bound(channels=2))
    line = board.lines[1]
    assert (line.name, line.igniters, line.strings, line.alike) == ("line 2", {"RIGN2": "match"}, (("RIGN2",),), False)
    assert (line.switch, line.off_current, line.resistance) == ("M2", "M2 off current", "M2 resistance")
    assert (line.gate.node, line.inputs, line.clamps) == (
        "gate2", {"drain": "adc2"}, {"drain": "converter adc2 upper clamp"},
    )  # fmt: skip
    assert line.loosened == {"RIGN2": (None, None, 1e12)} and not line.contacts
    other = (1e-6, None, 1e12)
    assert board.beside == {"RIGN": {"RIGN2": other}, "RIGN2": {"RIGN": other}}
    assert (board.battery, board.arms, board.circuit.name) == ("VBAT", ("R_ARM",), "bench.cir")
    assert board.samples == 4 and board.circuit.igniters["match"].threshold_low == 0.2


DISARMED, DEAD = Situation(phase="disarmed", controller="alive"), Situation(phase="disarmed", controller="dead")
RESET, ARMED = Situation(phase="reset", controller="alive"), Situation(phase="armed", controller="alive")

# each low, nominal and high; the battery of 7.0, 7.6 and 8.4 V; clamps of 0.2, 0.6 and 0.8 V (default)
BOX = {
    "battery.voltage": (7.0, 7.6, 8.4), "battery.resistance": (0.04, 0.06, 0.1), "fault.contact": (1e-6, 1e-6, 1e-6),
    "wet": (1e-6, 1e-6, 1e-6), "tie": (1e12, 1e12, 1e12), "R_ARM": (0.01, 0.02, 0.05), "RLEAD": (0.3, 0.4, 0.6),
    "R3": (100.0, 100.0, 100.0), "R4": (1e4, 1e4, 1e4), "R5": (99e3, 100e3, 101e3), "R6": (32670.0, 33e3, 33330.0),
    "RIGN": (0.8, 1.0, 1.3), "supply.voltage": (3.3, 3.3, 3.3), "supply.resistance": (0.0, 0.0, 0.0),
    "supply.fed": (0.0, 3.3, 3.3), "supply.fed resistance": (1.0, 1.0, 1.0), "pin pin.voltage": (0.0, 0.0, 0.0),
    "pin pin.resistance": (1e-6, 1e-6, 1e-6), "pin pin.rail": (3.3, 3.3, 3.3),
    "pin pin.reset pull-down": (1e12, 1e12, 1e12), "pin pin.leakage up": (0.0, 0.0, 0.3e-6),
    "pin pin.leakage down": (0.0, 0.0, 0.3e-6), "pin pin.clamp voltage": (3.5, 3.9, 4.1),
    "pin pin.clamp drop": (0.2, 0.6, 0.8), "pin pin.clamp resistance": (0.0, 12.5, 25.0),
    "converter adc.leakage": (-0.1e-6, 0.0, 0.1e-6), "converter adc.rail": (3.3, 3.3, 3.3),
    "converter adc.output resistance": (1e-6, 1e-6, 1e-6), "converter adc.clamp voltage": (3.5, 3.9, 4.1),
    "converter adc.clamp drop": (0.2, 0.6, 0.8), "converter adc.clamp resistance": (0.0, 12.5, 25.0),
    "M1 off current": (0.0, 0.0, 0.0), "M1 resistance": (0.0, 0.0, 0.0), "M1 body diode drop": (0.2, 0.7, 1.2), "M1 body diode resistance": (1e-3, 0.01, 1.0),
    "M1 gate.leakage up": (0.0, 0.0, 0.1e-6), "M1 gate.leakage down": (0.0, 0.0, 0.1e-6), "M1 leaky": (0.0, 0.0, 0.0),
}  # fmt: skip
NOTHING = (0.0, 0.0, 0.0)
BATTERY_FED = {
    "supply.voltage": (7.0, 7.6, 8.4), "pin pin.rail": (7.0, 7.6, 8.4), "pin pin.clamp voltage": (7.2, 8.2, 9.2),
    "converter adc.rail": (7.0, 7.6, 8.4), "converter adc.clamp voltage": (7.2, 8.2, 9.2),
}  # fmt: skip
LOOSE = {
    "supply.voltage": (0.0, 0.0, 3.3), "supply.resistance": (0.0, 1e12, 1e12), "pin pin.rail": NOTHING,
    "pin pin.clamp voltage": (0.2, 0.6, 4.1), "converter adc.rail": NOTHING,
    "converter adc.clamp voltage": (0.2, 0.6, 0.8),
}  # fmt: skip
OPEN, CLOSED = {"R_ARM": False}, {"R_ARM": True}
DRIVEN, FLOATING = {"pin pin driver": True}, {"pin pin driver": False}
PULLED = ('reset_pull_up = "none"', 'reset_pull_up = "40 kohm ± 20 %"')
HIGH = ('reset_pull_up = "none"\n', "")  # not given: it may be driven high
DOWN = ('reset_pull_up = "none"', 'reset_pull_up = "none"\nreset_pull_down = "100 kohm ± 50 %"')


@pytest.mark.parametrize(
    ("swaps", "situation", "rail", "other", "states", "down"),
    [
        ((), DISARMED, "regulated", {}, OPEN | DRIVEN, False),
        ((), ARMED, "regulated", {}, CLOSED | DRIVEN, False),
        ((), ARMED, "battery", BATTERY_FED, CLOSED | DRIVEN, False),
        ((), ARMED, "none", LOOSE, CLOSED | FLOATING, False),
        ((), DEAD, "regulated", LOOSE, OPEN | FLOATING, False),
        ((), DEAD, "battery", LOOSE, OPEN | FLOATING, False),
        ((), RESET, "regulated", {}, CLOSED | FLOATING, False),
        (
            (PULLED,), RESET, "regulated",
            {"pin pin.voltage": (3.3, 3.3, 3.3), "pin pin.resistance": (32e3, 40e3, 48e3)}, CLOSED | DRIVEN, False,
        ),
        ((PULLED,), ARMED, "regulated", {}, CLOSED | DRIVEN, False),
        (
            (HIGH,), RESET, "regulated",
            {"pin pin.voltage": (0.0, 3.3, 3.3), "pin pin.resistance": (1e-6, 1e-6, 1e12)}, CLOSED | DRIVEN, False,
        ),
        ((HIGH,), ARMED, "regulated", {}, CLOSED | DRIVEN, False),
        ((HIGH,), RESET, "none", LOOSE, CLOSED | FLOATING, False),
        ((DOWN,), RESET, "regulated", {"pin pin.reset pull-down": (50e3, 100e3, 150e3)}, CLOSED | FLOATING, True),
        ((DOWN,), ARMED, "regulated", {"pin pin.reset pull-down": (50e3, 100e3, 150e3)}, CLOSED | DRIVEN, False),
        ((DOWN,), RESET, "none", LOOSE | {"pin pin.reset pull-down": (50e3, 100e3, 150e3)}, CLOSED | FLOATING, False),
    ],
)  # fmt: skip
def test_bounds_and_states_of_every_situation(
    swaps: tuple[tuple[str, str], ...], situation: Situation, rail: str,
    other: dict[str, tuple[float, float, float]], states: dict[str, bool], down: bool,
) -> None:  # fmt: skip
    """Phases, pull-ups and pull-downs in reset, a controller that is dead, a regulator that is, or that passes all."""
    setting = netlist_setting(bound(*swaps), situation, rail)
    found = {name: (value.low, value.nominal, value.high) for name, value in setting.box.items()}
    expected = BOX | other
    assert set(found) == set(expected)
    assert {name for name in expected if found[name] != pytest.approx(expected[name], rel=1e-12, abs=1e-18)} == set()
    assert setting.states == states | {"pin pin reset pull-down": down}


def test_bounds_of_other_parts() -> None:
    """A load may be off, whichever way it points; a diode has its own bounds; an ammeter its voltage."""
    box = netlist_setting(rich(), ARMED, "regulated").box
    assert (box["ILOAD"].low, box["ILOAD"].nominal, box["ILOAD"].high) == pytest.approx((0.0, 10e-3, 11e-3))
    back = netlist_setting(rich(("ILOAD bus 0 10m", "ILOAD bus 0 -10m")), ARMED, "regulated").box["ILOAD"]
    assert (back.low, back.nominal, back.high) == pytest.approx((-11e-3, -10e-3, 0.0))
    one = rich()
    diode = one.diodes["D2"]
    assert (box["D2 drop"], box["D2 resistance"], box["D2 leakage"]) == (diode.drop, diode.resistance, diode.leakage)
    assert box["D2 breakdown"] == diode.breakdown and "D1 breakdown" not in box
    assert (box["D2 leaky"].low, box["D2 leaky"].high, box["VM"].high) == (0.0, 0.0, 0.0)
    wanted = set(whole_netlist(one).parameters)
    assert wanted <= set(box)


def test_a_supply_with_a_range() -> None:
    """A dead controller's rail is anywhere up to 3.4 V, and so is what a stuck switch feeds; alive it is 3.2 to 3.4 V."""
    one = bound(('supply = "3.3 V"', 'supply = "3.2 V .. 3.3 V .. 3.4 V"'))
    dead, alive = (netlist_setting(one, situation, "regulated").box for situation in (DEAD, ARMED))
    told = {name: (box[name].low, box[name].nominal, box[name].high) for box, name in (
        (dead, "supply.voltage"), (dead, "pin pin.clamp voltage"), (alive, "supply.fed"), (alive, "pin pin.rail"),
    )}  # fmt: skip
    expected = {
        "supply.voltage": (0.0, 0.0, 3.4), "pin pin.clamp voltage": (0.2, 0.6, 4.2), "supply.fed": (0.0, 3.3, 3.4),
        "pin pin.rail": (3.2, 3.3, 3.4),
    }  # fmt: skip
    assert all(told[name] == pytest.approx(ends) for name, ends in expected.items())


AFTER = ('powered_by = "before arm switch"', 'powered_by = "after arm switch"')
LATE = ('supply = "3.3 V"', 'supply = "3.3 V"\nsupply_element = "VDD"')


def test_a_supply_after_the_arm_switch() -> None:
    """Disarmed it has no voltage of its own; a dead one while armed anything up to 3.3 V."""
    one = bound(AFTER, LATE, parts="VDD vdd 0 3.3\nR8 vdd 0 5k\n", more='R8 = "1 %"\n')
    situations = {tuple[str, ...]((s.phase, s.controller, s.woken)): s for s in quiet_situations(one)}
    assert set(situations) == {
        ("disarmed", "dead", ""), ("disarmed", "alive", "reset"), ("disarmed", "alive", "armed"),
        ("reset", "alive", ""), ("armed", "alive", ""), ("reset", "dead", ""), ("armed", "dead", ""),
    }  # fmt: skip
    for key, expected in (
        (("disarmed", "dead", ""), (0.0, 0.0, 0.0)), (("armed", "dead", ""), (0.0, 0.0, 3.3)),
        (("armed", "alive", ""), (3.3, 3.3, 3.3)),
    ):  # fmt: skip
        value = netlist_setting(one, situations[key], "regulated").box["supply.voltage"]
        assert (value.low, value.nominal, value.high) == expected, key
    faults = {fault.name: fault for fault in netlist_faults(one)}
    assert faults["R_ARM stuck-closed"].closed == {"R_ARM", "supply fed"}
    assert {fault.name: fault for fault in netlist_faults(bound())}["R_ARM stuck-closed"].closed == {"R_ARM"}


FAULTS = """
R_ARM stuck-closed: -; closed R_ARM
R_ARM stuck-open: -; opened R_ARM
RLEAD open: line; opened RLEAD; test path
RLEAD short: line; closed RLEAD short; test path
RLEAD drifted: line; test path
RIGN open: line; opened RIGN
RIGN short: line; closed RIGN short
R3 open: line; opened R3
R3 short: line; closed R3 short
R3 drifted: line
R4 open: line; opened R4
R4 short: line; closed R4 short
R4 drifted: line
R5 open: line; opened R5; test path
R5 short: line; closed R5 short; test path
R5 drifted: line; test path
R6 open: line; opened R6; test path
R6 short: line; closed R6 short; test path
R6 drifted: line; test path
C1 short: line; closed C1 short; test path
C1 open: line; test path
M1 drain-source-short: line; closed M1 drain-source short; switch
M1 drain-gate-short: line; closed M1 drain-gate short, M1 leaky; opened M1 off; switch
M1 gate-source-short: line; closed M1 gate-source short; switch
M1 gate-open: line; closed M1 leaky; opened M1 off; switch
M1 open: line; opened M1 off; switch
M1 leaky: line; closed M1 leaky; switch
gate pin pin stuck-high: line; closed pin pin driver; opened pin pin reset pull-down; rail pin pin.voltage; alive; switch
gate pin pin stuck-low: line; closed pin pin driver; alive; switch
gate pin pin floating: line; opened pin pin driver, pin pin reset pull-down; alive; switch
gate pin pin pulled-up: line; closed pin pin driver; opened pin pin reset pull-down; rail pin pin.voltage; alive; switch
converter pin adc driven-high: line; closed converter adc high; alive; test path
converter pin adc driven-low: line; closed converter adc low; test path
converter pin adc clamp-open: line; opened converter adc upper clamp; test path
wire out to-ground: line; closed wire out to ground
wire out to-battery: line; closed wire out to battery
wire drain to-ground: line; closed wire drain to ground
wire drain to-battery: line; closed wire drain to battery
connector wet, out to drain: -; closed connector wet, out to drain
regulator passes-battery: -; alive; battery
regulator dead: -; alive; none
controller all-pins-high: -; closed pin pin driver; opened pin pin reset pull-down; rail pin pin.voltage; alive; switch
"""


def test_every_fault_of_the_bench() -> None:
    """What each closes, opens and feeds from the rail, whose it is, and whether it needs a controller that is alive."""
    found = []
    for fault in netlist_faults(bound()):
        words = [f"{fault.name}: {fault.channel or '-'}"]
        for what, names in (("closed", fault.closed), ("opened", fault.opened), ("rail", fault.from_rail)):
            words += [f"{what} {', '.join(sorted(names))}"] * bool(names)
        words += ["alive"] * fault.alive + [fault.side] * bool(fault.side)
        found.append("; ".join(words + [fault.rail] * (fault.rail != "regulated")))
    assert found == FAULTS.strip().splitlines()


def test_values_that_faults_set() -> None:
    """Drivers of 0 ohm and at most a pull-up's 20 to 50 kohm; what leaks; igniters that are touched."""
    faults = {fault.name: fault for fault in netlist_faults(bound())}

    def ends(fault: str, name: str) -> tuple[float, float]:
        value = faults[fault].values[name]
        return value.low, value.high

    for name in ("gate pin pin stuck-high", "gate pin pin stuck-low", "controller all-pins-high"):
        assert ends(name, "pin pin.resistance") == (1e-6, 1e-6)
    assert ends("gate pin pin stuck-low", "pin pin.voltage") == (0.0, 0.0)
    assert ends("gate pin pin pulled-up", "pin pin.resistance")[0] >= 10e3
    own = {fault.name: fault for fault in netlist_faults(bound(PULLED))}["gate pin pin pulled-up"]
    assert (own.values["pin pin.resistance"].low, own.values["pin pin.resistance"].high) == pytest.approx((32e3, 48e3))
    for name in ("M1 gate-open", "M1 drain-gate-short"):  # between a short and nothing at all
        low, high = ends(name, "M1 leaky")
        assert low <= 1e-6 and high >= 1e9
    assert ends("M1 leaky", "M1 leaky")[0] == 10e3
    assert faults["RIGN open"].igniters == faults["RIGN short"].igniters == {"RIGN"}
    assert not faults["R5 open"].igniters
    assert set(faults["R5 drifted"].scaled) == {"R5"}
    diodes = {fault.name: fault for fault in netlist_faults(rich())}
    assert diodes["D2 open"].opened == {"D2", "D2 leakage", "D2 breakdown"}
    assert diodes["D2 short"].closed == {"D2 short"} and diodes["D2 leaky"].closed == {"D2 leaky"}
    assert set(diodes["D2 leaky"].values) == {"D2 leaky"} and diodes["L1 open"].opened == {"L1"}
    assert diodes["L1 short"].closed == {"L1 short"}


def test_whose_a_fault_is() -> None:
    """A pin or converter that two channels share is nobody's; a wire of both igniters too."""
    shared = bound(('node = "pin2"', 'node = "pin"'), ("R32 pin2", "R32 pin"), ('sense_node = "adc2"', 'sense_node = "adc"'),
                   ("R52 drain2 adc2", "R52 drain2 adc"), ("R62 adc2", "R62 adc"), channels=2)  # fmt: skip
    channels = {fault.name: fault.channel for fault in netlist_faults(shared)}
    assert channels["gate pin pin stuck-high"] is None and channels["converter pin adc driven-low"] is None
    assert channels["M2 open"] == "line 2" and channels["wire out2 to-ground"] == "line 2"
    apart = {fault.name: fault.channel for fault in netlist_faults(bound(channels=2))}
    assert apart["gate pin pin2 stuck-high"] == "line 2" and apart["converter pin adc2 driven-low"] == "line 2"
    assert apart["R52 open"] == apart["R32 open"] == "line 2" and apart["R5 open"] == "line"
    both = bound(("RLEAD2 bus out2 400mohm\n", ""), ("RIGN2 out2", "RIGN2 out"), ('RLEAD2 = "0 %"\n', ""), channels=2)
    common = {fault.name: fault.channel for fault in netlist_faults(both)}
    assert common["wire out to-ground"] is common["wire out to-battery"] is None
    assert common["wire drain2 to-ground"] == "line 2" and tie_name(both.channels[1]) == "M2 drain-gate short"


def made_up(monkeypatch: pytest.MonkeyPatch) -> list[Bound]:
    """Let a check have single faults and pairs without any search; return the netlists that were laid out."""
    laid: list[Bound] = []
    singles = SingleFaults(disarmed=(), test_path=(), fewest={}, points=(), unsolved={}, left_out={})

    def lay(one: Bound) -> Bound:
        laid.append(one)
        return one

    monkeypatch.setattr("ignition.foreign.check.netlist_board", lay)
    monkeypatch.setattr("ignition.foreign.check.board_fault_currents", lambda _: singles)
    monkeypatch.setattr("ignition.foreign.check.board_faults", lambda board, order: (board, order))
    return laid


def test_findings_of_a_check(monkeypatch: pytest.MonkeyPatch) -> None:
    """Those of margins, of single faults and of the checklist, and for each question that is left one that is UNKNOWN."""
    made_up(monkeypatch)
    one = bound()
    found = check_netlist(one.netlist, one.roles)
    questions = {f.question for f in found.findings}
    assert Question.PROCEDURE in questions and {f.verdict for f in found.findings} >= {"UNKNOWN", "PASS"}
    rules = [f.rule for f in found.findings]
    assert "gate-held-off" in rules and "below-no-fire" in rules
    answers = [f for f in found.findings if f.question is Question.PROCEDURE]
    assert {f.reason for f in answers} == {Reason.MISSING_KEY}
    assert {f.question for f in found.findings if f.reason is Reason.NOT_ANALYSED} >= {Question.SINGLE_FAULTS}
    assert (found.circuit, found.title, found.verdict) == ("bench.cir", "Bench check", "UNKNOWN")


def test_sets_of_faults_of_a_netlist(monkeypatch: pytest.MonkeyPatch) -> None:
    """One at a time unless more are asked for."""
    made_up(monkeypatch)
    one = bound()
    told: list[object] = [netlist_fault_sets(one), netlist_fault_sets(one, 3)]
    assert told == [(one, 1), (one, 3)]


def test_single_faults_are_searched_once_for_the_same_inputs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Those given are of this netlist; where an assumed value is put at its best it is bound again and laid out once."""
    laid = made_up(monkeypatch)
    one = bound()
    circuit = one.roles.circuit
    changed = replace(circuit, igniters={"match": replace(circuit.igniters["match"], threshold_low=0.1)})
    assert single_fault_inputs(changed) != single_fault_inputs(circuit)
    asked: list[tuple[SingleFaults, Faults]] = []
    singles = SingleFaults(disarmed=(), test_path=(), fewest={}, points=(), unsolved={}, left_out={"a": "b"})

    def told(_: object, found: SingleFaults, count: object, *, draws: object) -> list[Finding]:
        assert callable(count) and draws is None
        asked.append((found, count()))
        return []

    def judge(own: object, judged: object) -> tuple[Finding, ...]:
        assert callable(judged) and own is circuit
        for each in (circuit, replace(circuit), changed, changed):
            judged(each)
        return ()

    monkeypatch.setattr("ignition.foreign.check.single_fault_findings", told)
    monkeypatch.setattr("ignition.foreign.check.blamed", judge)
    assert judge_netlist_faults(one, singles) == ()
    assert [found is singles for found, _ in asked] == [True, True, False, False] and asked[2][0] is asked[3][0]
    sets = [count for _, count in asked]
    assert sets[0] is sets[1] and sets[2] is sets[3] and sets[0] is not sets[2]
    # laid out for its own pairs, then for the changed one's single faults and pairs
    assert [each.roles.circuit is circuit for each in laid] == [True, False, False]
    assert [each.roles.circuit.igniters["match"].threshold_low for each in laid] == [0.2, 0.1, 0.1]


@pytest.mark.parametrize(
    ("swaps", "parts", "doubted"),
    [((), "", False), ((AFTER,), "", True), ((AFTER,), "ILOAD bus 0 10m\n", False), ((), "ILOAD bus 0 10m\n", False)],
)
def test_what_a_controller_after_the_arm_switch_draws(
    monkeypatch: pytest.MonkeyPatch, swaps: tuple[tuple[str, str], ...], parts: str, doubted: bool
) -> None:
    """It has to be a current source of the netlist, or single faults are not known."""
    made_up(monkeypatch)
    draws: list[object] = []
    monkeypatch.setattr("ignition.foreign.check.blamed", lambda own, judged: tuple(judged(own)))

    def told(*_: object, draws: object) -> list[Finding]:
        seen.append(draws)
        return []

    seen = draws
    monkeypatch.setattr("ignition.foreign.check.single_fault_findings", told)
    one = bound(*swaps, parts=parts, more='ILOAD = "10 %"\n' if parts else "")
    singles = SingleFaults(disarmed=(), test_path=(), fewest={}, points=(), unsolved={}, left_out={})
    judge_netlist_faults(one, singles)
    assert [each is not None for each in seen] == [doubted]
