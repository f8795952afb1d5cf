"""Corners of a channel of several strings behind wires of the feed, each value by hand; what else may ring with it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ignition.analyses.no_fire.corners import ENDS, EdgeCorners, all_ends, feed_inductance
from ignition.analyses.no_fire.switch_on import switch_on
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

WIRE = '[[feed]]\nname = "{}"\nkind = "wire"\nresistance = "{}"\ninductance = "{}"\ncapacitance = "{}"\n\n'
OTHER = """
[igniter.other]
bridge_resistance = "2 ohm .. 2.5 ohm .. 3 ohm"
temperature_coefficient = "0 / K"
function_temperature = "320 degC"
no_fire = { current = "0.2 A", duration = "300 s", reliability = 0.999, confidence = 0.95 }
all_fire = { current = "0.7 A", duration = "50 ms", reliability = 0.999, confidence = 0.95 }
time_constant = "10 ms"
spent = "open"
"""


def circuit_of(strings: str, *swaps: tuple[str, str]) -> Circuit:
    """The sound circuit with wires on both sides of its arm switch, other strings, a lead and branches as given."""
    text = edited(
        SOUND,
        ("[[feed]]", WIRE.format("before", "10 mohm", "2 uH .. 3 uH .. 4 uH", "1 nF") + "[[feed]]"),
        (
            "[controller]",
            WIRE.format("behind", "20 mohm", "5 uH .. 6 uH .. 7 uH", "100 pF .. 200 pF .. 300 pF")
            + WIRE.format("box", "0 ohm", "1 uH", "20 pF")
            + "[controller]",
        ),
        ('[["match"]]', strings),
        (
            'lead = { wire = "AWG 20", distance = "3 m", joints = "20 mohm .. 40 mohm .. 100 mohm" }',
            'lead = { resistance = "0.1 ohm .. 0.3 ohm", joints = "0 ohm", inductance = "10 uH .. 12 uH", '
            'capacitance = "40 pF .. 50 pF" }\n'
            'branch = { resistance = "0.2 ohm .. 0.4 ohm", joints = "0 ohm", inductance = "3 uH .. 9 uH", '
            'capacitance = "10 pF .. 30 pF" }',
        ),
        *swaps,
    )
    return parse_circuit(text + OTHER)


def maker(circuit: Circuit, kind: str = "match") -> EdgeCorners:
    """Corners of one igniter type with a dead controller."""
    return EdgeCorners(circuit=circuit, channel=circuit.channels[0], igniter=circuit.igniters[kind], hold="dead")


def corner(circuit: Circuit, kind: str = "match", **ends: int) -> dict[str, float]:
    """Value set of one corner: all at the high end but some."""
    chosen = {name: np.array([ends.get(name.replace(" ", "_"), 1)]) for name in ENDS}
    edge = maker(circuit, kind).edges(chosen, np.array([1e-8]))
    return {name: float(getattr(edge, name)[0]) for name in edge.__dataclass_fields__}


def test_inductance_of_all_that_is_in_the_loop() -> None:
    """Battery up to 0.2 uH; wires of the feed up to 4, 7 and 1 uH, which may be bypassed; lead 10 to 12 uH."""
    circuit = circuit_of('[["match"]]')
    feed = feed_inductance(circuit)
    assert (feed.low, feed.high) == pytest.approx((0.0, 12.2e-6))
    assert corner(circuit)["inductance"] == pytest.approx(12.2e-6 + 12e-6 + 9e-6)
    assert corner(circuit, inductance=0)["inductance"] == pytest.approx(10e-6 + 3e-6)
    assert circuit.channels[0].loop_inductance.high == pytest.approx(21e-6)


def test_inductance_of_branches_side_by_side() -> None:
    """Three branches of 9 uH are 3 uH; with the igniter's own alone 9 uH."""
    circuit = circuit_of('[["match"], ["other"], ["match", "other"]]')
    assert corner(circuit)["inductance"] == pytest.approx(24.2e-6 + 3e-6)
    assert corner(circuit, strings=0)["inductance"] == pytest.approx(24.2e-6 + 9e-6)


