"""Sub-stepped march: growing bridge resistance, battery polarisation or a capacitor bank, each trial error-controlled.

Dormand-Prince pair of orders 5 and 4; every trial has its own step. An event inside a step is found as a root of the
step's own end state, so that it is as exact as the step. All arrays carry the trials on their last axis.

Rows of the state: thermal fraction of each igniter (k), state voltage of the source (1), charge (1), source I²t (1),
channel I²t (m).
"""

from __future__ import annotations

import numpy as np

from ignition.analyses.firing.transient.inputs import IndexArray, MarchInputs, Segment, segments
from ignition.analyses.firing.transient.ladder import ladder_currents, string_conductance
from ignition.errors import NetworkError
from ignition.typing import BoolArray, FloatArray

__all__ = ["march_substep"]

_STAGES = (
    (),
    (1 / 5,),
    (3 / 40, 9 / 40),
    (44 / 45, -56 / 15, 32 / 9),
    (19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729),
    (9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656),
    (35 / 384, 0.0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84),
)
_ERROR = (71 / 57600, 0.0, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40)
_ROOT = 1e-13
_HIT = 1.0 - 2e-12
_LEAST_TURN = 1e-3
_ROUNDS = 200_000


_CONSTANT = (
    "voltage",
    "source_resistance",
    "terminal_resistance",
    "release_voltage",
    "fuse_i2t",
    "channel_resistance",
    "string_resistance",
    "growth",
    "state_supply",
    "state_leak",
    "state_gain",
    "heat",
    "rate",
    "spent",
    "begin",
    "length",
)
_STATE = (
    "base",
    "slope",
    "alive",
    "live",
    "y",
    "step",
    "elapsed",
    "conducting",
    "peak",
    "function_time",
    "highest_current",
    "lowest_bus_voltage",
    "lowest_terminal_voltage",
    "release_time",
    "fuse_time",
)


