"""Currents beside those in igniters: into converter pins, out of the battery, and what a fault feeds while disarmed."""

from __future__ import annotations

import re

import pytest

from ignition.analyses.faults.faults import faults
from ignition.analyses.faults.results import FaultRow, Faults
from ignition.analyses.faults.single import single_fault_currents
from ignition.analyses.verdict import check
from ignition.circuit.examples import example_text
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.parts.igniter import steady_thermal_fraction
from tests.circuit.sound import SOUND

EJECTION = example_text("ejection-single-cell")


def row(found: Faults, phase: str, *names: str) -> FaultRow:
    """One row."""
    return next(one for one in found.phase(phase).faults if one.faults == names)


def sound(more: str = "") -> Circuit:
    """The sound circuit: one channel, exact values but for battery, arm switch, igniter and joints."""
    return parse_circuit(SOUND + more, "sound.toml")


def test_pin_current_by_hand() -> None:
    """One of two upper resistors shorted: (V - Vc) / R_upper - Vc / R_lower and the converter's leakage into the clamp.

    8.4 V, a dead controller whose rail is at zero, the clamp at 0.3 V and 20 ohm, 49.9 kohm and 47 kohm, 100 nA.
    """
    found = row(faults(sound()), "armed", "line.upper 1 short")
    volts = 0.3 + 20.0 * 156e-6
    expected = (8.4 - volts) / 49.9e3 - volts / 47e3 + 100e-9
    assert found.pin_currents["line drain"] == pytest.approx(expected, rel=1e-3)


def test_battery_current_by_hand() -> None:
    """The wire out touches ground: 8.4 V over battery, interlock, arm switch and one wire, all at their lowest."""
    circuit = sound()
    found = row(faults(circuit), "armed", "line.lead out to-ground")
    resistance = 0.04 + 0.01 + 0.01 + 0.5 * circuit.channels[0].lead.resistance.low + 1e-6
    assert found.battery_current == pytest.approx(8.4 / resistance, rel=1e-2)
    assert row(faults(circuit), "disarmed", "line.lead out to-ground").battery_current == pytest.approx(0.02, rel=1e-6)


def test_currents_that_are_not_of_igniters_are_told_of_single_faults() -> None:
    """Each single fault has both; a pair has neither."""
    for phase in faults(sound(), 2).phases:
        for one in phase.faults:
            alone = len(one.faults) == 1
            assert (one.battery_current is not None) is alone
            assert set(one.pin_currents) == ({"line drain"} if alone else set())


def test_thermal_fraction_of_a_row() -> None:
    """The steady share of the temperature rise at the lowest threshold; above 1 where the bridge functions."""
    found = faults(parse_circuit(EJECTION, "ejection.toml"))
    for name, functions in (("ejection.mosfet drain-source-short", True), ("ejection.upper 1 short", False)):
        one = row(found, "armed", name)
        assert one.thermal_fraction is not None and one.current is not None and one.limit is not None
        assert (one.thermal_fraction > 1.0) is functions
        if not functions:
            growth = parse_circuit(EJECTION).igniters["ejection"].growth.low
            assert one.thermal_fraction == pytest.approx(
                float(steady_thermal_fraction(one.current, one.limit, growth)), rel=1e-9
            )
    assert all(one.thermal_fraction is None for one in found.phase("firing").faults if one.commanded)


@pytest.mark.parametrize(("current", "verdict"), [("12 mA", "PASS"), ("150 mA", "FAIL")])
def test_a_controller_behind_the_arm_switch_is_fed_through_the_igniter(current: str, verdict: str) -> None:
    """The wire back touches the battery while disarmed: all that the controller draws flows through the bridge.

    The no-fire current is 150 mA at 20 degC, 130 mA at the hottest.
    """
    circuit = parse_circuit(re.sub(r'\ncurrent = "[^"]*"', f'\ncurrent = "{current}"', EJECTION))
    worst = single_fault_currents(circuit).disarmed[0]
    assert worst.fault == "ejection.lead back to-battery"
    assert worst.current == pytest.approx(1e-3 * float(current.split()[0]), rel=1e-6)
    found = [f for f in check(circuit).findings if f.rule == "single-fault-disarmed"]
    assert [f.verdict for f in found] == [verdict]


def test_a_stuck_arm_switch_wakes_the_controller() -> None:
    """With the pin's pull-up in reset that is enough to fire, though nothing else is broken and the phase is disarmed."""
    text = EJECTION.replace('reset_pull_up = "none"', 'reset_pull_up = "2 kohm"')
    assert text != EJECTION
    found = faults(parse_circuit(text, "ejection.toml"))
    stuck = row(found, "disarmed", "pull pin stuck-closed")
    assert (stuck.kind, stuck.controller) == ("hazardous", "alive")
    assert row(faults(parse_circuit(EJECTION)), "disarmed", "pull pin stuck-closed").kind != "hazardous"


def test_a_woken_controller_makes_pairs() -> None:
    """A stuck arm switch and a pin that is stuck high are two faults, whether or not the controller was on before."""
    for text in (EJECTION, EJECTION.replace('powered_by = "after arm switch"', 'powered_by = "before arm switch"')):
        found = faults(parse_circuit(text), 2)
        pairs = {frozenset(one.faults) for one in found.phase("disarmed").faults if len(one.faults) == 2}
        assert frozenset({"pull pin stuck-closed", "ejection.gate pin stuck-high"}) in pairs


def test_a_controller_whose_current_is_not_given_is_not_known_to_be_harmless() -> None:
    """After the arm switch what it draws may flow through an igniter: without the key no PASS, and the key is named."""
    text = re.sub(r'\ncurrent = "[^"]*"', "", EJECTION, count=1)
    found = [f for f in check(parse_circuit(text)).findings if f.rule == "single-fault-disarmed"]
    assert [(f.verdict, f.keys) for f in found] == [("UNKNOWN", ("controller.current",))]
