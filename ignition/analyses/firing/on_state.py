"""The commanded MOSFET: gate drive from the sagged supply, on-resistance from its data sheet row, junction heating."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ignition.analyses.firing.sequence import turn_on
from ignition.analyses.no_fire.gate import controller_rail, driven_gate_voltage, phase_box
from ignition.circuit.model import ChannelModel, Circuit, MosfetModel
from ignition.network.elements import Network
from ignition.network.template import State, build_network, igniter_names
from ignition.network.worst_case import Probe, extremes
from ignition.parts.mosfet import REFERENCE_TEMPERATURE, on_resistance_row, temperature_factor
from ignition.parts.mosfet_transient import thermal_impedance
from ignition.toleranced import Toleranced

__all__ = [
    "LEAST_SPENT",
    "OnState",
    "Settled",
    "firing_network",
    "heating",
    "lowest_supply",
    "on_states",
    "recharging",
    "turn_on_heating",
    "with_spent",
]

Case = Literal["low", "nominal", "high"]

_MAX_ROUNDS = 20

LEAST_SPENT = 1e-9
"""Resistance that stands for a shorted bridge in a bound [ohm]: two ideal shorts side by side have no solution."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OnState:
    """A channel's MOSFET while it fires.

    Attributes
    ----------
    gate_voltage : Gate to source [V]
    rows : Data sheet row used at the lowest, nominal and highest gate voltage; -1 where the gate stays below the lowest
    on_resistance : Bounds [ohm]; at a row of -1 the lowest row's, which is then no bound
    """

    gate_voltage: Toleranced
    rows: tuple[int, int, int]
    on_resistance: Toleranced


def firing_network(circuit: Circuit, commanded: frozenset[str]) -> Network:
    """Build the network while channels fire, all lines intact."""
    return build_network(circuit, State(phase="firing", commanded=commanded))


def on_states(circuit: Circuit, commanded: frozenset[str]) -> tuple[dict[str, OnState], dict[str, Toleranced]]:
    """Settle gate drive, on-resistance and battery sag of channels that fire together.

    Fixed point: the sagged supply drives the gate, the gate voltage picks the row at or below it, the row sets the
    current, the current sags the supply. The supply's bounds only widen from round to round, so the rounds end; where
    the junction's temperature still creeps after the last one, it is taken at its highest. The low bounds hold with
    bridges that stay conductive after function, the high ones with the unloaded battery, as at the first instant. A
    junction is heated by its channel's highest current: the others silent, bridges spent or heated.

    Returns
    -------
    On-state of each commanded channel, and the parameter box of the firing network with them
    """
    channels = [c for c in circuit.channels if c.name in commanded]
    network = firing_network(circuit, commanded)
    node = "battery terminal" if circuit.controller.powered_before_arm_switch else "bus"
    terminal = circuit.battery.voltage
    junction = {c.name: circuit.ambient.high for c in channels}
    states: dict[str, OnState] = {}
    highest: dict[str, float] = {}
    box = phase_box(circuit, "firing")
    slow = Toleranced(low=0.0, nominal=0.0, high=circuit.battery.slow_resistance, unit="ohm")
    box["battery.resistance"] = box["battery.resistance"] + slow
    for count in range(_MAX_ROUNDS + 1):
        rail = controller_rail(circuit, "firing", terminal)
        fresh = {c.name: _on_state(circuit, c, rail, junction[c.name]) for c in channels}
        box |= {f"{name}.mosfet": state.on_resistance for name, state in fresh.items()}
        supply = extremes(network, box, [Probe(node=node)])[0]
        lowest = lowest_supply(circuit, network, box, node, supply.low)
        terminal = Toleranced(
            low=max(min(terminal.low, lowest), 0.0),
            nominal=max(supply.nominal, 0.0),
            high=max(terminal.high, supply.nominal, 0.0),
            unit="V",
        )
        settled = states.keys() == fresh.keys() and all(
            fresh[n].rows == states[n].rows
            and abs(fresh[n].on_resistance.high - states[n].on_resistance.high) <= 1e-7 * states[n].on_resistance.high
            for n in fresh
        )
        states = fresh
        if settled:
            break
        # the lowest on-resistance, and with it the highest current, stays as it is from the first round on
        highest = highest or {c.name: _highest_current(circuit, c, box) for c in channels}
        for channel in channels:
            hottest = _hottest(circuit, channel, states[channel.name], highest[channel.name])
            last = count >= _MAX_ROUNDS - 1
            junction[channel.name] = circuit.mosfets[channel.mosfet].max_junction if last else hottest
    return states, box


