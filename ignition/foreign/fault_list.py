"""Every single fault of a foreign netlist, each a few changed elements of its whole network."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations
from typing import Any

from ignition.analyses.faults.fault import ANYTHING, WEAK_PULL_UP, Fault, wet_faults
from ignition.analyses.faults.modes import fault_modes
from ignition.foreign.binding import Bound, BoundChannel, network_node
from ignition.foreign.flatten import Part
from ignition.foreign.whole import igniter_ends, pole, tie_name
from ignition.network.elements import GROUND
from ignition.network.whole import more_than_none, wet_name
from ignition.toleranced import Toleranced

__all__ = ["netlist_faults", "sense_parts"]


def netlist_faults(bound: Bound) -> tuple[Fault, ...]:
    """List every single fault of a netlist, part by part in its order, then those of pins, wires and supply."""
    owner, path = _owners(bound), sense_parts(bound)
    found: list[Fault] = []
    for part in bound.netlist.parts:
        side = "test path" if part.name in path else ""
        found += _part(bound, part, {"channel": owner.get(part.name), "side": side})
    for channel in bound.channels:
        found += _mosfet(channel)
    for node, names in _by_node(bound, "pin").items():
        found += _gate_pin(bound, node, names)
    for node, names in _by_node(bound, "sense").items():
        found += _converter(node, names)
    return (*found, *_wires(bound), *_controller(bound))


def sense_parts(bound: Bound) -> frozenset[str]:
    """Return the parts that are tied to a line: those through which a test current flows, and all beside them.

    They are the parts that are reached from a sense node or an end of an igniter through parts, going no further at
    ground, at a node of a source or of a gate pin, or at a gate. A source of 0 V is a wire. A pull-up for the test
    current or a lamp across the switch is one of them. So is a part in series with the igniter, which does no harm: its
    faults drive nothing through an igniter that nobody commands.
    """
    stops = {GROUND} | {node for channel in bound.channels for node in (channel.pin, channel.gate)}
    whole = {name for channel in bound.channels for name in (*channel.igniters, channel.switch)} | set(bound.arm)
    passed = [part for part in bound.netlist.parts if _passes(bound, part) and part.name not in whole]
    for part in bound.netlist.parts:
        if part.kind == "v" and not _passes(bound, part):
            stops |= {network_node(node) for node in part.nodes}
    stops = _wired(bound, stops)
    sources = {part.name for part in passed if part.kind == "v"}
    found: set[str] = set()
    seen: set[str] = set()
    pending = [*igniter_ends(bound), *(c.sense for c in bound.channels), *(c.drain for c in bound.channels)]
    while pending:
        node = pending.pop()
        if node in stops or node in seen:
            continue
        seen.add(node)
        for part in passed:
            nodes = [network_node(each) for each in part.nodes[:2]]
            if node in nodes:
                found |= {part.name} - sources
                pending += nodes
    return frozenset(found)


def _wired(bound: Bound, nodes: set[str]) -> set[str]:
    """The same places with those that a source of 0 V makes one with them."""
    wires = [{network_node(n) for n in p.nodes} for p in bound.netlist.parts if p.kind == "v" and _passes(bound, p)]
    found = set(nodes)
    while more := set().union(*(wire for wire in wires if wire & found)) - found:
        found |= more
    return found


def _passes(bound: Bound, part: Part) -> bool:
    """Whether a part leads on from one of its nodes to the other: no source but one of 0 V, as an ammeter is."""
    own = {bound.battery, bound.supply, *bound.arm, *bound.pins}
    return part.kind in "rcld" or (part.kind == "v" and part.name not in own and part.value == 0 and not part.waveform)


def _owners(bound: Bound) -> dict[str, str]:
    """Channel of each part that is connected with the igniters or the gate of one channel alone.

    Ground, sources, arm switch and igniters connect nothing here; the bus is common.
    """
    marks: dict[str, set[str]] = {}
    for channel in bound.channels:
        for node in (channel.drain, channel.gate, channel.pin, channel.sense):
            marks.setdefault(node, set()).add(channel.name)
    for node, names in igniter_ends(bound).items():
        marks.setdefault(node, set()).update(names)
    apart = {name for channel in bound.channels for name in channel.igniters} | set(bound.arm)
    parts = [p for p in bound.netlist.parts if _passes(bound, p) and p.name not in apart]
    sources = [p for p in bound.netlist.parts if p.kind == "v" and not _passes(bound, p)]
    stiff = {GROUND} | {network_node(n) for p in sources for n in p.nodes}
    nodes = {p.name: {network_node(n) for n in p.nodes[:2]} - stiff for p in parts}
    changed = True
    while changed:
        changed = False
        for own in nodes.values():
            together = set().union(*(marks.get(node, set()) for node in own))
            for node in own:
                if marks.get(node, set()) != together:
                    marks[node], changed = set(together), True
    owners = {name: set().union(*(marks.get(node, set()) for node in own)) for name, own in nodes.items()}
    found = {name: next(iter(names)) for name, names in owners.items() if len(names) == 1}
    return found | {name: channel.name for channel in bound.channels for name in channel.igniters}


def _by_node(bound: Bound, what: str) -> dict[str, list[str]]:
    """Channels by the node that they share."""
    found: dict[str, list[str]] = {}
    for channel in bound.channels:
        found.setdefault(getattr(channel, what), []).append(channel.name)
    return found


def _fault(kind: str, mode: str, part: str, **changes: Any) -> Fault:
    return Fault(name=f"{part} {mode}", part=part, mode=fault_modes()[kind, mode], **changes)


def _only(*names: str) -> frozenset[str]:
    return frozenset(names)


def _part(bound: Bound, part: Part, own: Mapping[str, Any]) -> Iterator[Fault]:
    name = part.name
    short = {"closed": _only(f"{name} short"), **own}
    if name in bound.arm:
        fed = _only() if bound.roles.circuit.controller.powered_before_arm_switch else _only("supply fed")
        yield _fault("switch", "stuck-closed", name, closed=_only(name) | fed)
        yield _fault("switch", "stuck-open", name, opened=_only(name))
    elif any(name in channel.igniters for channel in bound.channels):
        yield _fault("igniter", "open", name, opened=_only(name), igniters=_only(name), channel=own["channel"])
        yield _fault("igniter", "short", name, igniters=_only(name), closed=short["closed"], channel=own["channel"])
    elif part.kind == "r":
        yield _fault("resistor", "open", name, opened=_only(name), **own)
        yield _fault("resistor", "short", name, **short)
        yield _fault("resistor", "drifted", name, scaled={name: fault_modes()["resistor", "drifted"].scale}, **own)
    elif part.kind == "c":
        yield _fault("capacitor", "short", name, **short)
        yield _fault("capacitor", "open", name, **own)
    elif part.kind == "l":
        yield _fault("inductor", "open", name, opened=_only(name), **own)
        yield _fault("inductor", "short", name, **short)
    elif part.kind == "d":
        elements = _only(name, f"{name} leakage", f"{name} breakdown")
        yield _fault("diode", "open", name, opened=elements, **own)
        yield _fault("diode", "short", name, **short)
        leaky = {f"{name} leaky": fault_modes()["diode", "leaky"].resistance}
        yield _fault("diode", "leaky", name, closed=_only(f"{name} leaky"), values=leaky, **own)


def _mosfet(channel: BoundChannel) -> Iterator[Fault]:
    part = channel.switch
    leaky, off = f"{part} leaky", _only(f"{part} off")
    own: dict[str, Any] = {"channel": channel.name, "side": "switch"}
    anything = {leaky: ANYTHING}
    yield _fault("mosfet", "drain-source-short", part, closed=_only(f"{part} drain-source short"), **own)
    both = _only(leaky, tie_name(channel))
    yield _fault("mosfet", "drain-gate-short", part, closed=both, opened=off, values=anything, **own)
    yield _fault("mosfet", "gate-source-short", part, closed=_only(f"{part} gate-source short"), **own)
    yield _fault("mosfet", "gate-open", part, closed=_only(leaky), opened=off, values=anything, **own)
    yield _fault("mosfet", "open", part, opened=off, **own)
    resistance = fault_modes()["mosfet", "leaky"].resistance
    yield _fault("mosfet", "leaky", part, closed=_only(leaky), values={leaky: resistance}, **own)


def _gate_pin(bound: Bound, node: str, names: list[str]) -> Iterator[Fault]:
    name, part = f"pin {node}", f"gate pin {node}"
    pin = bound.roles.circuit.controller.pin
    driver, down, rail = _only(f"{name} driver"), _only(f"{name} reset pull-down"), _only(f"{name}.voltage")
    drives = {f"{name}.resistance": more_than_none(pin.output_resistance)}
    own: dict[str, Any] = {"channel": names[0] if len(names) == 1 else None, "side": "switch", "alive": True}
    yield _fault("pin", "stuck-high", part, closed=driver, opened=down, values=drives, from_rail=rail, **own)
    low = drives | {f"{name}.voltage": Toleranced.exact(0.0, "V")}
    yield _fault("pin", "stuck-low", part, closed=driver, values=low, **own)
    yield _fault("pin", "floating", part, opened=driver | down, **own)
    up = pin.reset_pull_up if isinstance(pin.reset_pull_up, Toleranced) else WEAK_PULL_UP
    pulled = {f"{name}.resistance": up}
    yield _fault("pin", "pulled-up", part, closed=driver, opened=down, values=pulled, from_rail=rail, **own)


def _converter(node: str, names: list[str]) -> Iterator[Fault]:
    name, part = f"converter {node}", f"converter pin {node}"
    own: dict[str, Any] = {"channel": names[0] if len(names) == 1 else None, "side": "test path"}
    yield _fault("converter", "driven-high", part, closed=_only(f"{name} high"), alive=True, **own)
    yield _fault("converter", "driven-low", part, closed=_only(f"{name} low"), **own)
    yield _fault("converter", "clamp-open", part, opened=_only(f"{name} upper clamp"), **own)


def _wires(bound: Bound) -> Iterator[Fault]:
    """Wires to the igniters: each touches the frame, the battery's other pole, and through water each other wire."""
    ends = igniter_ends(bound)
    for node, names in ends.items():
        channel = names[0] if len(names) == 1 else None
        yield _fault("lead", "to-ground", f"wire {node}", closed=_only(f"wire {node} to ground"), channel=channel)
        if node != pole(bound):
            closed = _only(f"wire {node} to battery")
            yield _fault("lead", "to-battery", f"wire {node}", closed=closed, channel=channel)
    yield from wet_faults(wet_name("connector", one, other) for one, other in combinations(ends, 2))


def _controller(bound: Bound) -> Iterator[Fault]:
    """The regulator, and all gate pins at once."""
    pins = [f"pin {node}" for node in _by_node(bound, "pin")]
    drives = more_than_none(bound.roles.circuit.controller.pin.output_resistance)
    yield _fault("regulator", "passes-battery", "regulator", rail="battery", alive=True)
    yield _fault("regulator", "dead", "regulator", rail="none", alive=True)
    yield _fault(
        "controller",
        "all-pins-high",
        "controller",
        closed=frozenset(f"{name} driver" for name in pins),
        opened=frozenset(f"{name} reset pull-down" for name in pins),
        values={f"{name}.resistance": drives for name in pins},
        from_rail=frozenset(f"{name}.voltage" for name in pins),
        alive=True,
        side="switch",
    )
