"""What a circuit can be in while something is broken: phase, controller, commanded channels; its bounds and states."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from ignition.analyses.no_fire.gate import ControllerState, controller_rail, controller_states
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.elements import KNEE_VOLTAGE
from ignition.network.template import high_side_closed, igniter_kinds, parameter_box
from ignition.network.whole import gate_box, more_than_none
from ignition.toleranced import Toleranced

__all__ = ["Setting", "Situation", "healthy", "situations"]

_NONE = Toleranced.exact(0.0, "V")


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """A phase, with a controller that is alive or dead, and the channels that it commands.

    Attributes
    ----------
    woken : Phase in which the controller is though the switch is open, because some fault feeds it; empty where
        nothing feeds it that should not
    tested : Channel whose drain a pin pulls up, which is a test before arming; empty where none is tested
    """

    phase: str
    controller: ControllerState
    commanded: frozenset[str] = frozenset()
    woken: Literal["", "reset", "armed"] = ""
    tested: str = ""

    @property
    def pins(self) -> str:
        """Phase that the controller's pins are in."""
        return self.woken or self.phase


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """Bounds of every parameter of the whole network [SI], and the elements that are not as the armed circuit has them.

    Attributes
    ----------
    states : Whether each of these elements is closed
    """

    box: Mapping[str, Toleranced]
    states: Mapping[str, bool]


def situations(circuit: Circuit) -> tuple[Situation, ...]:
    """List the steady situations: each phase with the controller alive and dead, each channel tested and fired alone.

    A controller after the arm switch is dead while disarmed, unless a fault feeds it: a switch that is stuck, a wire
    that touches the battery.
    """
    quiet = [
        Situation(phase=phase, controller=controller)
        for phase in ("disarmed", "reset", "armed")
        for controller in controller_states(circuit, phase)
    ]
    if not circuit.controller.powered_before_arm_switch:
        quiet[1:1] = [Situation(phase="disarmed", controller="alive", woken=pins) for pins in ("reset", "armed")]
    else:
        pulled = [channel.name for channel in circuit.channels if channel.pull_up is not None]
        quiet[2:2] = [Situation(phase="disarmed", controller="alive", tested=name) for name in pulled]
    fired = [Situation(phase="firing", controller="alive", commanded=frozenset({c.name})) for c in circuit.channels]
    return (*quiet, *fired)


def healthy(circuit: Circuit, situation: Situation, rail: str = "regulated") -> Setting:
    """Return bounds and states of a circuit in which nothing is broken, what each MOSFET passes, and each gate, aside.

    Parameters
    ----------
    rail : What a fault makes of the controller's supply: ``regulated``, ``battery`` or ``none``
    """
    alive = situation.controller == "alive" and rail != "none"
    supply = _NONE
    if alive:
        supply = circuit.battery.voltage if rail == "battery" else controller_rail(circuit, situation.pins)
    certain = situation.phase == "firing"
    box = parameter_box(circuit, off_currents={}, on_resistances={}, rail=supply, loads_certain=certain)
    box |= gate_box(circuit, supply)
    states: dict[str, bool] = {}
    open_switch = situation.phase == "disarmed"
    if open_switch:
        states[f"feed.{circuit.arm_switch.name}"] = False
    for channel in circuit.channels:
        if channel.return_contact is not None and open_switch:
            states[f"{channel.name}.return contact"] = False
        if channel.shunt is not None and open_switch:
            states[f"{channel.name}.shunt"] = True
        if channel.high_side is not None and alive:
            fired = channel.name in situation.commanded
            states[f"{channel.name}.high side"] = high_side_closed(circuit, situation.pins, commanded=fired)
        for key, value in _gate_pin(circuit, situation, channel, supply, alive):
            box[f"{channel.name}.{key}"] = value
        states |= dict(_gate_states(circuit, situation, channel, alive))
        if channel.name in situation.commanded:
            states |= {f"{channel.name}.mosfet": True, f"{channel.name}.mosfet off": False}
        for name, kind in igniter_kinds(channel).items():
            box[name] = replace(box[name], low=circuit.igniters[kind].heated.low)
        if channel.pull_up is not None:  # its pin may also be low
            _may_be_low(circuit, channel, box)
        if channel.name == situation.tested and alive:
            states |= {f"{channel.name}.pull-up driver": True, f"{channel.name}.pull-up clamp": False}
    return Setting(box=box, states=states)


def _may_be_low(circuit: Circuit, channel: ChannelModel, box: dict[str, Toleranced]) -> None:
    held, path = f"{channel.name}.pull-up clamp voltage", f"{channel.name}.pull-up clamp resistance"
    box[held] = replace(box[held], low=KNEE_VOLTAGE)
    box[path] = Toleranced.hull(box[path], more_than_none(circuit.controller.pin.output_resistance))


def _gate_pin(
    circuit: Circuit, situation: Situation, channel: ChannelModel, supply: Toleranced, alive: bool
) -> Iterator[tuple[str, Toleranced]]:
    """What drives the gate's pin: voltage and resistance behind it."""
    pin = circuit.controller.pin
    if not alive:
        # a rail that nothing feeds may be at any voltage up to its own, fed through other pins
        loose = Toleranced(low=0.0, nominal=0.0, high=circuit.controller.supply.high, unit="V")
        yield "pin clamp voltage", loose + pin.clamp_drop
    elif situation.pins == "reset" and pin.reset_pull_up is not None:
        driven = pin.reset_pull_up == "driven high"
        yield "pin voltage", replace(supply, low=0.0) if driven else supply
        yield (
            "pin driver",
            more_than_none(pin.output_resistance if pin.reset_pull_up == "driven high" else pin.reset_pull_up),
        )
    elif channel.name in situation.commanded:
        yield "pin voltage", supply


def _gate_states(
    circuit: Circuit, situation: Situation, channel: ChannelModel, alive: bool
) -> Iterator[tuple[str, bool]]:
    pin, name = circuit.controller.pin, channel.name
    if not alive:
        yield f"{name}.pin driver", False
    elif situation.pins == "reset":
        if pin.reset_pull_up is None:
            yield f"{name}.pin driver", False
        if pin.reset_pull_down is not None:
            yield f"{name}.reset pull-down", True
