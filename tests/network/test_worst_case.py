"""Worst case: equal to all corners where they can be listed, and never left by a sample."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from ignition.analyses.firing.on_state import firing_network, on_states
from ignition.analyses.no_fire.gate import phase_box
from ignition.circuit.examples import load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.errors import NetworkError
from ignition.network.elements import Network
from ignition.network.solution import solve
from ignition.network.template import PHASES, State, adc_pin, build_network, igniter_names, line_states
from ignition.network.worst_case import NEGLIGIBLE, Probe, draw, extremes
from ignition.toleranced import Toleranced, vertices
from tests.spice.generate import circuit_text

CIRCUITS = 520
STEADY = [p for p in PHASES if p not in ("switch-on", "firing")]


def situation(circuit: Circuit, seed: int) -> tuple[Network, Mapping[str, Toleranced]]:
    """One state of a circuit, cycling through phases and line states with the seed."""
    channel = circuit.channels[seed % len(circuit.channels)]
    if seed % 4 == 3:
        commanded = frozenset({channel.name})
        return firing_network(circuit, commanded), on_states(circuit, commanded)[1]
    states = line_states(channel)
    line = states[seed // 4 % len(states)]
    phase = STEADY[seed % 3]
    return build_network(circuit, State(phase=phase, lines={channel.name: line})), phase_box(circuit, phase)


def probes_of(circuit: Circuit) -> list[Probe]:
    """All igniter currents and converter pins."""
    names = [n for c in circuit.channels for string in igniter_names(c) for n in string]
    return [*(Probe(element=n) for n in names), *(Probe(node=adc_pin(c)) for c in circuit.channels)]


def test_no_sample_leaves_the_bounds(record_testsuite_property: pytest.FixtureRequest) -> None:
    """On over 500 generated circuits no igniter current and no pin voltage of 200 samples lies outside its bounds."""
    seen = 0
    for seed in range(CIRCUITS):
        circuit = parse_circuit(circuit_text(seed), name=f"{seed}.toml")
        network, box = situation(circuit, seed)
        probes = probes_of(circuit)
        try:
            found = extremes(network, box, probes)
        except NetworkError as error:
            assert "floating" in str(error), f"seed {seed}: {error}"
            continue
        samples = draw({n: box[n] for n in network.parameters}, np.random.default_rng(seed), 200)
        values = solve(network, samples).unknowns @ np.stack([p.weights(network) for p in probes]).T
        for index, extreme in enumerate(found):
            slack = 1e-9 * max(abs(extreme.low), abs(extreme.high)) + 1e-11
            assert values[:, index].min() >= extreme.low - slack, f"seed {seed}, {probes[index]}, below {extreme.low}"
            assert values[:, index].max() <= extreme.high + slack, f"seed {seed}, {probes[index]}, above {extreme.high}"
        seen += 1
    record_testsuite_property("circuits whose samples were held to the bounds", seen)  # type: ignore[operator]
    assert seen >= 500


@pytest.mark.parametrize("line", ["intact", "open", "shorted", "mosfet shorted", "not armed"])
def test_signs_find_what_all_corners_find(line: str) -> None:
    """For one channel the corner by signs equals the extreme of all 2^n corners."""
    circuit = load_example("tether-cutter")
    box = phase_box(circuit, "armed")
    network = build_network(circuit, State(phase="armed", lines={"cutter": line}))
    names = network.parameters
    corners = vertices([box[n] for n in names])
    assert len(corners) >= 64
    solution = solve(network, {n: corners[:, i] for i, n in enumerate(names)})
    for probe, extreme in zip(probes_of(circuit), extremes(network, box, probes_of(circuit)), strict=True):
        every = solution.unknowns @ probe.weights(network)
        assert (extreme.low, extreme.high) == (
            pytest.approx(every.min(), abs=20 * NEGLIGIBLE),
            pytest.approx(every.max(), abs=20 * NEGLIGIBLE),
        )


def test_firing_corners_are_all_corners() -> None:
    """In the firing network of the smallest circuit the bounds are those of all corners."""
    circuit = load_example("tether-cutter")
    commanded = frozenset({"cutter"})
    network, box = firing_network(circuit, commanded), on_states(circuit, commanded)[1]
    corners = vertices([box[n] for n in network.parameters])
    every = solve(network, {n: corners[:, i] for i, n in enumerate(network.parameters)}).current("cutter.igniter 1.1")
    found = extremes(network, box, [Probe(element="cutter.igniter 1.1")])[0]
    assert found.low == pytest.approx(every.min(), rel=1e-12) and found.high == pytest.approx(every.max(), rel=1e-12)
