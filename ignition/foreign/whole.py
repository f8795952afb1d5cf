"""The whole foreign netlist as one network: its parts, what hangs on controller pins, and what a fault may close.

At steady current a capacitor is open, an inductor a link, a diode a drop with a slope resistance, a leakage and perhaps
a breakdown, a MOSFET that is off a current and a body diode. What flows into a MOSFET's drain follows from its gate's
voltage and is a parameter. A part that nothing holds is tied to ground by 1 Tohm.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from ignition.foreign.binding import Bound, BoundChannel, network_node
from ignition.foreign.flatten import Part
from ignition.network.elements import GROUND, Element, Network, Terms
from ignition.network.whole import wet_name

__all__ = ["GateSide", "TIE", "gate_sides", "igniter_ends", "lines_network", "pole", "tie_name", "whole_netlist"]

TIE = 1e12
"""Resistance that ties a part of the network that nothing else holds; far above every leakage of a real board [ohm]."""

_AT_REST = "battery at rest"


def tie_name(channel: BoundChannel) -> str:
    """Name what ties drain to gate where a MOSFET is shorted between them."""
    return f"{channel.switch} drain-gate short"


def pole(bound: Bound) -> str:
    """Name the node of the battery's positive pole."""
    return network_node(_part(bound, bound.battery).nodes[0])


def igniter_ends(bound: Bound) -> dict[str, tuple[str, ...]]:
    """Return the nodes at the ends of igniters, ground aside, each with the channels of those igniters."""
    found: dict[str, dict[str, None]] = {}
    for channel in bound.channels:
        for name in channel.igniters:
            for node in _part(bound, name).nodes:
                if node != "0":
                    found.setdefault(network_node(node), {})[channel.name] = None
    return {node: tuple(channels) for node, channels in found.items()}


def _part(bound: Bound, name: str) -> Part:
    return next(part for part in bound.netlist.parts if part.name == name)


def whole_netlist(bound: Bound) -> Network:
    """Build the network of the armed circuit, with everything that a phase or a fault closes open in it."""
    elements = [element for part in bound.netlist.parts for element in _elements(bound, part)]
    rest = Element(name=_AT_REST, kind="source", plus=_AT_REST, minus=GROUND, voltage=(("battery.voltage", 1.0),))
    elements.append(rest)
    for node in dict.fromkeys(channel.pin for channel in bound.channels):
        elements += _gate_pin(node)
    for node in dict.fromkeys(channel.sense for channel in bound.channels):
        elements += _converter_pin(node)
    for channel in bound.channels:
        elements += _switch(channel)
    ends = igniter_ends(bound)
    for node in ends:
        elements.append(_link(f"wire {node} to ground", node, GROUND))
        if node != pole(bound):
            elements.append(_link(f"wire {node} to battery", node, pole(bound)))
    elements += [
        _link(wet_name("connector", one, other), one, other, (("wet", 1.0),)) for one, other in combinations(ends, 2)
    ]
    network = Network(elements=tuple(elements), igniters=tuple(i for c in bound.channels for i in c.igniters))
    while loose := network.floating_nodes():
        node = min(loose)
        tie = Element(name=f"tie {node}", kind="resistor", plus=node, minus=GROUND, resistance=(("tie", 1.0),))
        network = replace(network, elements=(*network.elements, tie))
    return network


def _one(name: str) -> Terms:
    return ((name, 1.0),)


def _link(name: str, plus: str, minus: str, resistance: Terms = (("fault.contact", 1.0),)) -> Element:
    """A path that only a fault closes; two of no resistance at all would make a loop without solution."""
    return Element(name=name, kind="resistor", plus=plus, minus=minus, resistance=resistance, closed=False)


def _resistor(name: str, plus: str, minus: str) -> Element:
    return Element(name=name, kind="resistor", plus=plus, minus=minus, resistance=_one(name))


def _elements(bound: Bound, part: Part) -> Iterator[Element]:
    """One part of the netlist, and its short; MOSFETs and gate pins come with their channels."""
    name, (plus, minus) = part.name, (network_node(node) for node in part.nodes[:2])
    if part.kind == "m" or name in bound.pins:
        return
    if part.kind == "r" or name in bound.arm:
        yield _resistor(name, plus, minus)
    elif part.kind == "l":
        # next to no resistance: two inductors side by side are no loop without a solution
        yield replace(_link(name, plus, minus), closed=True)
    elif part.kind == "d":
        yield from _diode(bound, name, plus, minus)
    elif part.kind == "i":
        yield Element(name=name, kind="sink", plus=plus, minus=minus, current=_one(name))
    elif part.kind == "v":
        yield from _source(bound, name, plus, minus)
    if part.kind in "rlcd" and name not in bound.arm:
        yield _link(f"{name} short", plus, minus)


def _diode(bound: Bound, name: str, plus: str, minus: str) -> Iterator[Element]:
    slope = _one(f"{name} resistance")
    yield Element(name=name, kind="clamp", plus=plus, minus=minus, voltage=_one(f"{name} drop"), resistance=slope)
    yield Element(name=f"{name} leakage", kind="leakage", plus=minus, minus=plus, current=_one(f"{name} leakage"))
    yield _link(f"{name} leaky", plus, minus, _one(f"{name} leaky"))
    if bound.diodes[name].breakdown is not None:
        voltage = _one(f"{name} breakdown")
        yield Element(name=f"{name} breakdown", kind="clamp", plus=minus, minus=plus, voltage=voltage, resistance=slope)


