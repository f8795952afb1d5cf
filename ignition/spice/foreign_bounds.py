"""Guaranteed bounds of a foreign network's outputs, gates included; what cannot be guaranteed is missing with its reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ignition.analyses.results import Spread
from ignition.circuit.extremes import NEGLIGIBLE, Extreme, Probe, extremes
from ignition.circuit.network import Network
from ignition.circuit.nodal import solve
from ignition.errors import NetworkError
from ignition.parts.mosfet import gain, leakage, saturation_current, subthreshold_current, threshold_at
from ignition.spice.binding import Bound, BoundChannel
from ignition.spice.foreign_network import Built, Situation, situation_network
from ignition.toleranced import Toleranced

__all__ = ["GateBounds", "off_current", "probe_bounds", "settle"]

_SAMPLES = 192
_MOST_ROUNDS = 6
_SEED = 20240301

GateBounds = dict[str, Toleranced | None]
"""Gate voltage of each channel [V]; None where nothing holds the gate."""


def off_current(bound: Bound, channel: BoundChannel, gate: Toleranced) -> Toleranced:
    """Return the drain current of a switch that is not commanded, for its gate voltage.

    Parameters
    ----------
    bound : Bound
        Netlist and roles.
    channel : BoundChannel
        The channel.
    gate : Toleranced
        Gate to source [V].

    Returns
    -------
    Toleranced
        Leakage, sub-threshold and, above threshold, saturation current [A].

    Notes
    -----
    High: lowest threshold, hottest, lowest on-resistance. Low: highest threshold, coldest, highest on-resistance, no leakage.
    """
    circuit = bound.roles.circuit
    mosfet, ambient = circuit.mosfets[channel.mosfet], circuit.ambient
    row = mosfet.rows[0]

    def passed(voltage: float, threshold: float, drift: float, temperature: float, resistance: float) -> float:
        limit = max(float(threshold_at(temperature, threshold, drift)), 0.0)
        strength = gain(resistance, row.gate, mosfet.threshold.nominal)
        return float(saturation_current(voltage, limit, strength)) + float(subthreshold_current(voltage, limit, temperature))

    def leaked(temperature: float, cool: float, hot: float) -> float:
        return float(leakage(temperature, cool, hot, mosfet.max_junction))

    threshold, drift, cool, hot = mosfet.threshold, mosfet.threshold_drift, mosfet.leakage_cool, mosfet.leakage_hot
    high = leaked(ambient.high, cool.high, hot.high)
    high += passed(gate.high, threshold.low, drift.low, ambient.high, row.resistance.low)
    nominal = leaked(ambient.nominal, cool.nominal, hot.nominal)
    nominal += passed(gate.nominal, threshold.nominal, drift.nominal, ambient.nominal, row.resistance.nominal)
    low = passed(gate.low, threshold.high, drift.low, ambient.low, row.resistance.high)
    return Toleranced(low=min(low, nominal), nominal=nominal, high=max(high, nominal), unit="A")


def settle(bound: Bound, situation: Situation) -> tuple[tuple[Built, ...], GateBounds]:
    """Build a situation with the drain current that its own gate voltages allow.

    Parameters
    ----------
    bound : Bound
        Netlist and roles.
    situation : Situation
        Phase, line states, fault.

    Returns
    -------
    tuple of tuple of Built and dict
        The network, and a second one with every loosely held switch on where there is one; the gate voltages [V].

    Raises
    ------
    NetworkError
        When the network cannot be solved, or gate voltage and drain current do not settle.

    Notes
    -----
    A switch whose gate nothing holds may be on: every bound is then taken over the switch both off and shorted.
    """
    zero = Toleranced.exact(0.0, "V")
    off = {c.name: off_current(bound, c, zero) for c in bound.channels}
    for _ in range(_MOST_ROUNDS):
        built = situation_network(bound, situation, off)
        held = [c for c in bound.channels if c.name not in built.loose_gates]
        found = probe_extremes(built, [Probe(node=c.gate, reference=c.source) for c in held]) if held else []
        gates: GateBounds = dict.fromkeys(built.loose_gates)
        wider = dict(off)
        for channel, extreme in zip(held, found, strict=True):
            gate = Toleranced(low=extreme.low, nominal=extreme.nominal, high=extreme.high, unit="V")
            gates[channel.name] = gate
            wider[channel.name] = _hull(off[channel.name], off_current(bound, channel, gate))
        if all(_inside(wider[name], off[name]) for name in off):
            return _with_loose_on(bound, situation, built, off), gates
        off = wider
    raise NetworkError("gate voltage and drain current do not settle: the gate hangs on its own drain")


def _hull(first: Toleranced, second: Toleranced) -> Toleranced:
    low, high = min(first.low, second.low), max(first.high, second.high)
    return Toleranced(low=low, nominal=second.nominal, high=high, unit=first.unit)


def _inside(inner: Toleranced, outer: Toleranced) -> bool:
    slack = 1e-6 * outer.high + 1e-15
    return inner.high <= outer.high + slack and inner.low >= outer.low - slack and abs(inner.nominal - outer.nominal) <= slack


def _with_loose_on(
    bound: Bound, situation: Situation, built: Built, off: Mapping[str, Toleranced]
) -> tuple[Built, ...]:
    if not built.loose_gates:
        return (built,)
    shorts = [f"{c.switch} short" for c in bound.channels if c.name in built.loose_gates]
    on = built.network.switched(closed=shorts)
    return built, Built(network=on, box=built.box, loose_gates=built.loose_gates, loose_senses=built.loose_senses)


def probe_extremes(built: Built, probes: Sequence[Probe]) -> list[Extreme]:
    """Worst case of outputs by corners, checked against samples of the whole box.

    Raises
    ------
    NetworkError
        When the network cannot be solved, a sample lies outside the corners found, or a current source has no path.
    """
    found = extremes(built.network, built.box, probes)
    samples = _samples(built.network, built.box)
    solution = solve(built.network, samples)
    nodes = len(built.network.nodes)
    bound = 10.0 * sum(abs(built.box[n].high) for e in built.network.elements for n, _ in e.voltage) + 10.0
    if nodes and float(np.abs(solution.unknowns[:, :nodes]).max()) > bound:
        raise NetworkError(f"a current source drives a part of the network that has no path to ground (beyond {bound:g} V)")
    for probe, extreme in zip(probes, found, strict=True):
        values = solution.unknowns @ probe.weights(built.network)
        slack = NEGLIGIBLE + 1e-9 * max(abs(extreme.low), abs(extreme.high))
        if float(values.min()) < extreme.low - slack or float(values.max()) > extreme.high + slack:
            raise NetworkError("the worst case does not stand at the corners of the tolerances, so no bound can be guaranteed")
    return found


def _samples(network: Network, box: Mapping[str, Toleranced]) -> dict[str, np.ndarray]:  # type: ignore[type-arg]
    """Half random corners, half points inside."""
    rng = np.random.default_rng(_SEED)
    samples = {}
    for name in network.parameters:
        value, share = box[name], rng.random(_SAMPLES)
        share[: _SAMPLES // 2] = np.round(share[: _SAMPLES // 2])
        samples[name] = value.low + share * (value.high - value.low)
    return samples


def probe_bounds(networks: Sequence[Built], probes: Sequence[Probe], units: Sequence[str]) -> list[Spread]:
    """Return the bounds of outputs over one or two networks of a situation.

    Parameters
    ----------
    networks : sequence of Built
        From `settle`.
    probes : sequence of Probe
        Outputs.
    units : sequence of str
        Unit of each.

    Returns
    -------
    list of Spread
        Bounds [each its unit].

    Raises
    ------
    NetworkError
        When no bound can be guaranteed.
    """
    rows = [probe_extremes(built, probes) for built in networks]
    result = []
    for index, unit in enumerate(units):
        members = []
        for row in rows:
            low, nominal, high = (0.0 if abs(v) < NEGLIGIBLE else v for v in (row[index].low, row[index].nominal, row[index].high))
            members.append(Spread(low=low, nominal=nominal, high=high, unit=unit))
        result.append(Spread.hull(members))
    return result
