"""What the rest of a circuit asks of a sense divider."""

from __future__ import annotations

from dataclasses import dataclass

from ignition.analyses.continuity.bands import held_reference
from ignition.analyses.no_fire.gate import controller_rail, gate_in_phase
from ignition.analyses.no_fire.heating import current_limit
from ignition.circuit.model import ChannelModel, Circuit
from ignition.errors import InputError
from ignition.network.template import bank_voltage
from ignition.toleranced import Toleranced

__all__ = ["DividerDuty", "divider_duty"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DividerDuty:
    """What the rest of the circuit asks of a divider.

    Attributes
    ----------
    voltage : Battery voltage [V]
    lowest_drain : Lowest voltage behind the igniters of an armed, intact line without its own sense current [V]
    source : Resistance from battery, or capacitor bank, to drain through one string [ohm]
    path : The least part of it outside the strings [ohm]
    off_current : Drain current of the MOSFET while not commanded [A]
    leakage : Current that the converter's pin draws [A]
    rail, clamp_drop, clamp_resistance : Controller supply [V] and its clamp [V, ohm]
    clamp_limit : Largest clamp current [A]
    pin_low_resistance : Least resistance of the pin to ground where it is driven low [ohm]
    reference : Converter reference [V]
    total_error : Converter error [LSB]
    sample_capacitance, acquisition_time, filter : Sampling [F, s] and filter [F]
    tolerance, drift : Relative tolerance and temperature drift of each resistor [1]
    limit : Largest monitor current through an igniter [A]
    capacity : Least capacity of the battery [C]
    """

    voltage: Toleranced
    lowest_drain: float
    source: Toleranced
    path: float
    off_current: Toleranced
    leakage: Toleranced
    rail: Toleranced
    clamp_drop: Toleranced
    clamp_resistance: Toleranced
    clamp_limit: float
    pin_low_resistance: float
    reference: Toleranced
    bits: int
    total_error: float
    sample_capacitance: Toleranced | None
    acquisition_time: Toleranced | None
    filter: Toleranced | None
    tolerance: float
    drift: float
    limit: float | None
    limit_basis: str
    capacity: float | None


def divider_duty(circuit: Circuit, channel: ChannelModel, tolerance: float, share: float = 0.1) -> DividerDuty:
    """Collect what a channel asks of its divider.

    All current is counted through one string, which is exact for a single string and a bound for a cluster. The lowest
    drain voltage takes every other load, channel and bus divider at its highest through the highest battery
    and feed resistance.

    Raises InputError for a channel whose divider has no current while its high-side switch is open.

    Parameters
    ----------
    tolerance : Relative tolerance of the resistors to be chosen [1]
    share : Largest share of the lowest no-fire current that a monitor current may be [1]
    """
    controller = circuit.controller
    if channel.high_side is not None and channel.high_side.around is None:
        raise InputError(
            f"channel {channel.name!r}: nothing lies around its high-side switch, which is open while the line is "
            "tested: no divider reads it; write for example high_side = { resistance = '20 mohm', around = '100 kohm' }"
        )
    off = gate_in_phase(circuit, channel, "armed").off.current
    strings = [
        sum((circuit.igniters[k].resistance.low for k in s), channel.branch.resistance.low if channel.branch else 0.0)
        for s in channel.strings
    ]
    highest = [
        sum((circuit.igniters[k].resistance.high for k in s), channel.branch.resistance.high if channel.branch else 0.0)
        for s in channel.strings
    ]
    usual = [
        sum(
            (circuit.igniters[k].resistance.nominal for k in s),
            channel.branch.resistance.nominal if channel.branch else 0.0,
        )
        for s in channel.strings
    ]
    feed = [circuit.battery.bank_resistance or circuit.battery.resistance, *(p.resistance for p in circuit.feed)]
    line = channel.lead.resistance + channel.contacts_tested
    path = sum(p.low for p in feed) + line.low
    limit, basis = current_limit(circuit, channel, share)
    return DividerDuty(
        voltage=circuit.battery.voltage if circuit.battery.bank_resistance is None else bank_voltage(circuit),
        lowest_drain=_lowest_drain(circuit, channel),
        source=Toleranced(
            low=path + min(strings),
            nominal=sum(p.nominal for p in feed) + line.nominal + min(usual),
            high=sum(p.high for p in feed) + line.high + max(highest),
            unit="ohm",
        ),
        path=path,
        off_current=off,
        leakage=controller.adc.leakage,
        rail=controller_rail(circuit, "armed"),
        clamp_drop=controller.pin.clamp_drop,
        clamp_resistance=controller.pin.clamp_resistance,
        clamp_limit=controller.pin.clamp_current_limit.low,
        pin_low_resistance=controller.pin.output_resistance.low,
        reference=held_reference(circuit),
        bits=controller.adc.bits,
        total_error=controller.adc.total_error,
        sample_capacitance=controller.adc.sample_capacitance,
        acquisition_time=controller.adc.acquisition_time,
        filter=channel.filter,
        tolerance=tolerance,
        drift=channel.divider_drift,
        limit=limit,
        limit_basis=basis,
        capacity=None if circuit.battery.capacity is None else circuit.battery.capacity.low,
    )


def _lowest_drain(circuit: Circuit, channel: ChannelModel) -> float:
    """Lowest voltage behind battery and feed with every other load and channel at its highest current [V]."""
    at_terminal = sum(c.high for _, c in circuit.loads)
    at_bus = 0.0
    if circuit.controller.powered_before_arm_switch:
        at_terminal += circuit.controller.current.high
    else:
        at_bus += circuit.controller.current.high
    for other in circuit.channels:
        if other.bus_divider is not None:
            at_bus += circuit.battery.voltage.high / other.bus_divider[0].low
        if other is not channel:
            at_bus += circuit.battery.voltage.high / (other.upper.low + other.lower.low)
            at_bus += gate_in_phase(circuit, other, "armed").off.current.high + circuit.controller.adc.leakage.high
    feed = sum(p.resistance.high for p in circuit.feed)
    battery = circuit.battery
    if battery.bank_resistance is not None:  # at rest it has given way to the standing loads already
        return max(bank_voltage(circuit).low - at_bus * (battery.bank_resistance.high + feed), 0.0)
    return max(battery.voltage.low - (at_terminal + at_bus) * battery.resistance.high - at_bus * feed, 0.0)
