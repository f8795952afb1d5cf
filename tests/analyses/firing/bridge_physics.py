"""Firing sequences with bridges as temperatures, integrated with the network solved at every step.

It shares nothing with the package's laws and solvers. Arrays are (igniters, trials).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ignition.circuit.model import ChannelModel, Circuit
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


class _Network:
    """Strings and channels in parallel behind battery and feed, sense dividers included.

    What moves while bridges heat is taken in sums along the rows of an array: (igniters or strings or channels, trials).
    """

    def __init__(self, circuit: Circuit, values: dict[str, Any], trials: int) -> None:
        def rows(several: list[Any]) -> FloatArray:
            return np.array([np.broadcast_to(np.asarray(one, dtype=float), (trials,)) for one in several])

        names = [channel.name for channel in circuit.channels]
        lengths = [[len(string) for string in channel.strings] for channel in circuit.channels]
        self.lengths = np.concatenate(lengths)
        self.strings = np.cumsum([0, *self.lengths[:-1]])
        self.channels = np.cumsum([0, *(len(own) for own in lengths[:-1])])
        self.owner = np.repeat(np.arange(len(names)), [len(own) for own in lengths])
        self.branch = rows([
            0.0 if channel.branch is None else values[f"{channel.name}.branch {number + 1}"]
            for channel in circuit.channels
            for number in range(len(channel.strings))
        ])  # fmt: skip
        divider = rows([values[f"{name}.upper"] + values[f"{name}.lower"] for name in names])
        switch, lead = (rows([values[f"{name}.{part}"] for name in names]) for part in ("mosfet", "lead"))
        fired, tested = (
            rows([self._contacts(channel, values, high_side) for channel in circuit.channels])
            for high_side in (True, False)
        )
        self.closed, self.opened = lead + fired + switch * divider / (switch + divider), lead + tested + divider
        battery = values["battery.resistance"]
        self.source = battery + sum(values[f"feed.{part.name}"] for part in circuit.feed)
        before = sum((values[f"load.{name}"] for name, _ in circuit.loads), start=np.zeros(()))
        taken = battery if circuit.controller.powered_before_arm_switch else self.source
        self.voltage = values["battery.voltage"] - battery * before - taken * values["controller.current"]

    @staticmethod
    def _contacts(channel: ChannelModel, values: Mapping[str, Any], closed: bool) -> Any:
        """Contacts of a line, that of its high side closed or open."""
        total = values[f"{channel.name}.return contact"] if channel.return_contact is not None else 0.0
        if channel.high_side is not None:
            contact, around = values[f"{channel.name}.high side"], values[f"{channel.name}.around"]
            total = total + (contact * around / (contact + around) if closed else around)
        return total

    def currents(self, on: BoolArray, bridge: FloatArray) -> FloatArray:
        """Current of every bridge, at its resistance."""
        outside = np.where(on, self.closed, self.opened)
        conductance = 1.0 / (np.add.reduceat(bridge, self.strings, axis=0) + self.branch)
        inside = np.add.reduceat(conductance, self.channels, axis=0)
        share = 1.0 / (1.0 + outside * inside)
        bus = np.maximum(self.voltage, 0.0) / (1.0 + self.source * (inside * share).sum(axis=0))
        return np.repeat((bus * share)[self.owner] * conductance, self.lengths, axis=0)


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
    network = _Network(circuit, values, len(ambient))

    def slope(at: FloatArray, on: BoolArray) -> tuple[FloatArray, FloatArray]:
        cold = bridges.resistance * (1.0 + bridges.coefficient * (at - bridges.reference))
        current = network.currents(on, np.where(done, bridges.spent, cold))
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
