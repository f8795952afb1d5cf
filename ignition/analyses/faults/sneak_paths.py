"""Sneak paths: loops through an igniter, nothing broken, that pass by the low-side switch or the arm switch."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from ignition.analyses.faults.circuit_board import circuit_lines
from ignition.analyses.faults.situations import Setting, Situation, healthy, situations
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.elements import Element, Network
from ignition.network.whole import whole_network
from ignition.toleranced import Toleranced
from ignition.typing import Amps

__all__ = ["SneakPath", "sneak_paths"]

_MOST = 40
"""Elements in a loop [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SneakPath:
    """One loop.

    Attributes
    ----------
    passes_by : Switches that it does without
    elements : Elements from the igniter's low side round to its high side
    current : Highest current that the loop by itself could carry: its sources over its resistances, at their worst ends
    """

    phase: str
    channel: str
    igniter: str
    controller: str
    passes_by: tuple[str, ...]
    elements: tuple[str, ...]
    current: Amps


def sneak_paths(circuit: Circuit) -> tuple[SneakPath, ...]:
    """Search the network of every phase, nothing commanded and nothing broken, for loops past the switches.

    Elements that conduct are edges; leakages are none. A clamp conducts from its node to its rail only. Of several
    strings alike the first is told, of the controller alive and dead the worse; of loops through the same nodes the one
    of least resistance.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> found = sneak_paths(load_example("kelp-line-cutter"))
    >>> sorted({path.phase for path in found}), "line.upper" in found[0].elements
    (['armed', 'reset'], True)
    """
    network, found = whole_network(circuit), dict[tuple[str, str, tuple[str, ...]], SneakPath]()
    for situation in situations(circuit):
        if situation.phase == "firing":
            continue
        setting = healthy(circuit, situation)
        edges = [e for e in network.elements if _conducts(e, setting)]
        for channel, line in zip(circuit.channels, circuit_lines(circuit), strict=True):
            for name in line.representatives(frozenset()):
                for path in _loops(network, edges, setting, name):
                    passed = _passed_by(circuit, channel, situation, path)
                    key = situation.phase, name, tuple(e.name for e in path)
                    if passed:
                        one = _told(situation, channel, name, passed, path, network, setting)
                        found[key] = max(found.get(key, one), one, key=lambda each: each.current)
    return tuple(found.values())


def _conducts(element: Element, setting: Setting) -> bool:
    closed = setting.states.get(element.name, element.closed)
    return closed and element.kind in ("resistor", "source", "clamp")


def _loops(network: Network, edges: Sequence[Element], setting: Setting, igniter: str) -> Iterator[tuple[Element, ...]]:
    """Loops with a source, each through no node twice, from the igniter's minus end to its plus end."""
    start = network.element(igniter)
    near: dict[str, list[Element]] = {}
    for edge in edges:
        if edge.name != igniter:
            for node in (edge.plus, edge.minus):
                near.setdefault(node, []).append(edge)

    def walk(node: str, path: tuple[Element, ...], seen: frozenset[str]) -> Iterator[tuple[Element, ...]]:
        if len(path) > _MOST:
            return
        taken: dict[str, Element] = {}
        for edge in near.get(node, []):
            there = edge.minus if edge.plus == node else edge.plus
            if there in seen or (edge.kind == "clamp" and edge.plus != node):
                continue
            if there not in taken or _ohms(edge, setting) < _ohms(taken[there], setting):
                taken[there] = edge
        for there, edge in taken.items():
            if there == start.plus:
                yield (*path, edge)
            else:
                yield from walk(there, (*path, edge), seen | {there})

    for path in walk(start.minus, (), frozenset({start.minus})):
        if _volts(start.minus, path, setting) > 0.0:
            yield path


def _value(terms: Sequence[tuple[str, float]], box: Mapping[str, Toleranced], end: str) -> float:
    return sum((factor * float(getattr(box[name], end)) for name, factor in terms), 0.0)


def _ohms(element: Element, setting: Setting) -> float:
    return _value(element.resistance, setting.box, "low")


def _volts(start: str, path: Sequence[Element], setting: Setting) -> float:
    """Highest voltage that drives a current along a path: sources passed from minus to plus, less what clamps take."""
    total, node = 0.0, start
    for element in path:
        forward = element.plus == node
        if element.kind == "source":
            total += (-1.0 if forward else 1.0) * _value(element.voltage, setting.box, "low" if forward else "high")
        elif element.kind == "clamp":
            total -= _value(element.voltage, setting.box, "low")
        node = element.minus if forward else element.plus
    return total


def _passed_by(
    circuit: Circuit, channel: ChannelModel, situation: Situation, path: Sequence[Element]
) -> tuple[str, ...]:
    """Switches that a loop does without: they are open, or it goes round them."""
    names = {element.name for element in path}
    passed = [] if f"{channel.name}.mosfet" in names else [f"{channel.name}.mosfet"]
    arm = f"feed.{circuit.arm_switch.name}"
    if situation.phase == "disarmed" and arm not in names:
        passed.append(circuit.arm_switch.name)
    return tuple(passed)


def _told(
    situation: Situation,
    channel: ChannelModel,
    igniter: str,
    passed: tuple[str, ...],
    path: Sequence[Element],
    network: Network,
    setting: Setting,
) -> SneakPath:
    start = network.element(igniter)
    ohms = _ohms(start, setting) + sum(_ohms(element, setting) for element in path)
    return SneakPath(
        phase=situation.phase,
        channel=channel.name,
        igniter=igniter,
        controller=situation.controller,
        passes_by=passed,
        elements=tuple(element.name for element in path),
        current=_volts(start.minus, path, setting) / ohms,
    )
