"""Firing transient as a SPICE deck: switches driven by pulses, bridges that heat, latch and open or short."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ignition.errors import InputError
from ignition.network.elements import Element, Network
from ignition.spice.cards import Writer, element_cards, number
from ignition.spice.deck import check_network
from ignition.spice.rawfile import Plot
from ignition.typing import FloatArray

__all__ = [
    "Bridge",
    "OPEN_RESISTANCE",
    "Pulse",
    "SHORT_RESISTANCE",
    "bridge_cards",
    "firing_deck",
    "latch_cards",
    "read_function_times",
]

OPEN_RESISTANCE = 1e9
"""Resistance written for a spent bridge that is open, and for a switch that is off [ohm]."""

SHORT_RESISTANCE = 1e-4
"""Resistance written for a spent bridge, or a closed switch, of no resistance [ohm]."""

_TRANSIENT_OPTIONS = ".options reltol=1e-6 abstol=1e-12 vntol=1e-9 method=gear"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bridge:
    """Thermal values of one bridge; its cold resistance stands in the network.

    Attributes
    ----------
    threshold : Steady threshold current [A]
    time_constant : Thermal time constant [s]
    growth : Relative growth of the resistance up to the function temperature [1]
    spent_resistance : Resistance after function [ohm]; infinite where it opens, 0 where it shorts
    """

    threshold: float
    time_constant: float
    growth: float = 0.0
    spent_resistance: float = math.inf

    def __post_init__(self) -> None:
        for name in ("threshold", "time_constant"):
            value = getattr(self, name)
            if not (value > 0.0 and math.isfinite(value)):
                raise InputError(f"{name} of a bridge must be above zero and finite; received {value!r}")
        if not self.growth > -1.0:
            raise InputError(f"growth of a bridge must be above -1; received {self.growth!r}")
        if not self.spent_resistance >= 0.0:
            raise InputError(f"spent_resistance must be 0 ohm or more, or infinite; received {self.spent_resistance!r}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulse:
    """Time during which one MOSFET conducts.

    Attributes
    ----------
    start, stop : From and to [s] from the start of the transient
    """

    start: float
    stop: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.start < self.stop < math.inf:
            raise InputError(f"a pulse must have 0 <= start < stop; received {self.start!r}, {self.stop!r}")


def firing_deck(
    network: Network,
    values: Mapping[str, float],
    title: str,
    *,
    bridges: Mapping[str, Bridge],
    pulses: Mapping[str, Pulse],
    stop: float,
    step: float,
    notes: Sequence[str] = (),
) -> str:
    """Write the deck of a firing transient.

    Voltage of node ``fraction_X`` is the thermal fraction x of igniter X: a capacitor of tau farad with 1 ohm beside
    it, driven by (I / I0)^2 (1 + a x) / (1 + a) ampere. A switch with hysteresis closes as x passes 1 and opens at -1,
    that is never: it lifts node ``done_X`` to 1 V, which ends the heating and makes the bridge what it is when spent.

    Raises InputError if a name is no closed resistor of the network, or stop and step do not fit. Raises NetworkError
    for a missing parameter or a node that floats.

    Parameters
    ----------
    network : The network in its firing state, with the elements named in `pulses` closed
    values : Value of each parameter [SI]
    bridges : Igniter elements that heat; an igniter not named stays a resistor
    pulses : Elements that become switches, each with the time that it conducts
    stop : End of the transient [s]
    step : Longest time step [s]; a function is felt by the other igniters at most one step late

    Returns
    -------
    Complete deck with one ``.tran``
    """
    check_network(network, values)
    if not 0.0 < step < stop < math.inf:
        raise InputError(f"step and stop must ascend from zero; received {step!r}, {stop!r}")
    for name in (*bridges, *pulses):
        if network.element(name).kind != "resistor" or not network.element(name).closed:
            raise InputError(f"{name!r} must be a closed resistor of the network to become a bridge or a switch")
    writer = Writer.of(network)
    writer.head(title, notes)
    writer.comment("Firing transient. fraction_X: thermal fraction of igniter X, it functions at 1.")
    writer.comment("done_X: 0 V until igniter X has functioned, then 1 V.")
    writer.comment("Current of Vm_X is the current of X from its first to its second node.")
    for element in network.elements:
        if element.name in bridges:
            resistance = float(element.total(element.resistance, values))
            writer.add(*bridge_cards(writer, element, resistance, bridges[element.name]))
        elif element.name in pulses:
            resistance = float(element.total(element.resistance, values))
            writer.add(*_switch_cards(writer, element, resistance, pulses[element.name], step))
        elif element.closed:
            writer.add(*element_cards(writer, element, values))
        else:
            writer.comment(f"open, left out: {writer.elements.of(element.name)}")
    writer.add(*latch_cards(writer), _TRANSIENT_OPTIONS, f".tran {number(step)} {number(stop)} 0.0 {number(step)}")
    return writer.text()


def bridge_cards(writer: Writer, element: Element, resistance: float, bridge: Bridge) -> list[str]:
    """Write one igniter: electrical branch, thermal node and latch.

    Raises InputError if the resistance is not above zero.

    Parameters
    ----------
    resistance : Cold resistance [ohm], above zero

    Returns
    -------
    SPICE lines; they need those of `latch_cards` once in the deck
    """
    if not resistance > 0.0:
        raise InputError(f"bridge resistance must be above 0 ohm; received {resistance!r} for {element.name!r}")
    plus, minus, middle = writer.nodes.of(element.plus), writer.nodes.of(element.minus), writer.middle(element)
    name, meter = writer.elements.of(element.name), writer.ammeter(element)
    fraction, done = writer.nodes.of(element.name, "fraction"), writer.nodes.of(element.name, "done")
    one = writer.nodes.of("one volt", "latch")
    spent = max(min(bridge.spent_resistance, OPEN_RESISTANCE), SHORT_RESISTANCE)
    grown = f"(1.0+({number(bridge.growth)})*V({fraction}))"
    gain = 1.0 / (bridge.threshold**2 * (1.0 + bridge.growth))
    return [
        f"B_{name} {plus} {middle} I=V({plus},{middle})*((1.0-V({done}))/({number(resistance)}*{grown})"
        f"+V({done})/{number(spent)})",
        f"{meter} {middle} {minus} 0.0",
        f"B_heat_{name} 0 {fraction} I=(1.0-V({done}))*{number(gain)}*I({meter})*I({meter})*{grown}",
        f"C_heat_{name} {fraction} 0 {number(bridge.time_constant)}",
        f"R_loss_{name} {fraction} 0 1.0",
        f"S_done_{name} {one} {done} {fraction} 0 latch off",
        f"R_done_{name} {done} 0 1.0",
    ]


def latch_cards(writer: Writer) -> list[str]:
    """Write what all latches share: a source of 1 V and the model of the switch that closes at 1 V for good."""
    one = writer.nodes.of("one volt", "latch")
    return [f"V_latch {one} 0 1.0", ".model latch sw(vt=0.0 vh=1.0 ron=1e-9 roff=1e12)"]


def _switch_cards(writer: Writer, element: Element, resistance: float, pulse: Pulse, step: float) -> list[str]:
    """A MOSFET as a switch of its on-resistance, driven by a pulse whose edges are short against the step."""
    plus, minus, middle = writer.nodes.of(element.plus), writer.nodes.of(element.minus), writer.middle(element)
    name, drive = writer.elements.of(element.name), writer.nodes.of(element.name, "drive")
    edge = min(step, pulse.stop - pulse.start) / 100.0
    corners = [(pulse.start, 0.0), (pulse.start + edge, 1.0), (pulse.stop, 1.0), (pulse.stop + edge, 0.0)]
    if pulse.start > 0.0:
        corners.insert(0, (0.0, 0.0))
    points = " ".join(f"{number(time)} {number(level)}" for time, level in corners)
    closed = number(max(resistance, SHORT_RESISTANCE))
    return [
        f"S_{name} {plus} {middle} {drive} 0 switch_{name} off",
        f"{writer.ammeter(element)} {middle} {minus} 0.0",
        f".model switch_{name} sw(vt=0.5 vh=0.0 ron={closed} roff={number(OPEN_RESISTANCE)})",
        f"V_drive_{name} {drive} 0 pwl({points})",
    ]


def read_function_times(plot: Plot, network: Network, bridges: Mapping[str, Bridge]) -> dict[str, float]:
    """Read when each igniter functioned.

    Parameters
    ----------
    plot : Answer of ngspice to the deck of `firing_deck`
    network : The network that the deck was written from

    Returns
    -------
    Time at which the thermal fraction reaches 1 [s] from the start of the transient; infinite where it never does
    """
    writer = Writer.of(network)
    time = plot.signal("time")
    return {
        name: _function_time(
            time,
            plot.signal(f"v({writer.nodes.of(name, 'fraction')})"),
            plot.signal(f"v({writer.nodes.of(name, 'done')})"),
        )
        for name in bridges
    }


def _function_time(time: FloatArray, fraction: FloatArray, done: FloatArray) -> float:
    """Time between the last point before the latch and the first after it, where the fraction's slope reaches 1.

    The latch ends the heating within the step in which it closes, so that the fraction itself may stop short of 1.
    """
    after = np.flatnonzero(done > 0.5)
    if not len(after):
        return math.inf
    k = int(after[0])
    if k < 2:
        return float(time[k])
    slope = (fraction[k - 1] - fraction[k - 2]) / (time[k - 1] - time[k - 2])
    if not slope > 0.0:
        return float(time[k])
    return float(np.clip(time[k - 1] + (1.0 - fraction[k - 1]) / slope, time[k - 1], time[k]))