def _highest_current(circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced]) -> float:
    """Highest current of a channel at any time, which it has while the others are silent [A]."""
    alone = firing_network(circuit, frozenset({channel.name}))
    mosfet = [Probe(element=f"{channel.name}.mosfet")]
    return max(extremes(alone, each, mosfet)[0].high for each in (box, with_spent(circuit, box) or box))


def lowest_supply(circuit: Circuit, network: Network, box: Mapping[str, Toleranced], node: str, usual: float) -> float:
    """Lowest voltage of a supply node during a pulse, spent bridges and a bank that runs down included [V].

    Parameters
    ----------
    box : Firing parameters [SI]
    node : ``battery terminal`` or ``bus``
    usual : Lowest voltage with unfired bridges [V]
    """
    if node == "bus" and circuit.battery.bank_capacitance is not None:
        return 0.0  # a bank without a stated way to hold the bus up
    usual = min(usual, recharging(circuit, box)[0])
    spent = with_spent(circuit, box)
    if spent is None:
        return usual
    return min(usual, extremes(network, spent, [Probe(node=node)])[0].low)


def recharging(circuit: Circuit, box: Mapping[str, Toleranced]) -> tuple[float, float]:
    """Lowest voltage [V] and highest current [A] of a battery that recharges a bank that has run down to nothing.

    Infinite voltage and no current where there is nothing to recharge.

    Parameters
    ----------
    box : Firing parameters [SI]
    """
    if circuit.battery.recharge_resistance is None:
        return math.inf, 0.0
    through, behind, voltage = box["bank.recharge"].low, box["battery.resistance"], box["battery.voltage"]
    loads = [box["controller.current"], *(box[f"load.{name}"] for name, _ in circuit.loads)]
    load = sum(current.high for current in loads)
    lowest = max(voltage.low - behind.high * load, 0.0) * through / (through + behind.high)
    return lowest, (voltage.high + through * load) / (through + behind.low)


def with_spent(circuit: Circuit, box: Mapping[str, Toleranced]) -> dict[str, Toleranced] | None:
    """Widen the box by what bridges become: hot, or spent where they stay conductive; None where they only open.

    Parameters
    ----------
    box : Firing parameters [SI]
    """
    changed = dict(box)
    some = False
    for channel in circuit.channels:
        for names, kinds in zip(igniter_names(channel), channel.strings, strict=True):
            for name, kind in zip(names, kinds, strict=True):
                model = circuit.igniters[kind]
                least, most = model.heated.low, model.heated.high
                if model.spent_resistance is None and least >= box[name].low:
                    continue
                some = True
                if model.spent_resistance is not None:
                    least = min(least, max(model.spent_resistance.low, LEAST_SPENT))
                    most = max(most, model.spent_resistance.high)
                changed[name] = Toleranced(low=least, nominal=box[name].nominal, high=most, unit="ohm")
    return changed if some else None


class Settled:
    """On-states of a circuit, settled once for each set of channels that fire together."""

    def __init__(self, circuit: Circuit) -> None:
        self._circuit = circuit
        self._found: dict[frozenset[str], tuple[dict[str, OnState], dict[str, Toleranced]]] = {}

    def of(self, commanded: frozenset[str]) -> tuple[dict[str, OnState], dict[str, Toleranced]]:
        """Return on-states and parameter box of a set of channels, as `on_states` does.

        Returns
        -------
        On-state of each channel, and the parameter box of the firing network
        """
        if commanded not in self._found:
            self._found[commanded] = on_states(self._circuit, commanded)
        return self._found[commanded]


