"""Which arming edges of a circuit are written as decks and compared, and the parts that each of them is made of."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from ignition.analyses.no_fire.corners import NEAR_VOLTAGE, Hold, contacts_at_edge, feed_inductance, holds, missing_keys
from ignition.analyses.no_fire.edge import LEAST_INDUCTANCE, Edge, edge_response
from ignition.analyses.no_fire.gate import input_capacitance
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.template import igniter_kinds
from ignition.parts.mosfet import gain, slope_factor, slope_voltage, threshold_at
from ignition.spice.arming_deck import INSULATION_RESISTANCE, LEAST_RESISTANCE, ArmingParts, arming_deck
from ignition.toleranced import Toleranced
from ignition.typing import FloatArray
from ignition.units import engineering

__all__ = ["ArmingCase", "Choose", "arming_cases", "arming_parts", "arming_times", "edge_of"]

Choose = Callable[[Toleranced], float]
"""Takes one value of a toleranced one."""

_UNITS = Toleranced(low=0.0, nominal=1.0, high=2.0, unit="1")
"""From the most to the least sensitive igniter of a type."""

_LEAST_EDGE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmingCase:
    """The arming edge of one igniter of a channel at nominal, with one thing that holds the gate and one rise time.

    Attributes
    ----------
    stop : End of the transient [s]
    """

    channel: ChannelModel
    igniter: str
    hold: Hold
    parts: ArmingParts

    stop: float

    @property
    def label(self) -> str:
        """Igniter, hold and edge in words."""
        return f"switch-on, {self.igniter} {self.hold}, edge {engineering(self.parts.rise_time, 's', 3)}"

    def deck(self, title: str, notes: tuple[str, ...] = ()) -> str:
        """Write the transient."""
        return arming_deck(self.parts, title, stop=self.stop, notes=notes)


def arming_cases(circuit: Circuit) -> tuple[ArmingCase, ...]:
    """List the arming edges of a circuit: one igniter of each type of a channel, each hold, fastest and slowest edge.

    Channels of which too little is known have none, nor have igniters without a no-fire current. The pin is without its
    protection diodes, on which the analysis does not count.
    """
    chosen = list(_chosen(circuit))
    if not chosen:
        return ()
    stops = arming_times(Edge.joined([edge_of(parts) for *_, parts in chosen]))
    return tuple(
        ArmingCase(channel=channel, igniter=name, hold=hold, parts=parts, stop=float(stop))
        for (channel, name, hold, parts), stop in zip(chosen, stops, strict=True)
    )


def _chosen(circuit: Circuit) -> Iterator[tuple[ChannelModel, str, Hold, ArmingParts]]:
    edge = circuit.arm_switch.edge
    assert edge is not None  # complete circuits have one
    times = dict.fromkeys(max(end, _LEAST_EDGE) for end in (edge.low, edge.high))
    for channel in circuit.channels:
        if missing_keys(circuit, channel):
            continue
        first = {kind: name for name, kind in reversed(igniter_kinds(channel).items())}
        for kind, name in sorted(first.items(), key=lambda item: item[1]):
            if not circuit.igniters[kind].threshold_low:
                continue
            for hold, rise in itertools.product(holds(circuit), times):
                parts = arming_parts(circuit, channel, kind, hold, rise, lambda value: value.nominal)
                yield channel, name, hold, replace(parts, clamp_drop=math.inf)


def arming_parts(
    circuit: Circuit,
    channel: ChannelModel,
    kind: str,
    hold: Hold,
    rise_time: float,
    choose: Choose,
    *,
    together: bool = False,
) -> ArmingParts:
    """Take the value of every part of one string at the arming edge; its other igniters are resistors.

    A dead controller has no rail. One in reset has that of its regulator, fed from where it is.

    Parameters
    ----------
    kind : Igniter type
    rise_time : Of the source [s]
    choose : Takes a value of each part; the battery's first, then in the order of the current's way
    together : Whether the channel's other strings are connected too
    """
    battery, controller, bridge = circuit.battery, circuit.controller, circuit.igniters[kind]
    pin, mosfet = controller.pin, circuit.mosfets[channel.mosfet]
    voltage = choose(battery.voltage)
    source = battery.resistance if battery.bank_resistance is None else battery.bank_resistance
    branch = 0.0 if channel.branch is None else choose(channel.branch.resistance)
    place = next(place for place, string in enumerate(channel.strings) if kind in string)
    string = list(channel.strings[place])
    string.remove(kind)
    of_branch = 0.0 if channel.branch is None else choose(channel.branch.inductance)
    temperature = choose(circuit.ambient)
    constant, unit = bridge.time_constant, choose(_UNITS)
    crss = None if mosfet.reverse_transfer_capacitance is None else choose(mosfet.reverse_transfer_capacitance)
    if mosfet.gate_drain_charge is not None:
        charge = choose(mosfet.gate_drain_charge)
    else:
        assert crss is not None  # else there is a missing key
        charge = crss * max(choose(mosfet.charge_voltage), voltage)
    far = charge / voltage if crss is None else min(crss, charge / voltage)
    inputs = input_capacitance(circuit, channel)
    assert inputs is not None and mosfet.input_capacitance is not None
    coss = choose(mosfet.output_capacitance)
    in_reset, dead = hold == "in reset", hold == "dead"
    driven_high = in_reset and pin.reset_pull_up == "driven high"
    pull_up = pin.reset_pull_up if isinstance(pin.reset_pull_up, Toleranced) else None
    row = mosfet.rows[0]
    return ArmingParts(
        battery_voltage=voltage,
        rise_time=rise_time,
        battery_resistance=choose(source),
        feed_resistance=sum(choose(part.resistance) for part in circuit.feed),
        lead_resistance=choose(channel.lead.resistance + contacts_at_edge(circuit, channel, hold)),
        string_resistance=branch + sum(choose(circuit.igniters[other].resistance) for other in string),
        inductance=max(choose(feed_inductance(circuit) + channel.lead.inductance), LEAST_INDUCTANCE),
        string_inductance=of_branch,
        beside=tuple(
            ((0.0 if channel.branch is None else choose(channel.branch.resistance)) + cold, of_branch)
            for other in (channel.strings[:place] + channel.strings[place + 1 :] if together else ())
            for cold in (sum(choose(circuit.igniters[kind].resistance) for kind in other),)
        ),
        line_capacitance=choose(channel.lead.capacitance) + sum(choose(part.capacitance) for part in circuit.feed),
        bridge_resistance=choose(bridge.resistance),
        growth=choose(bridge.growth),
        no_fire_current=_at(unit, bridge.threshold_low, bridge.threshold_nominal, bridge.threshold_high),
        time_constant=_at(unit, constant.fast, constant.nominal, constant.slow),
        threshold=float(threshold_at(temperature, choose(mosfet.threshold), choose(mosfet.threshold_drift))),
        sheet_threshold=mosfet.threshold.nominal,
        on_resistance=choose(row.resistance),
        on_gate_voltage=row.gate,
        threshold_current=choose(mosfet.threshold_current),
        subthreshold_slope=choose(mosfet.subthreshold_slope),
        temperature=temperature,
        breakdown=math.inf if mosfet.breakdown is None else choose(mosfet.breakdown),
        gate_source_capacitance=max(choose(mosfet.input_capacitance) - (crss or 0.0), 1e-12),
        drain_source_capacitance=max(coss - (crss or 0.0), 0.0),
        gate_drain_charge=charge,
        far_capacitance=far,
        half_voltage=math.inf if far >= charge / voltage else NEAR_VOLTAGE,
        gate_capacitor=0.0 if channel.gate_capacitor is None else choose(channel.gate_capacitor),
        gate_series=choose(channel.gate_series),
        pull_down=math.inf if channel.pull_down is None else choose(channel.pull_down),
        gate_charged=choose(
            Toleranced(low=0.0, nominal=controller.supply.nominal, high=controller.supply.high, unit="V")
        ),
        fed="nothing" if dead else "battery" if controller.powered_before_arm_switch else "bus",
        supply=0.0 if dead else choose(controller.supply),
        dropout=choose(controller.dropout),
        pin_output=choose(pin.output_resistance) if hold == "driven low" or driven_high else math.inf,
        pin_level=int(driven_high),
        pin_pull_up=choose(pull_up) if in_reset and pull_up is not None else math.inf,
        pin_pull_down=choose(pin.reset_pull_down) if in_reset and pin.reset_pull_down is not None else math.inf,
        clamp_drop=choose(pin.clamp_drop),
        clamp_resistance=choose(pin.clamp_resistance),
        pin_leakage=choose(pin.leakage),
        gate_leakage=choose(mosfet.gate_leakage),
    )


def _at(unit: float, low: float | None, nominal: float | None, high: float | None) -> float:
    """A value of the most sensitive unit (0), the nominal (1), the least sensitive (2), and in the logarithm between.

    So units of one adiabatic energy, whose time constant goes with the threshold to the power of -2, keep it.
    """
    known = next(value for value in (nominal, low, high) if value is not None)
    ends = [known if end is None else end for end in (low, nominal, high)]
    return float(np.exp(np.interp(unit, (0.0, 1.0, 2.0), np.log(ends))))


def arming_times(edge: Edge) -> FloatArray:
    """Return the end of a transient [s]: until line and gate have settled, or a gate that stays on has heated.

    Parameters
    ----------
    edge : Value sets, (n,)
    """
    charging = edge.loop_resistance * (edge.most_coupling + edge.drain_capacitance)
    settles = 20.0 * np.maximum(edge.inductance / edge.loop_resistance, charging)
    above = edge_response(edge, 10.0 * edge.time_constant).time_above_threshold
    return np.array([float(f"{stop:.3g}") for stop in edge.rise_time + settles + 2.0 * above + 0.1e-6])


def edge_of(parts: ArmingParts) -> Edge:
    """Return the same parts as a value set of the model: the loop and what holds the gate each as one source.

    The rail is the one before the edge, or that of the whole battery voltage for a controller behind the arm switch:
    the model does not know of its rise. Protection diodes are left out, which hold a gate lower.

    Parameters
    ----------
    parts : The parts
    """
    rail = parts.supply
    if parts.fed != "nothing":
        rail = max(0.0, min(parts.supply, parts.battery_voltage - parts.dropout))
    at_pin = [
        (parts.pin_output, rail * parts.pin_level),
        (parts.pin_pull_up, rail),
        (parts.pin_pull_down, 0.0),
    ]
    conductance = sum(1.0 / resistance for resistance, _ in at_pin)
    short_circuit = parts.pin_leakage + sum(voltage / resistance for resistance, voltage in at_pin)
    # the pin as one source behind the series resistor, then at the gate; without any resistor it is a current
    series = max(parts.gate_series, LEAST_RESISTANCE)
    share = 1.0 / (1.0 + conductance * series)
    conductance, short_circuit = conductance * share, short_circuit * share + parts.gate_leakage
    if math.isfinite(parts.pull_down):
        conductance += 1.0 / max(parts.pull_down, LEAST_RESISTANCE)
    if not parts.held:
        conductance += 1.0 / INSULATION_RESISTANCE
        short_circuit += parts.gate_charged / INSULATION_RESISTANCE
    even = parts.gate_drain_charge / parts.battery_voltage
    near = knee = math.inf
    if math.isfinite(parts.half_voltage):
        knee = parts.half_voltage
        beyond = parts.gate_drain_charge - parts.far_capacitance * parts.battery_voltage
        near = parts.far_capacitance + beyond / (knee * math.atan(parts.battery_voltage / knee))
    line = parts.battery_resistance + parts.feed_resistance + parts.lead_resistance
    own = parts.string_resistance + parts.bridge_resistance
    share = 1.0 / (1.0 + own * sum(1.0 / resistance for resistance, _ in parts.beside))
    return Edge.of(
        supply=parts.battery_voltage,
        rise_time=parts.rise_time,
        line_resistance=line + share * parts.string_resistance,
        inductance=parts.inductance + parts.string_inductance / (1 + len(parts.beside)),
        share=share,
        bridge_resistance=parts.bridge_resistance,
        growth=parts.growth,
        no_fire_current=parts.no_fire_current,
        time_constant=parts.time_constant,
        threshold=parts.threshold,
        gain=gain(parts.on_resistance, parts.on_gate_voltage, parts.sheet_threshold),
        row_overdrive=parts.on_gate_voltage - parts.sheet_threshold,
        threshold_current=parts.threshold_current,
        slope_voltage=slope_voltage(slope_factor(parts.subthreshold_slope), parts.temperature),
        gate_source_capacitance=parts.gate_source_capacitance + parts.gate_capacitor,
        near_capacitance=near if math.isfinite(near) else even,
        far_capacitance=parts.far_capacitance if math.isfinite(near) else even,
        knee_voltage=knee if math.isfinite(knee) else 1e6,
        breakdown=parts.breakdown,
        drain_capacitance=np.maximum(parts.drain_source_capacitance + parts.line_capacitance, 1e-12),
        gate_resistance=1.0 / conductance,
        gate_rest=short_circuit / conductance,
    )
