"""Arming edge in time: the drain's rise lifts the gate, the channel conducts and pulls the drain down, bridges heat.

One string of igniters, or all strings of a channel, between a source that rises in a straight line and the drain of a
MOSFET whose gate is held by a resistance. Many value sets are integrated side by side, each with steps of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from ignition.analyses.no_fire.edge_model import EdgeModel, Point
from ignition.typing import BoolArray, FloatArray

__all__ = ["BODY_DIODE", "Edge", "EdgeResponse", "LEAST_INDUCTANCE", "coupled_charge", "edge_response"]

BODY_DIODE = 1.0
"""How far a drain that rings falls below ground at most, held by the body diode [V]."""

LEAST_INDUCTANCE = 1e-9
"""Inductance that any loop has at least [H]: a millimetre of wire."""

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
    row_overdrive : Gate voltage over the threshold from which on the data sheet's on-resistance 1 / (K v) holds [V]
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
    row_overdrive: FloatArray
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

    @property
    def most_current(self) -> FloatArray:
        """Most that the loop carries, of which the MOSFET takes nothing [A]."""
        resistance = self.line_resistance + self.bridge_in_loop * np.minimum(1.0, 1.0 + self.growth)
        return np.asarray((self.supply + BODY_DIODE) / resistance)

    def fully_on(self) -> Edge:
        """Return the same with a gain that passes no less than the on-resistance of the row, from its overdrive on.

        The square law is concave in the drain voltage: so it passes no less from nothing up to the loop's most current
        where it does so there, or saturates there. Source: hand calculation.
        """
        across = np.minimum(self.most_current / (self.gain * self.row_overdrive), self.row_overdrive)
        return replace(self, gain=self.most_current / ((self.row_overdrive - 0.5 * across) * across))

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
            kept.append(
                (_spread(running.time, running.place, count), _spread(running.point.state, running.place, count))
            )
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
    """Members that still run: their place in the whole, value sets, where they are, and sums so far."""

    place: IntArray
    edge: Edge
    model: EdgeModel
    point: Point
    until: FloatArray
    follow: FloatArray
    time: FloatArray
    step: FloatArray
    peaks: FloatArray
    heated: FloatArray
    above: FloatArray

    @classmethod
    def start(cls, edge: Edge, until: FloatArray, follow: FloatArray) -> _Running:
        """All members at rest."""
        count = len(edge.supply)
        state = np.zeros((4, count))
        state[2] = edge.gate_rest
        time, model = np.zeros(count), EdgeModel.of({f.name: getattr(edge, f.name) for f in fields(edge)})
        return cls(
            place=np.arange(count),
            edge=edge,
            model=model,
            point=model.at(state, time),
            until=until.copy(),
            follow=follow.copy(),
            time=time,
            step=0.02 * np.minimum(edge.rise_time, np.sqrt(edge.inductance * (edge.drain_capacitance + 1e-12))),
            peaks=state.copy(),
            heated=np.zeros(count),
            above=np.zeros(count),
        )

    @property
    def energy(self) -> FloatArray:
        """Into the bridge so far [J]: what heats it, in units of what its function takes."""
        edge = self.edge
        unit = edge.no_fire_current**2 * (1.0 + edge.growth) * edge.time_constant
        return self.heated * unit * edge.bridge_resistance

    def take(self, members: BoolArray) -> _Running:
        """Return some of the members."""
        kept = {n: getattr(self, n)[..., members] for n in ("place", "until", "follow", "time", "step", "above")}
        kept |= {"peaks": self.peaks[:, members], "heated": self.heated[members]}
        model = self.model.take(members)
        point = model.at(self.point.state[:, members], kept["time"])
        return _Running(edge=self.edge.take(members), model=model, point=point, **kept)

    def advance(self, tolerance: float) -> None:
        """Take one step of every member; one whose error is too large stays, with a shorter step to try."""
        before, time = self.point, self.time
        ramp = time < self.model.rise_time
        goal = np.where(ramp, self.model.rise_time, self.until)
        left = goal - time
        step = np.minimum(self.step, left)
        after, error = self.model.step(before, time, step, ramp)
        size = (np.abs(error) / (tolerance * (self.model.scales + np.abs(before.state)))).max(axis=0)
        good = size <= 1.0  # no state, slope or error that is not a number is
        # the least factor where the size is none
        factor = np.minimum(np.fmax(0.9 * np.maximum(size, 1e-6) ** (-1.0 / 3.0), 0.2), 4.0)
        next_step = step * factor
        # a step that only the end of the ramp cut short says nothing against the one that was due
        self.step = np.where(good & (step < self.step), np.maximum(next_step, self.step), next_step)
        self.time = np.where(good, np.where(step < left, time + step, goal), time)
        self.point = self.model.at(np.where(good, after, before.state), self.time)
        self._sum(before, self.point, np.where(good, step, 0.0))

    def _sum(self, before: Point, now: Point, h: FloatArray) -> None:
        """Follow peaks and integrals over one step."""
        np.maximum(self.peaks, now.state, out=self.peaks)
        # current and fraction at the middle by the cubic through both ends, then Simpson
        bend = (0.125 * h) * (before.slope[::3] - now.slope[::3])
        middle = self.model.heat(*(0.5 * (before.state[::3] + now.state[::3]) + bend))
        self.heated += (h * (1.0 / 6.0)) * (before.heat + 4.0 * middle + now.heat)
        lengths = np.abs(before.over) + np.abs(now.over)  # a straight line between them
        self.above += h * ((before.on + now.on) / np.maximum(lengths, 1e-300))

    def finish(self) -> BoolArray:
        """Find who has ended; what still rings at the drain of one whose gate is off is dissipated."""
        edge, (current, drain, gate, fraction) = self.edge, self.point.state
        near = edge.most_coupling
        total = edge.drain_capacitance + near
        ringing = 0.5 * edge.inductance * current**2 + _left_to_charge(edge, drain, gate)
        swing = 2.0 * np.sqrt(2.0 * ringing / total)
        lift = near * swing / (edge.gate_source_capacitance + near)
        low = np.maximum(gate, edge.gate_rest) + lift < edge.threshold - edge.slope_voltage
        off = low & (self.time >= np.maximum(edge.rise_time, self.follow)) & (drain > 0.5 * edge.supply)
        squares = np.where(off, edge.share**2 * ringing / edge.loop_resistance, 0.0)
        risen = squares / (edge.no_fire_current**2 * (1.0 + edge.growth) * edge.time_constant)
        self.heated = self.heated + risen
        self.peaks[3] = np.maximum(self.peaks[3], fraction + risen)
        return np.asarray(off | (self.time >= self.until))


def _left_to_charge(edge: Edge, drain: FloatArray, gate: FloatArray) -> FloatArray:
    """Energy that is dissipated while a drain that nothing holds comes to the supply [J]: (V - v) C(v) dv, integrated.

    Of the gate-drain charge Q that is F(V - g) - F(v - g) - (V - v) Q(v - g), where F is the integral of Q.
    """
    across = np.array([edge.supply, drain]) - gate
    above, below = np.maximum(across, 0.0), np.minimum(across, 0.0)
    ratio = above / edge.knee_voltage
    angle = np.arctan(ratio)
    extra = (edge.near_capacitance - edge.far_capacitance) * edge.knee_voltage
    whole = 0.5 * edge.far_capacitance * above**2 + 0.5 * edge.near_capacitance * below**2
    whole += extra * edge.knee_voltage * (ratio * angle - 0.5 * np.log1p(ratio * ratio))
    charge = edge.far_capacitance * above[1] + extra * angle[1] + edge.near_capacitance * below[1]
    rise = edge.supply - drain
    own = whole[0] - whole[1] - rise * charge
    return np.asarray(0.5 * edge.drain_capacitance * rise**2 + np.maximum(own, 0.0))
