"""A circuit laid out for faults: its lines, what a fault makes of the supply, and what may be beside an igniter."""

from __future__ import annotations

import numpy as np
import pytest

from ignition.analyses.faults.circuit_board import circuit_board, circuit_lines, every_board
from ignition.analyses.faults.fault import single_faults
from ignition.analyses.faults.situations import Situation
from ignition.circuit.examples import load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from tests.analyses.faults.boards import held
from tests.analyses.sense_circuits import bench
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

CONTACTS = """second = { bus_divider = { upper = "100 kohm", lower = "33 kohm" }, drain_pull_up = "100 kohm" }
return_contact = "20 mohm"
shunt = "20 mohm"
high_side = { resistance = "20 mohm", around = "100 kohm" }"""

ALIVE, DEAD = Situation(phase="armed", controller="alive"), Situation(phase="armed", controller="dead")
BRANCHED = {"igniters": '[["match", "match"], ["match"]]'}


def test_inputs_clamps_and_contacts() -> None:
    """A plain line has its drain alone; each further part of it adds what the controller reads there, or a contact."""
    (plain,) = circuit_lines(held())
    assert plain.inputs == {"drain": "line.adc pin"} and plain.clamps == {"drain": "line.clamp"} and not plain.contacts
    (full,) = circuit_lines(held(second=CONTACTS))
    assert set(full.inputs) == {"drain", "bus"}
    assert full.clamps == {"drain": "line.clamp", "bus": "line.bus clamp", "pull-up": "line.pull-up clamp"}
    assert [(one.says, one.defeated_by) for one in full.contacts] == [
        ("high-side switch open", "line.high side stuck-closed"),
        ("contact in the return open", "line.return contact stuck-closed"),
        ("shunt across the line", "line.shunt stuck-open"),
    ]


@pytest.mark.parametrize(("circuit", "reset"), [(held(second=CONTACTS), True), (bench(second=CONTACTS), False)])
def test_when_contacts_keep_current_off(circuit: Circuit, reset: bool) -> None:
    """Poles while disarmed; the high side whenever nobody commands, in reset only where no pin may be high then."""
    high, back, shunt = circuit_lines(circuit)[0].contacts
    assert high.phases == {"disarmed", "armed", "firing"} | ({"reset"} if reset else set())
    assert back.phases == shunt.phases == {"disarmed"}


def test_a_line_that_may_be_open() -> None:
    """Either wire of its lead may insulate; its bridge, of which nothing is known once spent, may be a short."""
    (line,) = circuit_lines(held())
    wires = {"line.lead out": (None, None, 1e12), "line.lead back": (None, None, 1e12)}
    assert line.loosened == wires | {"line.igniter 1.1": (1e-6, None, None)}
    assert (line.switch, line.off_current, line.resistance) == ("line.mosfet", "line.off current", "line.mosfet")
    assert line.gate.node == "line.gate" and line.gate_side is not None and line.alike


def test_what_a_line_may_be_beside_another() -> None:
    """Either wire may insulate; its bridges may be what they are once spent, no less than a short and no more than hot."""
    wires = {f"line.lead {end}": (None, None, 1e12) for end in ("out", "back")}
    for spent, least in (("0 ohm .. 2 ohm", 1e-6), ("0.3 ohm .. 2 ohm", 0.3), ("5 ohm .. 9 ohm", 1.0)):
        (line,) = circuit_lines(parse_circuit(edited(SOUND, ('spent = "open"', f'spent = "{spent}"')), "spent.toml"))
        assert line.loosened == wires | {"line.igniter 1.1": (least, None, None)}
    assert circuit_lines(parse_circuit(SOUND, "spent.toml"))[0].loosened == wires


def test_what_may_be_beside_an_igniter() -> None:
    """Others of its own string shorted, the other strings not connected at all, each at its first igniter."""
    beside = circuit_board(held(**BRANCHED), (ALIVE,), ()).beside
    away, short = (1e12, 1e12, 1e12), (1e-6, None, None)
    assert beside == {
        "line.igniter 1.1": {"line.igniter 1.2": short, "line.igniter 2.1": away},
        "line.igniter 1.2": {"line.igniter 1.1": short, "line.igniter 2.1": away},
        "line.igniter 2.1": {"line.igniter 1.1": away},
    }
    wires = held(**BRANCHED, second='branch = { resistance = "50 mohm", joints = "0 ohm" }')
    assert circuit_board(wires, (ALIVE,), ()).beside["line.igniter 1.1"] == {
        "line.igniter 1.2": short,
        "line.branch 2": away,
    }
    two = circuit_board(held(channels="2"), (ALIVE,), ()).beside
    assert two == {"line.igniter 1.1": {}, "line 2.igniter 1.1": {}}  # the other line is `loosened`


def test_what_a_fault_makes_of_the_supply() -> None:
    """3.3 V as regulated, the battery's own 8.4 V, or none, where the controller is alive; a dead one has none anyhow."""
    board = circuit_board(held(), (ALIVE, DEAD), ())
    rails = ("regulated", "battery", "none")
    told = {
        (one.controller, rail): board.settings[one, rail].box["line.rail"].high
        for one in (ALIVE, DEAD)
        for rail in rails
    }
    assert [told["alive", rail] for rail in rails] == [3.3, 8.4, 0.0]
    assert [told["dead", rail] for rail in rails] == [0.0, 0.0, 0.0]


def test_only_a_drain_gate_short_ties_line_and_gate() -> None:
    """One fault of each MOSFET; no gate of a circuit file hangs on its line otherwise."""
    circuit = held(channels="2")
    board = every_board(circuit)
    tied = [fault.name for fault, flag in zip(board.faults, board.tied, strict=True) if flag]
    assert tied == ["line.mosfet drain-gate-short", "line 2.mosfet drain-gate-short"]
    assert board.hung.shape == (len(single_faults(circuit)) + 1, 2) and not board.hung.any()
    assert board.battery == "battery" and board.arms == ("arm switch",) and board.samples == 0
    assert not {element.name for element in board.network.elements} & {"line.gate series", "line.drain-gate short"}
    assert {"line.gate series", "line.drain-gate short"} <= {element.name for element in board.whole.elements}


def test_limits_of_igniters() -> None:
    """Of each igniter in the order of the lines; nan where the file gives none."""
    board = circuit_board(held(**BRANCHED), (ALIVE,), ())
    assert board.limits("threshold_low") == pytest.approx([0.2] * 3)
    assert board.limits("all_fire_current") == pytest.approx([0.8] * 3)
    assert np.isnan(every_board(load_example("unknown-igniter")).limits("threshold_low")).all()
