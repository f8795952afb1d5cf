"""Equations of the arming edge for many value sets at once: slopes of the state, their derivatives, and one step.

A step is a few hundred operations on short arrays, whose cost is their number. So what the value sets alone settle is
worked out once, rows that are treated alike lie in one array, and the derivatives take over what the slopes have found.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ignition.typing import BoolArray, FloatArray

__all__ = ["EdgeModel", "Point", "Solver"]

_DIODE_DROP, _DIODE_RESISTANCE = 0.6, 0.01
"""Body diode, for a drain that rings below ground or beyond breakdown [V], [ohm]: common practice."""

_THERMAL_VOLTAGE = 0.03
"""Drain voltage over which the current below threshold comes up [V]: kT/q, hot."""


@dataclass(slots=True, kw_only=True)
class Point:
    """A state, its slope, and what both the slope and its derivatives are made of.

    Attributes
    ----------
    state, slope : y = (i, v_d, v_g, x) [A, V, V, 1], and its time derivative, shape (4, n)
    over : Gate voltage over the threshold [V]
    on : The same, zero below the threshold [V]
    used : What the square law has of drain voltage [V]
    strength : Gain times that [S]
    fading : What the current below the threshold lacks at a low drain [A]
    rises : Current below the threshold [A]
    beyond : Drain voltage below the body diode's or above breakdown [V]
    passed : Current from drain to source [A]
    ratio, bell : Drain-gate voltage over the knee, and 1 / (1 + its square) [1]
    coupling : Gate-drain capacitance [F]
    inverse : 1 / ((C_d + C_gd) (C_gs + C_gd) - C_gd^2) [1/F^2]
    bridge : Resistance of the loop over its inductance [1/s]; heating of the bridge per squared current [1/(A^2 s)]
    drives : Both times the current [A/s], [1/(A s)]
    heat : Heating of the bridge [1/s]
    """

    state: FloatArray
    slope: FloatArray
    over: FloatArray
    on: FloatArray
    used: FloatArray
    strength: FloatArray
    fading: FloatArray
    rises: FloatArray
    beyond: FloatArray
    passed: FloatArray
    ratio: FloatArray
    bell: FloatArray
    coupling: FloatArray
    inverse: FloatArray
    bridge: FloatArray
    drives: FloatArray
    heat: FloatArray


class EdgeModel:
    """Value sets as the equations need them.

    Parameters
    ----------
    table : What follows from the value sets alone [SI], shape (rows, n), as `of` makes it
    """

    def __init__(self, table: FloatArray) -> None:
        self._table = table
        rows = iter(table)
        self.threshold, self.slope_voltage, self.threshold_current, self.breakdown, self.gain = (
            next(rows) for _ in range(5)
        )
        self.inverse_knee, self.far, self.extra, self.steepness = (next(rows) for _ in range(4))
        self.product, self.total, self.rest, self.inverse_gate = (next(rows) for _ in range(4))
        self.rise_time, self.ramp = next(rows), next(rows)
        # pairs: of loop and bridge, and of drain and gate
        self.decay, self.cold, self.grows, self.beside, self.scales = (
            table[15:17],
            table[17:19],
            table[19:21],
            table[21:23],
            table[23:27],
        )

    @classmethod
    def of(cls, values: Mapping[str, FloatArray]) -> EdgeModel:
        """Make it of the fields of an `Edge`, each of shape (n,)."""
        v = values
        bridge = v["share"] * v["bridge_resistance"]
        heating = (v["share"] / v["no_fire_current"]) ** 2 / (1.0 + v["growth"]) / v["time_constant"]
        extra = v["near_capacitance"] - v["far_capacitance"]
        drain, gate, inductance = v["drain_capacitance"], v["gate_source_capacitance"], v["inductance"]
        ones = np.ones_like(v["supply"])
        rows = [
            *(v["threshold"], v["slope_voltage"], v["threshold_current"], v["breakdown"], v["gain"]),
            *(1.0 / v["knee_voltage"], v["far_capacitance"], extra, -2.0 * extra / v["knee_voltage"]),
            *(drain * gate, drain + gate, v["gate_rest"], 1.0 / v["gate_resistance"]),
            *(v["rise_time"], v["supply"] / v["rise_time"] / inductance),
            *(1.0 / inductance, 1.0 / v["time_constant"]),
            *((v["line_resistance"] + bridge) / inductance, heating),
            *(bridge * v["growth"] / inductance, heating * v["growth"]),
            *(gate, drain),
            # sizes below which an error of the state counts as of this size
            *(0.02 * v["supply"] / (v["line_resistance"] + bridge), 0.05 * v["supply"], 0.05 * ones, 1e-3 * ones),
        ]
        return cls(np.array(rows))

    def take(self, members: BoolArray) -> EdgeModel:
        """Return some of the value sets."""
        return EdgeModel(self._table[:, members])

    def heat(self, current: FloatArray, fraction: FloatArray) -> FloatArray:
        """Return the heating of the bridge [1/s]; past function its resistance grows no more."""
        return np.asarray(current * current * (self.cold[1] + self.grows[1] * np.minimum(fraction, 1.0)))

    def at(self, state: FloatArray, time: FloatArray) -> Point:
        """Return slope and all that belongs to it at a state, shape (4, n).

        Parameters
        ----------
        time : Since the arm switch began to close [s], (n,)
        """
        current, drain, gate, fraction = state
        signed = np.empty((3, *drain.shape))
        signed[0] = drain
        np.subtract(gate, self.threshold, out=signed[1])
        np.subtract(drain, gate, out=signed[2])
        across, on, apart = np.maximum(signed, 0.0)
        # square law, what flows below the threshold, body diode and avalanche
        used = np.minimum(across, on)
        powers = np.empty((2, *drain.shape))
        np.multiply(across, -1.0 / _THERMAL_VOLTAGE, out=powers[0])
        np.divide(signed[1] - on, self.slope_voltage, out=powers[1])
        fade, below = np.exp(powers, out=powers)
        below *= self.threshold_current
        fading = below * fade
        rises, strength = below - fading, self.gain * used
        beyond = drain - np.minimum(np.maximum(drain, -_DIODE_DROP), self.breakdown)
        passed = strength * (on - 0.5 * used) + rises + beyond * (1.0 / _DIODE_RESISTANCE)
        ratio = apart * self.inverse_knee
        bell = 1.0 / (1.0 + ratio * ratio)
        coupling = self.far + self.extra * bell
        inverse = 1.0 / (self.product + self.total * coupling)
        into, slope = np.empty((2, *drain.shape)), np.empty(state.shape)
        np.subtract(current, passed, out=into[0])
        np.multiply(self.rest - gate, self.inverse_gate, out=into[1])
        np.multiply(self.beside * into + coupling * (into[0] + into[1]), inverse, out=slope[1:3])
        bridge = self.cold + self.grows * np.minimum(fraction, 1.0)
        drives = bridge * current
        decays = state[1::2] * self.decay
        heat = drives[1] * current
        np.subtract(np.minimum(time, self.rise_time) * self.ramp - drives[0], decays[0], out=slope[0])
        np.subtract(heat, decays[1], out=slope[3])
        return Point(
            state=state,
            slope=slope,
            over=signed[1],
            on=on,
            used=used,
            strength=strength,
            fading=fading,
            rises=rises,
            beyond=beyond,
            passed=passed,
            ratio=ratio,
            bell=bell,
            coupling=coupling,
            inverse=inverse,
            bridge=bridge,
            drives=drives,
            heat=heat,
        )

    def step(self, start: Point, time: FloatArray, h: FloatArray, ramp: BoolArray) -> tuple[FloatArray, FloatArray]:
        """Take one step of Rodas3, and return the state after it and the estimate of its error.

        Parameters
        ----------
        time, h : Where it begins, and its length [s], (n,)
        ramp : Whether the source still rises, (n,)
        """
        state, slope, per_step = start.state, start.slope, 1.0 / h
        solver = Solver(self, start, 2.0 * per_step)
        drift = ramp * self.ramp * h  # the slope of the loop's current itself moves with the source
        right = slope.copy()
        right[0] += 0.5 * drift
        k1 = solver.solve(right)
        right = slope + (4.0 * per_step) * k1
        right[0] += 1.5 * drift
        k2 = solver.solve(right)
        after, then = state + 2.0 * k1, time + h
        apart = k1 - k2
        k3 = solver.solve(self.at(after, then).slope + apart * per_step)
        after += k3
        k4 = solver.solve(self.at(after, then).slope + (apart - (8.0 / 3.0) * k3) * per_step)
        return after + k4, k4


class Solver:
    """Solution of (s - J) k = r with the derivatives J of the slopes, by elimination of x, then i, then 2 by 2.

    Parameters
    ----------
    s : What stands on the diagonal [1/s], shape (n,)
    """

    def __init__(self, model: EdgeModel, point: Point, s: FloatArray) -> None:
        current, drain, _, fraction = point.state
        moving = model.grows * (fraction < 1.0) * current
        self._bridge = 1.0 / (s + model.decay[1] - moving[1] * current)
        self._warms = 2.0 * point.drives[1] * self._bridge
        self._cools = moving[0] * self._bridge
        self._loop = 1.0 / (s + point.bridge[0] + moving[0] * self._warms)
        # the current eliminated: k_i = (r_i - k_d / L) / p_i
        self._back = model.decay[0] * self._loop
        by_drain = (model.gain * (point.on - point.used) + point.fading * (1.0 / _THERMAL_VOLTAGE)) * (drain > 0.0)
        by_drain += (point.beyond != 0.0) * (1.0 / _DIODE_RESISTANCE)
        by_gate = point.strength + point.rises / model.slope_voltage * (point.over < 0.0)
        turning = model.steepness * point.ratio * point.bell * point.bell * (point.slope[1] - point.slope[2])
        # right sides of the two node equations, differentiated; the capacitance moves with the voltages too
        nodes, sums = np.empty((2, 2, *s.shape)), np.empty((2, *s.shape))
        np.add(by_drain, turning, out=nodes[0, 0])
        np.subtract(by_gate, turning, out=nodes[0, 1])
        np.negative(turning, out=nodes[1, 0])
        np.add(model.inverse_gate, turning, out=nodes[1, 1])
        sums[0] = by_drain
        np.add(by_gate, model.inverse_gate, out=sums[1])
        nodes *= model.beside[:, None]
        nodes += point.coupling * sums
        nodes *= point.inverse
        self._by_current = np.empty(sums.shape)
        np.add(model.beside[0], point.coupling, out=self._by_current[0])
        self._by_current[1] = point.coupling
        self._by_current *= point.inverse
        nodes[:, 0] += self._by_current * self._back
        (m11, m12), (m21, m22) = nodes
        m11 += s
        m22 += s
        share = 1.0 / (m11 * m22 - m12 * m21)
        self._of_drain, self._of_gate = np.empty(sums.shape), np.empty(sums.shape)
        np.multiply(m22, share, out=self._of_drain[0])
        np.multiply(m11, share, out=self._of_gate[1])
        np.negative(share, out=share)
        np.multiply(m21, share, out=self._of_drain[1])
        np.multiply(m12, share, out=self._of_gate[0])

    def solve(self, right: FloatArray) -> FloatArray:
        """Solve for one right side, shape (4, n)."""
        found = np.empty(right.shape)
        current = (right[0] - self._cools * right[3]) * self._loop
        drain, gate = right[1:3] + self._by_current * current
        nodes = np.add(self._of_drain * drain, self._of_gate * gate, out=found[1:3])
        np.subtract(current, self._back * nodes[0], out=found[0])
        np.add(right[3] * self._bridge, self._warms * found[0], out=found[3])
        return found
