"""Second measurements that the circuit file describes: what each reads in each line state, and which states it separates."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from ignition.analyses.bands import armed_states, code_bounds, connected_igniters, reference_voltage, spread_of
from ignition.analyses.gate import controller_rail, driven_gate_voltage, phase_box
from ignition.analyses.monitor_current import Heating, heating, longest_pulse
from ignition.analyses.ratio import ratio_extremes
from ignition.analyses.results import Spread
from ignition.analyses.thresholds import overlapping
from ignition.circuit.extremes import Extreme, Probe, extremes
from ignition.circuit.model import ChannelModel, Circuit, SecondModel
from ignition.circuit.network import GROUND, Element, Network
from ignition.circuit.states import State, adc_pin, build_network, drain, line_states
from ignition.errors import NetworkError
from ignition.parts.mosfet import on_resistance_row, temperature_factor
from ignition.parts.sense import filter_time_constant, settling_error, thevenin_resistance
from ignition.toleranced import Toleranced

__all__ = ["SecondMeasurement", "SecondReading", "on_resistance", "second_measurements"]

_INSULATION = 1e12
"""Resistance from bus to ground where nothing else ties the bus down [ohm]: insulation, so that its voltage is defined."""

_CLOSED = "arm switch closed, line intact"
"""State that the measurements before arming look for: a switch that is stuck, or was never opened."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondReading:
    """What a second measurement reads in one state.

    Attributes
    ----------
    state : str
        Line state.
    value : Spread
        Converter reading [LSB], or a ratio of two readings [1].
    voltage : Spread or None
        Voltage at the pin [V]; None for a ratio.
    """

    state: str
    value: Spread
    voltage: Spread | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondMeasurement:
    """One second measurement, evaluated.

    Attributes
    ----------
    name : str
        What is measured.
    when : str
        In which condition of the circuit.
    readings : tuple of SecondReading
        One for each state that can be present then.
    separates : tuple of (str, str)
        Pairs of states whose readings do not overlap.
    heating : Heating or None
        What the measurement itself does to the igniters of an intact line or one with one string open.
    longest_pulse : float or None
        For a pulse: longest one that stays at a hundredth of the temperature rise to function [s].
    reason : str or None
        Why the measurement cannot be made, or a number is missing.
    caution : str or None
        What the measurement risks.
    """

    name: str
    when: str
    readings: tuple[SecondReading, ...]
    separates: tuple[tuple[str, str], ...]
    heating: Heating | None
    longest_pulse: float | None = None
    reason: str | None = None
    caution: str | None = None


def second_measurements(circuit: Circuit, channel: ChannelModel) -> tuple[SecondMeasurement, ...]:
    """Evaluate every second measurement that a channel's description names.

    Parameters
    ----------
    circuit : Circuit
        The circuit.
    channel : ChannelModel
        The channel; its ``second`` table names the measurements.

    Returns
    -------
    tuple of SecondMeasurement
        Empty where the file names none.
    """
    second = channel.second
    if second is None:
        return ()
    found: list[SecondMeasurement] = []
    if second.bus_upper is not None:
        found += _bus(circuit, channel, second)
    if second.before_arming:
        found.append(_disarmed(circuit, channel, second, pull_up=False))
    if second.pull_up is not None:
        found.append(_disarmed(circuit, channel, second, pull_up=True))
    if second.test_pulse is not None:
        found += _pulse(circuit, channel, second)
    return tuple(found)


def _separated(readings: Sequence[SecondReading]) -> tuple[tuple[str, str], ...]:
    pairs = []
    for index, one in enumerate(readings):
        for two in readings[index + 1 :]:
            if one.value.low is None or two.value.low is None:
                continue
            if one.value.unit == "code":
                apart = not overlapping(one.value, two.value)
            else:
                assert one.value.high is not None and two.value.high is not None
                apart = one.value.high < two.value.low or two.value.high < one.value.low
            if apart:
                pairs.append((one.state, two.state))
    return tuple(pairs)