def _source(bound: Bound, name: str, plus: str, minus: str) -> Iterator[Element]:
    behind: Terms = ()
    voltage = _one(name)
    if name == bound.battery:
        voltage, behind = _one("battery.voltage"), _one("battery.resistance")
    elif name == bound.supply:
        voltage, behind = _one("supply.voltage"), _one("supply.resistance")
    yield Element(name=name, kind="source", plus=plus, minus=minus, voltage=voltage, resistance=behind)
    if name == bound.supply:
        # a controller that the stuck arm switch feeds while disarmed
        yield Element(
            name="supply fed",
            kind="source",
            plus=plus,
            minus=minus,
            voltage=_one("supply.fed"),
            resistance=_one("supply.fed resistance"),
            closed=False,
        )


def _gate_pin(node: str) -> Iterator[Element]:
    name = f"pin {node}"
    yield Element(
        name=f"{name} driver",
        kind="source",
        plus=node,
        minus=GROUND,
        voltage=_one(f"{name}.voltage"),
        resistance=_one(f"{name}.resistance"),
    )
    yield _link(f"{name} reset pull-down", node, GROUND, _one(f"{name}.reset pull-down"))
    yield from _leakages(name, node, GROUND)
    yield from _clamps(name, node)


def _leakages(name: str, node: str, to: str) -> Iterator[Element]:
    """A leakage raises what nothing holds to the battery's voltage and not beyond, and lowers it to where it leads."""
    for way, plus, minus in (("up", _AT_REST, node), ("down", node, to)):
        yield Element(
            name=f"{name} leakage {way}", kind="leakage", plus=plus, minus=minus, current=_one(f"{name}.leakage {way}")
        )


def _clamps(name: str, node: str) -> Iterator[Element]:
    for side, plus, minus, voltage in (
        ("upper", node, GROUND, f"{name}.clamp voltage"),
        ("lower", GROUND, node, f"{name}.clamp drop"),
    ):
        yield Element(
            name=f"{name} {side} clamp",
            kind="clamp",
            plus=plus,
            minus=minus,
            voltage=_one(voltage),
            resistance=_one(f"{name}.clamp resistance"),
        )


def _converter_pin(node: str) -> Iterator[Element]:
    name = f"converter {node}"
    behind = _one(f"{name}.output resistance")
    yield Element(name=f"{name} leakage", kind="sink", plus=node, minus=GROUND, current=_one(f"{name}.leakage"))
    yield from _clamps(name, node)
    yield Element(
        name=f"{name} high",
        kind="source",
        plus=node,
        minus=GROUND,
        voltage=_one(f"{name}.rail"),
        resistance=behind,
        closed=False,
    )
    yield _link(f"{name} low", node, GROUND, behind)


def _switch(channel: BoundChannel) -> Iterator[Element]:
    """A low-side switch that nobody commands."""
    name, drain, gate, source = channel.switch, channel.drain, channel.gate, channel.source
    yield Element(
        name=f"{name} off",
        kind="leakage",
        plus=drain,
        minus=source,
        resistance=_one(f"{name} resistance"),
        current=_one(f"{name} off current"),
    )
    yield Element(
        name=f"{name} body diode",
        kind="clamp",
        plus=source,
        minus=drain,
        voltage=_one(f"{name} body diode drop"),
        resistance=_one(f"{name} body diode resistance"),
    )
    yield from _leakages(f"{name} gate", gate, source)
    yield _link(f"{name} drain-source short", drain, source)
    yield _link(f"{name} gate-source short", gate, source)
    yield _link(tie_name(channel), drain, gate)
    yield _link(f"{name} leaky", drain, source, _one(f"{name} leaky"))


@dataclass(frozen=True, slots=True, kw_only=True)
class GateSide:
    """Part of the network that a gate is in, ground aside: nodes, and whether it settles without the lines."""

    nodes: frozenset[str]
    apart: bool


def gate_sides(bound: Bound, whole: Network) -> dict[str, GateSide]:
    """Return what the gate of each channel hangs on, with every fault closed but a short from drain to gate.

    It settles by itself where neither an igniter nor a MOSFET's drain nor the battery belongs to it.
    """
    ties = {tie_name(channel) for channel in bound.channels}
    parts = _connected(e for e in whole.elements if e.name not in ties and _AT_REST not in (e.plus, e.minus))
    lines = {*igniter_ends(bound), pole(bound), GROUND, *(channel.drain for channel in bound.channels)}
    found = {}
    for channel in bound.channels:
        own = parts.get(channel.gate, frozenset({channel.gate}))
        found[channel.name] = GateSide(nodes=own, apart=not own & lines)
    return found


def _connected(elements: Iterator[Element]) -> dict[str, frozenset[str]]:
    """Nodes that are connected with each node, ground left out."""
    near: dict[str, set[str]] = {}
    for element in elements:
        for one, other in ((element.plus, element.minus), (element.minus, element.plus)):
            if one != GROUND:
                near.setdefault(one, set()).update({other} - {GROUND})
    found: dict[str, frozenset[str]] = {}
    for start in near:
        if start not in found:
            seen, pending = {start}, [start]
            while pending:
                new = near[pending.pop()] - seen
                seen |= new
                pending += new
            found |= dict.fromkeys(seen, frozenset(seen))
    return found


def lines_network(whole: Network, sides: dict[str, GateSide]) -> tuple[Network, dict[str, Network | None]]:
    """Return the network without the gates that settle by themselves, and theirs; None for the other gates'."""
    away = frozenset().union(*(side.nodes for side in sides.values() if side.apart))
    lines = tuple(e for e in whole.elements if not away & {e.plus, e.minus})
    gates: dict[str, Network | None] = {}
    for name, side in sides.items():
        inside = side.nodes | {GROUND, _AT_REST}
        own = (e for e in whole.elements if side.nodes & {e.plus, e.minus} and {e.plus, e.minus} <= inside)
        gates[name] = Network(elements=(whole.element(_AT_REST), *own)) if side.apart else None
    return Network(elements=lines, igniters=whole.igniters), gates
