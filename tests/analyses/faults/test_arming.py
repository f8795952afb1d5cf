"""Faults at the arming edge: what holds a gate, or slows it, is broken."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ignition.analyses.faults.arming import ArmingFault, arming_faults
from ignition.analyses.no_fire.switch_on import switch_on
from ignition.circuit.examples import load_example
from ignition.circuit.file import parse_circuit
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND


def by_fault(text: str) -> dict[str, ArmingFault]:
    """Every fault of a circuit."""
    return {one.fault: one for one in arming_faults(parse_circuit(text, "sound.toml"))}


def test_what_holds_the_gate() -> None:
    """Nothing broken, drifted or open in series: harmless. No pull-down, no capacitor: the drain lifts the gate."""
    found = by_fault(SOUND)
    assert {name: one.kind for name, one in found.items()} == {
        "": "harmless",
        "line.pull-down open": "hazardous",
        "line.pull-down drifted": "harmless",
        "line.gate series open": "harmless",
        "line.gate series drifted": "harmless",
        "line.gate pin floating": "harmless",
        "line.gate capacitor open": "hazardous",
    }
    bare = found["line.gate capacitor open"]
    # 8.4 V over battery, feed, lead and a bridge of 1 ohm at their lowest is all that can flow
    assert bare.current is not None and 3.0 < bare.current < 8.4 / 1.06
    assert bare.thermal_fraction is not None and bare.thermal_fraction > 1.0


def test_as_the_circuit_without_the_part() -> None:
    """A capacitor that is open is one that is not fitted."""
    circuit = parse_circuit(SOUND)
    channel = replace(circuit.channels[0], gate_capacitor=None)
    worst = switch_on(replace(circuit, channels=(channel,))).channels[0].worst
    found = by_fault(SOUND)["line.gate capacitor open"]
    assert worst is not None
    assert found.thermal_fraction == pytest.approx(worst.judged.bounced_fraction, rel=0.2)


def test_one_of_two_pull_downs() -> None:
    """The other still holds the gate."""
    pair = edited(SOUND, ('pull_down = "10 kohm"', 'pull_down = ["10 kohm", "10 kohm"]'))
    found = by_fault(pair)
    assert found["line.pull-down 1 open"].kind == found["line.pull-down 2 open"].kind == "harmless"


def test_what_the_file_leaves_out() -> None:
    """A fault that cannot happen is not tried."""
    off = SOUND + '\n[faults]\noff = [{ fault = "line.gate capacitor open", because = "two in parallel" }]\n'
    assert set(by_fault(SOUND)) - set(by_fault(off)) == {"line.gate capacitor open"}


def test_without_what_is_needed() -> None:
    """Keys or statements that are not given leave it unjudged; a hot igniter functions by itself."""
    assert {one.kind for one in arming_faults(load_example("unknown-igniter"))} == {"not judged"}
    assert {one.kind for one in arming_faults(load_example("tether-cutter"))} == {"not judged"}


def test_a_box_that_fires_with_nothing_broken() -> None:
    """It is told under no fault's name."""
    found = {one.fault: one.kind for one in arming_faults(load_example("weak-pull-down"))}
    assert found[""] == "hazardous"
