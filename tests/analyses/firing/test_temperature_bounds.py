"""Printed bounds of bridges that follow temperature, against bridges integrated as temperatures with one ambient."""

from __future__ import annotations

import json
import re
import tomllib
from collections import Counter
from typing import Any

import numpy as np

from ignition.analyses.firing.firing import IgniterFiring, firing, overlapping
from ignition.analyses.firing.on_state import on_states
from ignition.analyses.firing.sequence import igniter_list
from ignition.circuit.description import Description
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit, IgniterModel
from ignition.network.worst_case import draw
from ignition.toleranced import Toleranced
from ignition.typing import FloatArray
from tests.analyses.firing.bridge_physics import Bridges, fire, loss_for, seconds_to_function
from tests.spice.generate import circuit_text

TRIALS = 40
SEEDS = range(60)

SPENT = ["open", "short", "0.05 ohm .. 1 ohm .. 4 ohm", "3 ohm .. 5 ohm .. 40 ohm"]
STATED = "reliability = 0.999, confidence = 0.95"


def igniter_lines(rng: np.random.Generator, resistance: float) -> list[str]:
    """An igniter type at random: coefficient of either sign, wide temperatures, each way to a time constant."""

    def pick(*texts: str) -> str:
        return texts[int(rng.integers(len(texts)))]

    alpha = np.sort(rng.uniform(-1.2e-3, 4e-3) * rng.uniform([0.6, 1.0, 1.0], [1.0, 1.0, 1.3]))
    coefficient = " .. ".join(f"{a:.6g} / K" for a in alpha) if rng.random() < 0.5 else f"{alpha[1]:.6g} / K"
    lines = [f'temperature_coefficient = "{coefficient}"', f'spent = "{pick(*SPENT)}"']
    function = pick("", "130 degC .. 240 degC .. 400 degC", "200 degC .. 420 degC", "300 degC")
    lines += [f'function_temperature = "{function}"'] * bool(function)
    reference = pick("", "25 degC", "10 degC .. 30 degC")
    lines += [f'reference_temperature = "{reference}"'] * bool(reference)
    for kind, currents, durations in (
        ("no_fire", ("0.2 A", "0.15 A .. 0.2 A .. 0.22 A"), ("", "300 s", "20 ms .. 1 s .. 5 s")),
        ("all_fire", ("0.9 A", "0.8 A .. 0.85 A .. 0.95 A"), ("", "50 ms", "40 ms .. 60 ms .. 100 ms")),
    ):
        duration = pick(*durations)
        given = [f'current = "{pick(*currents)}"', *([f'duration = "{duration}"'] * bool(duration)), STATED]
        lines.append(f"{kind} = {{ {', '.join(given)} }}")
    joule = 0.16 * resistance * 12e-3
    lines.append(
        pick(
            'time_constant = "12 ms"',
            'time_constant = "8 ms .. 12 ms .. 17 ms"',
            f'adiabatic_energy = "{0.8 * joule:.6g} J .. {joule:.6g} J .. {1.3 * joule:.6g} J"',
            'response = [["1.9 A .. 2 A .. 2.1 A", "450 us .. 500 us .. 550 us"]]',
        )
    )
    return lines


def random_text(seed: int) -> str:
    """A random cluster circuit with a wide ambient, such igniters, pulses long and short, starts equal and apart."""
    rng = np.random.default_rng(10_000 + seed)
    text = re.sub(r"(?m)^(no_fire|all_fire|time_constant) = .*\n", "", circuit_text(seed))

    def with_lines(found: re.Match[str]) -> str:
        nominal = float(found[0].split("..")[1].split()[0])
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


def sampled(value: Toleranced, rng: np.random.Generator, size: int) -> FloatArray:
    """Values inside a tolerance; one in three stands at an end."""
    ends = np.where(rng.random(size) < 0.5, value.low, value.high)
    return np.where(rng.random(size) < 1 / 3, ends, value.sample(rng, size))


def one_bridge(model: IgniterModel, given: Any, rng: np.random.Generator) -> dict[str, FloatArray]:
    """Units of one type that keep to their statements at the reference temperature; `possible` where they can."""

    def some(value: Toleranced) -> FloatArray:
        return sampled(value, rng, TRIALS)

    at = model.temperatures
    no_fire, all_fire = model.no_fire, model.all_fire
    assert no_fire is not None and all_fire is not None
    reference, function = some(at.reference), some(at.function)
    bridge: dict[str, Any] = {
        "resistance": some(at.reference_resistance), "coefficient": some(at.coefficient), "rise": function - reference
    }  # fmt: skip
    statements = [(some(s.current), some(s.duration)) for s in (no_fire, all_fire)]
    tau = energy = np.full(TRIALS, np.nan)
    if given.time_constant is not None:
        tau = some(given.time_constant)
    elif given.adiabatic_energy is not None:
        energy = some(given.adiabatic_energy)
    else:
        tau = response_tau(given, statements, bridge, some)
    least, most = (loss_for(i, t, **bridge, tau=tau, energy=energy) for i, t in statements)
    share = rng.random(TRIALS)
    share = np.where(rng.random(TRIALS) < 0.4, np.round(share), share)
    with np.errstate(invalid="ignore"):
        loss = least * (most / least) ** share
    capacity = np.where(np.isnan(tau), energy / bridge["rise"], loss * tau)
    spent = np.full(TRIALS, np.inf) if model.spent_resistance is None else some(model.spent_resistance)
    return {
        "resistance": bridge["resistance"], "coefficient": bridge["coefficient"], "reference": reference,
        "function": function, "loss": loss, "capacity": capacity, "spent": spent, "possible": most > least,
    }  # fmt: skip


def response_tau(given: Any, statements: Any, bridge: dict[str, Any], some: Any) -> FloatArray:
    """Time constant at which a bridge half-way, on a logarithmic scale, between the two statements responds as stated.

    An assumed duration places no half-way threshold: it counts as nominal there.
    """
    (low, t_low), (high, t_high) = statements
    t_low = 300.0 if given.no_fire.duration is None else t_low
    t_high = 50e-3 if given.all_fire.duration is None else t_high
    (current, time) = given.response[0]
    current, time = some(current), some(time)
    quick, tardy = np.full(TRIALS, 1e-5), np.full(TRIALS, 10.0)
    for _ in range(60):
        tau = np.sqrt(quick * tardy)
        a, b = (loss_for(i, t, **bridge, tau=tau, energy=np.nan) for i, t in ((low, t_low), (high, t_high)))
        late = ~(seconds_to_function(current, np.sqrt(a * b), tau, **bridge) < time)
        quick, tardy = np.where(late, quick, tau), np.where(late, tau, tardy)
    return np.asarray(np.sqrt(quick * tardy))


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
    # leakages, and other lines that are not commanded, are left out of the trials: some 1e-5 of the current
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
    units = [one_bridge(model, given[model.name], rng) for _, _, model in members]
    possible = np.all([u.pop("possible") for u in units], axis=0)
    stacked = {key: np.array([u[key] for u in units])[:, possible] for key in units[0]}
    values = {
        name: value[possible] if np.ndim(value) else value for name, value in network_values(circuit, rng).items()
    }
    ambient = sampled(circuit.ambient, rng, TRIALS)[possible]
    fired = fire(circuit, values, Bridges(**stacked), ambient)
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
