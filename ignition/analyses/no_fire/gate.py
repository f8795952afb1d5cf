"""What holds the gate in each phase, and what the MOSFET passes while it is not commanded on."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Literal

import numpy as np

from ignition.analyses.no_fire.off_state import OffState, lowest_threshold, off_state
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.template import State, build_network, parameter_box
from ignition.network.worst_case import Probe, extremes
from ignition.parts.controller import floating_gate_voltage, gate_voltage, regulated_supply
from ignition.parts.mosfet_transient import turn_on_delay
from ignition.toleranced import Spread, Toleranced, vertices
from ignition.typing import HIDDEN, FloatArray, Key, Volts

__all__ = [
    "ControllerState",
    "GateState",
    "controller_rail",
    "controller_states",
    "driven_gate_voltage",
    "floating",
    "gate_in_phase",
    "gate_in_reset",
    "input_capacitance",
    "phase_box",
    "turn_off_time",
]

_ZERO = Toleranced.exact(0.0, "V")


ControllerState = Literal["alive", "dead"]
"""``dead``: no supply, by a flat or unplugged source, a fuse of its own, or because it is not switched on yet."""


def controller_states(circuit: Circuit, phase: str) -> tuple[ControllerState, ...]:
    """List what the controller can be in a phase: alive or dead, and dead only where nothing feeds it.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> controller_states(load_example("ejection-single-cell"), "disarmed")
    ('dead',)
    """
    fed = circuit.controller.powered_before_arm_switch or phase != "disarmed"
    return ("alive", "dead") if fed else ("dead",)


@dataclass(frozen=True, slots=True, kw_only=True)
class GateState:
    """Gate of one channel in one phase.

    Attributes
    ----------
    gate_voltage : Gate to source [V]
    lowest_threshold : Lowest threshold at the hottest ambient, which may lie below zero
    off : What it passes while not commanded
    """

    channel: Annotated[str, HIDDEN]
    phase: Annotated[str, HIDDEN]
    controller: Annotated[ControllerState, HIDDEN]
    gate_voltage: Toleranced
    lowest_threshold: Volts
    off: Annotated[OffState, HIDDEN]

    @property
    def off_current(self) -> Annotated[Spread, Key("off_current")]:
        """Most that it passes while not commanded."""
        return self.off.told


def controller_rail(circuit: Circuit, phase: str, terminal: Toleranced | None = None) -> Toleranced:
    """Return the supply rail of a controller that is alive where it can be.

    Parameters
    ----------
    terminal : Voltage where the controller takes its supply [V]; by default the battery's under the loads that are not
        firing

    Returns
    -------
    Rail [V]; zero where the controller is dead
    """
    controller = circuit.controller
    if phase == "disarmed" and not controller.powered_before_arm_switch:
        return Toleranced.exact(0.0, "V")
    if terminal is None:
        drawn = controller.current.high + sum(current.high for _, current in circuit.loads)
        dividers = [channel.upper for channel in circuit.channels]
        dividers += [channel.bus_divider[0] for channel in circuit.channels if channel.bus_divider is not None]
        drawn += sum(circuit.battery.voltage.high / upper.low + controller.adc.leakage.high for upper in dividers)
        drawn += sum(gate_in_phase(circuit, channel, "armed").off.current.high for channel in circuit.channels)
        usual = controller.current.nominal + sum(current.nominal for _, current in circuit.loads)
        behind = circuit.battery.resistance
        if not controller.powered_before_arm_switch:
            for part in circuit.feed:
                behind = behind + part.resistance
        nominal = circuit.battery.voltage.nominal - usual * behind.nominal
        terminal = Toleranced(
            low=min(max(circuit.battery.voltage.low - drawn * behind.high, 0.0), nominal),
            nominal=nominal,
            high=circuit.battery.voltage.high,
            unit="V",
        )
    low, nominal, high = (
        float(regulated_supply(v, s, d))
        for v, s, d in (
            (terminal.low, controller.supply.low, controller.dropout.high),
            (terminal.nominal, controller.supply.nominal, controller.dropout.nominal),
            (terminal.high, controller.supply.high, controller.dropout.low),
        )
    )
    return Toleranced(low=low, nominal=nominal, high=high, unit="V")


def input_capacitance(circuit: Circuit, channel: ChannelModel) -> Toleranced | None:
    """Return what the gate of a channel holds: the MOSFET's input capacitance and a capacitor fitted there [F].

    None where the MOSFET's is not given.
    """
    own, fitted = circuit.mosfets[channel.mosfet].input_capacitance, channel.gate_capacitor
    return own if own is None or fitted is None else own + fitted


def _gate_leakage(circuit: Circuit, channel: ChannelModel) -> Toleranced:
    return circuit.controller.pin.leakage + circuit.mosfets[channel.mosfet].gate_leakage


def _at_corners(law: Callable[..., FloatArray], **members: Toleranced | None) -> Toleranced:
    """Bounds of a voltage that is monotone in each value [V]; a resistor that is not there is infinite."""
    known = {name: value for name, value in members.items() if value is not None}

    def at(rows: FloatArray) -> FloatArray:
        return law(**dict.fromkeys(members, math.inf) | {name: rows[..., i] for i, name in enumerate(known)})

    values, nominal = at(vertices(list(known.values()))), float(at(np.array([m.nominal for m in known.values()])))
    return Toleranced(
        low=min(float(values.min()), nominal), nominal=nominal, high=max(float(values.max()), nominal), unit="V"
    )


def driven_gate_voltage(circuit: Circuit, channel: ChannelModel, rail: Toleranced) -> Toleranced:
    """Return the gate voltage while the pin drives it, high with a rail or low with a rail of zero.

    Parameters
    ----------
    rail : Voltage behind the pin [V]

    Returns
    -------
    Gate voltage [V], exact at the corners: it is monotone in each value
    """
    return _at_corners(
        gate_voltage,
        supply=rail,
        output_resistance=circuit.controller.pin.output_resistance,
        series_resistance=channel.gate_series,
        pull_down=channel.pull_down,
        leakage=_gate_leakage(circuit, channel),
    )


def floating(
    circuit: Circuit, channel: ChannelModel, rail: Toleranced, *, reset: bool, dead: bool = False
) -> Toleranced:
    """Return the gate voltage while no pin drives it.

    Parameters
    ----------
    rail : Supply rail [V]
    reset : Whether the pin has the pull-up and pull-down that it has in reset
    dead : Whether the controller has no supply: its rail may be at any voltage up to its own, fed through other pins

    Returns
    -------
    Gate voltage [V], exact at the corners
    """
    pin = circuit.controller.pin
    limit = (replace(rail, high=circuit.controller.supply.high) if dead else rail) + pin.clamp_drop
    pull_up = pin.reset_pull_up if reset and pin.reset_pull_up != "driven high" else None
    return _at_corners(
        floating_gate_voltage,
        supply=rail,
        reset_pull_up=pull_up,
        series_resistance=channel.gate_series,
        pull_down=channel.pull_down,
        leakage=_gate_leakage(circuit, channel),
        reset_pull_down=pin.reset_pull_down if reset else None,
        clamp_voltage=limit,
        clamp_resistance=pin.clamp_resistance,
    )


def gate_in_phase(
    circuit: Circuit, channel: ChannelModel, phase: str, controller: ControllerState = "alive"
) -> GateState:
    """Return gate voltage and drain current of a channel that is not commanded.

    Alive, armed or disarmed: the pin drives the gate low. Alive, in reset: the pin floats, is pulled up to the rail, or
    is driven high where nothing is known of it. Dead: only the pull-down holds. What a gate above the lowest hot
    threshold lets through sags the rail, with which the low side is found.

    Parameters
    ----------
    phase : ``disarmed``, ``reset``, ``armed`` or ``firing`` (another channel's)

    Returns
    -------
    Gate voltage [V], and what the MOSFET passes
    """
    mosfet = circuit.mosfets[channel.mosfet]
    lowest = lowest_threshold(mosfet, circuit.ambient)
    if controller == "dead" or controller not in controller_states(circuit, phase):
        # a gate that nothing at all drives may hold any charge: then it is taken at the supply
        nothing = channel.pull_down is None
        voltage = floating(circuit, channel, circuit.controller.supply if nothing else _ZERO, reset=False, dead=True)
    elif phase == "reset":
        rail = controller_rail(circuit, phase)
        voltage = gate_in_reset(circuit, channel, rail)
        if voltage.high >= lowest:
            voltage = gate_in_reset(circuit, channel, replace(rail, low=_sagged(circuit, rail)))
    else:
        voltage = driven_gate_voltage(circuit, channel, _ZERO)
    return GateState(
        channel=channel.name,
        phase=phase,
        controller=controller,
        gate_voltage=voltage,
        lowest_threshold=lowest,
        off=off_state(mosfet, voltage, circuit.ambient),
    )


def gate_in_reset(circuit: Circuit, channel: ChannelModel, rail: Toleranced) -> Toleranced:
    """Return the gate voltage while the controller is alive and its pins are as reset leaves them [V].

    Parameters
    ----------
    rail : Supply rail [V]
    """
    loose = floating(circuit, channel, rail, reset=True)
    if circuit.controller.pin.reset_pull_up != "driven high":
        return loose
    return replace(loose, high=max(loose.high, driven_gate_voltage(circuit, channel, rail).high))


def _sagged(circuit: Circuit, rail: Toleranced) -> float:
    """Lowest rail while every channel passes in reset what its gate would let it at the rail that has not sagged [V].

    A rail that sags lowers the gates, so that they pass no more than that. Every line is a short, which draws most.
    """
    off = {
        c.name: off_state(circuit.mosfets[c.mosfet], gate_in_reset(circuit, c, rail), circuit.ambient)
        for c in circuit.channels
    }
    box = parameter_box(
        circuit,
        off_currents={name: state.current for name, state in off.items()},
        on_resistances={name: state.resistance for name, state in off.items()},
        rail=rail,
        loads_certain=False,
    )
    network = build_network(circuit, State(phase="reset", lines={c.name: "shorted" for c in circuit.channels}))
    fed = "battery terminal" if circuit.controller.powered_before_arm_switch else "bus"
    terminal = extremes(network, box, [Probe(node=fed)])[0].low
    controller = circuit.controller
    return min(float(regulated_supply(terminal, controller.supply.low, controller.dropout.high)), rail.low)


def turn_off_time(circuit: Circuit, channel: ChannelModel) -> float:
    """Return the longest time for which the MOSFET stays on after its pin goes low [s].

    The law of the turn-on, mirrored: the gate sinks from the highest drive to the lowest threshold, and stands still
    there while the drain rises; the pull-down is not counted. Infinite where the gate held low may conduct; zero where
    the input capacitance is not given, without its share where the gate-drain charge is not.
    """
    mosfet, pin = circuit.mosfets[channel.mosfet], circuit.controller.pin
    capacitance = input_capacitance(circuit, channel)
    if capacitance is None:
        return 0.0
    held = gate_in_phase(circuit, channel, "armed")
    drive = driven_gate_voltage(circuit, channel, controller_rail(circuit, "armed")).high - held.gate_voltage.high
    return float(
        turn_on_delay(
            drive,
            drive + held.gate_voltage.high - held.lowest_threshold,
            pin.output_resistance.high + channel.gate_series.high,
            capacitance.high,
            0.0 if mosfet.gate_drain_charge is None else mosfet.gate_drain_charge.high,
        )
    )


def phase_box(
    circuit: Circuit,
    phase: str,
    on_resistances: Mapping[str, Toleranced] | None = None,
    controller: ControllerState = "alive",
) -> dict[str, Toleranced]:
    """Return the bounds of every network parameter in a phase [SI].

    Parameters
    ----------
    phase : ``disarmed``, ``reset``, ``armed`` or ``firing``
    on_resistances : On-resistance [ohm] of each commanded channel
    """
    off = {c.name: gate_in_phase(circuit, c, phase, controller).off for c in circuit.channels}
    return parameter_box(
        circuit,
        off_currents={name: state.current for name, state in off.items()},
        on_resistances={name: state.resistance for name, state in off.items()} | dict(on_resistances or {}),
        rail=_ZERO if controller == "dead" else controller_rail(circuit, phase),
        loads_certain=phase == "firing",
    )
