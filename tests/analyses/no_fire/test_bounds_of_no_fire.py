"""Samples of random circuits, each anywhere in its tolerances at one temperature: none leaves a bound that is printed."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from typing import TypeVar

import numpy as np
import pytest

from ignition.analyses.continuity.bands import line_reading
from ignition.analyses.firing.firing import firing
from ignition.analyses.no_fire.gate import phase_box
from ignition.analyses.no_fire.steady import no_fire
from ignition.circuit.description import Description
from ignition.circuit.file import parse_circuit
from ignition.network.template import line_states
from tests.analyses.no_fire.sampled import Samples, Values
from tests.circuit.varied import varied_text

BLOCKS, BLOCK = 10, 30
SIZES = ((1, 4), (2, 3), (1, 3), (1, 4), (1, 5), (2, 2), (1, 4), (1, 3), (1, 4), (3, 3))
"""Most channels and igniters, in turn."""
DRAWN = 40
CLIMBS = 3

T = TypeVar("T")

Bound = tuple[str, float | None, float | None]
"""Name of a value of a sample, and the bounds that are printed for it; None where one is withheld."""


def hold(where: str, values: Values, bounds: list[Bound]) -> None:
    """Hold samples to bounds, to rounding."""
    for name, low, high in bounds:
        value = values[name]
        slack = 1e-6 * np.abs(value) + 1e-11
        if low is not None:
            assert (value >= low - slack).all(), (where, name, "low", low, float(value.min()))
        if high is not None:
            assert (value <= high + slack).all(), (where, name, "high", high, float(value.max()))


class Held:
    """One circuit whose samples are held to its bounds, drawn at random and then led towards one bound of each group."""

    def __init__(self, seed: int) -> None:
        text = varied_text(seed, *SIZES[seed % len(SIZES)])
        self.seed, self.rng = seed, np.random.default_rng(50_000 + seed)
        self.circuit = parse_circuit(text, name=f"{seed}.toml")
        self.samples = Samples(self.circuit, Description.model_validate(tomllib.loads(text)))
        self.reached: list[float] = []
        self.count = 0

    def group(self, what: str, solve: Callable[[Values], Values], bounds: list[Bound]) -> None:
        """Hold samples to a group of bounds; some are led to one of them, end by end."""
        where = f"seed {self.seed}, {what}"

        def solved(values: Values) -> Values:
            found = solve(values)
            hold(where, found, bounds)
            self.count += len(found["terminal"])
            return found

        values = self.samples.draw(self.rng, DRAWN)
        found = solved(values)
        sides = [(name, -1, low) for name, low, _ in bounds] + [(name, 1, high) for name, _, high in bounds]
        known = [(name, sign, bound) for name, sign, bound in sides if bound]
        if not known:
            return
        name, sign, bound = known[int(self.rng.integers(len(known)))]
        start = int(np.argmax(sign * found[name]))
        best = float(found[name][start])
        for _ in range(CLIMBS):
            values = self.samples.neighbours(values, start)
            score = sign * solved(values)[name]
            best = sign * max(sign * best, float(score.max()))
            # each value at the end that is better by itself, all at once: where the next round starts
            for k, key in enumerate(self.samples.ranges):
                ends = score[1 + 2 * k : 3 + 2 * k]
                if ends.max() > score[0]:
                    values[key][0] = values[key][1 + 2 * k + int(np.argmax(ends))]
            start = 0
        if sign > 0:
            self.reached.append(best / bound)

    def one_of(self, members: Sequence[T]) -> T:
        """One of several at random."""
        return members[int(self.rng.integers(len(members)))]


def quiet(held: Held) -> None:
    """Every steady phase: igniters, line, clamp, gate and switch; in one of them the current into a short."""
    found = no_fire(held.circuit)
    phases = [p.phase for p in found.channels[0].phases]
    for index, phase in enumerate(phases):
        bounds: list[Bound] = []
        for channel in found.channels:
            one, name = channel.phases[index], channel.channel
            bounds += [(i.igniter, None, i.current) for i in one.igniters]
            bounds += [(f"{name} line", None, one.line.current), (f"{name} clamp", None, one.clamp.current)]
            for key, ranges in (
                ("gate", [g.gate_voltage for g in one.gates]),
                ("off", [g.off.current for g in one.gates]),
            ):
                bounds.append((f"{name} {key}", min(r.low for r in ranges), max(r.high for r in ranges)))
        sizes = {name for name, low, _ in bounds if low is None}

        def strings(values: Values, phase: str = phase, sizes: set[str] = sizes) -> Values:
            solved = held.samples.solved(values, phase)
            return {name: np.abs(value) if name in sizes else value for name, value in solved.items()}

        held.group(phase, strings, bounds)
    index, own = int(held.rng.integers(len(phases))), held.one_of(held.circuit.channels).name
    short = next(c.phases[index].into_short.current for c in found.channels if c.channel == own)

    def into_short(values: Values) -> Values:
        solved = held.samples.solved(values, phases[index], "shorted", own)
        return solved | {"short": np.abs(solved[f"{own} line"])}

    held.group(f"{phases[index]}, {own} shorted", into_short, [("short", None, short)])


def firing_pulse(held: Held) -> None:
    """Each channel conducting, alone or with others of its start: currents, gate, on-resistance, battery and supply."""
    found = firing(held.circuit)
    own = held.one_of(found.channels)
    bounds: list[Bound] = [
        ("terminal", found.battery_voltage.low, found.battery_voltage.high),
        ("rail", found.controller_supply.low, found.controller_supply.high),
        ("battery current", None, found.supply.highest_current),
    ]
    for channel in [own] if len(found.channels) > 1 else found.channels:
        name = channel.channel
        bounds += [(i.igniter, i.current.low, i.current.high) for i in channel.igniters]
        bounds.append((f"{name} switch", channel.current.low, channel.current.high))
        bounds.append((f"{name} gate", channel.gate_voltage.low, channel.gate_voltage.high))
        bounds += [(f"{name} row", channel.on_resistance.low, channel.on_resistance.high)]

    def fired(values: Values) -> Values:
        ones = np.ones_like(values["alive"])
        return held.samples.solved(values | {"alive": ones, f"{own.channel}.on": ones}, "firing")

    held.group(f"firing {own.channel}", fired, bounds)


def readings(held: Held) -> None:
    """The converter's reading and the igniter currents of a line in one of its states, armed."""
    channel = held.one_of(held.circuit.channels)
    line = held.one_of(line_states(channel)[:5])
    controller = held.circuit.controller
    if line == "not armed" and not controller.powered_before_arm_switch:
        line = "intact"  # nothing reads it
    if line == "mosfet shorted" and controller.adc.reference is None:
        line = "shorted"  # the line's current pulls the reference down
    found = line_reading(held.circuit, channel, line, phase_box(held.circuit, "armed"))
    bounds: list[Bound] = [(f"{channel.name} pin", found.band.voltage.low, found.band.voltage.high)]
    bounds += [(name, spread.low, spread.high) for name, spread in found.igniters.items()]
    bounds.append(("code", found.band.code.low, found.band.code.high))

    def read(values: Values) -> Values:
        values = values | {"alive": np.ones_like(values["alive"])}
        if line == "not armed":  # leakages in a mesh: the other lines are then all intact or all open
            values |= {key: values["controller on"] for key in values if ".string " in key}
        solved = held.samples.solved(values, "armed", line, channel.name)
        return solved | {"code": held.samples.code(values, solved, channel.name, line)}

    held.group(f"{channel.name} reads {line}", read, bounds)


