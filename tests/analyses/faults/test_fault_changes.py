"""What each fault of one line changes, written down by hand: elements it opens and closes, values, and when."""

from __future__ import annotations

import numpy as np
import pytest

from ignition.analyses.faults.changes import Changes
from ignition.analyses.faults.circuit_board import every_board
from ignition.analyses.faults.fault import ANYTHING, Fault, single_faults
from ignition.analyses.faults.situations import Situation
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from tests.analyses.sense_circuits import text
from tests.circuit.edits import edited

SENSE = 'upper = ["60 kohm", "40 kohm"], lower = "33 kohm", filter = "100 nF", pin_resistor = "{pin}"'
SECOND = """second = { bus_divider = { upper = "100 kohm", lower = "33 kohm" }, drain_pull_up = "100 kohm" }
return_contact = "20 mohm"
shunt = "20 mohm"
high_side = { resistance = "20 mohm", around = "100 kohm" }"""


def circuit(pin: str = "1 kohm", second: str = SECOND, **changes: str) -> Circuit:
    """The bench circuit with every part that a fault can be of, two pull-downs and a pin of 20 to 40 ohm."""
    body = edited(
        text(sense=SENSE.format(pin=pin), second=second),
        ('output_resistance = "0 ohm"', 'output_resistance = "20 ohm .. 25 ohm .. 40 ohm"'),
        ('series = "100 ohm", pull_down = "10 kohm"',
         'series = "100 ohm", pull_down = ["20 kohm", "30 kohm"], capacitor = "1 nF"'),
    )  # fmt: skip
    for old, new in changes.items():
        body = edited(body, (old, new))
    return parse_circuit(body, "changes.toml")


OUT, SHUT = "opened", "closed"
Change = dict[str, set[str]]

