"""End of a pulse by hand: energy of the line, what the battery adds, time of the gate, heat in the junction."""

from __future__ import annotations

import math

import pytest

from ignition.analyses.firing.firing import ChannelFiring, firing
from ignition.analyses.firing.turn_off import TurnOff, turn_off
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

MEASURED = edited(
    SOUND,
    (
        'lead = { wire = "AWG 20", distance = "3 m"',
        'lead = { resistance = "0.2 ohm", inductance = "3 uH", capacitance = "100 pF"',
    ),
    (
        "gate = {",
        'branch = { resistance = "10 mohm", inductance = "0.5 uH", capacitance = "10 pF", joints = "0 ohm" }\ngate = {',
    ),
    (
        "[[feed]]",
        '[[feed]]\nname = "trunk"\nkind = "wire"\nresistance = "20 mohm"\ninductance = "2 uH"\ncapacitance = "50 pF"\n\n'
        "[[feed]]",
    ),
)
"""The sound circuit with a lead, a branch and a wire in the feed of which the inductances are given."""


def ended(text: str) -> tuple[Circuit, ChannelFiring, TurnOff]:
    """Circuit, and its first channel's pulse and end."""
    circuit = parse_circuit(text)
    channel = firing(circuit).channels[0]
    return circuit, channel, channel.turn_off


def test_energy_of_lead_branch_feed_and_battery() -> None:
    """3 + 0.5 uH at 4 A, 2 uH of feed and 0.2 uH of battery at 6 A: 28.0 and 39.6 uJ; 30 V of 21.6 V above the battery.

    At 25 degC and above all of the breakdown voltage counts.
    """
    circuit = parse_circuit(edited(MEASURED, ('temperature = "20 degC"', 'temperature = "25 degC"')))
    ends = turn_off(circuit, circuit.channels[0], 4.0, 6.0, 25.0)
    assert ends.stored_energy == pytest.approx(28.0e-6 + 39.6e-6, rel=1e-9)
    assert ends.energy == pytest.approx((28.0e-6 + 39.6e-6) * 30.0 / (30.0 - 8.4), rel=1e-9)
    # the battery carries no less than the channel
    assert turn_off(circuit, circuit.channels[0], 6.0, 0.0, 25.0).stored_energy == pytest.approx(0.5 * 5.7e-6 * 36.0)


def test_another_channel_is_in_the_feed_but_not_in_the_lead() -> None:
    """Two channels of one start: the feed holds the energy of both currents, each lead that of its own."""
    _, alone, one = ended(MEASURED)
    table = MEASURED[MEASURED.index("[[channel]]") : MEASURED.index("[checklist]")]
    twice = MEASURED.replace("[checklist]", table.replace('name = "line"', 'name = "second"') + "[checklist]")
    circuit, both, two = ended(twice)
    of_lead = 0.5 * 3.5e-6 * two.current**2
    highest = firing(circuit).supply.highest_current
    assert highest > 1.5 * two.current
    assert two.stored_energy == pytest.approx(of_lead + 0.5 * 2.2e-6 * highest**2, rel=1e-9)
    assert two.stored_energy > one.stored_energy
    assert alone.current.high == pytest.approx(both.current.high, rel=1e-6)


def test_heat_of_the_linear_region_and_of_the_avalanche() -> None:
    """One stage of 2 K/W and 5 ms that has no time to warm through: R P t / tau for each of the two, after each other."""
    one_stage = edited(
        MEASURED,
        (
            'thermal = [{ resistance = "1 K/W", time_constant = "1 ms" }, { resistance = "40 K/W", time_constant = "10 s" }]',
            'thermal = [{ resistance = "2 K/W", time_constant = "5 ms" }]',
        ),
    )
    circuit = parse_circuit(one_stage)
    ends = turn_off(circuit, circuit.channels[0], 5.0, 5.0, 30.0)
    assert ends.time is not None and ends.junction is not None and ends.energy is not None
    breakdown = 30.0 * (1.0 - 0.001 * 5.0)
    lasts = 5.7e-6 * 5.0 / (breakdown - 8.4)
    linear = 0.25 * 8.4 * 5.0
    rise = 2.0 * (linear * -math.expm1(-ends.time / 5e-3) + breakdown * 5.0 * -math.expm1(-lasts / 5e-3))
    assert ends.junction == pytest.approx(30.0 + rise, rel=1e-3)
    # half a current that falls to zero is the mean: the heat of the avalanche counts it whole
    assert breakdown * 5.0 * lasts == pytest.approx(2.0 * ends.energy, rel=1e-9)


def test_a_battery_at_breakdown_has_no_end() -> None:
    """8.4 V against 8 V: the current never falls, and JSON gives no number but a reason."""
    circuit = parse_circuit(edited(MEASURED, ('breakdown = "30 V"', 'breakdown = "8 V"')))
    ends = turn_off(circuit, circuit.channels[0], 5.0, 5.0, 30.0)
    assert ends.energy == math.inf


@pytest.mark.parametrize(
    ("line", "missing"),
    [
        ("breakdown =", ("energy", "junction")),
        ("avalanche_energy =", ("rating",)),
        ("input_capacitance =", ("time", "junction")),
        ("gate_drain_charge =", ("time", "junction")),
    ],
)
def test_what_is_not_given_is_not_known(line: str, missing: tuple[str, ...]) -> None:
    """Without a key what rests on it is None, the rest stands."""
    text = "\n".join(one for one in MEASURED.splitlines() if not one.startswith(line))
    circuit = parse_circuit(text)
    ends = turn_off(circuit, circuit.channels[0], 5.0, 5.0, 30.0)
    for name in ("energy", "rating", "time", "junction"):
        assert (getattr(ends, name) is None) is (name in missing), name