def _hulls(members: Sequence[tuple[str, Spread, Spread | None]]) -> tuple[SecondReading, ...]:
    """One reading for each state, over all states of the whole circuit that show it."""
    states = dict.fromkeys(state for state, _, _ in members)
    result = []
    for state in states:
        values = [v for s, v, _ in members if s == state]
        volts = [w for s, _, w in members if s == state and w is not None]
        result.append(
            SecondReading(state=state, value=Spread.hull(values), voltage=Spread.hull(volts) if volts else None)
        )
    return tuple(result)


def _as_code(code: Spread) -> Spread:
    return replace(code, unit="code")


# --- the bus -------------------------------------------------------------------------------------------------------


def _with_bus(network: Network, second: SecondModel) -> Network:
    """The network with the divider at the bus, where there is one."""
    if second.bus_upper is None:
        return network
    extra = (
        Element(name="bus.upper", kind="resistor", plus="bus", minus="bus.pin", resistance=(("bus.upper", 1.0),)),
        Element(name="bus.lower", kind="resistor", plus="bus.pin", minus=GROUND, resistance=(("bus.lower", 1.0),)),
        Element(name="bus.leakage", kind="sink", plus="bus.pin", minus=GROUND, current=(("bus.leakage", 1.0),)),
        Element(
            name="bus.clamp",
            kind="clamp",
            plus="bus.pin",
            minus=GROUND,
            voltage=(("bus.clamp voltage", 1.0),),
            resistance=(("bus.clamp resistance", 1.0),),
        ),
    )
    return replace(network, elements=network.elements + extra)


def _box(circuit: Circuit, channel: ChannelModel, second: SecondModel, phase: str) -> dict[str, Toleranced]:
    box = phase_box(circuit, phase)
    if second.bus_upper is not None and second.bus_lower is not None:
        box["bus.upper"], box["bus.lower"] = second.bus_upper, second.bus_lower
        box["bus.leakage"] = circuit.controller.adc.leakage
        box["bus.clamp voltage"] = box[f"{channel.name}.clamp voltage"]
        box["bus.clamp resistance"] = box[f"{channel.name}.clamp resistance"]
    return box


def _missing_charge(
    circuit: Circuit, upper: Toleranced, lower: Toleranced, capacitor: Toleranced | None, *, loose: bool = False,
    pin_resistor: float = 0.0,
) -> float:
    """Largest share of the sample capacitor's step that is missing after the acquisition [1]."""
    adc = circuit.controller.adc
    if adc.sample_capacitance is None or adc.acquisition_time is None:
        return 0.0
    source = lower.high if loose else float(thevenin_resistance(upper.high, lower.high))
    return float(
        settling_error(
            adc.acquisition_time.low,
            source if capacitor is not None else source + pin_resistor,
            pin_resistor if capacitor is not None else 0.0,
            adc.sample_capacitance.high,
            0.0 if capacitor is None else capacitor.low,
        )
    )