OPENS_AND_CLOSES: dict[str, Change] = {
    "arm switch stuck-closed": {SHUT: {"feed.arm switch"}},
    "arm switch stuck-open": {OUT: {"feed.arm switch"}},
    "arm switch jammed-closed": {SHUT: {"feed.arm switch", "line.return contact"}, OUT: {"line.shunt"}},
    "regulator passes-battery": {},
    "regulator dead": {},
    "controller all-pins-high": {SHUT: {"line.high side", "line.pin driver"}, OUT: {"line.reset pull-down"}},
    "line.upper 1 open": {OUT: {"line.upper"}},
    "line.upper 1 short": {},
    "line.upper 2 open": {OUT: {"line.upper"}},
    "line.upper 2 short": {},
    "line.lower open": {OUT: {"line.lower"}},
    "line.lower short": {SHUT: {"line.lower short"}},
    "line.pin resistor open": {OUT: {"line.pin resistor"}},
    "line.pin resistor short": {SHUT: {"line.pin resistor short"}},
    "line.filter short": {SHUT: {"line.lower short"}},
    "line.filter open": {},
    "line.converter pin driven-high": {SHUT: {"line.adc pin high"}},
    "line.converter pin driven-low": {SHUT: {"line.adc pin low"}},
    "line.converter pin clamp-open": {OUT: {"line.clamp"}},
    "line.bus upper open": {OUT: {"line.bus upper"}},
    "line.bus upper short": {SHUT: {"line.bus upper short"}},
    "line.bus lower open": {OUT: {"line.bus lower"}},
    "line.bus lower short": {SHUT: {"line.bus lower short"}},
    "line.bus converter pin driven-high": {SHUT: {"line.bus adc pin high"}},
    "line.bus converter pin driven-low": {SHUT: {"line.bus adc pin low"}},
    "line.bus converter pin clamp-open": {OUT: {"line.bus clamp"}},
    "line.pull-up pin stuck-high": {SHUT: {"line.pull-up driver"}, OUT: {"line.pull-up clamp"}},
    "line.drain pull-up open": {OUT: {"line.pull-up clamp", "line.pull-up driver"}},
    "line.drain pull-up short": {},
    "line.gate pin stuck-high": {SHUT: {"line.pin driver"}, OUT: {"line.reset pull-down"}},
    "line.gate pin stuck-low": {SHUT: {"line.pin driver"}},
    "line.gate pin floating": {OUT: {"line.pin driver", "line.reset pull-down"}},
    "line.gate pin pulled-up": {SHUT: {"line.pin driver"}, OUT: {"line.reset pull-down"}},
    "line.gate series open": {OUT: {"line.gate series"}},
    "line.gate series short": {SHUT: {"line.gate series short"}},
    "line.pull-down 1 open": {OUT: {"line.pull-down 1"}},
    "line.pull-down 1 short": {SHUT: {"line.pull-down short"}},
    "line.pull-down 2 open": {OUT: {"line.pull-down 2"}},
    "line.pull-down 2 short": {SHUT: {"line.pull-down short"}},
    "line.gate capacitor short": {SHUT: {"line.pull-down short"}},
    "line.gate capacitor open": {},
    "line.mosfet drain-source-short": {SHUT: {"line.mosfet short"}},
    "line.mosfet drain-gate-short": {SHUT: {"line.drain-gate short", "line.mosfet leaky"}, OUT: {"line.mosfet"}},
    "line.mosfet gate-source-short": {SHUT: {"line.pull-down short"}, OUT: {"line.mosfet"}},
    "line.mosfet gate-open": {SHUT: {"line.mosfet leaky"}, OUT: {"line.mosfet"}},
    "line.mosfet open": {OUT: {"line.mosfet", "line.mosfet off"}},
    "line.mosfet leaky": {SHUT: {"line.mosfet leaky"}},
    "line.high side stuck-closed": {SHUT: {"line.high side"}},
    "line.high side stuck-open": {OUT: {"line.high side"}},
    "line.around open": {OUT: {"line.around"}},
    "line.around short": {SHUT: {"line.around short"}},
    "line.return contact stuck-closed": {SHUT: {"line.return contact"}},
    "line.return contact stuck-open": {OUT: {"line.return contact"}},
    "line.shunt stuck-closed": {SHUT: {"line.shunt"}},
    "line.shunt stuck-open": {OUT: {"line.shunt"}},
    "line.lead out open": {OUT: {"line.lead out"}},
    "line.lead out to-ground": {SHUT: {"line.line out to ground"}},
    "line.lead out to-battery": {SHUT: {"line.line out to battery"}},
    "line.lead back open": {OUT: {"line.lead back"}},
    "line.lead back to-ground": {SHUT: {"line.line back to ground"}},
    "line.lead back to-battery": {SHUT: {"line.line back to battery"}},
    "line.line short": {SHUT: {"line.bridging"}},
    "line.igniter 1.1 open": {OUT: {"line.igniter 1.1"}},
    "line.igniter 1.1 short": {SHUT: {"line.igniter 1.1 short"}},
    "connector wet, line.line out to line.line back": {SHUT: {"connector wet, line.line out to line.line back"}},
}
"""Every fault that is no drift."""

DRIFTS = {
    "upper 1", "upper 2", "lower", "pin resistor", "bus upper", "bus lower", "gate series", "pull-down 1", "pull-down 2",
    "around",
}  # fmt: skip
"""Resistors whose value may drift."""


def named(found: Circuit) -> dict[str, Fault]:
    """Faults by name."""
    return {fault.name: fault for fault in single_faults(found)}


def test_elements_that_a_fault_opens_and_closes() -> None:
    """Every fault of the line, and no other."""
    found = {name: fault for name, fault in named(circuit()).items() if fault.mode.mode != "drifted"}
    assert set(found) == set(OPENS_AND_CLOSES)
    for name, fault in found.items():
        expected = OPENS_AND_CLOSES[name]
        assert (fault.opened, fault.closed) == (expected.get(OUT, set()), expected.get(SHUT, set())), name


def test_a_drift_is_from_half_to_twice_the_value() -> None:
    """Of each resistor that stands by itself; nothing else is scaled."""
    scaled = {name: dict(fault.scaled) for name, fault in named(circuit()).items() if fault.scaled}
    assert scaled == {f"line.{which} drifted": {f"line.{which}": (0.5, 2.0)} for which in DRIFTS}


