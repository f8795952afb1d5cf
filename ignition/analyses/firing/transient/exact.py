"""Exact march: resistances are constant between events, every thermal fraction is an exponential, nothing is stepped.

All arrays carry the trials on their last, contiguous axis. Every trial makes its own next event in each round; trials
that reached the end of the segment are taken out of the arrays when they have become many.
"""

from __future__ import annotations

import numpy as np

from ignition.analyses.firing.transient.inputs import IndexArray, MarchInputs, Segment, segments
from ignition.analyses.firing.transient.ladder import LEAST_RESISTANCE, ladder_currents, string_conductance
from ignition.errors import NetworkError
from ignition.typing import BoolArray, FloatArray

__all__ = ["march_exact"]

_BELOW_ONE = 1.0 - 2.0**-53
# Stands for x_inf <= 1; the least true excess is 2.2e-16. Division by 0 would do as well, but log1p(inf) is slow.
_NO_EXCESS = 1e-300
# Scale at which a ratio from _NO_EXCESS (over 1e283) is huge and a true one (below 1e17) vanishes.
_NEVER = 1e-200
_KEEP = 0.6


_CONSTANT = (
    "voltage",
    "source_resistance",
    "release_voltage",
    "fuse_i2t",
    "terminal_resistance",
    "channel_resistance",
    "string_resistance",
    "time_constant",
    "rate",
    "spent_resistance",
    "begin",
    "length",
)
_STATE = (
    "fraction",
    "peak",
    "weight",
    "conductance",
    "igniter_resistance",
    "function_time",
    "highest_current",
    "lowest_bus_voltage",
    "charge",
    "channel_i2t",
    "source_i2t",
    "release_time",
    "fuse_time",
    "live",
    "elapsed",
    "conducting",
)


