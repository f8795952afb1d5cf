"""Random units of whole circuits at the arming edge, by ngspice: none lies outside what the analysis states."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ignition.analyses.no_fire.corners import holds
from ignition.analyses.no_fire.edge import Edge, edge_response
from ignition.analyses.no_fire.switch_on import IgniterSwitchOn, switch_on
from ignition.circuit.examples import load_example
from ignition.circuit.model import Circuit
from ignition.network.template import igniter_kinds
from ignition.spice.arming_case import arming_cases, arming_parts, arming_times, edge_of
from ignition.spice.arming_deck import ArmingParts, arming_deck, read_arming
from ignition.spice.ngspice import run_deck
from ignition.toleranced import Toleranced

SAMPLES = 10


def unit(circuit: Circuit, rng: np.random.Generator) -> tuple[str, ArmingParts]:
    """One igniter's name and its parts: every value anywhere in its tolerance, ends more often than not."""

    def choose(value: Toleranced) -> float:
        draw = rng.random()
        return value.low if draw < 0.3 else value.high if draw < 0.6 else float(rng.uniform(value.low, value.high))

    channel = circuit.channels[int(rng.integers(len(circuit.channels)))]
    names = igniter_kinds(channel)
    name = list(names)[int(rng.integers(len(names)))]
    edge = circuit.arm_switch.edge
    assert edge is not None
    rise = float(np.exp(rng.uniform(math.log(edge.low), math.log(edge.high))))
    hold = holds(circuit)[int(rng.integers(len(holds(circuit))))]
    together = bool(rng.random() < 0.5)
    return name, arming_parts(circuit, channel, names[name], hold, rise, choose, together=together)


@pytest.mark.parametrize("example", ["demo", "weak-pull-down", "long-lead-pad"])
def test_no_unit_leaves_the_bounds(example: str) -> None:
    """Peak gate voltage, current, energy and thermal fraction, a string alone or all of a channel.

    Protection diodes act in the deck; the analysis does not count on them.
    """
    circuit, rng = load_example(example), np.random.default_rng(15)
    found: dict[str, IgniterSwitchOn] = {
        one.igniter: one for channel in switch_on(circuit, integrate=True).channels for one in channel.igniters
    }
    nearest = dict.fromkeys(("gate", "current", "energy", "fraction"), 0.0)
    for _ in range(SAMPLES):
        name, parts = unit(circuit, rng)
        stop = float(arming_times(edge_of(parts))[0])
        deck = arming_deck(parts, f"{example}, one unit", stop=stop)
        told = read_arming(run_deck(deck).plot("transient"))
        for result in (found[name].bound, found[name].model):
            assert result is not None
            assert told.peak_gate_voltage <= result.gate_voltage
            assert told.peak_current <= result.current
            assert told.energy <= result.energy
            assert told.thermal_fraction <= result.thermal_fraction
            nearest["gate"] = max(nearest["gate"], told.peak_gate_voltage / result.gate_voltage)
            nearest["fraction"] = max(nearest["fraction"], told.thermal_fraction / result.thermal_fraction)
    assert nearest["gate"] > 0.5  # the bounds are no empty promise


@pytest.mark.parametrize("example", ["weak-pull-down", "ejection-single-cell"])
def test_no_unit_of_many_leaves_the_bounds_by_the_model(example: str) -> None:
    """The same for 300 units with the model instead of the simulator: from the parts, not from the library's corners."""
    circuit, rng = load_example(example), np.random.default_rng(16)
    found = {one.igniter: one for channel in switch_on(circuit, integrate=True).channels for one in channel.igniters}
    units = [unit(circuit, rng) for _ in range(300)]
    units = [(name, parts) for name, parts in units if edge_of(parts).gate_rest[0] < parts.threshold]
    told = edge_response(Edge.joined([edge_of(parts) for _, parts in units]), 0.1)
    assert told.solved.all() and len(units) > 150
    for place, (name, _) in enumerate(units):
        result = found[name].model
        assert result is not None
        assert told.peak_gate_voltage[place] <= result.gate_voltage
        assert told.peak_current[place] <= result.current
        assert told.energy[place] <= result.energy
        assert told.thermal_fraction[place] <= result.thermal_fraction
        assert told.time_above_threshold[place] <= result.time_above_threshold


def test_every_channel_has_cases() -> None:
    """The demo's two channels with three holds and two edges; none where a key is missing."""
    cases = arming_cases(load_example("demo"))
    assert {case.channel.name for case in cases} == {channel.name for channel in load_example("demo").channels}
    assert len({case.label for case in cases}) == len(cases) == 12
    assert arming_cases(load_example("unknown-igniter")) == ()
