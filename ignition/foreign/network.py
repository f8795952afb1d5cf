"""The steady network of a foreign netlist in a phase and line state, of the elements that the solver knows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ignition.analyses.no_fire.gate import controller_rail
from ignition.analyses.no_fire.off_state import OffState
from ignition.circuit.model import PinModel
from ignition.errors import InputError
from ignition.foreign.binding import BODY_DIODE, Bound, BoundChannel, network_node
from ignition.foreign.flatten import Part
from ignition.network.elements import GROUND, Element, Kind, Network, Terms
from ignition.toleranced import Toleranced

__all__ = [
    "Built",
    "FOREIGN_LINE_STATES",
    "FOREIGN_PHASES",
    "Situation",
    "line_states_of",
    "situation_network",
]

FOREIGN_PHASES = ("disarmed", "reset", "armed")
"""Steady phases without a fire command."""

FOREIGN_LINE_STATES = ("intact", "open", "shorted", "mosfet shorted", "not armed", "one igniter open")
"""What a line can be in; the last only for channels of several igniters."""

_TIE = 1e12  # ties a part of the network that nothing else holds; far above every leakage path of a real board [ohm]


def _pulled_through(pin: PinModel) -> Toleranced:
    """Resistance from a gate pin to the rail in reset; of a pin that may be driven high, anything from its output's."""
    if isinstance(pin.reset_pull_up, Toleranced):
        return pin.reset_pull_up
    return Toleranced(low=pin.output_resistance.low, nominal=_TIE, high=_TIE, unit="ohm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """What the circuit is in.

    Attributes
    ----------
    phase : ``disarmed``, ``reset`` or ``armed``
    lines : Line state of each channel that is not intact
    open_igniter : Which igniter is open in ``one igniter open``
    """

    phase: str
    lines: Mapping[str, str] = field(default_factory=dict)
    open_igniter: str | None = None

    @property
    def armed(self) -> bool:
        """Whether the arm switch is closed."""
        return self.phase != "disarmed" and "not armed" not in self.lines.values()


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """A network with its bounds, and what of it hangs loose.

    Attributes
    ----------
    box : Bounds of every parameter [SI]
    """

    network: Network
    box: Mapping[str, Toleranced]
    loose_gates: frozenset[str]
    loose_senses: frozenset[str]


def line_states_of(channel: BoundChannel) -> tuple[str, ...]:
    """Line states that apply to a channel.

    Returns
    -------
    Members of `FOREIGN_LINE_STATES`
    """
    return FOREIGN_LINE_STATES if len(channel.igniters) > 1 else FOREIGN_LINE_STATES[:-1]


def situation_network(bound: Bound, situation: Situation, off: Mapping[str, OffState] | None = None) -> Built:
    """Build the steady network of a situation.

    At steady current a capacitor is open, an inductor a link, a diode a drop with a slope resistance and a reverse
    leakage, a MOSFET that is off a leakage and a body diode. A part that nothing holds is tied to ground by 1 Tohm.

    Raises InputError for a phase or line state that does not exist.

    Parameters
    ----------
    off : What each channel's MOSFET passes; the leakage at the highest ambient temperature by default
    """
    if situation.phase not in FOREIGN_PHASES:
        raise InputError(f"a phase is one of {', '.join(FOREIGN_PHASES)}; received {situation.phase!r}")
    for channel in bound.channels:
        line = situation.lines.get(channel.name, "intact")
        if line not in line_states_of(channel):
            known = ", ".join(line_states_of(channel))
            raise InputError(f"channel {channel.name!r} has no line state {line!r}; there are {known}")
    builder = _Builder(bound, situation)
    for part in bound.netlist.parts:
        builder.part(part)
    builder.pins()
    for channel in bound.channels:
        builder.switch(channel, (off or {}).get(channel.name, _leakage(bound, channel)))
    return builder.built()


def _leakage(bound: Bound, channel: BoundChannel) -> OffState:
    mosfet = bound.roles.circuit.mosfets[channel.mosfet]
    current = Toleranced(low=0.0, nominal=mosfet.leakage_cool.nominal, high=mosfet.leakage_hot.high, unit="A")
    return OffState(current=current, resistance=Toleranced.exact(0.0, "ohm"))


class _Builder:
    """Adds element after element, with the bounds of their parameters."""

    def __init__(self, bound: Bound, situation: Situation) -> None:
        self.bound, self.situation = bound, situation
        self.circuit = bound.roles.circuit
        self.elements: list[Element] = []
        self.box: dict[str, Toleranced] = {}
        self.igniters = {e: (c, kind) for c in bound.channels for e, kind in c.igniters.items()}
        alive = situation.armed or self.circuit.controller.powered_before_arm_switch
        self.driven = alive and situation.phase != "reset"
        self.rail = controller_rail(self.circuit, "armed" if alive else "disarmed")

    def add(
        self,
        name: str,
        kind: Kind,
        nodes: tuple[str, str],
        *,
        closed: bool = True,
        **values: Toleranced,
    ) -> None:
        """Add an element, one parameter for each of its resistance, voltage and current."""
        terms: dict[str, Terms] = {}
        for quantity, value in values.items():
            key = name if quantity == "resistance" else f"{name} {quantity}"
            terms[quantity] = ((key, 1.0),)
            self.box[key] = value
        self.elements.append(Element(name=name, kind=kind, plus=nodes[0], minus=nodes[1], closed=closed, **terms))

    def part(self, part: Part) -> None:
        """Add one part of the netlist; MOSFETs and gate pins come with their channels."""
        nodes = (network_node(part.nodes[0]), network_node(part.nodes[1]))
        if part.kind == "m" or part.name in self.bound.pins:
            return
        if part.kind == "d":
            self.diode(part.name, nodes)
        elif part.name in self.bound.arm:
            resistance = self.bound.roles.file.arm_switch.resistance
            self.add(part.name, "resistor", nodes, closed=self.situation.armed, resistance=resistance)
        elif part.name in self.igniters:
            self.igniter(part.name, nodes)
            return
        elif part.kind == "v":
            self.source(part, nodes)
        elif part.kind == "i":
            value = self.bound.values[part.name]
            low, high = min(value.low, 0.0), max(value.high, 0.0)
            self.add(part.name, "sink", nodes, current=replace(value, low=low, high=high))
        elif part.kind == "r":
            self.add(part.name, "resistor", nodes, resistance=self.bound.values[part.name])
        else:
            self.add(part.name, "resistor", nodes, closed=part.kind == "l")

    def link(self, name: str, nodes: tuple[str, str], closed: bool = True) -> None:
        self.add(name, "resistor", nodes, closed=closed)

    def diode(self, name: str, nodes: tuple[str, str]) -> None:
        """Forward drop, leakage, and breakdown where there is one."""
        values = self.bound.diodes[name]
        back = (nodes[1], nodes[0])
        self.add(name, "clamp", nodes, voltage=values.drop, resistance=values.resistance)
        self.add(f"{name} leakage", "leakage", back, current=values.leakage)
        if values.breakdown is not None:
            self.add(
                f"{name} breakdown",
                "clamp",
                back,
                voltage=values.breakdown,
                resistance=values.resistance,
            )

    def igniter(self, name: str, nodes: tuple[str, str]) -> None:
        channel, kind = self.igniters[name]
        line = self.situation.lines.get(channel.name, "intact")
        opened = line == "open" or (line == "one igniter open" and name == self.situation.open_igniter)
        resistance = self.circuit.igniters[kind].resistance
        self.add(name, "resistor", nodes, closed=not opened, resistance=resistance)
        self.link(f"{name} bridging", nodes, closed=line == "shorted")

    def source(self, part: Part, nodes: tuple[str, str]) -> None:
        if part.name == self.bound.battery:
            battery = self.circuit.battery
            self.add(part.name, "source", nodes, voltage=battery.voltage, resistance=battery.resistance)
        elif part.name == self.bound.supply:
            self.add(part.name, "source", nodes, voltage=self.rail)
        else:
            self.add(part.name, "source", nodes, voltage=self.bound.values[part.name])

    def pins(self) -> None:
        """Gate pins as the phase drives them, and what hangs on converter pins; a shared node gets one of each."""
        controller, pin = self.circuit.controller, self.circuit.controller.pin
        for node in dict.fromkeys(c.pin for c in self.bound.channels):
            self.add(f"pin {node}", "resistor", (node, GROUND), closed=self.driven, resistance=pin.output_resistance)
            self.add(f"pin {node} leakage", "sink", (node, GROUND), current=pin.leakage)
            if pin.reset_pull_up is not None:
                pulled = self.situation.phase == "reset" and self.rail.high > 0
                self.add(
                    f"pin {node} pull-up", "source", (node, GROUND), closed=pulled,
                    voltage=self.rail, resistance=_pulled_through(pin),
                )  # fmt: skip
        for node in dict.fromkeys(c.sense for c in self.bound.channels):
            up, resistance = self.rail + pin.clamp_drop, pin.clamp_resistance
            self.add(f"converter {node} leakage", "sink", (node, GROUND), current=controller.adc.leakage)
            self.add(f"converter {node} clamp", "clamp", (node, GROUND), voltage=up, resistance=resistance)
            self.add(
                f"converter {node} lower clamp", "clamp", (GROUND, node), voltage=pin.clamp_drop, resistance=resistance
            )

    def switch(self, channel: BoundChannel, off: OffState) -> None:
        """A low-side switch that is not commanded."""
        name, mosfet = channel.switch, self.circuit.mosfets[channel.mosfet]
        shorted = self.situation.lines.get(channel.name) == "mosfet shorted"
        path = (channel.drain, channel.source)
        self.add(f"{name} off", "leakage", path, current=off.current, resistance=off.resistance)
        self.link(f"{name} short", path, closed=shorted)
        body = (channel.source, channel.drain)
        self.add(f"{name} body diode", "clamp", body, voltage=BODY_DIODE.drop, resistance=BODY_DIODE.resistance)
        self.add(f"{name} gate leakage", "sink", (channel.gate, channel.source), current=mosfet.gate_leakage)

    def built(self) -> Built:
        """Tie what hangs loose, and leave the leakage into a loose gate out: it could only raise it without limit."""
        network = Network(elements=tuple(self.elements), igniters=tuple(self.igniters))
        loose = set(network.floating_nodes())
        gates = frozenset(c.name for c in self.bound.channels if c.gate in loose)
        senses = frozenset(c.name for c in self.bound.channels if c.sense in loose)
        into_gates = {f"pin {c.pin} leakage" for c in self.bound.channels if c.pin in loose}
        into_gates |= {f"{c.switch} gate leakage" for c in self.bound.channels if c.gate in loose}
        network = network.switched(opened=into_gates)
        count = 0
        while loose:
            node = min(loose)
            tie = Element(name=f"tie {node}", kind="resistor", plus=node, minus=GROUND, resistance=(("tie", 1.0),))
            network = replace(network, elements=(*network.elements, tie))
            loose = set(network.floating_nodes())
            count += 1
        box = self.box | ({"tie": Toleranced.exact(_TIE, "ohm")} if count else {})
        return Built(network=network, box=box, loose_gates=gates, loose_senses=senses)
