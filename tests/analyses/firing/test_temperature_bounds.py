"""Printed bounds of bridges that follow temperature, against bridges integrated as temperatures with one ambient."""

from __future__ import annotations

import json
import re
import tomllib
from collections import Counter
from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from ignition.analyses.firing.firing import IgniterFiring, firing, overlapping
from ignition.analyses.firing.on_state import on_states
from ignition.analyses.firing.sequence import igniter_list
from ignition.circuit.description import Description
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.network.worst_case import draw
from ignition.toleranced import parse_toleranced
from tests.analyses.firing.bridge_physics import fire
from tests.analyses.igniter_units import Bridges, igniter_lines, sampled, units_of
from tests.spice.generate import circuit_text

TRIALS = 40
BLOCK = 10
"""Circuits in each of the six tests."""


def random_text(seed: int) -> str:
    """A random cluster circuit with a wide ambient, such igniters, pulses long and short, starts equal and apart.

    In every second one nothing but the igniters has a tolerance, so that their bounds are not hidden by the others'.
    """
    rng = np.random.default_rng(10_000 + seed)
    text = re.sub(r"(?m)^(no_fire|all_fire|time_constant) = .*\n", "", circuit_text(seed))
    text = text.replace("[controller.pin]", '[controller.pin]\nclamp_drop = "100 V"')  # the trials have no clamps
    if seed % 2:
        text = re.sub(r'"[^"]* \.\. ([^"]*) \.\. [^"]*"', r'"\1"', text)

    def with_lines(found: re.Match[str]) -> str:
        nominal = parse_toleranced(found[0].split('"')[1], "ohm").nominal
        return "\n".join([found[0], *igniter_lines(rng, nominal)])

    text = re.sub(r"(?m)^bridge_resistance = .*$", with_lines, text)
    apart = int(rng.choice([0, 2, 800]))
    pieces = re.split(r'pulse = "500 ms"', text)
    text = pieces[0]
    for index, piece in enumerate(pieces[1:]):
        pulse = "500 ms" if rng.random() < 0.6 else "3 ms .. 10 ms .. 40 ms"
        text += f'pulse = "{pulse}"\nstart = "{apart * index} ms"{piece}'
    ambient = str(rng.choice(["-40 degC .. 20 degC .. 60 degC", "-5 degC .. 35 degC", "20 degC"]))
    return f"ambient = {{ temperature = {json.dumps(ambient)} }}\n{text}"


def network_values(circuit: Circuit, rng: np.random.Generator) -> dict[str, Any]:
    """All other parts, each inside its tolerance."""
    values: dict[str, Any] = draw(on_states(circuit, frozenset(c.name for c in circuit.channels))[1], rng, TRIALS)
    values["battery.resistance"] = sampled(circuit.battery.resistance, rng, TRIALS)
    values["battery.voltage"] = sampled(circuit.battery.voltage, rng, TRIALS)
    for channel in circuit.channels:
        on = on_states(circuit, overlapping(circuit, channel))[0][channel.name].on_resistance
        values[f"{channel.name}.mosfet"] = sampled(on, rng, TRIALS)
        values[f"{channel.name}.pulse"] = sampled(channel.pulse, rng, TRIALS)
        values[f"{channel.name}.start"] = channel.start.nominal
    return values


def assert_inside(where: str, found: IgniterFiring, current: Any, times: Any, fraction: Any) -> None:
    """One igniter's trials lie inside its bounds."""
    done = times[np.isfinite(times)]
    spread, heat = found.function_time, found.thermal_fraction
    # leakages are left out of the trials: some 1e-5 of the current
    assert current.min() >= (found.current.low or 0.0) * (1 - 1e-4), where
    assert found.current.high is not None and current.max() <= found.current.high * (1 + 1e-4), where
    if found.functions == "always":
        assert done.size == times.size and spread.high is not None and times.max() <= spread.high * (1 + 1e-5), where
    if found.functions == "never":
        assert done.size == 0, where
    if done.size:
        assert spread.low is not None and done.min() >= spread.low * (1 - 1e-5), where
    assert fraction.min() >= (heat.low or 0.0) - 1e-6, where
    assert heat.high is not None and fraction.max() <= heat.high + 1e-6, where


def held_to_the_bounds(seed: int) -> Counter[str]:
    """Count the igniters of one random circuit whose trials were held to their bounds, by what is promised."""
    text = random_text(seed)
    circuit = parse_circuit(text, name=f"{seed}.toml")
    given = Description.model_validate(tomllib.loads(text)).igniter
    rng = np.random.default_rng(20_000 + seed)
    members = igniter_list(circuit)
    units = [units_of(model, given[model.name], rng, TRIALS) for _, _, model in members]
    possible = np.all([u.possible for u in units], axis=0)
    bridges = Bridges(**{f.name: np.array([getattr(u, f.name)[possible] for u in units]) for f in fields(Bridges)})
    values = {
        name: value[possible] if np.ndim(value) else value for name, value in network_values(circuit, rng).items()
    }
    fired = fire(circuit, values, bridges, sampled(circuit.ambient, rng, TRIALS)[possible])
    found = [i for channel in firing(circuit).channels for i in channel.igniters]
    seen: Counter[str] = Counter()
    for row, (owner, name, model) in enumerate(members):
        assert found[row].igniter == name
        assert_inside(
            f"seed {seed}, {name}, {model.temperatures.coefficient}",
            found[row],
            fired.start_current[row],
            fired.function_time[row] - circuit.channel(owner).start.nominal,
            fired.fraction[row],
        )
        seen[found[row].functions] += 1
        seen["trials"] += int(possible.sum())
    return seen


@pytest.mark.parametrize("block", range(6))
def test_no_unit_of_a_random_circuit_leaves_the_bounds(block: int, record_testsuite_property: Any) -> None:
    """Current at the start, function time, thermal fraction, always and never, in clusters of all spent states."""
    seen: Counter[str] = Counter()
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        seen += held_to_the_bounds(seed)
    record_testsuite_property(f"units integrated as temperatures, block {block}", seen["trials"])
    assert seen["trials"] >= 1000 and seen["always"] >= 1 and seen["sometimes"] >= 1
