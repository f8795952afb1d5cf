"""Whose data a rating is, and which assumptions a value rests on."""

from __future__ import annotations

from types import SimpleNamespace

from ignition.circuit.file import parse_circuit
from ignition.findings.values import data_sheet, left_out, resting
from tests.circuit.sound import SOUND


def test_the_file_says_so() -> None:
    """A part with a name is named; no document is, and no date."""
    assert data_sheet("controller").source == "data of controller in the circuit file; no document is named"
    assert data_sheet("MOSFET", "small").source == "data of MOSFET 'small' in the circuit file; no document is named"
    assert data_sheet("controller").date == "undated"


def test_assumptions_of_a_direction_and_of_some_tables() -> None:
    """Each direction has its own; tables are chosen by the beginning of the key."""
    circuit = parse_circuit(SOUND.replace('dropout = "0.3 V"\n', ""))
    directions = {a.direction for a in circuit.assumptions}
    assert directions == {"safe", "fire"}
    for direction in directions:
        every = resting(circuit, direction)
        assert every == tuple(a.key for a in circuit.assumptions if a.direction == direction) and every
        some = resting(circuit, direction, "controller", "mosfet")
        assert some == tuple(key for key in every if key.split(".")[0] in ("controller", "mosfet"))
    assert resting(circuit, "fire", "no such table") == ()


def test_the_keys_that_a_table_leaves_out() -> None:
    """Those that are asked for and not given, in the order asked, with the table's name before them."""
    given = SimpleNamespace(capacity=None, voltage="8 V", chemistry=None)
    assert left_out("battery", given, "chemistry", "voltage", "capacity") == ("battery.chemistry", "battery.capacity")
    assert left_out("battery", given, "voltage") == ()
