"""Random circuits in every phase and line state: our solver against ngspice."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

import numpy as np

from ignition.analyses.firing.on_state import on_states
from ignition.analyses.no_fire.gate import phase_box
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.elements import Network
from ignition.network.template import LINE_STATES, State, adc_pin, build_network, igniter_names, line_states
from ignition.network.worst_case import Probe
from ignition.spice.crosscheck import OperatingPointRequest, compare_operating_points, requests_at_extremes
from tests.spice.generate import circuit_text

CIRCUITS = 216
TOLERANCE = 1e-6
STATES = list(product(("disarmed", "reset", "armed", "firing"), LINE_STATES))


def state_network(circuit: Circuit, phase: str, line: str, seed: int) -> tuple[ChannelModel, str, Network]:
    """Network with the line state on a channel that can have it; an intact line where none can."""
    possible = [c for c in circuit.channels if line in line_states(c)]
    channel = (possible or list(circuit.channels))[seed % len(possible or circuit.channels)]
    commanded = frozenset({channel.name} if phase == "firing" else ())
    for wanted in (line if possible else "intact", "intact"):
        network = build_network(circuit, State(phase=phase, lines={channel.name: wanted}, commanded=commanded))
        if not network.floating_nodes():
            return channel, wanted, network
    raise AssertionError(f"seed {seed}: intact lines float in phase {phase}")


def requests_of(seed: int) -> tuple[tuple[str, str], list[OperatingPointRequest]]:
    """One circuit in one state: all outputs of one channel at nominal, one of them at its two worst corners."""
    circuit = parse_circuit(circuit_text(seed))
    phase, line = STATES[seed % len(STATES)]
    channel, line, network = state_network(circuit, phase, line, seed)
    commanded = frozenset({channel.name})
    box = on_states(circuit, commanded)[1] if phase == "firing" else phase_box(circuit, phase)
    probes = [Probe(element=name) for string in igniter_names(channel) for name in string]
    probes.append(Probe(node=adc_pin(channel)))
    label = f"seed {seed}, {phase}, {line}"
    nominal = {name: box[name].nominal for name in network.parameters}
    everything = OperatingPointRequest(label=f"{label}, nominal", network=network, values=nominal, probes=tuple(probes))
    _, *corners = requests_at_extremes(label, network, box, [probes[seed % len(probes)]])
    return (phase, line), [everything, *corners]


def test_random_circuits_agree(record_testsuite_property: Callable[[str, object], None]) -> None:
    """Igniter currents and converter voltages of 216 circuits agree to a millionth; every state occurs."""
    states, requests = set(), []
    for seed in range(CIRCUITS):
        state, some = requests_of(seed)
        states.add(state)
        requests += some
    comparisons = compare_operating_points(requests)
    worst = max(comparisons, key=lambda c: c.relative_difference)
    record_testsuite_property("comparisons", len(comparisons))
    record_testsuite_property("worst relative difference", worst.relative_difference)
    record_testsuite_property("worst at", worst.quantity)
    assert worst.relative_difference <= TOLERANCE, f"{worst} is the worst of {len(comparisons)}"
    assert states == set(STATES)
    above = [c for c in comparisons if abs(c.ours) > (1e-12 if c.unit == "A" else 1e-9)]
    assert len(above) > 0.5 * len(comparisons)


def test_generator_covers_the_shapes() -> None:
    """The circuits have 1 to 3 channels and 1 to 6 igniters, in series, parallel and mixed, with and without extras."""
    circuits = [parse_circuit(circuit_text(seed)) for seed in range(CIRCUITS)]
    assert {len(c.channels) for c in circuits} == {1, 2, 3}
    assert {sum(len(s) for ch in c.channels for s in ch.strings) for c in circuits} == {1, 2, 3, 4, 5, 6}
    channels = [ch for c in circuits for ch in c.channels]
    shapes = {(len(ch.strings) > 1, max(len(s) for s in ch.strings) > 1) for ch in channels}
    assert shapes == {(False, False), (False, True), (True, False), (True, True)}
    assert {ch.branch is None for ch in channels} == {True, False}
    assert {c.controller.powered_before_arm_switch for c in circuits} == {True, False}
    assert {len(c.loads) for c in circuits} == {0, 1, 2}
    assert any(c.controller.pin.clamp_resistance.high == 0.0 for c in circuits)


def test_generator_repeats() -> None:
    """A seed gives the same text each time, another seed another."""
    assert circuit_text(7) == circuit_text(7)
    assert circuit_text(7) != circuit_text(8)
    assert np.isfinite(parse_circuit(circuit_text(7)).battery.voltage.nominal)
