"""What a continuity reading cannot exclude: series resistance, and leakage across open terminals."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from ignition.analyses.continuity.bands import adc_band, armed_states, reference_voltage, remaining_charge
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.elements import Network
from ignition.network.solution import solve
from ignition.network.template import LEAKING, State, adc_pin, build_network
from ignition.network.worst_case import Probe, extremes
from ignition.toleranced import Toleranced
from ignition.typing import FloatArray

__all__ = ["current_when_fired", "largest_resistance"]

_LARGEST = 1e9
"""Series resistance beyond which a line counts as open [ohm]."""

_SMALLEST = 1e-3
"""Resistance below which there is none [ohm]."""

_ROUNDS, _POINTS, _PRECISION = 40, 25, 1e-9


def largest_resistance(
    circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced], limit: float, *, series: bool
) -> float | None:
    """Return the largest resistance whose highest reading still reaches a code.

    The reading falls as the resistance rises. The worst corner is searched at the resistance found, and the resistance
    is located again on that corner until the two agree.

    Parameters
    ----------
    box : Parameter bounds [SI] of the armed phase
    limit : The code [LSB]
    series : True for a resistance in series with the intact line, False for one across the terminals of an open line

    Returns
    -------
    Resistance [ohm], 0 where none at all is allowed; None where even the largest resistance reaches the code
    """
    line = "intact" if series else LEAKING
    found = [_largest(circuit, channel, box, limit, state, series) for state in armed_states(circuit, channel, line)]
    return None if None in found else max(r for r in found if r is not None)


def _largest(
    circuit: Circuit,
    channel: ChannelModel,
    box: Mapping[str, Toleranced],
    limit: float,
    state: State,
    series: bool,
) -> float | None:
    key = f"{channel.name}.lead" if series else f"{channel.name}.bridging"
    base = box[key].low
    network = build_network(circuit, state)
    probe = Probe(node=adc_pin(channel))

    def at(resistance: float) -> tuple[float, Mapping[str, float]]:
        """Highest code with this resistance, and the corner where it stands."""
        wider = dict(box) | {key: Toleranced.exact(base + resistance, "ohm")}
        pin = extremes(network, wider, [probe])[0]
        code = adc_band(circuit, channel, pin, "intact", wider).code.high
        return (-1.0 if code is None else code), pin.high_at

    code, corner = at(_LARGEST)
    if code >= limit:
        return None
    left = remaining_charge(circuit, channel, "intact", box)
    resistance = _on_corner(circuit, channel, network, key, base, corner, limit, left)
    for _ in range(4):
        _, corner = at(max(resistance, _SMALLEST))
        again = max(resistance, _on_corner(circuit, channel, network, key, base, corner, limit, left))
        if again - resistance <= 1e-9 * again:
            break
        resistance = again
    return resistance


def _voltage_that_reads(circuit: Circuit, limit: float, left: float) -> float:
    """Pin voltage from which the highest reading reaches a code: the upper bound of `code_bounds`, inverted [V]."""
    adc, reference = circuit.controller.adc, reference_voltage(circuit)
    if limit <= 0.0:
        return -math.inf
    above = min(limit, 2.0**adc.bits - 1.0) - adc.total_error - 0.5
    lifted = above * (reference.low if above > 0.0 else reference.high) / 2.0**adc.bits
    return lifted if lifted >= reference.high else (lifted - left * reference.high) / (1.0 - left)


def _on_corner(
    circuit: Circuit,
    channel: ChannelModel,
    network: Network,
    key: str,
    base: float,
    corner: Mapping[str, float],
    limit: float,
    left: float,
) -> float:
    """Largest resistance that reaches the code with all other values fixed.

    A grid brackets it; the reciprocal of the voltage, nearly straight in the resistance, then says where to look.
    """
    enough = _voltage_that_reads(circuit, limit, left)
    grid = np.geomspace(_SMALLEST, _LARGEST, _POINTS)
    reached = 0.0
    for _ in range(_ROUNDS):
        values = {n: np.full(len(grid), corner[n]) for n in network.parameters} | {key: base + grid}
        volts = solve(network, values).voltage(adc_pin(channel))
        inside = np.flatnonzero(volts >= enough)
        if not len(inside):
            break
        last = int(inside[-1])
        reached = float(grid[last])
        if last == len(grid) - 1 or grid[last + 1] <= reached * (1.0 + _PRECISION):
            break
        grid = _closer(grid[last : last + 2], volts[last : last + 2], enough)
    return reached


def _closer(ends: FloatArray, volts: FloatArray, enough: float) -> FloatArray:
    """Points between two resistances: an even spread, and a tight group about where the voltage should be enough."""
    points = np.geomspace(ends[0], ends[1], 9)
    if volts[1] > 0.0 and enough > 0.0:
        share = (1.0 / enough - 1.0 / volts[0]) / (1.0 / volts[1] - 1.0 / volts[0])
        near = (ends[0] + share * (ends[1] - ends[0])) * (1.0 + np.array([-1e-4, -1e-7, -4e-10, 4e-10, 1e-7, 1e-4]))
        points = np.concatenate([points, near[(near > ends[0]) & (near < ends[1])]])
    return np.unique(points)


def current_when_fired(circuit: Circuit, channel: ChannelModel, resistance: float) -> float:
    """Return the highest current that flows through an unseen series resistance when the channel is fired.

    Parameters
    ----------
    resistance : Series resistance [ohm]

    Returns
    -------
    Current [A]: strongest battery, least resistance, MOSFET and igniters without any
    """
    line = channel.lead.resistance.low + channel.contacts_fired.low
    rest = circuit.battery.resistance.low + line + sum(p.resistance.low for p in circuit.feed)
    return circuit.battery.voltage.high / (resistance + rest) if resistance + rest > 0 else float("inf")
