"""The whole circuit as one network: the channel template, the gate sides, and what a fault may close.

The gate side of a channel is its pin's driver, clamps and leakage, series resistor and pull-down. What flows into the
MOSFET's drain follows from the gate's voltage and is a parameter, as in the template, so that gate and line are solved
one after the other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import combinations

from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.elements import GROUND, Element, Network, Terms
from ignition.network.template import (
    State,
    adc_pin,
    box_back,
    box_out,
    build_network,
    bus_pin,
    drain,
    igniter_names,
    line_back,
    line_out,
)
from ignition.toleranced import Toleranced

__all__ = [
    "BODY_DIODE_DROP",
    "BODY_DIODE_RESISTANCE",
    "CONTACT",
    "gate",
    "gate_box",
    "gate_network",
    "more_than_none",
    "one_way",
    "own_name",
    "part_name",
    "pin",
    "swap_name",
    "wet_name",
    "wet_pairs",
    "whole_network",
]

BODY_DIODE_DROP = Toleranced(low=0.2, nominal=0.7, high=1.2, unit="V")
BODY_DIODE_RESISTANCE = Toleranced(low=1e-3, nominal=0.01, high=1.0, unit="ohm")
"""Of every low-side switch, silicon, hot to cold (common practice)."""


CONTACT = 1e-6
"""Resistance of a short [ohm]: next to nothing beside any part, and more than none."""


def gate(channel: ChannelModel) -> str:
    """Name the node at the MOSFET's gate.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> gate(load_example("tether-cutter").channels[0])
    'cutter.gate'
    """
    return f"{channel.name}.gate"


def pin(channel: ChannelModel) -> str:
    """Name the node at the controller's pin that drives the gate.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> pin(load_example("tether-cutter").channels[0])
    'cutter.gate pin'
    """
    return f"{channel.name}.gate pin"


def swap_name(one: ChannelModel, other: ChannelModel, end: str) -> str:
    """Name the wire that leads one channel's lead to another's igniters where their pairs are swapped.

    Parameters
    ----------
    one : Channel whose lead it is
    other : Channel whose igniters hang on it
    end : ``out`` or ``back``
    """
    return f"{one.name}.lead {end} to {other.name}"


def wet_name(connector: str, one: str, other: str) -> str:
    """Name what water between two pins of a connector is.

    Examples
    --------
    >>> wet_name("connector", "a.line back", "b.line back")
    'connector wet, a.line back to b.line back'
    """
    return f"{connector} wet, {one} to {other}"


def wet_pairs(circuit: Circuit) -> dict[str, tuple[str, str]]:
    """Return each pair of pins between which water may lie, by its name; all of one connector where none is described.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> wet_pairs(load_example("tether-cutter"))
    {'connector wet, cutter.line out to cutter.line back': ('cutter.line out', 'cutter.line back')}
    """
    wires = [node for channel in circuit.channels for node in (line_out(channel), line_back(channel))]
    described = [(one.name, one.pins) for one in circuit.given.faults.connector] or [("connector", wires)]
    return {wet_name(name, *pair): pair for name, pins in described for pair in combinations(pins, 2)}


def own_name(name: str) -> str:
    """Name the element, and its parameter, of a fault of the user's own.

    Examples
    --------
    >>> own_name("strap to frame")
    'own fault strap to frame'
    """
    return f"own fault {name}"


def _place(name: str) -> str:
    """Node of a place as a circuit file names it."""
    return {"battery": "battery terminal", "bank": "bank terminal", "ground": GROUND}.get(name, name)


def whole_network(circuit: Circuit, gates: bool = True) -> Network:
    """Build the network of an armed circuit, with everything that a phase or a fault closes open in it.

    Parameters
    ----------
    gates : Whether the gate sides belong to it; lines and gates share nothing unless a MOSFET ties drain to gate

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> network = whole_network(load_example("tether-cutter"))
    >>> network.element("cutter.upper short").closed, network.element("cutter.pull-down").closed
    (False, True)
    """
    plain = build_network(circuit, State(phase="armed"))
    elements = [_wire(circuit, element) for element in plain.elements]
    for part in circuit.feed:
        ends = plain.element(f"feed.{part.name}")
        elements.append(_link(f"feed.{part.name} short", ends.plus, ends.minus))
    if circuit.battery.bank_capacitance is not None:
        elements.append(_link("bank short", "bank terminal", GROUND))
        if circuit.battery.recharge_resistance is not None:
            elements.append(_link("recharge short", "battery terminal", "bank terminal"))
    for channel in circuit.channels:
        if gates:
            elements += _gate_side(circuit, channel)
            elements.append(_link(f"{channel.name}.drain-gate short", drain(channel), gate(channel)))
        elements += _line_faults(circuit, channel, plain)
    for one, other in combinations(circuit.channels, 2):
        elements += _swapped(one, other)
    for own in circuit.given.faults.add:
        plus, minus = (_place(place) for place in own.between)
        elements.append(_link(own_name(own.name), plus, minus, ((own_name(own.name), 1.0),)))
    for name, pins in wet_pairs(circuit).items():
        plus, minus = (_place(place) for place in pins)
        elements.append(_link(name, plus, minus, (("wet", 1.0),)))
    return Network(elements=tuple(elements), igniters=plain.igniters)


def gate_network(circuit: Circuit, channel: ChannelModel) -> Network:
    """Build the gate side of one channel alone, with a battery that nothing loads.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> gate_network(circuit, circuit.channels[0]).nodes
    ('battery terminal', 'cutter.gate pin', 'cutter.gate')
    """
    battery = Element(
        name="battery", kind="source", plus="battery terminal", minus=GROUND, voltage=(("battery.voltage", 1.0),)
    )
    return Network(elements=(battery, *_gate_side(circuit, channel)))


def _link(name: str, plus: str, minus: str, resistance: Terms = (("fault.contact", 1.0),)) -> Element:
    """A path that only a fault, or a phase, closes; two of no resistance at all would make a loop without solution."""
    return Element(name=name, kind="resistor", plus=plus, minus=minus, resistance=resistance, closed=False)


def _wire(circuit: Circuit, element: Element) -> Element:
    """Give each of a lead's two wires, and each resistor of a chain, its own resistance, and a short more than none.

    One may be broken or bypassed without the other.
    """
    wires = {f"{channel.name}.lead {end}" for channel in circuit.channels for end in ("out", "back")}
    chains = {element: terms for channel in circuit.channels for element, terms in _chains(channel)}
    if element.name in chains:
        return replace(element, resistance=chains[element.name])
    shorts = {f"{channel.name}.{what}" for channel in circuit.channels for what in ("bridging", "mosfet short")}
    if element.name in shorts:
        return replace(element, resistance=(("fault.contact", 1.0),))
    return replace(element, resistance=((element.name, 1.0),)) if element.name in wires else element


def part_name(channel: ChannelModel, which: str, number: int, count: int) -> str:
    """Name one of several resistors that stand for one, from 0; alone it has the name of the whole.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> channel = load_example("kelp-line-cutter").channels[0]
    >>> part_name(channel, "upper", 1, 2), part_name(channel, "pull-down", 0, 1)
    ('line.upper 2', 'line.pull-down')
    """
    return f"{channel.name}.{which}" + (f" {number + 1}" if count > 1 else "")


def _chains(channel: ChannelModel) -> Iterator[tuple[str, Terms]]:
    """Elements of the template that are several resistors in series, each with those as its terms."""
    count = len(channel.uppers)
    yield f"{channel.name}.upper", tuple((part_name(channel, "upper", k, count), 1.0) for k in range(count))
    if channel.second is not None and channel.second.pull_ups:
        yield (
            f"{channel.name}.pull-up clamp",
            ((f"{channel.name}.pull-up clamp resistance", 1.0), *_pull_ups(channel)),
        )


def _pull_ups(channel: ChannelModel) -> Terms:
    """Resistors from a controller pin to the drain, each its own."""
    assert channel.second is not None
    count = len(channel.second.pull_ups)
    return tuple((part_name(channel, "drain pull-up", k, count), 1.0) for k in range(count))


def _gate_side(circuit: Circuit, channel: ChannelModel) -> Iterator[Element]:
    name, at_pin, at_gate = channel.name, pin(channel), gate(channel)

    def terms(what: str) -> Terms:
        return ((f"{name}.{what}", 1.0),)

    yield Element(
        name=f"{name}.pin driver",
        kind="source",
        plus=at_pin,
        minus=GROUND,
        voltage=terms("pin voltage"),
        resistance=terms("pin driver"),
    )
    yield _link(f"{name}.reset pull-down", at_pin, GROUND, terms("reset pull-down"))
    yield Element(
        name=f"{name}.gate series", kind="resistor", plus=at_pin, minus=at_gate, resistance=terms("gate series")
    )
    for number in range(len(channel.pull_downs)):
        part = part_name(channel, "pull-down", number, len(channel.pull_downs))
        yield Element(name=part, kind="resistor", plus=at_gate, minus=GROUND, resistance=((part, 1.0),))
    # a leakage raises a gate that nothing holds to the supply and not beyond, and lowers it to ground
    for where, node in (("pin", at_pin), ("gate", at_gate)):
        for way, plus, minus in (("up", "battery terminal", node), ("down", node, GROUND)):
            yield Element(
                name=f"{name}.{where} leakage {way}",
                kind="leakage",
                plus=plus,
                minus=minus,
                current=terms(f"{where} leakage {way}"),
            )
    yield from _pin_clamps(name, "pin ", at_pin)
    yield _link(f"{name}.pull-down short", at_gate, GROUND)
    yield _link(f"{name}.gate series short", at_pin, at_gate)


def _pin_clamps(name: str, which: str, node: str) -> Iterator[Element]:
    ends = (("upper", node, GROUND), ("lower", GROUND, node))
    for side, plus, minus in ends:
        voltage = f"{name}.{which}clamp voltage" if side == "upper" else f"{name}.clamp drop"
        yield Element(
            name=f"{name}.{which}{side} clamp",
            kind="clamp",
            plus=plus,
            minus=minus,
            voltage=((voltage, 1.0),),
            resistance=((f"{name}.{which}clamp resistance", 1.0),),
        )


def _line_faults(circuit: Circuit, channel: ChannelModel, plain: Network) -> Iterator[Element]:
    name, at_drain, tap = channel.name, drain(channel), f"{channel.name}.tap"
    top, bottom = line_out(channel), line_back(channel)
    yield Element(
        name=f"{name}.body diode",
        kind="clamp",
        plus=GROUND,
        minus=at_drain,
        voltage=((f"{name}.body diode drop", 1.0),),
        resistance=((f"{name}.body diode resistance", 1.0),),
    )
    yield _link(f"{name}.mosfet leaky", at_drain, GROUND, ((f"{name}.leaky", 1.0),))
    if channel.high_side is not None and channel.high_side.around is not None:
        yield _link(f"{name}.around short", "bus", box_out(channel))
    yield _link(f"{name}.upper short", at_drain, tap)
    yield _link(f"{name}.lower short", tap, GROUND)
    yield _link(f"{name}.pin resistor short", tap, adc_pin(channel))
    yield from _converter_faults(name, "", adc_pin(channel))
    for label, node in (("out", top), ("back", bottom)):
        yield _link(f"{name}.line {label} to ground", node, GROUND)
        yield _link(f"{name}.line {label} to battery", node, "battery terminal")
        if circuit.battery.bank_capacitance is not None:
            yield _link(f"{name}.line {label} to bank", node, "bank terminal")
    for igniter in (i for string in igniter_names(channel) for i in string):
        element = plain.element(igniter)
        yield _link(f"{igniter} short", element.plus, element.minus)
    if channel.second is not None and channel.second.pull_ups:
        parts, behind = _pull_ups(channel), (f"{name}.output resistance", 1.0)
        yield _driven(f"{name}.pull-up driver", at_drain, f"{name}.rail", (behind, *parts))
    if channel.bus_divider is not None:
        upper, lower = plain.element(f"{name}.bus upper"), plain.element(f"{name}.bus lower")
        yield _link(f"{name}.bus upper short", upper.plus, upper.minus)
        yield _link(f"{name}.bus lower short", lower.plus, lower.minus)
        yield from _converter_faults(name, "bus ", bus_pin(channel))


def _converter_faults(name: str, which: str, node: str) -> Iterator[Element]:
    behind = ((f"{name}.output resistance", 1.0),)
    yield _driven(f"{name}.{which}adc pin high", node, f"{name}.rail", behind)
    yield _link(f"{name}.{which}adc pin low", node, GROUND, behind)


def _driven(name: str, node: str, voltage: str, resistance: Terms) -> Element:
    """A source that only a fault, or a phase, closes."""
    return Element(
        name=name,
        kind="source",
        plus=node,
        minus=GROUND,
        voltage=((voltage, 1.0),),
        resistance=resistance,
        closed=False,
    )


def _swapped(one: ChannelModel, other: ChannelModel) -> Iterator[Element]:
    for lead, line in ((one, other), (other, one)):
        ways = (("out", box_out(lead), line_out(line)), ("back", line_back(line), box_back(lead)))
        for end, plus, minus in ways:
            yield _link(swap_name(lead, line, end), plus, minus, ((f"{lead.name}.lead {end}", 1.0),))


def gate_box(circuit: Circuit, rail: Toleranced) -> dict[str, Toleranced]:
    """Bounds of the parameters that the whole network has beside those of the template, every pin driven low [SI].

    Parameters
    ----------
    rail : Supply rail of the controller [V]; zero where it is dead
    """
    controller, behind = circuit.controller, more_than_none(circuit.controller.pin.output_resistance)
    box = {"fault.contact": Toleranced.exact(CONTACT, "ohm"), "wet": Toleranced.exact(CONTACT, "ohm")}
    for one in circuit.given.faults.add:
        box[own_name(one.name)] = more_than_none(one.resistance or Toleranced.exact(CONTACT, "ohm"))
    zero = Toleranced.exact(0.0, "V")
    for channel in circuit.channels:
        own: Mapping[str, Toleranced | None] = {
            "lead out": channel.lead.resistance.times(0.5),
            "lead back": channel.lead.resistance.times(0.5),
            "high side": None if channel.high_side is None else more_than_none(channel.high_side.resistance),
            "return contact": None if channel.return_contact is None else more_than_none(channel.return_contact),
            "pin voltage": zero,
            "pin driver": behind,
            "reset pull-down": controller.pin.reset_pull_down or Toleranced.exact(1e12, "ohm"),
            "gate series": channel.gate_series,
            "pin clamp voltage": rail + controller.pin.clamp_drop,
            "pin clamp resistance": controller.pin.clamp_resistance,
            "clamp drop": controller.pin.clamp_drop,
            "rail": rail,
            "output resistance": behind,
            "body diode drop": BODY_DIODE_DROP,
            "body diode resistance": BODY_DIODE_RESISTANCE,
            "leaky": Toleranced.exact(0.0, "ohm"),
            "pin leakage up": one_way(controller.pin.leakage.high),
            "pin leakage down": one_way(-controller.pin.leakage.low),
            "gate leakage up": one_way(circuit.mosfets[channel.mosfet].gate_leakage.high),
            "gate leakage down": one_way(-circuit.mosfets[channel.mosfet].gate_leakage.low),
        }
        box |= {f"{channel.name}.{key}": value for key, value in own.items() if value is not None}
        lists = {"upper": channel.uppers, "pull-down": channel.pull_downs}
        if channel.second is not None and channel.second.pull_ups:
            lists["drain pull-up"] = channel.second.pull_ups
            box[f"{channel.name}.pull-up clamp resistance"] = more_than_none(controller.pin.clamp_resistance)
        for which, parts in lists.items():
            box |= {part_name(channel, which, k, len(parts)): value for k, value in enumerate(parts)}
    return box


def more_than_none(resistance: Toleranced) -> Toleranced:
    """Return a resistance no lower than a short's, so that two sources across each other have a solution [ohm].

    Examples
    --------
    >>> more_than_none(Toleranced.exact(0.0, "ohm")).low
    1e-06
    """
    low, nominal, high = (max(end, CONTACT) for end in (resistance.low, resistance.nominal, resistance.high))
    return Toleranced(low=low, nominal=nominal, high=high, unit="ohm")


def one_way(most: float) -> Toleranced:
    """Return a leakage of one direction, which may also be none [A].

    Parameters
    ----------
    most : Its highest value [A]

    Examples
    --------
    >>> one_way(1e-6).low, one_way(-1e-6).high
    (0.0, 0.0)
    """
    most = max(most, 0.0)
    return Toleranced(low=0.0, nominal=0.0, high=most, unit="A")