class _Trials:
    """Working arrays of the trials that still move in a segment; the last axis is the trial, the first the member."""

    def __init__(self, inputs: MarchInputs, trials: int) -> None:
        k, m = inputs.tree.igniters, inputs.tree.channels
        self.tree = inputs.tree
        self.single = inputs.tree.single_igniter_strings
        self.guarded = inputs.guarded
        self.spent_open = inputs.spent_open
        # One channel of lone igniters that open: currents only rise, so the last thermal fraction is the highest.
        self.rising = m == 1 and self.single and self.spent_open and not self.guarded
        self.channel_of_igniter = np.array(inputs.tree.channel_of_igniter)
        self.string_of_igniter = np.array(inputs.tree.string_of_igniter)
        self.voltage = inputs.voltage
        self.source_resistance = inputs.source_resistance
        self.terminal_resistance = inputs.terminal_resistance
        self.release_voltage = inputs.release_voltage
        self.fuse_i2t = inputs.fuse_i2t
        self.channel_resistance = inputs.channel_resistance
        self.string_resistance = inputs.string_resistance
        self.spent_resistance = inputs.spent_resistance
        if not self.spent_open:
            self.string_resistance = np.ascontiguousarray(inputs.string_resistance)
            self.spent_resistance = np.ascontiguousarray(inputs.spent_resistance)
        self.time_constant = np.ascontiguousarray(inputs.time_constant)
        self.rate: FloatArray = -1.0 / inputs.time_constant
        self.igniter_resistance = inputs.igniter_resistance.copy()  # the inputs may be read-only views
        self.conductance = string_conductance(inputs.tree, inputs.string_resistance, inputs.igniter_resistance)
        weight = np.divide(self.conductance if self.single else 1.0, inputs.threshold_current)
        # x_inf over the square of the voltage across the strings (or of the string current); 0 after function.
        self.weight: FloatArray = np.multiply(weight, weight, out=weight)
        self.fraction: FloatArray = np.zeros((k, trials))
        self.peak: FloatArray = self.fraction if self.rising else np.zeros((k, trials))
        self.function_time: FloatArray = np.full((k, trials), np.inf)
        self.highest_current: FloatArray = np.zeros(trials)
        self.lowest_bus_voltage = inputs.voltage.copy()
        self.charge: FloatArray = np.zeros(trials)
        self.channel_i2t: FloatArray = np.zeros((m, trials))
        self.source_i2t: FloatArray = np.zeros(trials)
        self.release_time: FloatArray = np.full(trials, np.inf)
        self.fuse_time: FloatArray = np.full(trials, np.inf)
        self.live: FloatArray = np.ones(trials)
        self._scratch()

    def enter(self, segment: Segment) -> None:
        """Start a segment: all trials at its first instant."""
        trials = self.live.shape[0]
        self.begin: FloatArray = np.broadcast_to(segment.begin, (trials,))
        self.length: FloatArray = np.broadcast_to(segment.length, (trials,))
        self.elapsed: FloatArray = np.zeros(trials)
        self.whole = bool(segment.conducting.all()) and not self.guarded
        self.conducting: FloatArray = segment.conducting * self.live
        self.starting: BoolArray | None = segment.starting
        # ln(1 + 2**-53 / _NO_EXCESS) is 654: where no pulse lasts so many time constants, "never" needs no mark.
        self.short = float(np.max(segment.length)) < 600.0 * float(np.min(self.time_constant))

    def take(self, keep: IndexArray) -> _Trials:
        """The trials `keep` alone."""
        part = object.__new__(_Trials)
        part.__dict__.update(self.__dict__)
        for name in _CONSTANT + _STATE:
            # np.take keeps the C order, on which ravel() being a view depends
            part.__dict__[name] = np.take(self.__dict__[name], keep, axis=-1)
        if self.rising:
            part.peak = part.fraction
        part._scratch()
        return part

    def put_back(self, part: _Trials, index: IndexArray) -> None:
        """Write the state of `part` over the trials `index`."""
        for name in _STATE:
            self.__dict__[name][..., index] = part.__dict__[name]

    def _scratch(self) -> None:
        self.a: FloatArray = np.empty_like(self.fraction)
        self.b: FloatArray = np.empty_like(self.fraction)
        self.c: FloatArray = np.empty_like(self.fraction)
        self.hit: BoolArray = np.empty(self.fraction.shape, dtype=np.bool_)
        self.least: FloatArray = np.empty(self.fraction.shape[-1])
        self.next: FloatArray = self.least
        self.moving = int(np.count_nonzero(self.weight))


def march_exact(inputs: MarchInputs, trials: int, out: dict[str, FloatArray]) -> None:
    """March one chunk of trials with constant resistances and write the results.

    Parameters
    ----------
    inputs : One chunk, as `MarchInputs.chunk` gives it
    out : Arrays to write, by the field names of `MarchResult`, with n on the last axis
    """
    with np.errstate(all="ignore"):
        state = _Trials(inputs, trials)
        out["initial_current"][:] = 0.0
        if not state.rising:
            out["thermal_fraction"][:] = 0.0
        for segment in segments(inputs.channel_on, inputs.channel_off):
            if not (segment.conducting.any() or segment.begin.any() or state.guarded):
                continue
            state.enter(segment)
            _run_segment(state, out["initial_current"])
            if not state.rising:
                on = segment.conducting[state.channel_of_igniter] > 0.0
                np.copyto(out["thermal_fraction"], state.fraction, where=on)
        _write(state, inputs, out)


def _write(state: _Trials, inputs: MarchInputs, out: dict[str, FloatArray]) -> None:
    """Copy the end state of a chunk into the results."""
    done = np.isfinite(state.function_time)
    np.copyto(state.peak, 1.0, where=done)
    if state.rising:
        out["thermal_fraction"][:] = state.peak
    else:
        np.copyto(out["thermal_fraction"], 1.0, where=done)
    out["peak_thermal_fraction"][:] = state.peak
    for name in _STATE:
        if name in out and name != "peak":
            out[name][:] = getattr(state, name)
    out["lowest_terminal_voltage"][:] = inputs.voltage - inputs.terminal_resistance * state.highest_current