def test_values_that_a_fault_sets() -> None:
    """A short of one of several is 1 uohm; a pin drives behind its own 20 to 40 ohm, low at 0 V; water and a leak 10 kohm."""
    pin, short, leak = (20.0, 25.0, 40.0), (1e-6, 1e-6, 1e-6), (1e4, 1e4, 1e4)
    anything = (1e-6, 1e12, 1e12)
    expected = {
        "controller all-pins-high": {"line.pin driver": pin},
        "line.gate pin stuck-high": {"line.pin driver": pin},
        "line.gate pin stuck-low": {"line.pin driver": pin, "line.pin voltage": (0.0, 0.0, 0.0)},
        "line.gate pin pulled-up": {"line.pin driver": (20e3, 40e3, 100e3)},
        "line.upper 1 short": {"line.upper 1": short},
        "line.upper 2 short": {"line.upper 2": short},
        "line.drain pull-up short": {"line.drain pull-up": short},
        "line.mosfet drain-gate-short": {"line.leaky": anything},
        "line.mosfet gate-open": {"line.leaky": anything},
        "line.mosfet leaky": {"line.leaky": leak},
        "connector wet, line.line out to line.line back": {"wet": leak},
    }
    found = {
        name: {key: (value.low, value.nominal, value.high) for key, value in fault.values.items()}
        for name, fault in named(circuit()).items()
        if fault.values
    }
    assert found == expected
    assert (ANYTHING.low, ANYTHING.nominal, ANYTHING.high) == anything


def test_a_pull_up_of_the_pin_takes_the_place_of_the_usual_one() -> None:
    """40 kohm with 20 %, where the file gives it."""
    up = circuit(**{'clamp_drop = "0.5 V"': 'clamp_drop = "0.5 V"\nreset_pull_up = "40 kohm ± 20 %"'})
    value = named(up)["line.gate pin pulled-up"].values["line.pin driver"]
    assert (value.low, value.nominal, value.high) == (32e3, 40e3, 48e3)


def test_what_hangs_on_the_controllers_supply() -> None:
    """Pins that drive need it, and take their voltage from it; a supply itself too; a short in a pin does not."""
    found = named(circuit())
    pins = {f"line.gate pin {mode}" for mode in ("stuck-high", "stuck-low", "floating", "pulled-up")}
    alive = pins | {
        "regulator passes-battery", "regulator dead", "controller all-pins-high", "line.converter pin driven-high",
        "line.bus converter pin driven-high", "line.pull-up pin stuck-high",
    }  # fmt: skip
    assert {name for name, fault in found.items() if fault.alive} == alive
    high = {"controller all-pins-high", "line.gate pin stuck-high", "line.gate pin pulled-up"}
    fed = {name: set(fault.from_rail) for name, fault in found.items() if fault.from_rail}
    assert fed == {name: {"line.pin voltage"} for name in high}
    rails = {name: fault.rail for name, fault in found.items() if fault.rail != "regulated"}
    assert rails == {"regulator passes-battery": "battery", "regulator dead": "none"}


def test_whose_a_fault_is() -> None:
    """What several lines share, and water between their wires, is nobody's; an igniter is touched by its own alone."""
    found = named(circuit())
    assert {name for name, fault in found.items() if fault.channel is None} == {
        name for name in OPENS_AND_CLOSES if not name.startswith("line.")
    }
    touched = {name: fault.igniters for name, fault in found.items() if fault.igniters}
    assert touched == {f"line.igniter 1.1 {mode}": {"line.igniter 1.1"} for mode in ("open", "short")}


@pytest.mark.parametrize(("pin", "there"), [("0 ohm", False), ("0.5 ohm", True), ("0 ohm .. 0 ohm .. 1 ohm", True)])
def test_a_pin_resistor_that_may_be_there(pin: str, there: bool) -> None:
    """It has faults unless it is none at its most."""
    assert ("line.pin resistor open" in named(circuit(pin=pin))) is there