class _Cluster:
    """Trials under way: their constants, their state `y`, and what has been recorded."""

    def __init__(self, inputs: MarchInputs, trials: int, tolerance: float) -> None:
        self.tree, self.kind, self.tolerance = inputs.tree, inputs.source_kind, tolerance
        k, m = inputs.tree.igniters, inputs.tree.channels
        self.k = k
        self.string = np.array(inputs.tree.string_of_igniter)
        self.channel = np.array(inputs.tree.channel_of_string)
        self.voltage = inputs.voltage
        self.source_resistance = inputs.source_resistance
        self.terminal_resistance = inputs.terminal_resistance
        self.release_voltage = inputs.release_voltage
        self.fuse_i2t = inputs.fuse_i2t
        self.channel_resistance = inputs.channel_resistance
        self.string_resistance = inputs.string_resistance
        self.growth = inputs.growth
        self.state_supply = inputs.state_supply
        self.state_leak = inputs.state_leak
        self.state_gain = inputs.state_gain
        self.heat: FloatArray = 1.0 / (inputs.threshold_current**2 * (1.0 + inputs.growth))
        self.rate: FloatArray = np.broadcast_to(1.0 / inputs.time_constant, (k, trials)).copy()
        self.base = inputs.igniter_resistance.copy()
        self.slope = np.where(np.isfinite(self.base), self.base * inputs.growth, 0.0)
        self.spent = inputs.spent_resistance
        self.alive: FloatArray = np.ones((k, trials))
        self.y: FloatArray = np.zeros((k + 3 + m, trials))
        self.y[k] = inputs.state_voltage
        self.step = np.zeros(trials)
        self.peak = np.zeros((k, trials))
        self.function_time = np.full((k, trials), np.inf)
        self.highest_current = np.zeros(trials)
        self.lowest_bus_voltage = self.open_voltage(self.y).copy()
        self.lowest_terminal_voltage = self.lowest_bus_voltage.copy()
        self.release_time = np.full(trials, np.inf)
        self.fuse_time = np.full(trials, np.inf)
        self.live = np.ones(trials)

    def enter(self, segment: Segment) -> None:
        """Start a segment: all trials at its first instant, with a first step from the fastest thermal rate."""
        trials = self.live.shape[0]
        self.begin = np.broadcast_to(segment.begin, (trials,))
        self.length = np.broadcast_to(segment.length, (trials,))
        self.elapsed = np.zeros(trials)
        self.conducting = segment.conducting * self.live
        slope = self.derivative(self.y)[: self.k + 1]
        scale = np.maximum(np.abs(self.y[: self.k + 1]), 1.0)
        fastest = np.max(np.abs(slope) / scale, axis=0) + np.max(self.rate, axis=0)
        self.step = 0.5 * self.tolerance**0.2 / fastest

    def take(self, keep: IndexArray) -> _Cluster:
        """The trials `keep` alone."""
        part = object.__new__(_Cluster)
        part.__dict__.update(self.__dict__)
        for name in _CONSTANT + _STATE:
            part.__dict__[name] = np.take(self.__dict__[name], keep, axis=-1)
        return part

    def put_back(self, part: _Cluster, index: IndexArray) -> None:
        """Write the state of `part` over the trials `index`."""
        for name in _STATE:
            self.__dict__[name][..., index] = part.__dict__[name]

    def open_voltage(self, y: FloatArray) -> FloatArray:
        """Voltage of the source at no current."""
        state: FloatArray = y[self.k]
        return state if self.kind == "bank" else self.voltage - state

    def currents(self, y: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Bus voltage, source current, channel currents, string currents."""
        conductance = string_conductance(self.tree, self.string_resistance, self.base + self.slope * y[: self.k])
        bus, source, across, channel = ladder_currents(
            self.tree.channel_of_string,
            conductance,
            self.channel_resistance,
            self.source_resistance,
            self.open_voltage(y),
            self.conducting,
        )
        return bus, source, channel, conductance * across[self.channel]

    def derivative(self, y: FloatArray) -> FloatArray:
        """Rate of change of the state."""
        _, source, channel, string = self.currents(y)
        k = self.k
        x = y[:k]
        rate = np.empty_like(y)
        power = string[self.string]
        rate[:k] = (power * power * self.heat * (1.0 + self.growth * x) - x) * self.rate
        rate[:k] *= self.alive
        rate[k] = (self.state_supply - y[k]) * self.state_leak + self.state_gain * source
        rate[k + 1] = source
        rate[k + 2] = source * source
        rate[k + 3 :] = channel * channel
        return rate

    def terminal_voltage(self, y: FloatArray, source: FloatArray) -> FloatArray:
        """Voltage at the terminals."""
        voltage: FloatArray = self.open_voltage(y) - self.terminal_resistance * source
        return voltage

    def trigger(self, y: FloatArray) -> FloatArray:
        """Event function of each trial: negative before the first event, 0 at it."""
        value: FloatArray = np.max(np.where(self.alive > 0.0, y[: self.k], 0.0), axis=0) - 1.0
        np.maximum(value, y[self.k + 2] / self.fuse_i2t - 1.0, out=value, where=self.live > 0.0)
        guarded = (self.release_voltage > -np.inf) & (self.live > 0.0)
        if guarded.any():
            low = self.release_voltage - self.terminal_voltage(y, self.currents(y)[1])
            np.maximum(value, low / np.maximum(np.abs(self.release_voltage), 1e-3), out=value, where=guarded)
        return value


def march_substep(inputs: MarchInputs, trials: int, out: dict[str, FloatArray], tolerance: float) -> None:
    """March one chunk of trials with error-controlled steps and write the results.

    Raises NetworkError if a trial does not come to the end of a segment.

    Parameters
    ----------
    inputs : One chunk, as `MarchInputs.chunk` gives it
    out : Arrays to write, by the field names of `MarchResult`, with n on the last axis
    tolerance : Relative error allowed to one step [1]
    """
    with np.errstate(all="ignore"):
        state = _Cluster(inputs, trials, tolerance)
        k, channel_of_igniter = state.k, np.array(inputs.tree.channel_of_igniter)
        out["thermal_fraction"][:] = 0.0
        out["initial_current"][:] = 0.0
        for segment in segments(inputs.channel_on, inputs.channel_off):
            state.enter(segment)
            string = state.currents(state.y)[3]
            np.copyto(out["initial_current"], string[state.string], where=segment.starting[channel_of_igniter])
            _run_segment(state)
            on = segment.conducting[channel_of_igniter] > 0.0
            np.copyto(out["thermal_fraction"], state.y[:k], where=on)
        functioned = np.isfinite(state.function_time)
        np.copyto(out["thermal_fraction"], 1.0, where=functioned)
        np.copyto(state.peak, 1.0, where=functioned)
        out["peak_thermal_fraction"][:] = state.peak
        out["charge"][:] = state.y[k + 1]
        out["channel_i2t"][:] = state.y[k + 3 :]
        for name in _STATE:
            if name in out:
                out[name][:] = getattr(state, name)


def _run_segment(state: _Cluster) -> None:
    """Step every trial to the end of the segment."""
    done = state.elapsed >= state.length
    if done.all():
        return
    index = np.flatnonzero(~done)
    active = state.take(index)
    for _ in range(_ROUNDS):
        _guard(active)
        _step(active)
        done = active.elapsed >= active.length
        finished = np.count_nonzero(done)
        if finished > 0.25 * done.shape[0]:
            state.put_back(active, index)
            if finished == done.shape[0]:
                _guard(state)
                return
            keep = np.flatnonzero(~done)
            index, active = index[keep], active.take(keep)
    raise NetworkError(
        f"firing march: {index.shape[0]} trials did not reach the end of a segment in {_ROUNDS} steps, at "
        f"{float(active.begin[0] + active.elapsed[0])!r} s; a time constant is very short beside the pulse: shorten "
        "the pulse, or leave out the polarisation or the bank resistance that makes it short"
    )


def _extremes(state: _Cluster) -> FloatArray:
    """Keep the highest current and the lowest voltages at this instant; the terminal voltage."""
    bus, source, _, _ = state.currents(state.y)
    terminal = state.terminal_voltage(state.y, source)
    connected = state.live > 0.0
    np.maximum(state.highest_current, source, out=state.highest_current)
    np.minimum(state.lowest_bus_voltage, bus, out=state.lowest_bus_voltage, where=connected)
    np.minimum(state.lowest_terminal_voltage, terminal, out=state.lowest_terminal_voltage, where=connected)
    return terminal


def _guard(state: _Cluster) -> None:
    """Keep the extremes at this instant, and release where the terminal voltage is too low."""
    low = (_extremes(state) < state.release_voltage) & (state.live > 0.0)
    if low.any():
        np.copyto(state.release_time, state.begin + state.elapsed, where=low)
        state.live[low] = 0.0
        state.conducting *= state.live


def _attempt(
    state: _Cluster, step: FloatArray, first: FloatArray | None = None
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """One step of the pair: end state, error ratio, and the rates at both ends; `first` is the first rate, if known."""
    rates = [state.derivative(state.y) if first is None else first]
    end = state.y
    for row in _STAGES[1:]:
        change = sum((c * r for c, r in zip(row, rates, strict=True) if c != 0.0), start=np.zeros_like(end))
        end = state.y + step * change
        rates.append(state.derivative(end))
    rows = state.k + 1
    error = sum((c * r[:rows] for c, r in zip(_ERROR, rates, strict=True) if c != 0.0), start=np.zeros_like(end[:rows]))
    scale = np.maximum(np.abs(state.y[:rows]), np.abs(end[:rows]))
    scale[:-1] = np.maximum(scale[:-1], 1e-3)
    scale[-1] = np.maximum(scale[-1], 1e-3 * np.maximum(state.voltage, 1e-3))
    ratio = np.max(np.abs(error) / scale, axis=0) * step / state.tolerance
    return end, ratio, rates[0], rates[-1]


def _step(state: _Cluster) -> None:
    """One step of every trial, shortened to its first turning point or event."""
    left = state.length - state.elapsed
    last = state.step >= left
    step = np.where(last, left, state.step)
    end, ratio, first_rate, last_rate = _attempt(state, step)
    good = (ratio <= 1.0) & np.isfinite(end[: state.k + 1]).all(axis=0)
    factor = np.clip(0.9 * np.maximum(ratio, 1e-10) ** -0.2, 0.2, 5.0)
    factor = np.where(np.isfinite(factor), factor, 0.2)
    proposal = np.where(
        good, np.where(last, np.maximum(state.step, step * factor), step * factor), step * np.minimum(factor, 0.9)
    )
    turn = _turning_points(state, first_rate, last_rate)
    turning = good & (turn < 1.0)
    if turning.any():
        where = np.flatnonzero(turning)
        step[where], end[:, where] = _to_turn(state.take(where), step[where] * turn[where])
    np.copyto(step, 0.0, where=~good)
    np.copyto(end, state.y, where=~good)
    event = good & (state.trigger(end) >= -_ROOT)
    located = np.flatnonzero(event)
    if located.size:
        part = state.take(located)
        step[located], end[:, located] = _locate(part, step[located], end[:, located])
    state.y = end
    state.elapsed = np.where(good & last & ~turning & ~event, state.length, state.elapsed + step)
    state.step = proposal
    np.maximum(state.peak, end[: state.k] * state.alive, out=state.peak)
    if located.size:
        _extremes(state)  # just before the event: what functions now may have drawn the highest current
        _record(state, event)


def _turning_points(state: _Cluster, first_rate: FloatArray, last_rate: FloatArray) -> FloatArray:
    """Fraction of the step at which the first rising thermal fraction turns down, 1 where none does.

    The rate is taken as linear over the step; a fraction below `_LEAST_TURN` is left alone: the peak is behind.
    """
    k = state.k
    rising, falling = first_rate[:k], last_rate[:k]
    fraction = np.divide(rising, rising - falling, out=np.ones_like(rising), where=(rising > 0.0) & (falling < 0.0))
    least: FloatArray = np.min(np.where(fraction > _LEAST_TURN, fraction, 1.0), axis=0)
    return least


def _to_turn(part: _Cluster, step: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Step to a turning point and the state there; a step still beyond it is shortened again, a short one stays."""
    for _ in range(5):
        end, _, first_rate, last_rate = _attempt(part, step)
        turn = _turning_points(part, first_rate, last_rate)
        if np.all(turn > 1.0 - 1e-6):
            break
        step = step * turn
    else:
        end = _attempt(part, step)[0]
    return step, end


def _locate(part: _Cluster, step: FloatArray, end: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Step to the event inside a step, and the state there: Newton's rule on whole steps, kept in a bracket.

    Where Newton's guess leaves the bracket, and for a fuse or a release, false position takes its place; every sixth
    guess is the middle.
    """
    low, high = np.zeros_like(step), step.copy()
    below, above = np.minimum(part.trigger(part.y), -1e-300), part.trigger(end)
    best, state, first = step.copy(), end.copy(), part.derivative(part.y)
    value, rate = above, part.derivative(end)
    searching = np.abs(above) > _ROOT
    for round_ in range(100):
        if not searching.any():
            break
        guess = _newton(part, state, rate, best, value)
        outside = ~((guess > low) & (guess < high))
        np.copyto(guess, high - above * (high - low) / (above - below), where=outside)
        if round_ % 6 == 5:
            guess = 0.5 * (low + high)
        trial, _, _, trial_rate = _attempt(part, guess, first)
        value = np.where(searching, part.trigger(trial), value)
        for old, new in ((best, guess), (state, trial), (rate, trial_rate)):
            np.copyto(old, new, where=searching)
        over = value >= 0.0
        below, above = np.where(over, below, value), np.where(over, value, above)
        low, high = np.where(over, low, best), np.where(over, best, high)
        searching = searching & (np.abs(value) > _ROOT) & (high - low > 4e-16 * high)
    return best, state


def _newton(part: _Cluster, state: FloatArray, rate: FloatArray, step: FloatArray, value: FloatArray) -> FloatArray:
    """Newton's next step to the function of the hottest igniter; NaN where that is not what `value` measures."""
    live = np.where(part.alive > 0.0, state[: part.k], 0.0)
    leader = np.argmax(live, axis=0)[None, :]
    slope = np.take_along_axis(rate[: part.k], leader, axis=0)[0]
    leads = np.take_along_axis(live, leader, axis=0)[0] - 1.0 == value
    guess: FloatArray = np.where(leads, step - value / slope, np.nan)
    return guess


def _record(state: _Cluster, event: BoolArray) -> None:
    """Mark what happened at the located events: functions, an opened fuse, a release."""
    now = state.begin + state.elapsed
    hit = (state.y[: state.k] >= _HIT) & (state.alive > 0.0) & event
    np.copyto(state.function_time, np.broadcast_to(now, hit.shape), where=hit)
    np.copyto(state.alive, 0.0, where=hit)
    np.copyto(state.base, state.spent, where=hit)
    np.copyto(state.slope, 0.0, where=hit)
    np.copyto(state.y[: state.k], 1.0, where=hit)
    connected = event & (state.live > 0.0)
    blown = connected & (state.y[state.k + 2] >= state.fuse_i2t * _HIT)
    np.copyto(state.fuse_time, now, where=blown)
    terminal = state.terminal_voltage(state.y, state.currents(state.y)[1])
    low = (
        connected
        & ~blown
        & ~hit.any(axis=0)
        & (terminal <= state.release_voltage + 2e-12 * np.abs(state.release_voltage))
    )
    np.copyto(state.release_time, now, where=low)
    gone = blown | low
    if gone.any():
        state.live[gone] = 0.0
        state.conducting *= state.live