def _run_segment(state: _Trials, initial_current: FloatArray) -> None:
    """All events of one segment, until every trial is at its end."""
    active, index = state, None
    limit = 4 * state.tree.igniters + 8
    for _ in range(limit):
        done = _next_event(active, initial_current)
        finished = np.count_nonzero(done)
        if finished == done.shape[0]:
            break
        if finished > (1.0 - _KEEP) * done.shape[0]:
            keep = np.flatnonzero(~done)
            if index is not None:
                state.put_back(active, index)
            index = keep if index is None else index[keep]
            active = active.take(keep)
    else:
        raise NetworkError(
            f"firing march: no end of a segment after {limit} events; report the circuit: this must not happen"
        )
    if index is not None:
        state.put_back(active, index)


def _next_event(state: _Trials, initial_current: FloatArray) -> BoolArray:
    """Bring every trial to its next event; return which trials are at the end of the segment."""
    solved = _currents(state)
    if state.starting is not None:
        _record_start(state, solved[2], initial_current)
    _extremes(state, solved)
    if state.guarded and _release(state, solved[1]):
        solved = _currents(state)
    _, source, across, channel = solved
    left = np.subtract(state.length, state.elapsed)
    moving = state.moving > 0
    wait = np.minimum(_time_to_function(state, across), left) if moving else left.copy()
    if state.guarded:
        _fuse(state, source, wait)
    hit = _hits(state, wait) if moving else None
    done: BoolArray = wait >= left
    if moving:
        _heat(state, wait)
    state.charge += source * wait
    square = np.multiply(channel, channel, out=channel)
    square *= wait
    state.channel_i2t += square
    state.elapsed += wait
    np.copyto(state.elapsed, state.length, where=done)
    if hit is not None and hit.size:
        _spend(state, hit)
    return done


