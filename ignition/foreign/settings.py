"""Bounds and states of a foreign netlist in each phase, the controller alive and dead, with nothing broken."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from ignition.analyses.faults.situations import Setting, Situation, situations
from ignition.analyses.no_fire.gate import controller_rail
from ignition.foreign.binding import BODY_DIODE, Bound, BoundChannel
from ignition.foreign.whole import TIE
from ignition.network.whole import CONTACT, more_than_none, one_way
from ignition.toleranced import Toleranced

__all__ = ["netlist_setting", "quiet_situations"]

_NONE = Toleranced.exact(0.0, "V")
_LOOSE = Toleranced(low=0.0, nominal=TIE, high=TIE, unit="ohm")
"""A supply that may be held or hang loose."""


def quiet_situations(bound: Bound) -> tuple[Situation, ...]:
    """List the phases in which nobody fires, each with the controller alive and dead."""
    return tuple(one for one in situations(bound.roles.circuit) if one.phase != "firing")


def netlist_setting(bound: Bound, situation: Situation, rail: str) -> Setting:
    """Return bounds and states of a netlist in which nothing is broken, what each MOSFET passes aside.

    Parameters
    ----------
    rail : What a fault makes of the controller's supply: ``regulated``, ``battery`` or ``none``
    """
    circuit = bound.roles.circuit
    alive = situation.controller == "alive" and rail != "none"
    supply = _NONE
    if alive:
        supply = circuit.battery.voltage if rail == "battery" else controller_rail(circuit, situation.pins)
    box = {
        "battery.voltage": circuit.battery.voltage,
        "battery.resistance": circuit.battery.resistance,
        "fault.contact": Toleranced.exact(CONTACT, "ohm"),
        "wet": Toleranced.exact(CONTACT, "ohm"),
        "tie": Toleranced.exact(TIE, "ohm"),
    }
    box |= dict(_parts(bound)) | dict(_supply(bound, situation, supply, alive))
    for node in {channel.pin for channel in bound.channels}:
        box |= {f"pin {node}.{key}": value for key, value in _pin(bound, situation, supply, alive)}
    for node in {channel.sense for channel in bound.channels}:
        box |= {f"converter {node}.{key}": value for key, value in _converter(bound, supply)}
    for channel in bound.channels:
        box |= {f"{channel.switch} {key}": value for key, value in _switch(bound, channel)}
    return Setting(box=box, states=_states(bound, situation, alive))


def _parts(bound: Bound) -> Iterator[tuple[str, Toleranced]]:
    circuit = bound.roles.circuit
    for part in bound.netlist.parts:
        if part.name in bound.arm:
            yield part.name, bound.roles.file.arm_switch.resistance
        elif part.kind == "i":  # loads may also be off
            value = bound.values[part.name]
            yield part.name, replace(value, low=min(value.low, 0.0), high=max(value.high, 0.0))
        elif part.name in bound.values:
            yield part.name, bound.values[part.name]
    for name, diode in bound.diodes.items():
        yield f"{name} drop", diode.drop
        yield f"{name} resistance", diode.resistance
        yield f"{name} leakage", diode.leakage
        yield f"{name} leaky", Toleranced.exact(0.0, "ohm")
        if diode.breakdown is not None:
            yield f"{name} breakdown", diode.breakdown
    for channel in bound.channels:
        for name, kind in channel.igniters.items():
            igniter = circuit.igniters[kind]
            yield name, replace(igniter.resistance, low=igniter.heated.low)


def _supply(bound: Bound, situation: Situation, supply: Toleranced, alive: bool) -> Iterator[tuple[str, Toleranced]]:
    """The supply in the netlist: as regulated; of a dead controller anything up to that, held or loose.

    While disarmed a supply that comes after the arm switch is without a source; what a stuck switch feeds is any
    voltage up to its own.
    """
    controller = bound.roles.circuit.controller
    fed = controller.powered_before_arm_switch or situation.phase != "disarmed"
    most = Toleranced(low=0.0, nominal=0.0, high=controller.supply.high, unit="V")
    yield "supply.voltage", supply if alive else most if fed else _NONE
    yield "supply.resistance", Toleranced.exact(0.0, "ohm") if alive else _LOOSE
    yield "supply.fed", replace(most, nominal=controller.supply.nominal)
    yield "supply.fed resistance", Toleranced.exact(1.0, "ohm")


def _pin(bound: Bound, situation: Situation, supply: Toleranced, alive: bool) -> Iterator[tuple[str, Toleranced]]:
    """What drives a gate's pin, what leaks there, and where its clamps lead."""
    controller = bound.roles.circuit.controller
    pin = controller.pin
    voltage, resistance, rail = _NONE, more_than_none(pin.output_resistance), supply
    if not alive:
        # a rail that nothing feeds may be at any voltage up to its own, fed through other pins
        rail = Toleranced(low=0.0, nominal=0.0, high=controller.supply.high, unit="V")
    elif situation.pins == "reset" and isinstance(pin.reset_pull_up, Toleranced):
        voltage, resistance = supply, more_than_none(pin.reset_pull_up)
    elif situation.pins == "reset" and pin.reset_pull_up is not None:
        voltage = replace(supply, low=0.0)  # it may be driven either way, or not at all
        resistance = replace(resistance, high=TIE)
    yield "voltage", voltage
    yield "resistance", resistance
    yield "rail", supply
    yield "reset pull-down", pin.reset_pull_down or Toleranced.exact(TIE, "ohm")
    yield "leakage up", one_way(pin.leakage.high)
    yield "leakage down", one_way(-pin.leakage.low)
    yield "clamp voltage", rail + pin.clamp_drop
    yield "clamp drop", pin.clamp_drop
    yield "clamp resistance", pin.clamp_resistance


def _converter(bound: Bound, supply: Toleranced) -> Iterator[tuple[str, Toleranced]]:
    controller = bound.roles.circuit.controller
    yield "leakage", controller.adc.leakage
    yield "rail", supply
    yield "output resistance", more_than_none(controller.pin.output_resistance)
    yield "clamp voltage", supply + controller.pin.clamp_drop
    yield "clamp drop", controller.pin.clamp_drop
    yield "clamp resistance", controller.pin.clamp_resistance


def _switch(bound: Bound, channel: BoundChannel) -> Iterator[tuple[str, Toleranced]]:
    leakage = bound.roles.circuit.mosfets[channel.mosfet].gate_leakage
    yield "off current", Toleranced.exact(0.0, "A")
    yield "resistance", Toleranced.exact(0.0, "ohm")
    yield "body diode drop", BODY_DIODE.drop
    yield "body diode resistance", BODY_DIODE.resistance
    yield "gate.leakage up", one_way(leakage.high)
    yield "gate.leakage down", one_way(-leakage.low)
    yield "leaky", Toleranced.exact(0.0, "ohm")


def _states(bound: Bound, situation: Situation, alive: bool) -> dict[str, bool]:
    pin = bound.roles.circuit.controller.pin
    states = dict.fromkeys(bound.arm, situation.phase != "disarmed")
    for node in {channel.pin for channel in bound.channels}:
        floats = not alive or (situation.pins == "reset" and pin.reset_pull_up is None)
        states[f"pin {node} driver"] = not floats
        states[f"pin {node} reset pull-down"] = alive and situation.pins == "reset" and pin.reset_pull_down is not None
    return states
