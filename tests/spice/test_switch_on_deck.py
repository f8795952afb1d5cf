"""Battery edge decks: gate and drain against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from ignition.errors import InputError
from ignition.network.elements import GROUND, Element, Network
from ignition.parts.mosfet_transient import dvdt_gate_voltage
from ignition.spice.firing_deck import Bridge
from ignition.spice.ngspice import run_deck
from ignition.spice.switch_on_deck import Gate, SwitchOnAnswer, read_switch_on, switch_on_deck

NETWORK = Network(
    elements=(
        Element(
            name="battery", kind="source", plus="bus", minus=GROUND, voltage=(("E", 1.0),), resistance=(("Rb", 1.0),)
        ),
        Element(name="igniter", kind="resistor", plus="bus", minus="drain", resistance=(("R", 1.0),)),
        Element(name="divider", kind="resistor", plus="drain", minus=GROUND, resistance=(("Rd", 1.0),)),
    ),
    igniters=("igniter",),
)
VALUES = {"E": 12.0, "Rb": 0.1, "R": 1.0, "Rd": 150e3}
GATE = Gate(
    drain="drain",
    threshold=20.0,
    gain=50.0,
    input_capacitance=1e-9,
    output_capacitance=300e-12,
    reverse_transfer_capacitance=100e-12,
    series=100.0,
    pull_down=10e3,
)


def edge_answer(
    gate: Gate, edge: float, stop: float, step: float, bridges: dict[str, Bridge] | None = None
) -> SwitchOnAnswer:
    """What ngspice says about an edge."""
    deck = switch_on_deck(
        NETWORK, VALUES, "edge", gates={"line": gate}, edge=edge, stop=stop, step=step, bridges=bridges
    )
    return read_switch_on(run_deck(deck).plot("transient"), NETWORK, {"line": gate}, bridges)


@pytest.mark.parametrize("edge", [100e-9, 2e-6, 30e-6])
def test_gate_follows_the_closed_form_while_the_channel_is_off(edge: float) -> None:
    """The peak is R Cgd s (1 - exp(-t / (R Ciss))): the drain follows the battery through 1.1 ohm at once."""
    found = edge_answer(GATE, edge, edge + 20e-6, edge / 200.0)
    expected = float(dvdt_gate_voltage(10e3, 100e-12, 900e-12, 12.0, edge))
    assert found.peak_gate_voltage["line"] == pytest.approx(expected, rel=3e-3)


def test_pin_that_drives_low_holds_the_gate() -> None:
    """A pin of 35 ohm behind 100 ohm is in parallel with the pull-down."""
    held = replace(GATE, drive_resistance=35.0)
    found = edge_answer(held, 2e-6, 10e-6, 10e-9)
    expected = float(dvdt_gate_voltage(1.0 / (1.0 / 135.0 + 1.0 / 10e3), 100e-12, 900e-12, 12.0, 2e-6))
    assert found.peak_gate_voltage["line"] == pytest.approx(expected, rel=1e-2)


def test_gate_that_nothing_holds_is_the_capacitive_divider() -> None:
    """Without pull-down and pin the gate rises by Crss / Ciss of the edge and stays."""
    found = edge_answer(replace(GATE, pull_down=math.inf), 1e-6, 10e-6, 5e-9)
    assert found.peak_gate_voltage["line"] == pytest.approx(1.2, rel=3e-3)


def test_channel_obeys_the_square_law() -> None:
    """A gate held 0.2 V over its threshold passes K 0.2^2 / 2 in saturation; energy and fraction follow from it."""
    gate = replace(GATE, threshold=1.8, drive_resistance=0.0, drive_voltage=2.0, series=0.0, gain=50.0)
    model = {"igniter": Bridge(threshold=4.0, time_constant=1e-2)}
    found = edge_answer(gate, 1e-7, 1e-3, 1e-6, model)
    assert found.peak_current["igniter"] == pytest.approx(1.0, rel=0.4)  # the edge charges Crss and Coss besides
    assert found.energy["igniter"] == pytest.approx(1e-3, rel=5e-3)
    assert found.thermal_fraction["igniter"] == pytest.approx((1.0 / 4.0) ** 2 * (1.0 - math.exp(-0.1)), rel=5e-3)


def test_channel_is_a_resistance_at_low_drain_voltage() -> None:
    """Far above threshold the channel is 1 / (K Vov) ohm to first order."""
    gate = replace(GATE, threshold=1.0, drive_resistance=0.0, drive_voltage=11.0, series=0.0, gain=5.0)
    found = edge_answer(gate, 1e-6, 1e-4, 1e-7)
    over, gain, series = 10.0, 5.0, 1.1
    # K (over u - u^2 / 2) = (12 - u) / 1.1
    a, b, c = 0.5 * gain, -(gain * over + 1.0 / series), 12.0 / series
    drain = (-b - math.sqrt(b * b - 4.0 * a * c)) / (2.0 * a)
    assert found.peak_current["igniter"] == pytest.approx((12.0 - drain) / series, rel=1e-3)


def test_impossible_gate_is_refused() -> None:
    """Capacitances that cannot be, no gain, and an unknown drain are refused."""
    with pytest.raises(InputError, match="capacitances must satisfy"):
        replace(GATE, reverse_transfer_capacitance=2e-9)
    with pytest.raises(InputError, match="gain must be above zero"):
        replace(GATE, gain=0.0)
    with pytest.raises(InputError, match="resistances at the gate"):
        replace(GATE, series=-1.0)
    with pytest.raises(InputError, match="is no node of the network"):
        edge_answer(replace(GATE, drain="nowhere"), 1e-6, 1e-5, 1e-8)
    with pytest.raises(InputError, match="edge and step must lie"):
        edge_answer(GATE, 1e-5, 1e-6, 1e-8)
