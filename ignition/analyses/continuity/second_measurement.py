"""Second measurements that the circuit file describes: at the bus, and at the drain before arming."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial

from ignition.analyses.continuity.bands import (
    NO_REFERENCE,
    armed_states,
    code_bounds,
    reference_voltage,
    spread_of,
)
from ignition.analyses.continuity.ratio import ratio_extremes
from ignition.analyses.continuity.second_currents import Condition, driven_currents
from ignition.analyses.continuity.second_parts import (
    BUS_VOLTAGE,
    SecondMeasurement,
    hulls,
    missing_charge,
    separated,
)
from ignition.analyses.continuity.second_pulse import pulse_measurements
from ignition.analyses.no_fire.gate import controller_rail, phase_box
from ignition.analyses.no_fire.heating import heating
from ignition.circuit.model import ChannelModel, Circuit, SecondModel
from ignition.errors import NetworkError
from ignition.network.elements import GROUND, Element, Network
from ignition.network.template import State, adc_pin, build_network, bus_pin, drain, line_states
from ignition.network.worst_case import Extreme, Probe, extremes
from ignition.toleranced import Spread, Toleranced

__all__ = ["second_measurements"]

_INSULATION = 1e12
"""Resistance from bus to ground where nothing else ties the bus down [ohm]: insulation."""

_CLOSED = "arm switch closed, line intact"
"""State that the measurements before arming look for: a switch that is stuck, or was never opened."""


def second_measurements(circuit: Circuit, channel: ChannelModel) -> tuple[SecondMeasurement, ...]:
    """Evaluate every second measurement that a channel's description names.

    Parameters
    ----------
    channel : The channel; its ``second`` table names the measurements
    """
    second = channel.second
    if second is None:
        return ()
    found: list[SecondMeasurement] = []
    if channel.bus_divider is not None:
        found += _bus(circuit, channel, second)
    if second.before_arming:
        found.append(_disarmed(circuit, channel, second, pull_up=False))
    if second.pull_up is not None:
        found.append(_disarmed(circuit, channel, second, pull_up=True))
    if second.test_pulse is not None:
        found += pulse_measurements(circuit, channel, second)
    return tuple(found)


def _bus(circuit: Circuit, channel: ChannelModel, second: SecondModel) -> list[SecondMeasurement]:
    assert channel.bus_divider is not None
    box = phase_box(circuit, "armed")
    left = missing_charge(circuit, *channel.bus_divider, second.bus_filter)
    codes: list[tuple[str, Spread, Spread | None]] = []
    ratios: list[tuple[str, Spread, Spread | None]] = []
    for line in line_states(channel):
        for state in armed_states(circuit, channel, line):
            network = build_network(circuit, state)
            pin = extremes(network, box, [Probe(node=bus_pin(channel))])[0]
            if line == "not armed" and not circuit.controller.powered_before_arm_switch:
                missing = Spread.missing("1", "the controller has no supply while the arm switch is open")
                codes.append((line, missing, spread_of(pin, "V")))
                continue
            codes.append((line, code_bounds(circuit, pin.low, pin.nominal, pin.high, left), spread_of(pin, "V")))
            if line != "not armed":
                ratios.append((line, _ratio(circuit, channel, network, box, pin, left), None))
    readings, shares = hulls(codes), hulls(ratios)
    driven = driven_currents(circuit, channel, [("armed", partial(build_network, circuit), box)])
    warm = heating(circuit, channel, dict(driven.igniters), None)
    return [
        SecondMeasurement(
            name=BUS_VOLTAGE,
            when="armed",
            readings=readings,
            separates=separated(readings),
            heating=warm,
            driven=driven,
        ),
        SecondMeasurement(
            name="drain reading over bus reading",
            when="armed, both read within one settled interval",
            readings=shares,
            separates=separated(shares),
            heating=warm,
            driven=driven,
        ),
    ]


def _ratio(
    circuit: Circuit,
    channel: ChannelModel,
    network: Network,
    box: Mapping[str, Toleranced],
    bus: Extreme,
    bus_left: float,
) -> Spread:
    """Ratio of the two readings: the reference cancels, the errors in LSB count most at the lowest bus reading."""
    adc, reference = circuit.controller.adc, reference_voltage(circuit)
    if reference.low <= 0.0:
        return Spread.missing("1", NO_REFERENCE)
    try:
        volts = ratio_extremes(network, box, adc_pin(channel), bus_pin(channel))
    except NetworkError as failure:
        return Spread.missing("1", str(failure))
    error = adc.total_error + 0.5
    full = 2.0**adc.bits
    least = bus.low / reference.high * full
    most_pin = volts.high * bus.high * full / reference.low
    if least * (1.0 - bus_left) <= error or max(bus.high / reference.low * full, most_pin) > full - 1.0:
        return Spread.missing("1", "the bus reading can be zero, or a reading at full scale")
    left = missing_charge(
        circuit, channel.into_tap, channel.lower, channel.filter, loose=True, pin_resistor=channel.pin_resistor.high
    )
    # both fractions are monotone in the true bus reading; the sample capacitor starts anywhere in its range
    share = volts.low * (1.0 - left if volts.low > 0 else 1.0)
    ends = (least, bus.high / reference.low * full)
    low = min((share * c - error) / (c + bus_left * full + error) for c in ends)
    high = max((volts.high * c + left * full + error) / (c * (1.0 - bus_left) - error) for c in ends)
    return Spread(low=low, nominal=volts.nominal, high=high, unit="1")


def _disarmed(circuit: Circuit, channel: ChannelModel, second: SecondModel, *, pull_up: bool) -> SecondMeasurement:
    """Drain with the arm switch open, by itself or pulled up from the controller's supply."""
    name = "drain with weak pull-up" if pull_up else "drain before arming"
    when = "arm switch open" + (", pull-up connected by a controller pin for the test" if pull_up else "")
    if not circuit.controller.powered_before_arm_switch:
        reason = "the controller has no supply while the arm switch is open"
        return SecondMeasurement(name=name, when=when, readings=(), separates=(), heating=None, reason=reason)
    members: list[tuple[str, Spread, Spread | None]] = []

    def built(state: State) -> Network:
        network = build_network(circuit, state).switched(opened=[f"{channel.name}.pull-up clamp"] if pull_up else [])
        return replace(network, elements=network.elements + _pull_up_elements(channel, pull_up))

    conditions: dict[str, Condition] = {}
    lines = [line for line in line_states(channel) if line != "not armed"]
    for phase, label in [*(("disarmed", line) for line in lines), ("armed", _CLOSED)]:
        box = phase_box(circuit, phase) | _pull_up_box(circuit, second)
        conditions[phase] = (phase, built, box)
        line = "intact" if label == _CLOSED else label
        left = missing_charge(
            circuit, channel.into_tap, channel.lower, channel.filter, loose=True, pin_resistor=channel.pin_resistor.high
        )
        for state in armed_states(circuit, channel, line):
            pin = extremes(built(replace(state, phase=phase)), box, [Probe(node=adc_pin(channel))])[0]
            members.append((label, code_bounds(circuit, pin.low, pin.nominal, pin.high, left), spread_of(pin, "V")))
    readings = hulls(members)
    driven = driven_currents(circuit, channel, list(conditions.values()))
    return SecondMeasurement(
        name=name,
        when=when,
        readings=readings,
        separates=separated(readings),
        heating=heating(circuit, channel, dict(driven.igniters), None),
        driven=driven,
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
