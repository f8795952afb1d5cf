"""Random firing circuits as numbers, and what one sample of each does in a pulse: arithmetic apart from the package.

Everything here is plain algebra on floats: two channels behind one feed, strings of one igniter, bridges heated
exponentially between events, the junction by its Foster stages, and a MOSFET whose on-resistance falls with the gate
and rises with temperature as those of data sheets do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

__all__ = ["Plan", "Sample", "circuit_text", "plan", "sampled"]

Range = tuple[float, float, float]

COPPER = 0.00393
MAKE_UPS = {
    "solid": (0.975, 1.0, 1.0596, 1.095),
    "stranded": (0.8212, 0.914, 1.0, 1.0875, 1.119),
    "flexible": (0.914, 1.0, 1.159, 1.2455),
}
"""Resistance over theory of wires in published charts (see conductor.toml)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One random circuit: every value as low, nominal, high; channels as (igniters, start, pulse, lead, class)."""

    ambient: Range
    voltage: Range
    resistance: Range
    resistance_at: float
    feed: Range
    load: Range
    supply: Range
    dropout: float
    fuse_rating: float
    fuse_i2t: float
    bridge: Range
    threshold: Range
    time_constant: Range
    spent: str
    rows: tuple[tuple[float, Range], ...]
    hot_factor: float
    thermal: tuple[tuple[Range, Range], ...]
    channels: tuple[tuple[int, float, float, float, str | None], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """What one sample of a circuit did."""

    wires: tuple[float, ...]
    battery_resistance: float
    on_resistances: tuple[list[float], ...]
    junctions: tuple[float, ...]
    lowest_terminal: float
    lowest_rail: float
    opens_after: float


def _around(rng: np.random.Generator, low: float, high: float, most: float = 0.4) -> Range:
    """A range whose ends lie up to a share away from its nominal value."""
    middle = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    down, up = rng.uniform(0.0, most, 2)
    return float(f"{middle * (1 - down):.6g}"), float(f"{middle:.6g}"), float(f"{middle * (1 + up):.6g}")


def plan(seed: int) -> Plan:
    """A random circuit."""
    rng = np.random.default_rng(seed)
    places = sorted(float(t) for t in np.round(rng.uniform(-20.0, 55.0, 3)))
    rows, gate, ohms = [], float(rng.uniform(1.5, 3.0)), float(rng.uniform(0.01, 0.08))
    for _ in range(int(rng.integers(1, 4))):
        rows.append((float(f"{gate:.3f}"), _around(rng, ohms * 0.95, ohms, 0.15)))
        gate, ohms = gate + float(rng.uniform(0.7, 2.0)), ohms * float(rng.uniform(0.5, 0.7))
    threshold = _around(rng, 0.3, 1.0)
    channels = []
    for index in range(int(rng.integers(1, 3))):
        start = 0.0 if index == 0 else float(rng.choice([0.0, 0.02, 2.0]))
        made = [None, "solid", "stranded", "flexible"][int(rng.integers(4))]
        channels.append(
            (int(rng.integers(1, 4)), start, float(rng.uniform(0.05, 0.5)), float(rng.uniform(0.5, 20.0)), made)
        )
    return Plan(
        ambient=(places[0], places[1], places[2]),
        voltage=_around(rng, 8.0, 14.0, 0.1),
        resistance=_around(rng, 0.01, 0.3),
        resistance_at=float(np.round(rng.uniform(0.0, 30.0))),
        feed=_around(rng, 0.005, 0.1),
        load=_around(rng, 0.05, 1.0),
        supply=_around(rng, rows[0][0] * 1.3 + 0.5, 6.5, 0.04),
        dropout=float(np.round(rng.uniform(0.0, 0.5), 3)),
        fuse_rating=float(np.round(rng.uniform(1.0, 20.0), 2)),
        fuse_i2t=float(np.round(rng.uniform(1.0, 200.0), 2)),
        bridge=_around(rng, 0.6, 3.0),
        threshold=threshold,
        time_constant=_around(rng, 3e-3, 3e-2),
        spent=str(rng.choice(["open", "short"])),
        rows=tuple(rows),
        hot_factor=float(np.round(rng.uniform(1.2, 2.0), 2)),
        thermal=tuple((_around(rng, 0.5, 40.0), _around(rng, 1e-3, 5.0)) for _ in range(int(rng.integers(1, 4)))),
        channels=tuple(channels),
    )


def _text(value: Range, unit: str) -> str:
    return f'"{value[0]!r} {unit} .. {value[1]!r} {unit} .. {value[2]!r} {unit}"'


def circuit_text(p: Plan) -> str:
    """The circuit file of a plan."""
    rows = ", ".join(f'{{ gate = "{g} V", resistance = {_text(r, "ohm")} }}' for g, r in p.rows)
    stages = ", ".join(f"{{ resistance = {_text(r, 'K/W')}, time_constant = {_text(t, 's')} }}" for r, t in p.thermal)
    text = f"""
