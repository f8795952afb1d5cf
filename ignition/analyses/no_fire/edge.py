"""Arming edge in time: the drain's rise lifts the gate, the channel conducts and pulls the drain down, bridges heat.

One string of igniters, or all strings of a channel, between a source that rises in a straight line and the drain of a
MOSFET whose gate is held by a resistance. Many value sets are integrated side by side, each with steps of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from ignition.typing import BoolArray, FloatArray

__all__ = ["Edge", "EdgeResponse", "LEAST_INDUCTANCE", "coupled_charge", "edge_response"]

LEAST_INDUCTANCE = 1e-9
"""Inductance that any loop has at least [H]: a millimetre of wire."""

_DIODE_DROP, _DIODE_RESISTANCE = 0.6, 0.01
"""Body diode, for a drain that rings below ground or beyond breakdown [V], [ohm]: common practice."""

_THERMAL_VOLTAGE = 0.03
"""Drain voltage over which the current below threshold comes up [V]: kT/q, hot."""

_MOST_STEPS = 20_000
_STEPS_AT_ONCE = 4
"""Steps between two looks at who has ended."""

IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """Value sets of the arming edge, each of shape (n,).

    Attributes
    ----------
    supply, rise_time : Final voltage of the source [V] and time in which it gets there [s]
    line_resistance : All of the loop but the bridge and the MOSFET [ohm]
    inductance : Of the loop [H]
    share : Of the loop's current that flows through the igniter [1]: less than one where other strings lie beside its
        own; they are in `line_resistance` and `inductance` and grow as it does
    bridge_resistance, growth : Cold resistance of the igniter [ohm], its relative growth up to function [1]
    no_fire_current, time_constant : Steady threshold [A] and time constant [s] of the bridge
    threshold, gain : Gate threshold [V] and gain K of the square law [A/V^2]
    threshold_current, slope_voltage : Drain current at the threshold [A], and gate voltage by which it falls to 1/e
        below [V]
    gate_source_capacitance : With any capacitor fitted at the gate [F]
    near_capacitance, far_capacitance, knee_voltage : Gate-drain capacitance at no and at high drain-gate voltage [F],
        and the voltage at which it is half way between [V]
    breakdown : Drain voltage above which the MOSFET avalanches [V]; infinite where it is not known
    drain_capacitance : Drain to ground without the gate's share: of the MOSFET and of the line [F]
    gate_resistance, gate_rest : Everything that holds the gate as one source [ohm], [V]; the gate starts there
    """

    supply: FloatArray
    rise_time: FloatArray
    line_resistance: FloatArray
    inductance: FloatArray
    share: FloatArray
    bridge_resistance: FloatArray
    growth: FloatArray
    no_fire_current: FloatArray
    time_constant: FloatArray
    threshold: FloatArray
    gain: FloatArray
    threshold_current: FloatArray
    slope_voltage: FloatArray
    gate_source_capacitance: FloatArray
    near_capacitance: FloatArray
    far_capacitance: FloatArray
    knee_voltage: FloatArray
    breakdown: FloatArray
    drain_capacitance: FloatArray
    gate_resistance: FloatArray
    gate_rest: FloatArray

    @classmethod
    def of(cls, **values: object) -> Edge:
        """Make value sets of numbers and arrays that broadcast to one axis."""
        arrays = np.broadcast_arrays(*(np.atleast_1d(np.asarray(values[f.name], dtype=float)) for f in fields(cls)))
        return cls(**{f.name: np.array(a) for f, a in zip(fields(cls), arrays, strict=True)})

    @classmethod
    def joined(cls, edges: Sequence[Edge]) -> Edge:
        """Put value sets one after another."""
        return cls(**{f.name: np.concatenate([getattr(edge, f.name) for edge in edges]) for f in fields(cls)})

    @property
    def bridge_in_loop(self) -> FloatArray:
        """What the cold bridge adds to the resistance of the loop [ohm]."""
        return self.share * self.bridge_resistance

    @property
    def loop_resistance(self) -> FloatArray:
        """Of line and cold bridge [ohm]."""
        return self.line_resistance + self.bridge_in_loop

    @property
    def most_coupling(self) -> FloatArray:
        """Largest gate-drain capacitance at any voltage [F]."""
        return np.maximum(self.near_capacitance, self.far_capacitance)

    def take(self, members: IntArray | BoolArray) -> Edge:
        """Return some of the value sets."""
        return replace(self, **{f.name: getattr(self, f.name)[members] for f in fields(self)})


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeResponse:
    """What the edge does, each of shape (n,).

    Attributes
    ----------
    peak_gate_voltage, peak_drain_voltage : [V]
    peak_current : Highest igniter current [A]
    energy : Into the bridge until the gate is off, or the end of the time [J]
    thermal_fraction : Highest share of the function temperature's rise [1]
    time_above_threshold : Time for which the gate is above the threshold [s]
    solved : Whether the integration came to its end
    times, gate_voltage, current, fraction : Waveforms, shape (points, n), where they were asked for [s], [V], [A], [1]
    """

    peak_gate_voltage: FloatArray
    peak_drain_voltage: FloatArray
    peak_current: FloatArray
    energy: FloatArray
    thermal_fraction: FloatArray
    time_above_threshold: FloatArray
    solved: BoolArray
    times: FloatArray
    gate_voltage: FloatArray
    current: FloatArray
    fraction: FloatArray


def coupled_charge(edge: Edge, voltage: FloatArray) -> FloatArray:
    """Return the gate-drain charge at a drain-gate voltage [C].

    Q(v) = C_far v + (C_near - C_far) v_k atan(v / v_k), the integral of C(v) = C_far + (C_near - C_far) / (1 +
    (v / v_k)^2); below zero the capacitance is the near one.

    Parameters
    ----------
    voltage : Drain to gate [V], (n,)
    """
    above = np.maximum(voltage, 0.0)
    knee = edge.knee_voltage * np.arctan(above / edge.knee_voltage)
    charge = edge.far_capacitance * above + (edge.near_capacitance - edge.far_capacitance) * knee
    return charge + edge.near_capacitance * np.minimum(voltage, 0.0)


def edge_response(
    edge: Edge,
    until: FloatArray | float,
    tolerance: float = 1e-4,
    *,
    record: bool = False,
    follow: FloatArray | float = 0.0,
) -> EdgeResponse:
    """Integrate the arming edge of every value set.

    With drain d, gate g, loop current i, share s of it in the igniter, and thermal fraction x:

    | L di/dt = V(t) - (R_line + s R_bridge (1 + a x)) i - v_d
    | (C_d + C_gd) dv_d/dt - C_gd dv_g/dt = i - I_channel(v_g, v_d)
    | (C_gs + C_gd) dv_g/dt - C_gd dv_d/dt = (V_rest - v_g) / R_gate
    | tau dx/dt = (s i / I0)^2 (1 + a x) / (1 + a) - x

    by a Rosenbrock method of third order with an exact Jacobian (Rodas3: Sandu et al., Atmospheric Environment 31,
    1997, from memory). A member ends once its gate is off and what still rings at its drain cannot lift it again; the
    energy of that ringing is added. The ringing's own peaks are then not seen.

    Parameters
    ----------
    until : End of the time [s], (n,) or one for all
    tolerance : Relative error of a step [1]
    record : Whether the waveforms are kept
    follow : Time up to which a member is followed though its gate is off, for its peaks [s], (n,) or one for all
    """
    count = len(edge.supply)
    ends, followed = (np.broadcast_to(np.asarray(time, dtype=float), (count,)) for time in (until, follow))
    running = _Running.start(edge, ends, followed)
    peaks, sums, solved = np.zeros((4, count)), np.zeros((2, count)), np.zeros(count, dtype=bool)
    kept: list[tuple[FloatArray, FloatArray]] = []
    steps = 0
    while len(running.place) and steps < _MOST_STEPS:
        with np.errstate(over="ignore", invalid="ignore", divide="ignore", under="ignore"):
            for _ in range(1 if record else _STEPS_AT_ONCE):
                running.advance(tolerance)
                steps += 1
        if record:
            kept.append((_spread(running.time, running.place, count), _spread(running.state, running.place, count)))
        ended = running.finish()
        if ended.any():
            done = running.place[ended]
            peaks[:, done] = running.peaks[:, ended]
            sums[:, done] = np.array([running.energy, running.above])[:, ended]
            solved[done] = True
            running = running.take(~ended)
    times = np.array([time for time, _ in kept]).reshape(-1, count)
    waves = np.array([state for _, state in kept]).reshape(-1, 4, count)
    return EdgeResponse(
        peak_gate_voltage=peaks[2],
        peak_drain_voltage=peaks[1],
        peak_current=edge.share * peaks[0],
        energy=sums[0],
        thermal_fraction=peaks[3],
        time_above_threshold=sums[1],
        solved=solved,
        times=times,
        gate_voltage=waves[:, 2],
        current=edge.share * waves[:, 0],
        fraction=waves[:, 3],
    )


def _spread(values: FloatArray, place: IntArray, count: int) -> FloatArray:
    """Values of the members that run at their places among all; the others are not a number."""
    whole = np.full((*values.shape[:-1], count), np.nan)
    whole[..., place] = values
    return whole


@dataclass(slots=True)
class _Running:
    """Members that still run: their place in the whole, value sets, state y = (i, v_d, v_g, x), and sums so far."""

    place: IntArray
    edge: Edge
    until: FloatArray
    follow: FloatArray
    state: FloatArray
    slope: FloatArray
    time: FloatArray
    step: FloatArray
    peaks: FloatArray
    energy: FloatArray
    above: FloatArray

    @classmethod
    def start(cls, edge: Edge, until: FloatArray, follow: FloatArray) -> _Running:
        """All members at rest."""
        count = len(edge.supply)
        state = np.zeros((4, count))
        state[2] = edge.gate_rest
        time = np.zeros(count)
        return cls(
            place=np.arange(count),
            edge=edge,
            until=until.copy(),
            follow=follow.copy(),
            state=state,
            slope=_slopes(edge, state, time),
            time=time,
            step=0.02 * np.minimum(edge.rise_time, np.sqrt(edge.inductance * (edge.drain_capacitance + 1e-12))),
            peaks=state.copy(),
            energy=np.zeros(count),
            above=np.zeros(count),
        )

    def take(self, members: BoolArray) -> _Running:
        """Return some of the members."""
        kept = {f.name: getattr(self, f.name)[..., members] for f in fields(self) if f.name != "edge"}
        return _Running(edge=self.edge.take(members), **kept)

    def advance(self, tolerance: float) -> None:
        """Take one step of every member; one whose error is too large stays, with a shorter step to try."""
        edge, state, time = self.edge, self.state, self.time
        ramp = time < edge.rise_time
        left = np.where(ramp, edge.rise_time, self.until) - time
        step = np.minimum(self.step, left)
        after, error = _rosenbrock(edge, state, time, step, ramp, self.slope)
        size = np.max(np.abs(error) / (tolerance * (_scales(edge) + np.abs(state))), axis=0)
        good = (size <= 1.0) & np.isfinite(after).all(axis=0)
        factor = np.where(np.isfinite(size), np.clip(0.9 * np.maximum(size, 1e-6) ** (-1.0 / 3.0), 0.2, 4.0), 0.2)
        # a step that only the end of the ramp cut short says nothing against the one that was due
        self.step = np.where(good & (step < self.step), np.maximum(step * factor, self.step), step * factor)
        now = np.where(good, after, state)
        reached = np.where(step < left, time + step, np.where(ramp, edge.rise_time, self.until))
        time = np.where(good, reached, time)
        slope = _slopes(edge, now, time)
        self._sum(state, now, self.slope, slope, np.where(good, step, 0.0))
        self.state, self.slope, self.time = now, slope, time

    def _sum(self, before: FloatArray, now: FloatArray, begin: FloatArray, end: FloatArray, h: FloatArray) -> None:
        """Follow peaks and integrals over one step."""
        edge = self.edge
        self.peaks = np.maximum(self.peaks, now)
        # state at the middle by the cubic through both ends, then Simpson
        middle = 0.5 * (before + now) + h / 8.0 * (begin - end)
        first, second, third = ((edge.share * y[0]) ** 2 * _grown(edge, y[3]) for y in (before, middle, now))
        self.energy = self.energy + edge.bridge_resistance * h / 6.0 * (first + 4.0 * second + third)
        over, then = before[2] - edge.threshold, now[2] - edge.threshold  # a straight line between them
        share = (np.maximum(over, 0.0) + np.maximum(then, 0.0)) / np.maximum(np.abs(over) + np.abs(then), 1e-300)
        self.above = self.above + h * share

    def finish(self) -> BoolArray:
        """Find who has ended; what still rings at the drain of one whose gate is off is dissipated."""
        edge, (current, drain, gate, fraction) = self.edge, self.state
        near = edge.most_coupling
        total = edge.drain_capacitance + near
        left = _left_to_charge(edge, drain, gate)
        ringing = 0.5 * edge.inductance * current**2 + left
        swing = 2.0 * np.sqrt(2.0 * ringing / total)
        lift = near * swing / (edge.gate_source_capacitance + near)
        low = np.maximum(gate, edge.gate_rest) + lift < edge.threshold - edge.slope_voltage
        off = low & (self.time >= np.maximum(edge.rise_time, self.follow)) & (drain > 0.5 * edge.supply)
        squares = np.where(off, edge.share**2 * ringing / edge.loop_resistance, 0.0)
        self.energy = self.energy + squares * edge.bridge_resistance
        risen = fraction + squares / (edge.no_fire_current**2 * (1.0 + edge.growth) * edge.time_constant)
        self.peaks[3] = np.maximum(self.peaks[3], risen)
        return np.asarray(off | (self.time >= self.until))


def _left_to_charge(edge: Edge, drain: FloatArray, gate: FloatArray) -> FloatArray:
    """Energy that is dissipated while a drain that nothing holds comes to the supply [J]: (V - v) C(v) dv, integrated.

    Of the gate-drain charge Q that is F(V - g) - F(v - g) - (V - v) Q(v - g), where F is the integral of Q.
    """

    def integral(voltage: FloatArray) -> FloatArray:
        ratio = np.maximum(voltage, 0.0) / edge.knee_voltage
        extra = (edge.near_capacitance - edge.far_capacitance) * edge.knee_voltage**2
        above = 0.5 * edge.far_capacitance * np.maximum(voltage, 0.0) ** 2
        above = above + extra * (ratio * np.arctan(ratio) - 0.5 * np.log1p(ratio * ratio))
        return np.asarray(above + 0.5 * edge.near_capacitance * np.minimum(voltage, 0.0) ** 2)

    rise, across = edge.supply - drain, drain - gate
    own = integral(edge.supply - gate) - integral(across) - rise * coupled_charge(edge, across)
    return np.asarray(0.5 * edge.drain_capacitance * rise**2 + np.maximum(own, 0.0))


def _scales(edge: Edge) -> FloatArray:
    """Sizes below which a state's error counts as of this size."""
    count = len(edge.supply)
    full = edge.supply / edge.loop_resistance
    return np.array([0.02 * full, 0.05 * edge.supply, np.full(count, 0.05), np.full(count, 1e-3)])


