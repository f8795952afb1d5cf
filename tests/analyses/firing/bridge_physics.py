"""Firing sequences with bridges as temperatures, integrated with the network solved at every step.

It shares nothing with the package's laws and solvers. Arrays are (igniters, trials).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ignition.circuit.model import Circuit
from ignition.network.template import igniter_names
from ignition.typing import BoolArray, FloatArray
from tests.analyses.igniter_units import Bridges

__all__ = ["Fired", "fire"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fired:
    """What became of each bridge; times from the start of the sequence, inf where it did not function."""

    start_current: FloatArray
    function_time: FloatArray
    fraction: FloatArray


def _currents(circuit: Circuit, values: dict[str, Any], on: BoolArray, bridge: FloatArray) -> FloatArray:
    """Current of every bridge: strings and channels in parallel behind battery and feed, sense dividers included."""
    strings, channels = [], []
    row = 0
    for index, channel in enumerate(circuit.channels):
        name = channel.name
        conductances = []
        for number, string in enumerate(channel.strings):
            total = sum(bridge[row + i] for i in range(len(string)))
            if channel.branch is not None:
                total = total + values[f"{name}.branch {number + 1}"]
            conductances.append((1.0 / total, len(string)))
            row += len(string)
        divider = values[f"{name}.upper"] + values[f"{name}.lower"]
        closed = values[f"{name}.mosfet"] * divider / (values[f"{name}.mosfet"] + divider)
        switch = np.where(on[index], closed, divider)
        outside = values[f"{name}.lead"] + switch
        inside = sum(c for c, _ in conductances)
        channels.append(inside / (1.0 + outside * inside))
        strings.append((conductances, outside, inside))
    battery = values["battery.resistance"]
    source = battery + sum(values[f"feed.{part.name}"] for part in circuit.feed)
    before = sum((values[f"load.{name}"] for name, _ in circuit.loads), start=np.zeros(()))
    controller = values["controller.current"]
    voltage = values["battery.voltage"] - battery * before
    voltage = voltage - (battery if circuit.controller.powered_before_arm_switch else source) * controller
    bus = np.maximum(voltage, 0.0) / (1.0 + source * sum(channels))
    found = []
    for conductances, outside, inside in strings:
        line = bus / (1.0 + outside * inside)
        found += [line * conductance for conductance, length in conductances for _ in range(length)]
    return np.array(found)


def fire(circuit: Circuit, values: dict[str, Any], bridges: Bridges, ambient: FloatArray) -> Fired:
    """Integrate the sequence with fourth-order steps, each trial with steps of its own."""
    owner = np.array([i for i, c in enumerate(circuit.channels) for names in igniter_names(c) for _ in names])
    start = np.array([np.broadcast_to(values[f"{c.name}.start"], ambient.shape) for c in circuit.channels])
    end = start + np.array([values[f"{c.name}.pulse"] for c in circuit.channels])
    edges = np.sort(np.concatenate([start, end]), axis=0)
    span = bridges.function - ambient
    theta = np.broadcast_to(ambient, span.shape).copy()
    done = np.zeros(span.shape, dtype=bool)
    time = np.zeros(ambient.shape)
    first = np.full(span.shape, np.nan)
    function_time = np.full(span.shape, np.inf)
    fraction = np.zeros(span.shape)

    def slope(at: FloatArray, on: BoolArray) -> tuple[FloatArray, FloatArray]:
        cold = bridges.resistance * (1.0 + bridges.coefficient * (at - bridges.reference))
        current = _currents(circuit, values, on, np.where(done, bridges.spent, cold))
        rate = (current**2 * cold - bridges.loss * (at - ambient)) / bridges.capacity
        return np.where(done, 0.0, rate), current

    for _ in range(20_000):
        on = (time >= start) & (time < end)
        rate, current = slope(theta, on)
        first = np.where(np.isnan(first) & on[owner], current, first)
        later = np.where(edges > time, edges, np.inf).min(axis=0)
        if np.isinf(later).all():
            break
        x = (theta - ambient) / span
        pace = np.where(done, np.inf, np.where(rate > 0.0, 0.3 * (1.0 - x) * span / np.maximum(rate, 1e-300), np.inf))
        settled = (done | (np.abs(rate) * 0.5 < 1e-8 * span)).all(axis=0)  # nothing moves until the next edge
        steady = 0.1 * np.where(done, np.inf, bridges.capacity / bridges.loss)
        step = np.where(settled, np.inf, np.minimum(pace, steady).min(axis=0))
        step = np.where(np.isinf(later), 0.0, np.minimum(step, later - time))
        k2 = slope(theta + 0.5 * step * rate, on)[0]
        k3 = slope(theta + 0.5 * step * k2, on)[0]
        k4 = slope(theta + step * k3, on)[0]
        moved = theta + step / 6.0 * (rate + 2.0 * k2 + 2.0 * k3 + k4)
        theta = np.where(settled & ~done, theta, moved)
        time = np.where(later - time <= step, later, time + step)
        fresh = ~done & ((theta - ambient) / span >= 1.0 - 1e-7)
        function_time[fresh] = np.broadcast_to(time, span.shape)[fresh]
        done |= fresh
        running = time <= end[owner]
        fraction = np.where(running, np.where(done, 1.0, (theta - ambient) / span), fraction)
    else:
        raise AssertionError("the integration did not end")
    return Fired(start_current=first, function_time=function_time, fraction=fraction)