def _currents(state: _Trials) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Bus voltage, source current, voltage across the strings of each channel, channel current."""
    if not state.single:
        state.conductance = string_conductance(state.tree, state.string_resistance, state.igniter_resistance)
    return ladder_currents(
        state.tree.channel_of_string,
        state.conductance,
        state.channel_resistance,
        state.source_resistance,
        state.voltage,
        None if state.whole else state.conducting,
    )


def _record_start(state: _Trials, across: FloatArray, initial_current: FloatArray) -> None:
    """Current of each igniter at the instant at which its channel starts to conduct; first round of a segment only."""
    starting, state.starting = state.starting, None
    assert starting is not None
    if starting.any():
        string = state.conductance if state.single else state.conductance[state.string_of_igniter]
        np.multiply(string, across[state.channel_of_igniter], out=state.a)
        np.copyto(initial_current, state.a, where=starting[state.channel_of_igniter])


def _extremes(state: _Trials, solved: tuple[FloatArray, FloatArray, FloatArray, FloatArray]) -> None:
    """Keep the highest source current and the lowest bus voltage while the source is connected."""
    np.maximum(state.highest_current, solved[1], out=state.highest_current)
    if state.guarded:
        np.copyto(
            state.lowest_bus_voltage, solved[0], where=(solved[0] < state.lowest_bus_voltage) & (state.live > 0.0)
        )
    else:
        np.minimum(state.lowest_bus_voltage, solved[0], out=state.lowest_bus_voltage)


def _release(state: _Trials, source: FloatArray) -> bool:
    """Release all channels of the trials whose terminal voltage is too low; whether there was any."""
    terminal = state.voltage - state.terminal_resistance * source
    low = (terminal < state.release_voltage) & (state.live > 0.0)
    if not low.any():
        return False
    np.copyto(state.release_time, state.begin + state.elapsed, where=low)
    _disconnect(state, low)
    return True


def _fuse(state: _Trials, source: FloatArray, wait: FloatArray) -> None:
    """Shorten `wait` to the opening of the fuse where that comes first, and open it there."""
    square = source * source
    until = np.divide(np.maximum(state.fuse_i2t - state.source_i2t, 0.0), square)
    blown = (until <= wait) & (state.live > 0.0)
    np.copyto(wait, until, where=blown)
    state.source_i2t += square * wait
    if blown.any():
        np.copyto(state.fuse_time, state.begin + state.elapsed + wait, where=blown)
        _disconnect(state, blown)


def _disconnect(state: _Trials, which: BoolArray) -> None:
    """End the current of some trials for the rest of the sequence."""
    state.live[which] = 0.0
    state.conducting *= state.live


def _time_to_function(state: _Trials, across: FloatArray) -> FloatArray:
    """Time to the next function of each trial at the present currents, more than any pulse for none.

    Leaves x_inf in `a`, the times of the igniters (of a common time constant: the ratios) in `b`, the least in `least`.
    The time is tau ln((x_inf - x) / (x_inf - 1)) = tau log1p((1 - x) / (x_inf - 1)); a settled value of 1 or less
    gives more than 1e80 s.
    """
    x_inf, times = state.a, state.b
    drive = across * across
    if state.tree.channels > 1:
        drive = drive[state.channel_of_igniter]
    if state.single:
        np.multiply(state.weight, drive, out=x_inf)
    else:
        np.take(state.conductance, state.string_of_igniter, axis=0, out=x_inf)
        x_inf *= x_inf
        x_inf *= state.weight
        x_inf *= drive
    np.subtract(x_inf, 1.0, out=times)
    np.maximum(times, _NO_EXCESS, out=times)
    np.subtract(1.0, state.fraction, out=state.c)
    np.divide(state.c, times, out=times)
    if state.time_constant.shape[0] == 1:
        state.least = np.minimum.reduce(times, axis=0)
        state.next = np.log1p(state.least) * state.time_constant[0] + state.least * _NEVER
    else:
        if not state.short:
            np.multiply(times, _NEVER, out=state.c)
        np.log1p(times, out=times)
        times *= state.time_constant
        if not state.short:
            times += state.c
        state.next = state.least = np.minimum.reduce(times, axis=0)
    return state.next


def _hits(state: _Trials, wait: FloatArray) -> IndexArray:
    """Flat indices of the igniters that function at the end of this wait."""
    bound = np.where(state.next <= wait, state.least, -1.0)
    return np.flatnonzero(np.less_equal(state.b, bound, out=state.hit))


def _heat(state: _Trials, wait: FloatArray) -> None:
    """Bring the thermal fractions over `wait`: x += (x - x_inf) expm1(-wait / tau)."""
    x_inf = state.a
    decay = state.c if state.rate.shape[0] > 1 else np.empty((1, wait.shape[0]))
    np.multiply(state.rate, wait, out=decay)
    np.expm1(decay, out=decay)
    step = np.subtract(state.fraction, x_inf, out=x_inf)
    step *= decay
    state.fraction += step
    np.minimum(state.fraction, _BELOW_ONE, out=state.fraction)
    if not state.rising:
        np.maximum(state.peak, state.fraction, out=state.peak)


def _spend(state: _Trials, hit: IndexArray) -> None:
    """Mark igniters as functioned: their resistance changes, and from now on they only cool."""
    trials = state.elapsed.shape[0]
    trial = hit - (hit // trials) * trials  # faster than %
    state.function_time.ravel()[hit] = (state.begin + state.elapsed)[trial]
    state.weight.ravel()[hit] = 0.0
    state.moving -= hit.size
    if not state.single:
        state.igniter_resistance.ravel()[hit] = np.inf if state.spent_open else state.spent_resistance.ravel()[hit]
    elif state.spent_open:
        state.conductance.ravel()[hit] = 0.0
    else:
        resistance = state.string_resistance.ravel()[hit] + state.spent_resistance.ravel()[hit]
        state.conductance.ravel()[hit] = 1.0 / np.maximum(resistance, LEAST_RESISTANCE)