@pytest.mark.parametrize("block", range(BLOCKS))
def test_no_sample_leaves_a_bound(block: int, record_testsuite_property: Callable[[str, object], None]) -> None:
    """No-fire of every circuit; in every second the reading of a line, in every seventh the start of a pulse.

    Led to their worst end by end, half of the samples reach the bound that they were led to: the bounds are no wider
    than the sum of what temperature moves at once, and the samples are no easy ones.
    """
    reached: list[float] = []
    count = 0
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        held = Held(seed)
        quiet(held)
        if seed % 2 == 0:
            readings(held)
        if seed % 7 == 0:
            firing_pulse(held)
        reached += held.reached
        count += held.count
    record_testsuite_property(f"samples held to printed bounds, block {block}", count)
    assert count > 50_000 and float(np.median(reached)) > 0.998


def test_the_circuits_are_of_every_kind() -> None:
    """Channels, unequal igniters in parallel, ambients, and coefficients of bridge and divider all occur."""
    circuits = [Held(seed).circuit for seed in range(2 * BLOCK)]
    assert {len(c.channels) for c in circuits} == {1, 2, 3}
    strings = [channel.strings for c in circuits for channel in c.channels]
    assert any(len({s for s in some if len(s) == 1}) > 1 for some in strings) and any(
        len(s) > 1 for some in strings for s in some
    )
    assert len({c.ambient for c in circuits}) == 4
    for values in (
        {c.controller.powered_before_arm_switch for c in circuits},
        {c.battery.bank_resistance is None for c in circuits},
        {channel.pull_down is None for c in circuits for channel in c.channels},
        {channel.divider_drift > 0.0 for c in circuits for channel in c.channels},
        {model.temperatures.coefficient.high > 0.0 for c in circuits for model in c.igniters.values()},
    ):
        assert values == {True, False}