def _bus(circuit: Circuit, channel: ChannelModel, second: SecondModel) -> list[SecondMeasurement]:
    assert second.bus_upper is not None and second.bus_lower is not None
    box = _box(circuit, channel, second, "armed")
    left = _missing_charge(circuit, second.bus_upper, second.bus_lower, second.bus_filter)
    codes: list[tuple[str, Spread, Spread | None]] = []
    ratios: list[tuple[str, Spread, Spread | None]] = []
    currents: dict[str, float] = {}
    for line in line_states(channel):
        for state in armed_states(circuit, channel, line):
            network = _with_bus(build_network(circuit, state), second)
            names = connected_igniters(channel, state) if line in ("intact", "one string open") else []
            pin, *found = extremes(network, box, [Probe(node="bus.pin"), *(Probe(element=n) for n in names)])
            _raise(currents, names, found)
            if line == "not armed" and not circuit.controller.powered_before_arm_switch:
                missing = Spread.missing("code", "the controller has no supply while the arm switch is open")
                codes.append((line, missing, spread_of(pin, "V")))
                continue
            codes.append((line, _as_code(code_bounds(circuit, pin.low, pin.nominal, pin.high, left)), spread_of(pin, "V")))
            if line != "not armed":
                ratios.append((line, _ratio(circuit, channel, network, box, pin, left), None))
    readings, shares = _hulls(codes), _hulls(ratios)
    warm = heating(circuit, channel, currents, None)
    return [
        SecondMeasurement(
            name="bus voltage", when="armed", readings=readings, separates=_separated(readings), heating=warm
        ),
        SecondMeasurement(
            name="drain reading over bus reading",
            when="armed, both read within one settled interval",
            readings=shares,
            separates=_separated(shares),
            heating=warm,
        ),
    ]


def _raise(currents: dict[str, float], names: Sequence[str], found: Sequence[Extreme]) -> None:
    for name, extreme in zip(names, found, strict=True):
        currents[name] = max(currents.get(name, 0.0), abs(extreme.low), abs(extreme.high))


def _ratio(
    circuit: Circuit,
    channel: ChannelModel,
    network: Network,
    box: Mapping[str, Toleranced],
    bus: Extreme,
    bus_left: float,
) -> Spread:
    """Ratio of the two readings: the reference cancels, the errors in LSB count most at the lowest bus reading."""
    try:
        volts = ratio_extremes(network, box, adc_pin(channel), "bus.pin")
    except NetworkError as error:
        return Spread.missing("ratio", str(error))
    adc, reference = circuit.controller.adc, reference_voltage(circuit)
    error = adc.total_error + 0.5
    full = 2.0**adc.bits
    least = bus.low / reference.high * full
    most_pin = volts.high * bus.high * full / reference.low
    if least * (1.0 - bus_left) <= error or max(bus.high / reference.low * full, most_pin) > full - 1.0:
        return Spread.missing("ratio", "the bus reading can be zero, or a reading at full scale")
    left = _missing_charge(
        circuit, channel.upper, channel.lower, channel.filter, loose=True, pin_resistor=channel.pin_resistor.high
    )
    # both fractions are monotone in the true bus reading; the sample capacitor starts anywhere in its range
    share = volts.low * (1.0 - left if volts.low > 0 else 1.0)
    ends = (least, bus.high / reference.low * full)
    low = min((share * c - error) / (c + bus_left * full + error) for c in ends)
    high = max((volts.high * c + left * full + error) / (c * (1.0 - bus_left) - error) for c in ends)
    return Spread(low=low, nominal=volts.nominal, high=high, unit="ratio")


# --- before arming -------------------------------------------------------------------------------------------------


def _disarmed(circuit: Circuit, channel: ChannelModel, second: SecondModel, *, pull_up: bool) -> SecondMeasurement:
    """Drain with the arm switch open, by itself or pulled up from the controller's supply."""
    name = "drain with weak pull-up" if pull_up else "drain before arming"
    when = "arm switch open" + (", pull-up connected by a controller pin for the test" if pull_up else "")
    if not circuit.controller.powered_before_arm_switch:
        reason = "the controller has no supply while the arm switch is open"
        return SecondMeasurement(name=name, when=when, readings=(), separates=(), heating=None, reason=reason)
    members: list[tuple[str, Spread, Spread | None]] = []
    currents: dict[str, float] = {}
    lines = [line for line in line_states(channel) if line != "not armed"]
    for phase, label in [*(("disarmed", line) for line in lines), ("armed", _CLOSED)]:
        box = _box(circuit, channel, second, phase) | _pull_up_box(circuit, second)
        line = "intact" if label == _CLOSED else label
        left = _missing_charge(
            circuit, channel.upper, channel.lower, channel.filter, loose=True, pin_resistor=channel.pin_resistor.high
        )
        for state in armed_states(circuit, channel, line):
            network = _with_bus(build_network(circuit, replace(state, phase=phase)), second)
            network = replace(network, elements=network.elements + _pull_up_elements(channel, pull_up))
            names = connected_igniters(channel, state) if label in ("intact", "one string open") else []
            pin, *found = extremes(network, box, [Probe(node=adc_pin(channel)), *(Probe(element=n) for n in names)])
            _raise(currents, names, found)
            members.append(
                (label, _as_code(code_bounds(circuit, pin.low, pin.nominal, pin.high, left)), spread_of(pin, "V"))
            )
    readings = _hulls(members)
    return SecondMeasurement(
        name=name,
        when=when,
        readings=readings,
        separates=_separated(readings),
        heating=heating(circuit, channel, currents, None),
    )


