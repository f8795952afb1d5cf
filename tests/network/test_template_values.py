"""Bounds of the network's parameters that are not the file's own: a bank at rest, clamps, a pull-up's path."""

from __future__ import annotations

import pytest

from ignition.analyses.no_fire.gate import phase_box
from ignition.circuit.file import parse_circuit
from ignition.network.elements import KNEE_VOLTAGE
from ignition.network.template import State, bank_voltage, build_network
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

BANK = 'capacitor_bank = {{ capacitance = "10 mF", series_resistance = "0.1 ohm"{} }}'
RECHARGE = ', recharge_resistance = "1.0 kohm .. 1.2 kohm .. 1.5 kohm"'
LOAD = '[[load]]\nname = "lamp"\ncurrent = "10 mA .. 20 mA .. 30 mA"\n\n[controller]'
BUS = ("sense = {", 'second = { bus_divider = { upper = "10 kohm", lower = "40 kohm" } }\nsense = {')
SENSE = (
    'upper = ["49.9 kohm", "49.9 kohm"], lower = "47 kohm"',
    'upper = "98 kohm .. 100 kohm .. 103 kohm", lower = "46 kohm .. 47 kohm .. 49 kohm"',
)
DRAWN = ('current = "20 mA"', 'current = "1 mA .. 2 mA .. 4 mA"')
AFTER = ("before arm switch", "after arm switch")


def rest(*swaps: tuple[str, str], recharge: str = RECHARGE) -> tuple[float, float, float]:
    """The bank's voltage at rest behind 40, 60, 100 mohm and 8.0, 8.2, 8.4 V."""
    bank = ('protection = "none"', f'protection = "none"\n{BANK.format(recharge)}')
    found = bank_voltage(parse_circuit(edited(SOUND, bank, DRAWN, SENSE, ("[controller]", LOAD), *swaps)))
    return found.low, found.nominal, found.high


def test_a_bank_that_nothing_recharges_was_charged_to_the_battery_s() -> None:
    """The battery's voltage, whatever draws."""
    assert rest(recharge="") == pytest.approx((8.0, 8.2, 8.4), rel=1e-12)


def test_a_bank_stands_below_the_battery() -> None:
    """Controller and lamp draw before the recharge resistor, the dividers behind it: 98 kohm alone at most, or both."""
    divider, usual = 8.4 / 98e3, 8.2 / 147e3
    low = 8.0 - 0.1 * (0.004 + 0.03 + divider) - 1500.0 * divider
    nominal = 8.2 - 0.06 * (0.002 + 0.02 + usual) - 1200.0 * usual
    assert rest() == pytest.approx((low, nominal, 8.4), rel=1e-9)


def test_a_divider_at_the_bus_and_a_controller_there_draw_through_the_recharge_resistor() -> None:
    """4 mA through 1.5 kohm is 6 V of 8 V; the bus divider adds 8.4 V / 10 kohm at most, 8.2 V / 50 kohm usually."""
    divider, usual = 8.4 / 98e3 + 8.4 / 10e3, 8.2 / 147e3 + 8.2 / 50e3
    behind, nominal = 0.004 + divider, 0.002 + usual
    low = max(8.0 - 0.1 * (0.03 + behind) - 1500.0 * behind, 0.0)
    usually = 8.2 - 0.06 * (0.02 + nominal) - 1200.0 * nominal
    assert rest(AFTER, BUS) == pytest.approx((low, usually, 8.4), rel=1e-9)
    less = edited(DRAWN[1], ("4 mA", "2.1 mA"))
    behind = 0.0021 + divider
    low = 8.0 - 0.1 * (0.03 + behind) - 1500.0 * behind
    assert low > 0.0
    assert rest(AFTER, BUS, (DRAWN[1], less))[0] == pytest.approx(low, rel=1e-9)


def test_a_bank_that_its_loads_empty() -> None:
    """60 mA through 1 kohm or more would be 60 V: the bank is empty, and never below."""
    assert rest(AFTER, (DRAWN[1], 'current = "60 mA"')) == pytest.approx((0.0, 0.0, 8.4), abs=1e-12)


def test_inputs_beside_the_sense_pin() -> None:
    """A bus divider has an input of its own, a pull-up a clamp behind its resistor, raised by a knee; else there is none."""
    second = ("sense = {", 'second = { bus_divider = { upper = "10 kohm", lower = "40 kohm" }, drain_pull_up = "9 kohm .. 10 kohm .. 11 kohm" }\nsense = {')  # fmt: skip
    circuit = parse_circuit(edited(SOUND, second))
    box = phase_box(circuit, "armed")
    assert (box["line.bus upper"].nominal, box["line.bus lower"].nominal) == (10e3, 40e3)
    assert box["line.bus adc leakage"] == circuit.controller.adc.leakage
    clamp, path = box["line.pull-up clamp voltage"], box["line.pull-up clamp resistance"]
    assert (clamp.low, clamp.high) == pytest.approx((3.3 + 0.3 + KNEE_VOLTAGE, 3.3 + 0.7 + KNEE_VOLTAGE), rel=1e-12)
    assert (path.low, path.nominal, path.high) == pytest.approx((9020.0, 10020.0, 11020.0), rel=1e-12)
    elements = {e.name: (e.plus, e.minus) for e in build_network(circuit, State(phase="armed")).elements}
    assert elements["line.bus upper"] == ("bus", "line.bus pin") and elements["line.bus lower"][0] == "line.bus pin"
    assert elements["line.bus clamp"][0] == elements["line.bus adc leakage"][0] == "line.bus pin"
    assert elements["line.pull-up clamp"][0] == "line.drain"
    plain = {e.name for e in build_network(parse_circuit(SOUND), State(phase="armed")).elements}
    assert not [name for name in plain if "bus" in name or "pull-up" in name]
