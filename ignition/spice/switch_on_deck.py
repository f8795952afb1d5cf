"""Battery edge as a SPICE deck: the drain's rise lifts the gate, the channel conducts, the bridges heat."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ignition.errors import InputError
from ignition.network.elements import Element, Network
from ignition.spice.cards import Writer, element_cards, number
from ignition.spice.deck import check_network
from ignition.spice.firing_deck import SHORT_RESISTANCE, Bridge, bridge_cards, latch_cards
from ignition.spice.rawfile import Plot

__all__ = ["Gate", "INSULATION_RESISTANCE", "SwitchOnAnswer", "read_switch_on", "switch_on_deck"]

INSULATION_RESISTANCE = 1e12
"""Resistance written from a gate that nothing holds to ground [ohm]; SPICE needs a path for the operating point."""

_OPTIONS = ".options reltol=1e-5 abstol=1e-13 vntol=1e-9 chgtol=1e-18 method=gear"


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """A MOSFET and what holds its gate, for one channel.

    Attributes
    ----------
    threshold : Threshold voltage [V]
    gain : Gain K of the square law: saturation current K (Vgs - Vth)^2 / 2 [A/V^2]
    input_capacitance, output_capacitance, reverse_transfer_capacitance : Ciss, Coss, Crss [F]: Cgd = Crss, Cgs = Ciss -
        Crss, Cds = Coss - Crss
    series, pull_down : Resistor between pin and gate, and from gate to ground [ohm]; an infinite pull-down is none
    drive_resistance : Output resistance of the pin, or its pull-up in reset [ohm]; infinite for a pin that floats
    drive_voltage : Voltage behind that resistance [V]
    leakage : Leakage current into the gate node [A], either sign
    """

    drain: str
    threshold: float
    gain: float
    input_capacitance: float
    output_capacitance: float
    reverse_transfer_capacitance: float
    series: float
    pull_down: float = math.inf
    drive_resistance: float = math.inf
    drive_voltage: float = 0.0
    leakage: float = 0.0

    def __post_init__(self) -> None:
        ciss, coss, crss = self.input_capacitance, self.output_capacitance, self.reverse_transfer_capacitance
        if not 0.0 <= crss < ciss < math.inf or not crss <= coss < math.inf:
            raise InputError(
                f"capacitances must satisfy 0 <= Crss < Ciss and Crss <= Coss; received Ciss {ciss!r}, Coss {coss!r}, "
                f"Crss {crss!r} F"
            )
        if not self.gain > 0.0:
            raise InputError(f"gain must be above zero; received {self.gain!r}")
        if min(self.series, self.pull_down, self.drive_resistance) < 0.0:
            raise InputError("resistances at the gate must be 0 ohm or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchOnAnswer:
    """What the edge does, by SPICE.

    Attributes
    ----------
    peak_gate_voltage : Highest gate voltage of each channel [V]
    peak_current : Highest current of each igniter [A]
    energy : Energy into each igniter until the end of the transient [J]
    thermal_fraction : Highest thermal fraction of each igniter that has a bridge model [1]
    """

    peak_gate_voltage: Mapping[str, float]
    peak_current: Mapping[str, float]
    energy: Mapping[str, float]
    thermal_fraction: Mapping[str, float]


def switch_on_deck(
    network: Network,
    values: Mapping[str, float],
    title: str,
    *,
    gates: Mapping[str, Gate],
    edge: float,
    stop: float,
    step: float,
    bridges: Mapping[str, Bridge] | None = None,
    capacitors: Mapping[tuple[str, str], float] | None = None,
    notes: Sequence[str] = (),
) -> str:
    """Write the deck of the battery edge.

    Channel current: K (Vov u - u^2 / 2) with Vov = max(0, Vgs - Vth) and u = min(max(Vds, 0), Vov); no sub-threshold
    current beyond the leakage that the network holds, no body diode. Voltage of node ``energy_X`` is the energy into
    igniter X in microjoule.

    Raises InputError if a gate's drain is no node of the network, or edge, step and stop do not fit. Raises
    NetworkError for a missing parameter or a node that floats.

    Parameters
    ----------
    network : The network after the edge, arm switch closed, no channel commanded
    values : Value of each parameter [SI]
    edge : Duration of the edge [s]: the battery's voltage, and every load with it, rises in a straight line
    stop : End of the transient [s]
    step : Longest time step [s]
    bridges : Igniter elements that heat; the others stay resistors
    capacitors : Further capacitors [F] between pairs of nodes, such as the filter of a sense divider

    Returns
    -------
    Complete deck with one ``.tran``
    """
    bridges = bridges or {}
    check_network(network, values)
    if not (0.0 < edge < stop < math.inf and 0.0 < step < stop):
        raise InputError(f"edge and step must lie between zero and stop; received {edge!r}, {step!r}, {stop!r}")
    unknown = sorted({g.drain for g in gates.values()} - set(network.nodes))
    if unknown:
        raise InputError(f"drain {unknown[0]!r} is no node of the network; there are {', '.join(network.nodes)}")
    writer = Writer.of(network)
    writer.head(title, notes)
    writer.comment("Battery edge. gate_X: gate of channel X. energy_X: energy into igniter X in microjoule.")
    writer.comment("Current of Vm_X is the current of X from its first to its second node.")
    rise = writer.nodes.of("rise", "edge")
    writer.add(f"V_edge {rise} 0 pwl(0.0 0.0 {number(edge)} 1.0)")
    for element in network.elements:
        _element(writer, element, values, bridges, edge, f"V({rise})")
    for name in network.igniters:
        if network.element(name).closed:
            writer.add(*_energy_cards(writer, network.element(name)))
    for channel, gate in gates.items():
        writer.add(*_gate_cards(writer, channel, gate))
    for index, ((plus, minus), value) in enumerate((capacitors or {}).items(), start=1):
        writer.add(f"C_extra_{index} {writer.nodes.of(plus)} {writer.nodes.of(minus)} {number(value)}")
    if bridges:
        writer.add(*latch_cards(writer))
    writer.add(_OPTIONS, f".tran {number(step)} {number(stop)} 0.0 {number(step)}")
    return writer.text()


def _element(
    writer: Writer,
    element: Element,
    values: Mapping[str, float],
    bridges: Mapping[str, Bridge],
    edge: float,
    rise: str,
) -> None:
    if not element.closed:
        writer.comment(f"open, left out: {writer.elements.of(element.name)}")
    elif element.name in bridges:
        resistance = float(element.total(element.resistance, values))
        writer.add(*bridge_cards(writer, element, resistance, bridges[element.name]))
    else:
        shape = f"pwl(0.0 0.0 {number(edge)} {number(float(element.total(element.voltage, values)))})"
        writer.add(*element_cards(writer, element, values, source_shape=shape, sink_factor=rise))


def _energy_cards(writer: Writer, element: Element) -> list[str]:
    """Integrator of the power into one igniter, in microjoule; its capacitor leaks with 1e9 s."""
    name, energy = writer.elements.of(element.name), writer.nodes.of(element.name, "energy")
    plus, minus = writer.nodes.of(element.plus), writer.nodes.of(element.minus)
    drop = f"V({plus})" if minus == "0" else f"V({plus},{minus})"
    return [
        f"B_energy_{name} 0 {energy} I=1e6*{drop}*I({writer.ammeter(element)})",
        f"C_energy_{name} {energy} 0 1.0",
        f"R_energy_{name} {energy} 0 1e9",
    ]


def _gate_cards(writer: Writer, channel: str, gate: Gate) -> list[str]:
    name = writer.elements.of(channel, "fet")
    node, drain = writer.nodes.of(channel, "gate"), writer.nodes.of(gate.drain)
    over = f"max(0.0,V({node})-({number(gate.threshold)}))"
    bounded = f"min(max(0.0,V({drain})),{over})"
    crss = gate.reverse_transfer_capacitance
    lines = [
        f"B_{name} {drain} 0 I={number(gate.gain)}*({over}*{bounded}-0.5*{bounded}*{bounded})",
        f"C_gs_{name} {node} 0 {number(gate.input_capacitance - crss)}",
    ]
    if crss > 0.0:
        lines.append(f"C_gd_{name} {node} {drain} {number(crss)}")
    if gate.output_capacitance > crss:
        lines.append(f"C_ds_{name} {drain} 0 {number(gate.output_capacitance - crss)}")
    held = math.inf
    if math.isfinite(gate.pull_down):
        held = max(gate.pull_down, SHORT_RESISTANCE)
        lines.append(f"R_pull_down_{name} {node} 0 {number(held)}")
    if math.isfinite(gate.drive_resistance):
        held = max(gate.series + gate.drive_resistance, SHORT_RESISTANCE)
        pin = writer.nodes.of(channel, "drive")
        lines.append(f"R_drive_{name} {node} {pin} {number(held)}")
        lines.append(f"V_drive_{name} {pin} 0 {number(gate.drive_voltage)}")
    if gate.leakage:
        lines.append(f"I_gate_{name} 0 {node} {number(gate.leakage)}")
    if not math.isfinite(held):
        lines.append(f"R_insulation_{name} {node} 0 {number(INSULATION_RESISTANCE)}")
    return lines


def read_switch_on(
    plot: Plot, network: Network, gates: Mapping[str, Gate], bridges: Mapping[str, Bridge] | None = None
) -> SwitchOnAnswer:
    """Read what the edge does.

    Parameters
    ----------
    plot : Answer of ngspice to the deck of `switch_on_deck`
    network : The network that the deck was written from
    """
    writer = Writer.of(network)
    igniters = [network.element(name) for name in network.igniters if network.element(name).closed]

    def peak(node: str) -> float:
        return float(np.max(plot.signal(f"v({node})")))

    return SwitchOnAnswer(
        peak_gate_voltage={channel: peak(writer.nodes.of(channel, "gate")) for channel in gates},
        peak_current={e.name: float(np.max(np.abs(plot.signal(f"i({writer.ammeter(e)})")))) for e in igniters},
        energy={e.name: 1e-6 * peak(writer.nodes.of(e.name, "energy")) for e in igniters},
        thermal_fraction={name: peak(writer.nodes.of(name, "fraction")) for name in bridges or {}},
    )