def _pull_up_box(circuit: Circuit, second: SecondModel) -> dict[str, Toleranced]:
    pin = circuit.controller.pin.output_resistance
    resistance = Toleranced.exact(1.0, "ohm") if second.pull_up is None else second.pull_up + pin
    return {
        "pull-up.voltage": controller_rail(circuit, "armed"),
        "pull-up.resistance": resistance,
        "insulation": Toleranced.exact(_INSULATION, "ohm"),
    }


def _pull_up_elements(channel: ChannelModel, pull_up: bool) -> tuple[Element, ...]:
    insulation = Element(
        name="bus insulation", kind="resistor", plus="bus", minus=GROUND, resistance=(("insulation", 1.0),)
    )
    if not pull_up:
        return (insulation,)
    return (
        insulation,
        Element(
            name="pull-up",
            kind="source",
            plus=drain(channel),
            minus=GROUND,
            voltage=(("pull-up.voltage", 1.0),),
            resistance=(("pull-up.resistance", 1.0),),
        ),
    )


# --- test pulse ----------------------------------------------------------------------------------------------------


def on_resistance(circuit: Circuit, channel: ChannelModel) -> Toleranced | None:
    """Return the MOSFET's on-resistance at the gate voltage that the controller can give, unheated by a pulse.

    Parameters
    ----------
    circuit : Circuit
        The circuit.
    channel : ChannelModel
        The channel.

    Returns
    -------
    Toleranced or None
        On-resistance [ohm] over the ambient range; None below the lowest row of the data sheet.
    """
    mosfet = circuit.mosfets[channel.mosfet]
    gate = driven_gate_voltage(circuit, channel, controller_rail(circuit, "armed"))
    row = int(on_resistance_row(gate.low, [r.gate for r in mosfet.rows]))
    if row < 0:
        return None
    ambient = circuit.ambient
    factor = [
        float(temperature_factor(t, mosfet.hot_factor, mosfet.max_junction))
        for t in (ambient.low, ambient.nominal, ambient.high)
    ]
    # a higher gate voltage than the row's can only lower the resistance: the low side is that of the best row
    best = min(r.resistance.low for r in mosfet.rows)
    return Toleranced(
        low=best * factor[0],
        nominal=mosfet.rows[row].resistance.nominal * factor[1],
        high=mosfet.rows[row].resistance.high * factor[2],
        unit="ohm",
    )