def _grown(edge: Edge, fraction: FloatArray) -> FloatArray:
    """Bridge resistance over the cold one [1]; past function it grows no more."""
    return np.asarray(1.0 + edge.growth * np.minimum(fraction, 1.0))


def _passed(edge: Edge, drain: FloatArray, gate: FloatArray) -> FloatArray:
    """Current from drain to source [A]: square law, what flows below the threshold, body diode and avalanche."""
    over, across = gate - edge.threshold, np.maximum(drain, 0.0)
    on = np.maximum(over, 0.0)
    used = np.minimum(across, on)
    below = edge.threshold_current * np.exp(np.minimum(over, 0.0) / edge.slope_voltage)
    other = np.minimum(drain + _DIODE_DROP, 0.0) + np.maximum(drain - edge.breakdown, 0.0)
    rises = below * (1.0 - np.exp(-across / _THERMAL_VOLTAGE))
    return np.asarray(edge.gain * used * (on - 0.5 * used) + rises + other / _DIODE_RESISTANCE)


def _conductances(edge: Edge, drain: FloatArray, gate: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Derivatives of that current by drain and by gate voltage [S]."""
    over, across = gate - edge.threshold, np.maximum(drain, 0.0)
    on = np.maximum(over, 0.0)
    used = np.minimum(across, on)
    below = edge.threshold_current * np.exp(np.minimum(over, 0.0) / edge.slope_voltage)
    fade = np.exp(-across / _THERMAL_VOLTAGE)
    by_drain = (edge.gain * (on - used) + below * fade / _THERMAL_VOLTAGE) * (drain > 0.0)
    by_drain = by_drain + ((drain < -_DIODE_DROP) | (drain > edge.breakdown)) / _DIODE_RESISTANCE
    return by_drain, edge.gain * used + below * (1.0 - fade) / edge.slope_voltage * (over < 0.0)


def _coupling(edge: Edge, drain: FloatArray, gate: FloatArray) -> FloatArray:
    """Gate-drain capacitance [F]."""
    ratio = np.maximum(drain - gate, 0.0) / edge.knee_voltage
    extra = edge.near_capacitance - edge.far_capacitance
    return np.asarray(edge.far_capacitance + extra / (1.0 + ratio * ratio))


def _steepness(edge: Edge, drain: FloatArray, gate: FloatArray) -> FloatArray:
    """Derivative of the gate-drain capacitance by the drain-gate voltage [F/V]."""
    ratio = np.maximum(drain - gate, 0.0) / edge.knee_voltage
    bell = 1.0 / (1.0 + ratio * ratio)
    extra = edge.near_capacitance - edge.far_capacitance
    return np.asarray(-2.0 * extra / edge.knee_voltage * ratio * bell * bell)


def _slopes(edge: Edge, state: FloatArray, time: FloatArray) -> FloatArray:
    """Time derivatives of the state."""
    current, drain, gate, fraction = state
    source = edge.supply * np.minimum(time / edge.rise_time, 1.0)
    resistance = edge.line_resistance + edge.bridge_in_loop * _grown(edge, fraction)
    channel, coupling = _passed(edge, drain, gate), _coupling(edge, drain, gate)
    into_drain, into_gate = current - channel, (edge.gate_rest - gate) / edge.gate_resistance
    a, b = edge.drain_capacitance + coupling, edge.gate_source_capacitance + coupling
    both = a * b - coupling**2
    square = (edge.share * current / edge.no_fire_current) ** 2
    return np.array(
        [
            (source - resistance * current - drain) / edge.inductance,
            (b * into_drain + coupling * into_gate) / both,
            (coupling * into_drain + a * into_gate) / both,
            (square * _grown(edge, fraction) / (1.0 + edge.growth) - fraction) / edge.time_constant,
        ]
    )


class _Jacobian:
    """Derivatives of the slopes, and the solution of (s - J) k = r by elimination of x, then i, then 2 by 2."""

    def __init__(self, edge: Edge, state: FloatArray, slope: FloatArray, s: FloatArray) -> None:
        current, drain, gate, fraction = state
        grown, growing = _grown(edge, fraction), np.where(fraction < 1.0, edge.growth, 0.0)
        by_drain, by_gate = _conductances(edge, drain, gate)
        c, dc = _coupling(edge, drain, gate), _steepness(edge, drain, gate)
        a, b = edge.drain_capacitance + c, edge.gate_source_capacitance + c
        both = a * b - c**2
        turning = dc * (slope[1] - slope[2])
        # right sides of the two node equations, differentiated; the capacitance moves with the voltages too
        drain_row = (-by_drain - turning, -by_gate + turning)
        gate_row = (turning, -1.0 / edge.gate_resistance - turning)
        self.dd, self.dg = ((b * drain_row[k] + c * gate_row[k]) / both for k in (0, 1))
        self.gd, self.gg = ((c * drain_row[k] + a * gate_row[k]) / both for k in (0, 1))
        self.di, self.gi = b / both, c / both
        sensitivity = (edge.share / edge.no_fire_current) ** 2
        self.xi = 2.0 * current * sensitivity * grown / (1.0 + edge.growth) / edge.time_constant
        square = current**2 * sensitivity
        xx = (square * growing / (1.0 + edge.growth) - 1.0) / edge.time_constant
        self.ix = -edge.bridge_in_loop * growing * current / edge.inductance
        resistance = edge.line_resistance + edge.bridge_in_loop * grown
        self.inverse = 1.0 / edge.inductance
        self.px = s - xx
        self.pi = s + resistance * self.inverse - self.ix * self.xi / self.px
        # the current eliminated: k_i = (r_i - k_d / L) / p_i
        back = self.inverse / self.pi
        self.m11, self.m12 = s - self.dd + self.di * back, -self.dg
        self.m21, self.m22 = -self.gd + self.gi * back, s - self.gg
        self.determinant = self.m11 * self.m22 - self.m12 * self.m21

    def solve(self, right: FloatArray) -> FloatArray:
        """Solve for one right side, shape (4, n)."""
        ri = (right[0] + self.ix * right[3] / self.px) / self.pi
        rd, rg = right[1] + self.di * ri, right[2] + self.gi * ri
        kd = (rd * self.m22 - self.m12 * rg) / self.determinant
        kg = (self.m11 * rg - self.m21 * rd) / self.determinant
        ki = ri - self.inverse * kd / self.pi
        return np.array([ki, kd, kg, (right[3] + self.xi * ki) / self.px])


def _rosenbrock(
    edge: Edge, state: FloatArray, time: FloatArray, h: FloatArray, ramp: BoolArray, slope: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """One step of Rodas3: the state after it and the estimate of its error."""
    matrix = _Jacobian(edge, state, slope, 2.0 / h)
    drift = np.zeros_like(state)
    drift[0] = np.where(ramp, edge.supply / edge.rise_time, 0.0) / edge.inductance
    k1 = matrix.solve(slope + 0.5 * h * drift)
    k2 = matrix.solve(slope + 4.0 / h * k1 + 1.5 * h * drift)
    third = _slopes(edge, state + 2.0 * k1, time + h)
    k3 = matrix.solve(third + (k1 - k2) / h)
    fourth = _slopes(edge, state + 2.0 * k1 + k3, time + h)
    k4 = matrix.solve(fourth + (k1 - k2 - 8.0 / 3.0 * k3) / h)
    return state + 2.0 * k1 + k3 + k4, k4
