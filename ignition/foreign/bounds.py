"""Guaranteed bounds of a foreign network's outputs, gates included; what cannot be guaranteed raises."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ignition.analyses.continuity.bands import spread_of
from ignition.analyses.no_fire.off_state import OffState, off_state
from ignition.errors import NetworkError
from ignition.foreign.binding import Bound, BoundChannel
from ignition.foreign.network import Built, Situation, situation_network
from ignition.network.elements import Network
from ignition.network.solution import solve
from ignition.network.worst_case import NEGLIGIBLE, Extreme, Probe, extremes
from ignition.toleranced import Spread, Toleranced
from ignition.typing import FloatArray

__all__ = ["GateBounds", "Settled", "probe_extremes", "settle"]

_SAMPLES = 128
_MOST_ROUNDS = 6
_SEED = 20240301

GateBounds = dict[str, Toleranced | None]
"""Gate voltage of each channel [V]; None where nothing holds the gate."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """Answers of one situation.

    Attributes
    ----------
    outputs : Bounds of the outputs asked for [V or A]
    gates : Gate voltage of each channel [V]; None where nothing holds the gate
    off : What each channel's switch passes
    """

    outputs: tuple[Spread, ...]
    gates: GateBounds
    off: dict[str, OffState]
    loose_senses: frozenset[str]


def _off_state(bound: Bound, channel: BoundChannel, gate: Toleranced) -> OffState:
    circuit = bound.roles.circuit
    return off_state(circuit.mosfets[channel.mosfet], gate, circuit.ambient)


def settle(bound: Bound, situation: Situation, probes: Sequence[Probe]) -> Settled:
    """Answer a situation with what its own gate voltages let the switches pass.

    A switch whose gate nothing holds may be on: every bound is then taken over the switch both off and shorted.

    Raises NetworkError when no bound can be guaranteed, or gate voltage and drain current do not settle.

    Returns
    -------
    Bounds of the outputs, gate voltages, drain currents
    """
    zero = Toleranced.exact(0.0, "V")
    off = {c.name: _off_state(bound, c, zero) for c in bound.channels}
    for _ in range(_MOST_ROUNDS):
        built = situation_network(bound, situation, off)
        held = [c for c in bound.channels if c.name not in built.loose_gates]
        found = probe_extremes(built, [*(Probe(node=c.gate, reference=c.source) for c in held), *probes])
        gates: GateBounds = dict.fromkeys(built.loose_gates)
        wider = dict(off)
        for channel, extreme in zip(held, found, strict=False):
            gate = Toleranced(low=extreme.low, nominal=extreme.nominal, high=extreme.high, unit="V")
            gates[channel.name] = gate
            wider[channel.name] = _hull(off[channel.name], _off_state(bound, channel, gate))
        if all(_holds(off[name], wider[name]) for name in off):
            rows = [found[len(held) :], *_with_loose_on(bound, built, probes)]
            outputs = tuple(
                Spread.hull([spread_of(row[index], "V" if probe.element is None else "A") for row in rows])
                for index, probe in enumerate(probes)
            )
            return Settled(outputs=outputs, gates=gates, off=off, loose_senses=built.loose_senses)
        off = wider
    raise NetworkError("gate voltage and drain current do not settle: the gate hangs on its own drain")


def _hull(first: OffState, second: OffState) -> OffState:
    def both(one: Toleranced, other: Toleranced) -> Toleranced:
        low, high = min(one.low, other.low), max(one.high, other.high)
        return Toleranced(low=low, nominal=other.nominal, high=high, unit=one.unit)

    return OffState(current=both(first.current, second.current), resistance=both(first.resistance, second.resistance))


def _holds(outer: OffState, inner: OffState) -> bool:
    return _inside(inner.current, outer.current) and _inside(inner.resistance, outer.resistance)


def _inside(inner: Toleranced, outer: Toleranced) -> bool:
    def slack(value: float) -> float:
        return 1e-6 * abs(value) + 1e-15

    return (
        inner.high <= outer.high + slack(outer.high)
        and inner.low >= outer.low - slack(outer.low)  # its own: a high end without limit hides nothing
        and abs(inner.nominal - outer.nominal) <= slack(min(outer.high, 1.0))
    )


def _with_loose_on(bound: Bound, built: Built, probes: Sequence[Probe]) -> list[list[Extreme]]:
    """The outputs once more with every loosely held switch on, where there is one."""
    if not built.loose_gates:
        return []
    shorts = [f"{c.switch} short" for c in bound.channels if c.name in built.loose_gates]
    return [probe_extremes(replace(built, network=built.network.switched(closed=shorts)), probes)]


def probe_extremes(built: Built, probes: Sequence[Probe]) -> list[Extreme]:
    """Find the worst case of outputs at corners, checked against samples of the whole box.

    Raises NetworkError when the network cannot be solved, a sample lies outside the corners found, or a current source
    has no path.
    """
    if not probes:
        return []
    found = extremes(built.network, built.box, probes)
    samples = _samples(built.network, built.box)
    solution = solve(built.network, samples)
    nodes = len(built.network.nodes)
    bound = 10.0 * sum(abs(built.box[n].high) for e in built.network.elements for n, _ in e.voltage) + 10.0
    if nodes and float(np.abs(solution.unknowns[:, :nodes]).max()) > bound:
        raise NetworkError(
            f"a current source drives a part of the network that has no path to ground (beyond {bound:g} V)"
        )
    for probe, extreme in zip(probes, found, strict=True):
        values = solution.unknowns @ probe.weights(built.network)
        slack = NEGLIGIBLE + 1e-9 * max(abs(extreme.low), abs(extreme.high))
        if float(values.min()) < extreme.low - slack or float(values.max()) > extreme.high + slack:
            raise NetworkError(
                "the worst case does not stand at the corners of the tolerances, so no bound can be guaranteed"
            )
    return found


def _samples(network: Network, box: Mapping[str, Toleranced]) -> dict[str, FloatArray]:
    """Half random corners, half points inside."""
    rng = np.random.default_rng(_SEED)
    samples: dict[str, FloatArray] = {}
    for name in network.parameters:
        value, share = box[name], rng.random(_SAMPLES)
        share[: _SAMPLES // 2] = np.round(share[: _SAMPLES // 2])
        samples[name] = value.low + share * (value.high - value.low)
    return samples