def _on_state(circuit: Circuit, channel: ChannelModel, rail: Toleranced, junction_high: float) -> OnState:
    """On-resistance falls with gate voltage: not above the row below, not below the row above where there is one.

    It rises with temperature, in the data sheets less and less steeply towards the cold: the straight line through its
    values at 25 degC and at the highest junction temperature lies above it between the two, and below it in the cold.
    """
    mosfet = circuit.mosfets[channel.mosfet]
    gate = driven_gate_voltage(circuit, channel, rail)
    gates = np.array([row.gate for row in mosfet.rows])
    low, nominal, high = (int(on_resistance_row(v, gates)) for v in (gate.low, gate.nominal, gate.high))
    weak, usual = (mosfet.rows[max(i, 0)].resistance for i in (low, nominal))
    strong = mosfet.rows[min(int(np.searchsorted(gates, gate.high)), len(gates) - 1)].resistance

    def factor(temperature: float) -> float:
        return float(temperature_factor(temperature, mosfet.hot_factor, mosfet.max_junction))

    middle = usual.nominal * factor(circuit.ambient.nominal)
    return OnState(
        gate_voltage=gate,
        rows=(low, nominal, high),
        on_resistance=Toleranced(
            low=min(strong.low * factor(min(circuit.ambient.low, REFERENCE_TEMPERATURE)), middle),
            nominal=middle,
            high=max(weak.high * factor(max(junction_high, REFERENCE_TEMPERATURE)), middle),
            unit="ohm",
        ),
    )


def _hottest(circuit: Circuit, channel: ChannelModel, state: OnState, current: float) -> float:
    """Highest junction temperature that the on-resistance's high bound must cover [degC]."""
    mosfet = circuit.mosfets[channel.mosfet]
    charging = turn_on_heating(circuit, channel, state, current)
    if charging is None:
        return mosfet.max_junction
    rise = charging + heating(mosfet, current, state.on_resistance.high, channel.pulse.high, "high")
    return min(circuit.ambient.high + rise, mosfet.max_junction)


def turn_on_heating(circuit: Circuit, channel: ChannelModel, state: OnState, current: float) -> float | None:
    """Bound the junction rise while the gate charges, all that time at the drain voltage of most power [K].

    Of a supply V behind a loop R the switch takes (V - v) v / R at its voltage v, at most V^2 / 4 R at half the supply;
    or what it takes when on, where it keeps more than half of it. That this heat flows off later is not counted.

    Parameters
    ----------
    current : Highest current through the switch when on [A]

    Returns
    -------
    Rise [K]; None where thermal network, input capacitance or gate-drain charge is not given
    """
    mosfet, supply = circuit.mosfets[channel.mosfet], circuit.battery.voltage.high
    if not mosfet.thermal or mosfet.input_capacitance is None or mosfet.gate_drain_charge is None:
        return None
    kept = min(current * state.on_resistance.low / supply, 1.0)
    power = supply * current * (kept if kept > 0.5 else 0.25 / (1.0 - kept))
    time = turn_on(circuit, circuit.channels.index(channel), state.gate_voltage.low, "high")
    return power * _impedance(mosfet, min(time, channel.pulse.high), "high")


def heating(mosfet: MosfetModel, current: float, resistance: float, time: float, case: Case) -> float:
    """Junction rise over ambient after a pulse of constant power [K].

    Parameters
    ----------
    current : Drain current [A]
    resistance : On-resistance [ohm]
    time : Duration [s]
    case : Which end of the thermal network's tolerances: a large resistance and a short time constant heat most
    """
    return current * current * resistance * _impedance(mosfet, time, case)


def _impedance(mosfet: MosfetModel, time: float, case: Case) -> float:
    """Junction rise per watt after a time [K/W]."""
    other = {"low": "high", "nominal": "nominal", "high": "low"}[case]
    resistances = [getattr(stage, case) for stage, _ in mosfet.thermal]
    constants = [getattr(constant, other) for _, constant in mosfet.thermal]
    return float(thermal_impedance(time, resistances, constants))
