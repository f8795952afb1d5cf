"""Several strings at one drain: written as separate branches for ngspice, as one loop in the model, and bounded."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from ignition.analyses.no_fire.corners import holds
from ignition.analyses.no_fire.edge import Edge, edge_response
from ignition.analyses.no_fire.switch_on import IgniterSwitchOn, switch_on
from ignition.analyses.verdict import check
from ignition.circuit.examples import example_text
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.network.template import igniter_kinds
from ignition.spice.arming_case import arming_parts, edge_of
from ignition.spice.arming_deck import arming_deck, read_arming
from ignition.spice.ngspice import run_deck
from ignition.toleranced import Toleranced
from tests.circuit.edits import edited

ALIKE = '[["cutter"], ["cutter"], ["cutter"], ["cutter"], ["cutter"], ["cutter"], ["cutter"], ["cutter"]]'
UNLIKE = '[["cutter", "cutter", "cutter"], ["cutter"], ["cutter", "cutter"]]'


def circuit_of(strings: str, pull_down: str, branch: str, *edits: tuple[str, str]) -> Circuit:
    """The weak pull-down's circuit with other strings, branches and pull-down."""
    text = edited(
        example_text("weak-pull-down"),
        ('[["cutter"]]', strings),
        ('pull_down = "1 Mohm ± 5 %"', f'pull_down = "{pull_down}"'),
        ("gate = {", f"branch = {{ {branch} }}\ngate = {{"),
        *edits,
    )
    return parse_circuit(text)


def nominal(value: Toleranced) -> float:
    return value.nominal


@pytest.mark.parametrize(
    ("strings", "pull_down", "growth", "slack"),
    [
        (ALIKE, "300 ohm", 0.0, 0.01),
        (ALIKE, "20 kohm", 0.0, 0.01),
        # of strings that are not alike the model takes inductance by their count, currents by their resistance
        (UNLIKE, "20 kohm", 0.0, 0.03),
    ],
)
def test_the_loop_is_the_branches(strings: str, pull_down: str, growth: float, slack: float) -> None:
    """Nominal parts, all strings connected: gate, drain, current and energy of one igniter by ngspice."""
    circuit = circuit_of(strings, pull_down, 'resistance = "0.5 ohm", inductance = "2 uH"')
    (channel,) = circuit.channels
    parts = arming_parts(circuit, channel, "cutter", "dead", 20e-9, nominal, together=True)
    parts = replace(parts, clamp_drop=math.inf, growth=growth)
    assert len(parts.beside) == len(channel.strings) - 1
    edge, stop = edge_of(parts), 30e-6
    told = read_arming(run_deck(arming_deck(parts, "strings", stop=stop)).plot("transient"))
    ours = edge_response(edge, stop, follow=math.inf)
    assert ours.peak_gate_voltage[0] == pytest.approx(told.peak_gate_voltage, rel=slack)
    assert ours.peak_drain_voltage[0] == pytest.approx(told.peak_drain_voltage, rel=slack)
    assert ours.peak_current[0] == pytest.approx(told.peak_current, rel=slack)
    assert ours.energy[0] == pytest.approx(told.energy, rel=2.0 * slack)
    assert ours.thermal_fraction[0] == pytest.approx(told.thermal_fraction, rel=2.0 * slack)


def test_one_igniter_of_several_has_its_share() -> None:
    """By hand: 4 strings of 2 ohm, 1 ohm and 2.5 mohm pass a quarter of 12 V / 1.5025 ohm each, and heat by that."""
    same = dict(inductance=1e-9, bridge_resistance=2.0, growth=0.0, no_fire_current=1.0, time_constant=1.0)
    gate = dict(
        threshold=1.0,
        gain=100.0,
        row_overdrive=10.0,
        threshold_current=0.0,
        slope_voltage=0.05,
        gate_rest=5.0,
        gate_resistance=1.0,
    )
    capacitors = dict(gate_source_capacitance=1e-9, near_capacitance=1e-15, far_capacitance=1e-15, knee_voltage=1e6)
    edge = Edge.of(
        supply=12.0, rise_time=1e-9, line_resistance=1.0, share=0.25, breakdown=math.inf, drain_capacitance=1e-12,
        **same, **gate, **capacitors,
    )  # fmt: skip
    found, current = edge_response(edge, 1e-3), 12.0 / 1.5025 / 4.0
    assert found.peak_current[0] == pytest.approx(current, rel=1e-3)
    assert found.energy[0] == pytest.approx(current**2 * 2.0 * 1e-3, rel=2e-3)
    assert found.thermal_fraction[0] == pytest.approx(current**2 * 1e-3, rel=2e-3)