format = 1
title = "sampled"
ambient = {{ temperature = {_text(p.ambient, "degC")} }}
[battery]
chemistry = "lithium-ion"
open_circuit_voltage = {_text(p.voltage, "V")}
resistance = {_text(p.resistance, "ohm")}
resistance_temperature = "{p.resistance_at} degC"
[[feed]]
name = "arm"
kind = "arm switch"
resistance = {_text(p.feed, "ohm")}
[[feed]]
name = "fuse"
kind = "fuse"
resistance = "0 ohm"
rating = "{p.fuse_rating} A"
melting_i2t = "{p.fuse_i2t} A^2 s"
[[load]]
name = "lamp"
current = {_text(p.load, "A")}
[controller]
powered_by = "before arm switch"
supply = {_text(p.supply, "V")}
dropout = "{p.dropout} V"
current = "0 A"
pin = {{ output_resistance = "0 ohm", leakage = "0 A" }}
adc = {{ bits = 12, ratiometric = true }}
[igniter.match]
bridge_resistance = {_text(p.bridge, "ohm")}
no_fire = {{ current = "{p.threshold[0]!r} A", duration = "300 s", reliability = 0.999, confidence = 0.95 }}
all_fire = {{ current = "{p.threshold[2]!r} A", duration = "300 s", reliability = 0.999, confidence = 0.95 }}
time_constant = {_text(p.time_constant, "s")}
spent = "{p.spent}"
[mosfet.switch]
threshold = "0.5 V .. 0.8 V .. 1.0 V"
on_resistance = [{rows}]
on_resistance_hot_factor = {p.hot_factor}
leakage = {{ cool = "0 A", hot = "0 A" }}
gate_leakage = "0 A"
max_junction = "150 degC"
thermal = [{stages}]
input_capacitance = "1 pF"
gate_drain_charge = "1 fC"
"""
    for index, (count, start, pulse, length, made) in enumerate(p.channels):
        make = "" if made is None else f', wire_class = "{made}"'
        text += f"""
[[channel]]
name = "channel {index}"
igniters = {[["match"]] * count}
mosfet = "switch"
pulse = "{pulse!r} s"
start = "{start!r} s"
lead = {{ wire = "AWG 20", distance = "{length!r} m", joints = "0 ohm"{make} }}
gate = {{ series = "0 ohm", pull_down = "10 kohm" }}
sense = {{ upper = "1 Mohm", lower = "1 Mohm" }}
"""
    return text


class _Draw:
    """Values of one sample: inside their ranges, every third at an end."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng

    def __call__(self, value: Range) -> float:
        share = float(self.rng.random())
        if self.rng.random() < 0.35:
            share = round(share)
        return value[0] + (value[2] - value[0]) * share

    def of(self, values: tuple[Any, ...]) -> Any:
        return values[int(self.rng.integers(len(values)))]


class _Switch:
    """One MOSFET: rows that fall with the gate, straight between them; hotter is more, least steeply in the cold."""

    def __init__(self, p: Plan, draw: _Draw) -> None:
        self.gates = [gate for gate, _ in p.rows]
        ohms = [draw(row) for _, row in p.rows]
        self.ohms = [min(ohms[: i + 1]) for i in range(len(ohms))]
        self.hot = p.hot_factor
        self.stages = [(draw(r), draw(t)) for r, t in p.thermal]

    def resistance(self, gate: float, junction: float) -> float:
        return float(np.interp(gate, self.gates, self.ohms)) * self.hot ** ((junction - 25.0) / 125.0)


@dataclass(slots=True)
class _Channel:
    """State of a channel in the march."""

    start: float
    end: float
    wire: float
    switch: _Switch
    bridges: list[float]
    thresholds: list[float]
    constants: list[float]
    fractions: list[float]
    spent: list[bool]
    rises: list[float]
    on: float = 0.0
    junction_at_end: float | None = None