def test_capacitance_of_the_lines() -> None:
    """1 nF, 300 and 20 pF of feed, 50 pF of lead, three branches of 30 pF; at the low end none."""
    circuit = circuit_of('[["match"], ["other"], ["match", "other"]]')
    most = corner(circuit)["drain_capacitance"]
    assert most == pytest.approx(300e-12 * 190.0 / 8.4 + 1320e-12 + 50e-12 + 90e-12)
    assert corner(circuit, drain_capacitance=0)["drain_capacitance"] == pytest.approx(300e-12 - 40e-12)


def test_share_and_resistance_of_strings_side_by_side() -> None:
    """Beside a match of up to 1.5 ohm, of the third string, lie 0.2 + 1.0 and 0.2 + 2.0 ohm: 1 / 1.2 + 1 / 2.2 S.

    With 0.2 ohm of branch, the rest of its string a short, it has 1 / (1 + 1.7 x 1.288) of the current.
    """
    circuit = circuit_of('[["match"], ["other"], ["match", "other"]]')
    low, high = circuit.igniters["match"].resistance.low, circuit.igniters["match"].resistance.high
    beside = 1.0 / (0.2 + low) + 1.0 / 2.2
    found = corner(circuit, line=0)
    share = 1.0 / (1.0 + (0.2 + high) * beside)
    assert found["share"] == pytest.approx(share, rel=1e-9)
    common = circuit.battery.resistance.low + 0.01 + 0.01 + 0.02 + 0.01 + 0.1
    assert found["line_resistance"] == pytest.approx(common + share * 0.2, rel=1e-9)
    alone = corner(circuit, line=0, strings=0)
    assert (alone["share"], alone["line_resistance"]) == pytest.approx((1.0, common + 0.2))
    # at the high end the other igniter of its string, 3 ohm, is in series with it
    own = 0.4 + 3.0
    share = 1.0 / (1.0 + (own + high) * beside)
    common = circuit.battery.resistance.high + 0.01 + 0.01 + 0.02 + 0.05 + 0.3
    found = corner(circuit)
    assert (found["share"], found["line_resistance"]) == pytest.approx((share, common + share * own), rel=1e-9)


def test_of_its_strings_the_one_of_most_resistance_is_its_own() -> None:
    """An igniter type in several strings: all but the least conductive of them may lie beside it."""
    circuit = circuit_of('[["match", "match"], ["match"]]')
    low = circuit.igniters["match"].resistance.low
    assert maker(circuit).beside == pytest.approx(1.0 / (0.2 + low))
    assert maker(circuit_of('[["match"]]')).beside == 0.0


def test_a_breakdown_that_is_not_given_never_comes() -> None:
    """No avalanche in any corner; the finding on it is unknown."""
    circuit = circuit_of('[["match"]]', ('breakdown = "30 V"\n', ""))
    assert corner(circuit, breakdown=0)["breakdown"] > 1e9


def test_every_combination_of_the_ends_of_some() -> None:
    """Two of them: four corners, the others high."""
    ends = all_ends(("line", "strings"))
    assert sorted(zip(ends["line"].tolist(), ends["strings"].tolist(), strict=True)) == [(0, 0), (0, 1), (1, 0), (1, 1)]
    assert all((ends[name] == 1).all() for name in ENDS if name not in ("line", "strings"))


LOOSE = (
    ('pull_down = "10 kohm", capacitor = "10 nF"', 'pull_down = "1 Mohm"'),
    ('edge = "10 ns .. 1 us"', 'edge = "10 ns"'),
)


