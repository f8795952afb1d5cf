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
from tests.findings.ends import WIDE

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


@pytest.mark.parametrize(("breakdown", "ends"), [("8 V", False), ("8.4 V", False), ("8.9 V", True)])
def test_a_battery_at_breakdown_has_no_end(breakdown: str, ends: bool) -> None:
    """Above 8.4 V the current falls, however slowly; at or below it never. 25 degC has no cold to take off."""
    at_25 = ('temperature = "20 degC"', 'temperature = "25 degC"')
    circuit = parse_circuit(edited(MEASURED, at_25, ('breakdown = "30 V"', f'breakdown = "{breakdown}"')))
    found = turn_off(circuit, circuit.channels[0], 5.0, 5.0, 30.0)
    assert found.energy is not None and found.junction is not None
    assert math.isfinite(found.energy) is ends
    if not ends:  # for good through 1 + 40 K/W, and 1 K/W of what the linear region leaves
        assert found.junction > 30.0 + float(breakdown.split()[0]) * 5.0 * 41.0
    else:
        assert found.energy == pytest.approx(0.5 * 5.7e-6 * 25.0 * 8.9 / 0.5, rel=1e-9)


def test_ends_of_the_tolerances() -> None:
    """The longest lead inductance, the least breakdown in the cold, the most heat, the highest drive.

    40 degC and -10 degC: breakdown 28 V less 3.5 %; thermal resistance 3 K/W at the most, 4 ms at the least. The pin
    drives 3.4 V at the most, what the pull-down takes of it at the least: 20 ohm + 95 ohm against 10.5 kohm.
    """
    wide = edited(
        WIDE,
        (
            'thermal = [{ resistance = "1 K/W", time_constant = "1 ms" }, { resistance = "40 K/W", time_constant = "10 s" }]',
            'thermal = [{ resistance = "1 K/W .. 2 K/W .. 3 K/W", time_constant = "4 ms .. 5 ms .. 6 ms" }]',
        ),
    )
    circuit = parse_circuit(wide)
    found = turn_off(circuit, circuit.channels[0], 5.0, 5.0, 60.0)
    breakdown = 28.0 * (1.0 - 0.001 * 35.0)
    assert found.stored_energy == pytest.approx(0.5 * 3.2e-6 * 25.0, rel=1e-9)
    assert found.energy == pytest.approx(0.5 * 3.2e-6 * 25.0 * breakdown / (breakdown - 8.4), rel=1e-9)
    assert found.rating == pytest.approx(38e-3 * (150.0 - 60.0) / 125.0, rel=1e-9)
    drive = 3.4 * 10.5e3 / (10.5e3 + 115.0)
    assert found.gate_voltage == pytest.approx(drive, abs=1.2e-6 * 115.0)
    assert found.time is not None and found.junction is not None
    heat = 0.25 * 8.4 * 5.0 * -math.expm1(-found.time / 4e-3)
    heat += breakdown * 5.0 * -math.expm1(-(3.2e-6 * 5.0 / (breakdown - 8.4)) / 4e-3)
    assert found.junction - 60.0 == pytest.approx(3.0 * heat, rel=1e-3)


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