def sampled(p: Plan, rng: np.random.Generator) -> Sample | None:
    """March one sample from event to event; None where a gate falls below the lowest row, which a data sheet leaves open."""
    draw = _Draw(rng)
    ambient = draw(p.ambient)
    span = 1 / (ambient + 273.15) - 1 / (p.resistance_at + 273.15)
    energy = draw((-8700.0, 0.0, 30900.0))  # the least and the greatest published, J/mol
    battery = draw(p.resistance) * math.exp(energy / 8.31446 * span)
    voltage, feed, load, supply = draw(p.voltage), draw(p.feed), draw(p.load), draw(p.supply)
    theory = 2.0 / 58.0 / (math.pi / 4 * (0.127 * 92 ** (16 / 39)) ** 2) * (1 + COPPER * (ambient - 20.0))
    channels = [
        _Channel(
            start=start,
            end=start + pulse,
            wire=length * theory * draw.of(MAKE_UPS[made or draw.of(tuple(MAKE_UPS))]),
            switch=_Switch(p, draw),
            bridges=[draw(p.bridge) for _ in range(count)],
            thresholds=[draw(p.threshold) for _ in range(count)],
            constants=[draw(p.time_constant) for _ in range(count)],
            fractions=[0.0] * count,
            spent=[False] * count,
            rises=[0.0] * len(p.thermal),
        )
        for count, start, pulse, length, made in p.channels
    ]
    seen: tuple[list[float], ...] = tuple([] for _ in channels)
    lowest_terminal = lowest_rail = math.inf
    now, flowing, square_time, opens = 0.0, 0.0, 0.0, math.inf
    least_i2t, carried = draw((0.247, 0.5, 1.0)) * p.fuse_i2t, draw((0.87, 1.0, 1.0)) * p.fuse_rating
    carried *= 1.0 - max(ambient - 20.0, 0.0) / 80.0 * 0.3  # 0.6 of the rating of the worst fuse at 100 degC
    terminal = voltage - battery * load
    while now < max(c.end for c in channels):
        active = [c for c in channels if c.start <= now < c.end and not (p.spent == "open" and all(c.spent))]
        for _ in range(3):  # gate and sag settle
            gate = min(supply, max(terminal - p.dropout, 0.0))
            if gate < p.rows[0][0]:
                return None
            for c in active:
                c.on = c.switch.resistance(gate, ambient + sum(c.rises))
            loads = {id(c): c.wire + c.on + _parallel(c, p.spent) for c in active}
            conductance = sum(1.0 / r for r in loads.values())
            total = (voltage - battery * load) * conductance / (1.0 + (battery + feed) * conductance)
            terminal = voltage - battery * (load + total)
        for k, c in enumerate(channels):
            if c in active and ambient + sum(c.rises) <= 150.0:  # hotter, the data sheet says nothing
                seen[k].append(c.on)
        if active:
            lowest_terminal = min(lowest_terminal, terminal)
            lowest_rail = min(lowest_rail, max(min(supply, terminal - p.dropout), 0.0))
        bus = terminal - feed * total
        step = min([c.end - now for c in active] + [c.start - now for c in channels if c.start > now] or [math.inf])
        if math.isinf(step):
            break
        step = min([step, *(_next_function(c, bus / loads[id(c)], p.spent) for c in active)])
        for c in active:
            _advance(c, bus / loads[id(c)], step, p.spent)
        if total > carried and square_time + total**2 * step >= least_i2t and math.isinf(opens):
            opens = flowing + (least_i2t - square_time) / total**2
        square_time += total**2 * step
        flowing += step if active else 0.0
        now += step
        for c in channels:
            ended = now >= c.end or (p.spent == "open" and all(c.spent))
            if c in active and ended and c.junction_at_end is None:
                c.junction_at_end = ambient + sum(c.rises)
    return Sample(
        wires=tuple(c.wire for c in channels),
        battery_resistance=battery,
        on_resistances=seen,
        junctions=tuple(math.nan if c.junction_at_end is None else c.junction_at_end for c in channels),
        lowest_terminal=lowest_terminal,
        lowest_rail=lowest_rail,
        opens_after=opens,
    )


def _parallel(c: _Channel, spent: str) -> float:
    """Strings of one igniter side by side: a spent one is open, or 1 uohm."""
    if any(c.spent) and spent == "short":
        return 1e-6 / sum(c.spent)
    return 1.0 / sum(1.0 / r for r, gone in zip(c.bridges, c.spent, strict=True) if not gone)


def _squares(c: _Channel, current: float, spent: str) -> list[float]:
    """Square of each bridge's current over its threshold."""
    across = current * _parallel(c, spent)
    return [(across / r / t) ** 2 for r, t in zip(c.bridges, c.thresholds, strict=True)]


def _next_function(c: _Channel, current: float, spent: str) -> float:
    """Time to the next bridge that functions."""
    times = [
        tau * math.log((square - f) / (square - 1.0))
        for square, f, tau, gone in zip(_squares(c, current, spent), c.fractions, c.constants, c.spent, strict=True)
        if not gone and square > 1.0
    ]
    return min(times, default=math.inf)


def _advance(c: _Channel, current: float, step: float, spent: str) -> None:
    for k, square in enumerate(_squares(c, current, spent)):
        if not c.spent[k]:
            c.fractions[k] = square + (c.fractions[k] - square) * math.exp(-step / c.constants[k])
            c.spent[k] = c.fractions[k] >= 1.0 - 1e-12
    power = current**2 * c.on
    c.rises = [
        power * r + (rise - power * r) * math.exp(-step / t)
        for rise, (r, t) in zip(c.rises, c.switch.stages, strict=True)
    ]