def test_energy_that_the_line_may_drive_into_the_switch() -> None:
    """By hand: the charging's work, L I^2 / 2 of lead and branch at all strings' current, of the feed at all channels'.

    Bus to drain at the least: 0.1 ohm, and two strings of 0.2 ohm and a match; the feed and the battery before it. All
    of it 29.85 V / (29.85 V - 8.4 V) times, at 20 degC.
    """
    circuit = circuit_of('[["match"], ["match"]]', *LOOSE)
    (one,) = {igniter.kick for igniter in switch_on(circuit).channels[0].igniters}
    string = 0.2 + circuit.igniters["match"].heated.low
    feed, channel = circuit.battery.resistance.low + 0.01 + 0.01 + 0.02 + 0.01, 0.1 + string / 2.0
    current = 9.4 / (feed + channel)
    drain = float(maker(circuit).drain_capacitance(8.4)[1])
    work = 8.4 * (drain * 8.4 + maker(circuit).charge(8.4)[1])
    lines = 0.5 * (21e-6 + 12.2e-6) * current**2
    assert one == pytest.approx((work + lines) * 29.85 / (29.85 - 8.4), rel=1e-9)
    # another channel like it draws through the feed too
    twin = replace(circuit, channels=(*circuit.channels, replace(circuit.channels[0], name="twin")))
    (two,) = {igniter.kick for channel in switch_on(twin).channels for igniter in channel.igniters}
    shared = 0.5 * 21e-6 * current**2 + 0.5 * 12.2e-6 * (9.4 / (feed + channel / 2.0)) ** 2
    assert two == pytest.approx((work + shared) * 29.85 / (29.85 - 8.4), rel=1e-9)


def test_a_drain_has_ten_picofarad_at_least() -> None:
    """A data sheet of 0.2 pF: 10 pF at either end, and the lines' 1.4 nF at the high one."""
    circuit = circuit_of('[["match"]]', ('output_capacitance = "300 pF"', 'output_capacitance = "0.2 pF"'))
    assert corner(circuit, drain_capacitance=0)["drain_capacitance"] == pytest.approx(10e-12)
    assert corner(circuit)["drain_capacitance"] == pytest.approx(10e-12 + 1320e-12 + 50e-12 + 30e-12)


def test_a_pull_down_of_the_pin_in_reset_helps_the_pull_up_less() -> None:
    """45 kohm to 3.3 V beside 90 kohm to ground, both behind 100 ohm, against 10 kohm; 1 uA and 100 nA of leakage."""
    swap = ('reset_pull_up = "none"', 'reset_pull_up = "45 kohm"\nreset_pull_down = "90 kohm"')
    circuit = circuit_of('[["match"]]', swap)
    ends = {name: np.array([1]) for name in ENDS}
    one = EdgeCorners(
        circuit=circuit, channel=circuit.channels[0], igniter=circuit.igniters["match"], hold="in reset"
    ).edges(ends, np.array([1e-8]))
    up, beside, down = 45.1e3, 90.1e3, 10e3
    conductance = 1.0 / up + 1.0 / beside + 1.0 / down
    assert one.gate_resistance[0] == pytest.approx(1.0 / conductance, rel=1e-9)
    # the pin leaks behind 100 ohm, of which the closed source knows nothing: held to the steady bound
    assert one.gate_rest[0] == pytest.approx((3.3 / up + 1.1e-6) / conductance, rel=1e-3)


def test_a_pin_without_any_resistance_holds_by_a_milliohm() -> None:
    """0 ohm of pin and series resistor: the batch needs a resistance, and a milliohm is one."""
    swaps = (
        ('output_resistance = "30 ohm"', 'output_resistance = "0 ohm"'),
        ('series = "100 ohm"', 'series = "0 ohm"'),
    )
    circuit = circuit_of('[["match"]]', *swaps)
    ends = {name: np.array([1]) for name in ENDS}
    held = EdgeCorners(
        circuit=circuit, channel=circuit.channels[0], igniter=circuit.igniters["match"], hold="driven low"
    ).edges(ends, np.array([1e-8]))
    assert held.gate_resistance[0] == pytest.approx(1e-3, rel=1e-6)


def test_the_order_of_the_feed_is_nothing() -> None:
    """Wires before or behind the arm switch: the same corners, and the same kick."""
    circuit = circuit_of('[["match"], ["other"]]', *LOOSE)
    turned = replace(circuit, feed=circuit.feed[::-1])
    for ends in ({}, {"inductance": 0}, {"drain_capacitance": 0}):
        assert corner(circuit, **ends) == pytest.approx(corner(turned, **ends), rel=1e-12)
    one, other = (switch_on(made).channels[0].igniters[0].kick for made in (circuit, turned))
    assert one == pytest.approx(other, rel=1e-12)
