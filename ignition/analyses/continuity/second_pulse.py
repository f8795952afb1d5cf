"""Second measurement by a short pulse of the MOSFET: it shows the resistance of the loop, at firing current."""

from __future__ import annotations

import math
from dataclasses import replace

from ignition.analyses.continuity.bands import armed_states, code_bounds
from ignition.analyses.continuity.second_currents import driven_currents
from ignition.analyses.continuity.second_parts import (
    SecondMeasurement,
    SecondReading,
    hulls,
    missing_charge,
    separated,
)
from ignition.analyses.no_fire.gate import controller_rail, driven_gate_voltage, phase_box, turn_off_time
from ignition.analyses.no_fire.heating import heating, longest_pulse
from ignition.circuit.model import ChannelModel, Circuit, SecondModel
from ignition.network.elements import Network
from ignition.network.template import State, adc_pin, build_network, bus_pin, line_states
from ignition.network.worst_case import Extreme, Probe, extremes
from ignition.parts.mosfet import on_resistance_row, temperature_factor
from ignition.parts.sense import filter_time_constant
from ignition.toleranced import Spread, Toleranced

__all__ = ["on_resistance", "pulse_measurements"]


def on_resistance(circuit: Circuit, channel: ChannelModel) -> Toleranced | None:
    """Return the MOSFET's on-resistance at the gate voltage that the controller can give, unheated by a pulse.

    Returns
    -------
    On-resistance [ohm] over the ambient range; None below the lowest row of the data sheet
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
    return Toleranced(
        low=_least_on_resistance(circuit, channel),
        nominal=mosfet.rows[row].resistance.nominal * factor[1],
        high=mosfet.rows[row].resistance.high * factor[2],
        unit="ohm",
    )


def _least_on_resistance(circuit: Circuit, channel: ChannelModel) -> float:
    """Lowest on-resistance [ohm]: a higher gate voltage than a row's can only lower it, so the best row counts."""
    mosfet = circuit.mosfets[channel.mosfet]
    cold = float(temperature_factor(circuit.ambient.low, mosfet.hot_factor, mosfet.max_junction))
    return min(r.resistance.low for r in mosfet.rows) * cold


def pulse_measurements(circuit: Circuit, channel: ChannelModel, second: SecondModel) -> list[SecondMeasurement]:
    """Evaluate a short pulse of the channel's own MOSFET, read at its end.

    Parameters
    ----------
    second : Its second measurements, a test pulse among them

    Returns
    -------
    At the drain, and at the bus where the file has a divider there
    """
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
    box = phase_box(circuit, "armed")
    fully_on = box | {f"{channel.name}.mosfet": Toleranced.exact(_least_on_resistance(circuit, channel), "ohm")}

    def during_pulse(state: State) -> Network:
        return build_network(circuit, replace(state, commanded=frozenset({channel.name})))

    # a gate that the data sheet does not cover may still switch the MOSFET fully on
    driven = driven_currents(circuit, channel, [("armed", during_pulse, fully_on)])
    tail = turn_off_time(circuit, channel)
    on_time = pulse.high + tail
    warm = heating(circuit, channel, dict(driven.igniters), on_time)
    longest, why = longest_pulse(circuit, channel, dict(driven.igniters))
    if longest is not None:
        longest, why = (longest - tail, why) if longest > tail else (None, "the MOSFET's turn-off alone is longer")
    if reason is not None or resistance is None:
        nothing: tuple[SecondReading, ...] = ()
        return [
            SecondMeasurement(
                name="drain in a test pulse",
                when=when,
                readings=nothing,
                separates=(),
                heating=warm,
                driven=driven,
                pulse=on_time,
                longest_pulse=longest,
                reason=reason,
                caution=caution,
            )
        ]
    pulsed = box | {f"{channel.name}.mosfet": resistance}
    at_drain: list[tuple[str, Spread, Spread | None]] = []
    at_bus: list[tuple[str, Spread, Spread | None]] = []
    for line in (line for line in line_states(channel) if line != "not armed"):
        for state in armed_states(circuit, channel, line):
            before = build_network(circuit, state)
            pins = [adc_pin(channel), *([bus_pin(channel)] if channel.bus_divider is not None else [])]
            probes = [Probe(node=node) for node in pins]
            start = extremes(before, box, probes)
            end = extremes(during_pulse(state), pulsed, probes)
            at_drain.append(
                (
                    line,
                    *_during(circuit, pulse, start[0], end[0], (channel.upper, channel.lower, channel.filter), channel),
                )
            )
            if channel.bus_divider is not None:
                parts = (*channel.bus_divider, second.bus_filter)
                at_bus.append((line, *_during(circuit, pulse, start[1], end[1], parts, None)))
    result = []
    for name, members in (("drain in a test pulse", at_drain), ("bus in a test pulse", at_bus)):
        readings = hulls(members)
        if readings:
            result.append(
                SecondMeasurement(
                    name=name,
                    when=when,
                    readings=readings,
                    separates=separated(readings),
                    heating=warm,
                    driven=driven,
                    pulse=on_time,
                    longest_pulse=longest,
                    reason=why,
                    caution=caution,
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
    left = missing_charge(
        circuit, upper, lower, capacitor, pin_resistor=0.0 if channel is None else channel.pin_resistor.high
    )
    code = code_bounds(circuit, low, middle, high, left)
    return code, Spread(low=min(low, middle), nominal=middle, high=max(high, middle), unit="V")
