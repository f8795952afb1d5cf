"""From a complete circuit to its network in a phase and line state, and to the bounds of every parameter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ignition.circuit.model import OPEN_CONTACT, ChannelModel, Circuit
from ignition.errors import InputError
from ignition.network.elements import GROUND, KNEE_VOLTAGE, Element, Network
from ignition.toleranced import Toleranced

__all__ = [
    "LEAKING",
    "LINE_STATES",
    "PHASES",
    "SOME_OPEN",
    "State",
    "adc_pin",
    "bank_voltage",
    "box_back",
    "box_out",
    "build_network",
    "bus_pin",
    "connected_igniters",
    "drain",
    "high_side_closed",
    "igniter_kinds",
    "igniter_names",
    "line_back",
    "line_out",
    "line_states",
    "parameter_box",
]

PHASES = ("disarmed", "switch-on", "reset", "armed", "firing")
"""Phases of use, in order; the steady ones are all but ``switch-on``."""

LINE_STATES = ("intact", "open", "shorted", "mosfet shorted", "not armed", "one string open")
"""What a line can be in; the last only for channels of several strings."""

SOME_OPEN = "some strings open"
"""A cluster with any of its strings open, spent or not yet connected; no state of its own in reports."""

LEAKING = "leaking"
"""An open line bridged by a resistance, as moisture or soot bridges open terminals; no state of its own in reports."""

_ZERO = Toleranced.exact(0.0, "ohm")


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """One state of the whole circuit.

    Attributes
    ----------
    phase : One of `PHASES` but ``switch-on``
    lines : Line state of each channel that is not intact
    open_strings : Which strings are open in ``one string open`` and ``some strings open``, from 0
    """

    phase: str
    lines: Mapping[str, str] = field(default_factory=dict)
    open_strings: frozenset[int] = frozenset()
    commanded: frozenset[str] = frozenset()

    def open_strings_of(self, channel: str) -> frozenset[int]:
        """Which strings of a channel are open while others are not."""
        return self.open_strings if self.lines.get(channel) in ("one string open", SOME_OPEN) else frozenset()


def igniter_names(channel: ChannelModel) -> tuple[tuple[str, ...], ...]:
    """Names of the igniter elements of a channel, by string.

    Returns
    -------
    For example ``(("boost.igniter 1.1",), ("boost.igniter 2.1",))``

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> igniter_names(circuit.channels[0])
    (('cutter.igniter 1.1',),)
    """
    return tuple(
        tuple(f"{channel.name}.igniter {s}.{p}" for p in range(1, len(string) + 1))
        for s, string in enumerate(channel.strings, start=1)
    )


def igniter_kinds(channel: ChannelModel) -> dict[str, str]:
    """Igniter type of each igniter element of a channel.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> igniter_kinds(load_example("tether-cutter").channels[0])
    {'cutter.igniter 1.1': 'cutter'}
    """
    return {
        name: kind
        for names, kinds in zip(igniter_names(channel), channel.strings, strict=True)
        for name, kind in zip(names, kinds, strict=True)
    }


def connected_igniters(channel: ChannelModel, state: State) -> list[str]:
    """Names of a channel's igniters that are not in an open string.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> connected_igniters(load_example("tether-cutter").channels[0], State(phase="armed"))
    ['cutter.igniter 1.1']
    """
    opened = state.open_strings_of(channel.name)
    return [n for index, names in enumerate(igniter_names(channel)) if index not in opened for n in names]


def line_states(channel: ChannelModel) -> tuple[str, ...]:
    """Line states that apply to a channel.

    Returns
    -------
    Members of `LINE_STATES`

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> line_states(circuit.channels[0])
    ('intact', 'open', 'shorted', 'mosfet shorted', 'not armed')
    """
    return LINE_STATES if len(channel.strings) > 1 else LINE_STATES[:-1]


def drain(channel: ChannelModel) -> str:
    """Name the node at the MOSFET's drain.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> drain(circuit.channels[0])
    'cutter.drain'
    """
    return f"{channel.name}.drain"


def adc_pin(channel: ChannelModel) -> str:
    """Name the node at the converter's pin.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> adc_pin(circuit.channels[0])
    'cutter.adc pin'
    """
    return f"{channel.name}.adc pin"


def bus_pin(channel: ChannelModel) -> str:
    """Name the node at the converter input of a channel's divider at the bus.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> bus_pin(circuit.channels[0])
    'cutter.bus pin'
    """
    return f"{channel.name}.bus pin"


def line_out(channel: ChannelModel) -> str:
    """Name the node between the lead's wire out and the igniters.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> line_out(load_example("tether-cutter").channels[0])
    'cutter.line out'
    """
    return f"{channel.name}.line out"


def line_back(channel: ChannelModel) -> str:
    """Name the node between the igniters and the lead's wire back.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> line_back(load_example("tether-cutter").channels[0])
    'cutter.line back'
    """
    return f"{channel.name}.line back"


def box_out(channel: ChannelModel) -> str:
    """Name the node where the lead's wire out leaves the box: the bus, or behind a high-side switch.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> box_out(load_example("tether-cutter").channels[0])
    'bus'
    """
    return "bus" if channel.high_side is None else f"{channel.name}.box out"


def box_back(channel: ChannelModel) -> str:
    """Name the node where the lead's wire back enters the box: the drain, or before a contact in the return.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> box_back(load_example("tether-cutter").channels[0])
    'cutter.drain'
    """
    return drain(channel) if channel.return_contact is None else f"{channel.name}.box back"


def high_side_closed(circuit: Circuit, pins: str, *, commanded: bool) -> bool:
    """Whether a second switch on the high side is closed, or may be: commanded, or by a pull-up of the pins in reset.

    Parameters
    ----------
    pins : Phase that the controller's pins are in
    commanded : Whether the firmware fires the channel

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> high_side_closed(load_example("reset-pull-up"), "reset", commanded=False)
    True
    """
    return commanded or (pins == "reset" and circuit.controller.pin.reset_pull_up is not None)


def build_network(circuit: Circuit, state: State) -> Network:
    """Build the network of a circuit in a state.

    Raises InputError for a phase or line state that does not exist.

    Returns
    -------
    All elements; those that the state opens are open circuits, so that all states share one shape

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> build_network(circuit, State(phase="armed")).igniters
    ('cutter.igniter 1.1',)
    """
    if state.phase not in PHASES or state.phase == "switch-on":
        raise InputError(f"a steady phase is one of disarmed, reset, armed, firing; received {state.phase!r}")
    elements = [
        Element(
            name="battery",
            kind="source",
            plus="battery terminal",
            minus=GROUND,
            voltage=(("battery.voltage", 1.0),),
            resistance=(("battery.resistance", 1.0),),
        )
    ]
    armed = state.phase != "disarmed" and "not armed" not in state.lines.values()
    elements += _feed(circuit, armed)
    igniters: list[str] = []
    for channel in circuit.channels:
        elements += _channel(channel, state)
        elements += _contacts(circuit, channel, state, armed)
        igniters += [name for string in igniter_names(channel) for name in string]
    return Network(elements=tuple(elements), igniters=tuple(igniters))


def _feed(circuit: Circuit, armed: bool) -> list[Element]:
    elements: list[Element] = []
    for name, _ in circuit.loads:
        elements.append(_load(f"load.{name}", "battery terminal", f"load.{name}"))
    before = circuit.controller.powered_before_arm_switch
    elements.append(_load("controller", "battery terminal" if before else "bus", "controller.current", before or armed))
    node = "battery terminal"
    bank = circuit.battery.bank_capacitance is not None
    if bank:  # a charged capacitor is a source of its own at the first instant; later it only loses voltage
        recharged = circuit.battery.recharge_resistance is not None
        elements.append(_resistor("recharge", node, "bank terminal", "bank.recharge", closed=recharged))
        node = "bank terminal"
        elements.append(
            Element(
                name="capacitor bank",
                kind="source",
                plus=node,
                minus=GROUND,
                voltage=(("bank.voltage", 1.0),),
                resistance=(("bank.resistance", 1.0),),
            )
        )
    for position, part in enumerate(circuit.feed):
        after = "bus" if position == len(circuit.feed) - 1 else f"after {part.name}"
        elements.append(
            _resistor(f"feed.{part.name}", node, after, f"feed.{part.name}", closed=armed or part.kind != "arm switch")
        )
        node = after
    return elements


def _sink(name: str, node: str, parameter: str) -> Element:
    return Element(name=name, kind="sink", plus=node, minus=GROUND, current=((parameter, 1.0),))


def _load(name: str, node: str, parameter: str, closed: bool = True) -> Element:
    """A constant current as long as there is a voltage: a load does not charge a battery, or drive a bus below zero."""
    return Element(name=name, kind="leakage", plus=node, minus=GROUND, current=((parameter, 1.0),), closed=closed)


def _resistor(
    name: str, plus: str, minus: str, parameter: str | None, factor: float = 1.0, closed: bool = True
) -> Element:
    terms = () if parameter is None else ((parameter, factor),)
    return Element(name=name, kind="resistor", plus=plus, minus=minus, resistance=terms, closed=closed)


def _channel(channel: ChannelModel, state: State) -> list[Element]:
    name, line = channel.name, state.lines.get(channel.name, "intact")
    if line not in (*line_states(channel), LEAKING, SOME_OPEN):
        raise InputError(f"channel {name!r} has no line state {line!r}; there are {', '.join(line_states(channel))}")
    commanded = name in state.commanded
    end, tap, pin = drain(channel), f"{name}.tap", adc_pin(channel)
    top, bottom = line_out(channel), line_back(channel)
    elements = [_resistor(f"{name}.lead out", box_out(channel), top, f"{name}.lead", 0.5)]
    for index in range(len(channel.strings)):
        opened = line in ("open", LEAKING) or index in state.open_strings_of(channel.name)
        elements += _string(channel, index, top, bottom, opened)
    elements += [
        _resistor(f"{name}.bridging", top, bottom, f"{name}.bridging", closed=line in ("shorted", LEAKING)),
        _resistor(f"{name}.lead back", bottom, box_back(channel), f"{name}.lead", 0.5),
        _resistor(f"{name}.mosfet", end, GROUND, f"{name}.mosfet", closed=commanded),
        Element(
            name=f"{name}.mosfet off",
            kind="leakage",
            plus=end,
            minus=GROUND,
            resistance=((f"{name}.mosfet", 1.0),),
            current=((f"{name}.off current", 1.0),),
            closed=not commanded,
        ),
        _resistor(f"{name}.mosfet short", end, GROUND, None, closed=line == "mosfet shorted" and not commanded),
        _resistor(f"{name}.upper", end, tap, f"{name}.upper"),
        _resistor(f"{name}.lower", tap, GROUND, f"{name}.lower"),
        _resistor(f"{name}.pin resistor", tap, pin, f"{name}.pin resistor"),
        *_converter_input(name, "", pin),
    ]
    if channel.bus_divider is not None:
        pin = bus_pin(channel)
        elements += [
            _resistor(f"{name}.bus upper", "bus", pin, f"{name}.bus upper"),
            _resistor(f"{name}.bus lower", pin, GROUND, f"{name}.bus lower"),
            *_converter_input(name, "bus ", pin),
        ]
    if channel.pull_up is not None:
        elements.append(_clamp(name, "pull-up ", end))
    return elements


def _contacts(circuit: Circuit, channel: ChannelModel, state: State, armed: bool) -> list[Element]:
    """Contacts of a line, each with its own resistance: one may stick, or be bypassed, without the others."""
    name, elements = channel.name, []
    if channel.high_side is not None:
        fired = state.phase == "firing" and name in state.commanded  # a test pulse leaves it open
        closed = high_side_closed(circuit, state.phase, commanded=fired)
        elements.append(_resistor(f"{name}.high side", "bus", box_out(channel), f"{name}.high side", closed=closed))
        elements.append(_resistor(f"{name}.around", "bus", box_out(channel), f"{name}.around"))
    if channel.return_contact is not None:  # without its gap a line that nothing else holds would float
        elements.append(_resistor(f"{name}.return gap", box_back(channel), drain(channel), f"{name}.return gap"))
        contact = f"{name}.return contact"
        elements.append(_resistor(contact, box_back(channel), drain(channel), contact, closed=armed))
    if channel.shunt is not None:
        elements.append(
            _resistor(f"{name}.shunt", box_out(channel), box_back(channel), f"{name}.shunt", closed=not armed)
        )
    return elements


def _converter_input(name: str, which: str, pin: str) -> list[Element]:
    """Leakage and clamp of one input; all inputs of the converter share their values, each on its own."""
    return [_sink(f"{name}.{which}adc leakage", pin, f"{name}.{which}adc leakage"), _clamp(name, which, pin)]


def _clamp(name: str, which: str, node: str) -> Element:
    return Element(
        name=f"{name}.{which}clamp",
        kind="clamp",
        plus=node,
        minus=GROUND,
        voltage=((f"{name}.{which}clamp voltage", 1.0),),
        resistance=((f"{name}.{which}clamp resistance", 1.0),),
    )


def _string(channel: ChannelModel, index: int, top: str, bottom: str, opened: bool) -> list[Element]:
    """One string; where it is open, its first element is."""
    name = f"{channel.name}.string {index + 1}"
    names = igniter_names(channel)[index]
    nodes = [f"{name} node {p}" for p in range(1, len(names))]
    elements: list[Element] = []
    start = top
    if channel.branch is not None:
        start = f"{name} start"
        elements.append(
            _resistor(
                f"{channel.name}.branch {index + 1}",
                top,
                start,
                f"{channel.name}.branch {index + 1}",
                closed=not opened,
            )
        )
    for position, igniter in enumerate(names):
        plus = start if position == 0 else nodes[position - 1]
        minus = bottom if position == len(names) - 1 else nodes[position]
        first_of_open = opened and channel.branch is None and position == 0
        elements.append(_resistor(igniter, plus, minus, igniter, closed=not first_of_open))
    return elements


def parameter_box(
    circuit: Circuit,
    *,
    off_currents: Mapping[str, Toleranced],
    on_resistances: Mapping[str, Toleranced],
    rail: Toleranced,
    loads_certain: bool,
) -> dict[str, Toleranced]:
    """Bounds of every parameter of the circuit's network [SI].

    Parameters
    ----------
    off_currents : Most that each channel's MOSFET passes while not commanded [A]
    on_resistances : Resistance of each channel's MOSFET, commanded or held on [ohm]
    rail : Supply rail that the converter pin's clamp leads to [V]; zero where the controller is dead
    loads_certain : False where other loads on the battery may also be off, as in all phases but firing

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> rail = Toleranced.exact(3.0, "V")
    >>> box = parameter_box(circuit, off_currents={}, on_resistances={}, rail=rail, loads_certain=True)
    >>> box["cutter.upper"].high
    101000.0
    """
    box = {"battery.voltage": circuit.battery.voltage, "battery.resistance": circuit.battery.resistance}
    if circuit.battery.bank_resistance is not None:
        box["bank.resistance"] = circuit.battery.bank_resistance
        box["bank.recharge"] = circuit.battery.recharge_resistance or _ZERO
    for name, current in circuit.loads:
        box[f"load.{name}"] = current if loads_certain else _may_be_off(current)
    box["controller.current"] = circuit.controller.current if loads_certain else _may_be_off(circuit.controller.current)
    for part in circuit.feed:
        box[f"feed.{part.name}"] = part.resistance
    if circuit.battery.bank_resistance is not None:
        box["bank.voltage"] = bank_voltage(circuit)
    controller = circuit.controller
    for channel in circuit.channels:
        name = channel.name
        box[f"{name}.lead"] = channel.lead.resistance
        for index, string in enumerate(channel.strings):
            if channel.branch is not None:
                box[f"{name}.branch {index + 1}"] = channel.branch.resistance
            for igniter, kind in zip(igniter_names(channel)[index], string, strict=True):
                box[igniter] = circuit.igniters[kind].resistance
        if channel.high_side is not None:
            box[f"{name}.high side"], box[f"{name}.around"] = channel.high_side.resistance, channel.high_side.opened
        if channel.return_contact is not None:
            box[f"{name}.return contact"] = channel.return_contact
            box[f"{name}.return gap"] = Toleranced.exact(OPEN_CONTACT, "ohm")
        if channel.shunt is not None:
            box[f"{name}.shunt"] = channel.shunt
        box[f"{name}.bridging"] = _ZERO
        box[f"{name}.mosfet"] = on_resistances.get(name, _ZERO)
        box[f"{name}.off current"] = off_currents.get(name, Toleranced.exact(0.0, "A"))
        box[f"{name}.upper"] = channel.upper
        box[f"{name}.lower"] = channel.lower
        box[f"{name}.pin resistor"] = channel.pin_resistor
        inputs = [""]
        if channel.bus_divider is not None:
            box[f"{name}.bus upper"], box[f"{name}.bus lower"] = channel.bus_divider
            inputs.append("bus ")
        for which in inputs:
            box[f"{name}.{which}adc leakage"] = controller.adc.leakage
            box[f"{name}.{which}clamp voltage"] = rail + controller.pin.clamp_drop
            box[f"{name}.{which}clamp resistance"] = controller.pin.clamp_resistance
        if channel.pull_up is not None:  # a clamp at 0 V on a drain at 0 V would have no state of its own
            pin = controller.pin
            box[f"{name}.pull-up clamp voltage"] = rail + pin.clamp_drop + Toleranced.exact(KNEE_VOLTAGE, "V")
            box[f"{name}.pull-up clamp resistance"] = channel.pull_up + pin.clamp_resistance
    return box


def bank_voltage(circuit: Circuit) -> Toleranced:
    """Voltage of a capacitor bank at rest [V].

    Standing loads, and dividers through the recharge resistor, keep it below the battery's, to which it is charged
    where they are off. A bank that nothing recharges has been charged to the battery's.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> bank_voltage(circuit) == circuit.battery.voltage
    True
    """
    battery, controller, recharge = circuit.battery, circuit.controller, circuit.battery.recharge_resistance
    full = battery.voltage
    if recharge is None:
        return full
    load = sum((current for _, current in circuit.loads), Toleranced.exact(0.0, "A"))
    pairs = [(c.upper, c.lower) for c in circuit.channels]
    pairs += [c.bus_divider for c in circuit.channels if c.bus_divider is not None]
    usual = sum(full.nominal / (upper.nominal + lower.nominal) for upper, lower in pairs)
    behind = Toleranced(low=0.0, nominal=usual, high=sum(full.high / upper.low for upper, _ in pairs), unit="A")
    if controller.powered_before_arm_switch:
        load = load + controller.current
    else:
        behind = behind + controller.current
    most = (battery.resistance.high + battery.slow_resistance) * (load.high + behind.high)
    nominal = battery.resistance.nominal * (load.nominal + behind.nominal) + recharge.nominal * behind.nominal
    low = max(full.low - most - recharge.high * behind.high, 0.0)
    nominal = max(full.nominal - nominal, low)
    return Toleranced(low=low, nominal=nominal, high=full.high, unit="V")


def _may_be_off(current: Toleranced) -> Toleranced:
    return Toleranced(low=0.0, nominal=current.nominal, high=current.high, unit=current.unit)
