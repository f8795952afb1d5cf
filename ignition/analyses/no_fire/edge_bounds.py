"""Arming edge in closed form: bounds that no course of the drain and no shape of the gate-drain charge exceeds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ignition.analyses.no_fire.edge import BODY_DIODE, Edge, coupled_charge
from ignition.parts.igniter import steady_thermal_fraction
from ignition.typing import FloatArray

__all__ = ["EdgeBounds", "after_closures", "edge_bounds"]

_DIODE_RESISTANCE = 0.02
"""Of the avalanche, no less than the model's [ohm]."""

_SLOW = 10.0
"""Ringing periods within an edge from which on it counts as slow [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeBounds:
    """Upper bounds of each value set, shape (n,).

    Attributes
    ----------
    drain_voltage, gate_voltage : [V]
    current, energy, thermal_fraction : Of the igniter [A], [J], [1]
    time_above_threshold : Time for which the gate is above the threshold [s]; infinite where it rests there
    """

    drain_voltage: FloatArray
    gate_voltage: FloatArray
    current: FloatArray
    energy: FloatArray
    thermal_fraction: FloatArray
    time_above_threshold: FloatArray


def edge_bounds(edge: Edge) -> EdgeBounds:
    """Bound what the arming edge does.

    * Drain: the source's work V Q(v) at the peak v is stored, W(v) = V Q(v), where the loop rings; else V.
    * Gate: the gate-drain charge up to that voltage, divided by the gate-source capacitance; for an edge of many
      ringing periods no more than R C_near 2 V / t (ramp response).
    * Time above the threshold: what the drain has pushed into the gate leaves through the gate's resistance by at least
      (V_th - V_rest) / R, and while the loop rings it may be pushed again.
    * Current: below (V + 1 V) / R, and below what charges the drain plus the channel's saturation current, as long as
      the gate stays below where the data sheet has the MOSFET on.
    * Energy: the charging's share of V Q for each of two charges, I^2 R t of the channel, and what the highest current
      heats by while the avalanche takes the charge (V Q + L I^2 / 2) / (V_breakdown - V); Minkowski's inequality adds
      the three currents. Thermal fraction: no heat is lost, or the highest current flows for ever, whichever is less.
    """
    resistance = edge.line_resistance + edge.bridge_in_loop * np.minimum(1.0, 1.0 + edge.growth)
    most = edge.drain_capacitance + edge.most_coupling
    least = edge.drain_capacitance + np.minimum(edge.near_capacitance, edge.far_capacitance)
    rings = resistance < 2.0 * np.sqrt(edge.inductance / least)
    periods = edge.rise_time / (2.0 * np.pi * np.sqrt(edge.inductance * most))
    ohmic = edge.most_current
    slow = np.where((periods > _SLOW) | ~rings, edge.gate_resistance * edge.most_coupling * 2.0 * edge.supply, np.inf)
    drain = np.where(rings, _rung(edge, np.maximum(periods, 1e-9), 0.0 * ohmic), edge.supply)
    lift = np.minimum(_lifted(edge, drain), slow / edge.rise_time)
    # a channel that has conducted leaves its current in the line's inductance
    conducts = edge.gate_rest + lift > edge.threshold
    drain = np.where(conducts, _rung(edge, np.full_like(periods, 1e-9), ohmic), drain)
    lift = np.where(conducts, _lifted(edge, drain), lift)
    charge = coupled_charge(edge, drain + BODY_DIODE) + edge.near_capacitance * edge.gate_rest
    gate = edge.gate_rest + lift
    over, margin = gate - edge.threshold, edge.threshold - edge.gate_rest
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        decay = 2.0 * edge.inductance / resistance
        least_swing = edge.gate_source_capacitance * margin / (2.0 * edge.most_coupling)
        ringing = np.where(rings, 2.0 * decay * np.log(np.maximum((drain - edge.supply) / least_swing, 1.0)), 0.0)
        leaves = np.maximum(charge - edge.gate_source_capacitance * margin, 0.0) * edge.gate_resistance / margin
        above = np.where(margin <= 0.0, np.inf, np.where(over > 0.0, ringing + leaves, 0.0))
        below = edge.threshold_current * np.exp(np.minimum(over, 0.0) / edge.slope_voltage)
        passed = np.where(over < edge.row_overdrive, 0.5 * edge.gain * np.maximum(over, 0.0) ** 2 + below, np.inf)
        work = edge.supply * (edge.drain_capacitance * edge.supply + coupled_charge(edge, edge.supply))
        charging = np.minimum(ohmic, np.sqrt(2.0 * work / edge.inductance))
        channel = np.minimum(passed, ohmic)
        squares = np.sqrt(2.0 * work / resistance) + np.where(above > 0.0, channel * np.sqrt(above), 0.0)
        kicked = np.where(conducts, ohmic, charging)
        avalanche = (work + 0.5 * edge.inductance * np.where(conducts, ohmic, 0.0) ** 2) / (
            edge.breakdown - edge.supply
        )
        avalanche = np.where(edge.breakdown > edge.supply, avalanche, np.inf)
        squares = (squares + np.where(drain >= edge.breakdown, np.sqrt(kicked * avalanche), 0.0)) ** 2
        heating = np.maximum(1.0, 1.0 / (1.0 + edge.growth))
        fraction = heating * edge.share**2 * squares / (edge.no_fire_current**2 * edge.time_constant)
        leaking = np.where(above > 0.0, edge.threshold_current, below)
    current = edge.share * np.minimum(charging + passed, ohmic)
    ceiling = _for_ever(edge, current)
    rested = steady_thermal_fraction(edge.share * np.minimum(leaking, ohmic), edge.no_fire_current, edge.growth)
    grown = edge.bridge_resistance * np.maximum(1.0, 1.0 + edge.growth)
    return EdgeBounds(
        drain_voltage=drain,
        gate_voltage=gate,
        current=current,
        energy=grown * edge.share**2 * squares,
        thermal_fraction=np.minimum(fraction + rested, ceiling),
        time_above_threshold=above,
    )


def after_closures(edge: Edge, fraction: FloatArray, current: FloatArray, closures: npt.ArrayLike) -> FloatArray:
    """Bound the thermal fraction after several closures of the switch, of which none cools before the next [1].

    ((1 + a x)^N - 1) / a, for heat in a bridge that has grown by the closures before takes more; and no more than where
    the highest current flows for ever.

    Parameters
    ----------
    fraction, current : After one closure [1], and its highest [A]; (n,)
    closures : Number N of closures [1]

    Examples
    --------
    Ten closures of 9 % each, and a bridge that is half as much again at function (hand calculation: (1.045^10 - 1) /
    0.5 = 1.106), function it; ten that do not grow would not:

    >>> from dataclasses import fields
    >>> edge = Edge.of(**dict.fromkeys((f.name for f in fields(Edge)), 1.0) | {"growth": [0.5, 0.0]})
    >>> after_closures(edge, np.array([0.09, 0.09]), np.array([9.0, 9.0]), 10).round(3).tolist()
    [1.106, 0.9]
    """
    once, count = np.minimum(fraction, 1.0), np.asarray(closures, dtype=float)
    growth = np.maximum(edge.growth, 0.0)
    with np.errstate(over="ignore"):
        grown = np.expm1(count * np.log1p(growth * once)) / np.where(growth > 0.0, growth, 1.0)
        summed = np.where((growth > 0.0) & (fraction < 1.0), grown, count * fraction)
    ceiling = _for_ever(edge, current)
    return np.asarray(np.where(count > 1.0, np.maximum(np.minimum(summed, ceiling), fraction), fraction))


def _for_ever(edge: Edge, current: FloatArray) -> FloatArray:
    """Thermal fraction by a current that flows for ever [1]; above function the bridge changes no more."""
    square = (current / edge.no_fire_current) ** 2
    steady = steady_thermal_fraction(current, edge.no_fire_current, edge.growth)
    return np.where(square > 1.0, np.maximum(steady, square), steady)


def _rung(edge: Edge, periods: FloatArray, current: FloatArray) -> FloatArray:
    """Highest drain voltage of a loop that rings without loss [V]: W(v) = V Q(v) + L I^2 / 2, by bisection.

    An edge of several periods leaves less to ring: at most 1 / (pi periods) of it. Breakdown ends it.
    """
    # a second swing starts with the drain below ground
    begun = edge.most_coupling + edge.drain_capacitance
    kick = 0.5 * edge.inductance * current**2 + begun * BODY_DIODE * (edge.supply + 0.5 * BODY_DIODE)
    extra = edge.near_capacitance - edge.far_capacitance
    straight = edge.drain_capacitance + edge.far_capacitance

    def excess(v: FloatArray) -> FloatArray:
        ratio = v / edge.knee_voltage
        stored = 0.5 * straight * v**2 + 0.5 * extra * edge.knee_voltage**2 * np.log1p(ratio**2)
        taken = edge.supply * (straight * v + extra * edge.knee_voltage * np.arctan(ratio))
        return np.asarray(stored - taken - kick)

    low, high = edge.supply, 1000.0 * edge.supply
    for _ in range(60):
        middle = np.sqrt(low * high)
        beyond = excess(middle) > 0.0
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    peak = edge.supply + (high - edge.supply) * np.minimum(1.0, 1.0 / (np.pi * periods))
    return np.minimum(peak, np.maximum(edge.breakdown + _DIODE_RESISTANCE * current, edge.supply))


def _lifted(edge: Edge, drain: FloatArray) -> FloatArray:
    """Rise of the gate by the charge that the drain pushes into it [V]: C_gs u = Q(v - rest - u) - Q(-rest)."""
    low, high = np.zeros_like(drain), drain.copy()
    for _ in range(50):
        middle = 0.5 * (low + high)
        pushed = coupled_charge(edge, drain - edge.gate_rest - middle) + edge.near_capacitance * edge.gate_rest
        beyond = edge.gate_source_capacitance * middle > pushed
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return high