@pytest.mark.parametrize(
    ("second", "jammed"),
    [('return_contact = "20 mohm"', True), ('shunt = "20 mohm"', True),
     ('high_side = { resistance = "20 mohm", around = "100 kohm" }', False)],
)  # fmt: skip
def test_an_arm_switch_of_several_poles_may_jam(second: str, jammed: bool) -> None:
    """With a pole in the return or a shunt; a switch on the high side is a part of its own."""
    found = named(circuit(second=second))
    assert ("arm switch jammed-closed" in found) is jammed
    assert not [name for name in found if "pull-up" in name]


def test_a_resistor_that_is_alone() -> None:
    """It has the name of the whole, and its short is a path around it."""
    found = named(parse_circuit(text(), "plain.toml"))
    for which in ("upper", "pull-down"):
        assert found[f"line.{which} open"].opened == {f"line.{which}"}
        short = found[f"line.{which} short"]
        assert short.closed == {f"line.{which} short"} and not short.values


def test_a_part_of_the_feed_that_is_no_switch() -> None:
    """It opens, and a path around it closes."""
    fuse = '[[feed]]\nname = "interlock"\nkind = "interlock"\nresistance = "10 mohm"\n[controller]'
    found = named(circuit(**{"[controller]": fuse}))
    assert found["interlock open"].opened == {"feed.interlock"} and not found["interlock open"].closed
    assert found["interlock short"].closed == {"feed.interlock short"} and not found["interlock short"].opened
    assert found["arm switch stuck-open"].opened == {"feed.arm switch"}


def test_pairs_that_are_swapped() -> None:
    """All four wires of the two lines leave their places, and all four swapped ones take theirs."""
    found = named(parse_circuit(text(channels=2), "two.toml"))["pairs of line and line 2 swapped"]
    assert found.opened == {f"{name}.lead {end}" for name in ("line", "line 2") for end in ("out", "back")}
    assert found.closed == {
        "line.lead out to line 2", "line.lead back to line 2", "line 2.lead out to line", "line 2.lead back to line",
    }  # fmt: skip
    assert found.part == "line, line 2" and found.channel is None


def test_supply_of_the_base_and_of_a_pin_that_is_stuck() -> None:
    """A pin stuck high is at the supply of its base, all three ends of it; a fault that needs one does nothing when dead.

    Bases are situations by what a fault makes of the supply: as regulated, the battery's 7.0, 7.6 and 8.4 V, none.
    """
    supply = {'supply = "3.3 V"': 'supply = "3.2 V .. 3.3 V .. 3.5 V"'}
    board = every_board(circuit(**supply))
    side = board.lines[0].gate_side
    assert side is not None
    changes = Changes.of(side, board.situations, board.settings, board.faults)
    stuck = [fault.name for fault in board.faults].index("line.gate pin stuck-high")
    alive = board.situations.index(Situation(phase="armed", controller="alive"))
    dead = board.situations.index(Situation(phase="armed", controller="dead"))
    column = side.parameters.index("line.pin voltage")
    picks = np.full((4, 1), stuck)
    boxes = changes.boxes(np.array([3 * alive, 3 * alive + 1, 3 * alive + 2, 3 * dead]), picks)
    volts = np.stack([boxes.low[:, column], boxes.nominal[:, column], boxes.high[:, column]], axis=1)
    assert volts == pytest.approx(np.array([[3.2, 3.3, 3.5], [7.0, 7.6, 8.4], [0.0] * 3, [0.0] * 3]))
    battery = [fault.name for fault in board.faults].index("regulator passes-battery")
    none = [fault.name for fault in board.faults].index("regulator dead")
    found = changes.bases(
        np.array([alive, alive, alive, alive, dead]), np.array([[-1], [battery], [none], [stuck], [battery]])
    )
    assert found.tolist() == [3 * alive, 3 * alive + 1, 3 * alive + 2, 3 * alive, 3 * dead]
    assert changes.kinds[3 * dead, stuck] == 0 and changes.kinds[3 * alive, stuck] != 0