def unit(circuit: Circuit, rng: np.random.Generator) -> tuple[str, object]:
    """One igniter's name and its parts with any values in their tolerances, its string alone or all of them."""

    def choose(value: Toleranced) -> float:
        draw = rng.random()
        return value.low if draw < 0.3 else value.high if draw < 0.6 else float(rng.uniform(value.low, value.high))

    channel = circuit.channels[0]
    names = igniter_kinds(channel)
    name = list(names)[int(rng.integers(len(names)))]
    edge = circuit.arm_switch.edge
    assert edge is not None
    rise = float(np.exp(rng.uniform(math.log(edge.low), math.log(edge.high))))
    hold = holds(circuit)[int(rng.integers(len(holds(circuit))))]
    together = bool(rng.random() < 0.7)
    return name, arming_parts(circuit, channel, names[name], hold, rise, choose, together=together)


@pytest.mark.parametrize(
    ("strings", "pull_down", "branch"),
    [
        # the gate of one string stays below its threshold, that of all does not
        (ALIKE, "15 ohm .. 18 ohm .. 20 ohm", 'resistance = "0.4 ohm .. 0.5 ohm .. 0.6 ohm", inductance = "20 uH"'),
        (UNLIKE, "1 kohm ± 5 %", 'resistance = "20 mohm .. 50 mohm", inductance = "0.2 uH .. 0.6 uH .. 1 uH"'),
    ],
)
def test_no_unit_leaves_what_is_stated(strings: str, pull_down: str, branch: str) -> None:
    """300 units from the parts, most with all strings connected: none is beyond what is printed, gate and time too."""
    circuit, rng = circuit_of(strings, pull_down, branch), np.random.default_rng(21)
    found: dict[str, IgniterSwitchOn] = {
        one.igniter: one for channel in switch_on(circuit, integrate=True).channels for one in channel.igniters
    }
    units = [unit(circuit, rng) for _ in range(300)]
    edge = Edge.joined([edge_of(parts) for _, parts in units])  # type: ignore[arg-type]
    swings = edge.rise_time + 4.0 * np.pi * np.sqrt(edge.inductance * (edge.drain_capacitance + edge.near_capacitance))
    told = edge_response(edge, 1e-3, follow=swings)
    assert told.solved.all()
    highest = 0.0
    for place, (name, _) in enumerate(units):
        one = found[name]
        assert told.peak_drain_voltage[place] <= one.drain_voltage
        for result in (one.bound, one.model):
            assert result is not None
            assert told.peak_gate_voltage[place] <= result.gate_voltage
            assert told.peak_current[place] <= result.current
            assert told.energy[place] <= result.energy
            assert told.thermal_fraction[place] <= result.thermal_fraction
            assert told.time_above_threshold[place] <= result.time_above_threshold
        highest = max(highest, told.peak_gate_voltage[place] / found[name].judged.gate_voltage)
    assert highest > 0.8


def test_all_strings_together_may_ring_where_one_does_not() -> None:
    """16 strings of 100 ohm: one damps the line's ringing, all let it pass the breakdown voltage (by ngspice too)."""
    ohm = ('bridge_resistance = "1.5 ohm .. 1.8 ohm .. 2.2 ohm"', 'bridge_resistance = "100 ohm"')
    swaps = (
        ohm,
        ('breakdown = "30 V"', 'breakdown = "20 V"'),
        ('avalanche_energy = "40 mJ"\n', ""),
        ('edge = "10 ns .. 1 us .. 10 us"', 'edge = "2 ns"'),
        ('distance = "2 m", joints = "20 mohm .. 40 mohm .. 80 mohm"', 'distance = "2 m", inductance = "0.3 uH"'),
        ('output_capacitance = "300 pF"', 'output_capacitance = "200 pF"'),
        ("gate = { series", 'gate = { capacitor = "100 nF", series'),
    )
    sixteen = "[" + ", ".join(['["cutter"]'] * 16) + "]"
    circuit = circuit_of(sixteen, "1 kohm", 'resistance = "10 mohm", inductance = "10 nH"', *swaps)
    (channel,) = circuit.channels
    parts = arming_parts(circuit, channel, "cutter", "dead", 2e-9, nominal, together=True)
    alone = arming_parts(circuit, channel, "cutter", "dead", 2e-9, nominal)
    quiet = [replace(one, clamp_drop=math.inf, breakdown=math.inf) for one in (parts, alone)]
    together, single = (read_arming(run_deck(arming_deck(one, "ring", stop=1e-6)).plot("transient")) for one in quiet)
    assert single.peak_drain_voltage < 14.0 < 20.0 < together.peak_drain_voltage
    (finding,) = (f for f in check(circuit).findings if f.rule == "switch-on-overvoltage")
    assert finding.verdict == "UNKNOWN" and finding.keys == ("mosfet.low_side.avalanche_energy",)