def _pulse(circuit: Circuit, channel: ChannelModel, second: SecondModel) -> list[SecondMeasurement]:
    """Readings at the end of a short pulse of the channel's own MOSFET."""
    assert second.test_pulse is not None
    pulse = second.test_pulse
    when = f"armed, MOSFET on for {pulse.nominal * 1e6:g} us, read at the end of the pulse"
    caution = "a pin or MOSFET that stays on fires the igniter: the pulse needs a hardware limit of its own"
    resistance = on_resistance(circuit, channel)
    acquisition = circuit.controller.adc.acquisition_time
    reason = None
    if resistance is None:
        reason = "the gate voltage lies below the lowest on-resistance row of the data sheet"
    elif acquisition is not None and acquisition.high > pulse.low:
        reason = f"the converter needs {acquisition.high:.3g} s to acquire, longer than the pulse"
    if reason is not None or resistance is None:
        nothing: tuple[SecondReading, ...] = ()
        return [
            SecondMeasurement(
                name="drain in a test pulse", when=when, readings=nothing, separates=(), heating=None, reason=reason,
                caution=caution,
            )
        ]
    box = _box(circuit, channel, second, "armed")
    pulsed = box | {f"{channel.name}.mosfet": resistance}
    at_drain: list[tuple[str, Spread, Spread | None]] = []
    at_bus: list[tuple[str, Spread, Spread | None]] = []
    currents: dict[str, float] = {}
    for line in (line for line in line_states(channel) if line != "not armed"):
        for state in armed_states(circuit, channel, line):
            before = _with_bus(build_network(circuit, state), second)
            during = _with_bus(build_network(circuit, replace(state, commanded=frozenset({channel.name}))), second)
            names = connected_igniters(channel, state) if line in ("intact", "one string open") else []
            pins = [adc_pin(channel), *(["bus.pin"] if second.bus_upper is not None else [])]
            probes = [Probe(node=node) for node in pins]
            start = extremes(before, box, probes)
            end = extremes(during, pulsed, [*probes, *(Probe(element=n) for n in names)])
            _raise(currents, names, end[len(pins) :])
            at_drain.append(
                (line, *_during(circuit, pulse, start[0], end[0], (channel.upper, channel.lower, channel.filter), channel))
            )
            if second.bus_upper is not None and second.bus_lower is not None:
                parts = (second.bus_upper, second.bus_lower, second.bus_filter)
                at_bus.append((line, *_during(circuit, pulse, start[1], end[1], parts, None)))
    warm = heating(circuit, channel, currents, pulse.high)
    longest, why = longest_pulse(circuit, channel, currents)
    result = []
    for name, members in (("drain in a test pulse", at_drain), ("bus in a test pulse", at_bus)):
        readings = _hulls(members)
        if readings:
            result.append(
                SecondMeasurement(
                    name=name, when=when, readings=readings, separates=_separated(readings), heating=warm,
                    longest_pulse=longest, reason=why, caution=caution,
                )
            )
    return result


def _during(
    circuit: Circuit,
    pulse: Toleranced,
    start: Extreme,
    end: Extreme,
    divider: tuple[Toleranced, Toleranced, Toleranced | None],
    channel: ChannelModel | None,
) -> tuple[Spread, Spread]:
    """Code and voltage at the end of the pulse: the filter lets only part of the change through."""
    upper, lower, capacitor = divider
    rest = (0.0, 0.0, 0.0)
    if capacitor is not None:
        least, most = (
            float(filter_time_constant(u, v, c))
            for u, v, c in ((upper.low, lower.low, capacitor.low), (upper.high, lower.high, capacitor.high))
        )
        usual = float(filter_time_constant(upper.nominal, lower.nominal, capacitor.nominal))
        rest = (
            math.exp(-pulse.high / least),
            math.exp(-pulse.nominal / usual),
            math.exp(-pulse.low / most),
        )
    low = min(end.low * (1.0 - x) + start.low * x for x in (rest[0], rest[2]))
    high = max(end.high * (1.0 - x) + start.high * x for x in (rest[0], rest[2]))
    middle = end.nominal * (1.0 - rest[1]) + start.nominal * rest[1]
    left = _missing_charge(
        circuit, upper, lower, capacitor, pin_resistor=0.0 if channel is None else channel.pin_resistor.high
    )
    code = _as_code(code_bounds(circuit, low, middle, high, left))
    return code, Spread(low=min(low, middle), nominal=middle, high=max(high, middle), unit="V")
