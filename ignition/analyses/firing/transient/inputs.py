"""Inputs of the firing march: checked, brought to (members, trials), cut into chunks and into segments."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from ignition.analyses.firing.transient.ladder import MOST_RESISTANCE, ClusterTree, batch_size, member_array
from ignition.errors import InputError
from ignition.typing import ArrayLike, BoolArray, FloatArray

__all__ = ["CapacitorBank", "IndexArray", "MarchInputs", "Polarisation", "Segment", "march_inputs", "segments"]


IndexArray = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class Polarisation:
    """Slow part of a battery's resistance: R1 in parallel with C1, in series with the source.

    Parameters
    ----------
    resistance : R1 [ohm], shape () or (trials,)
    time_constant : R1 C1 [s], shape () or (trials,)
    initial_voltage : Voltage lost in it at t = 0 [V], shape () or (trials,); for a standing load J it is J R1
    """

    resistance: ArrayLike
    time_constant: ArrayLike
    initial_voltage: ArrayLike = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CapacitorBank:
    """Capacitor as the source; its series resistance belongs to `source_resistance`.

    Parameters
    ----------
    capacitance : Capacitance [F], shape () or (trials,)
    initial_voltage : Voltage at t = 0 [V], shape () or (trials,)
    recharge_resistance : Resistance from a supply of `voltage` to the bank [ohm], shape () or (trials,); inf = not
        recharged
    """

    capacitance: ArrayLike
    initial_voltage: ArrayLike
    recharge_resistance: ArrayLike = np.inf


_NO_ARRAY = ("tree", "source_kind", "guarded", "spent_open")


@dataclass(frozen=True, slots=True, kw_only=True)
class MarchInputs:
    """Arrays of one march; each is (n,), (m, n), (s, n) or (k, n), or has 1 in place of n where all trials are alike.

    m channels, s strings, k igniters; the names are those of `ignition.analyses.firing.transient.march.march`.

    Attributes
    ----------
    voltage, release_voltage : Open and release voltage [V], shape (n,)
    source_resistance, terminal_resistance : Series resistance of the source and its part inside the terminals [ohm],
        shape (n,)
    fuse_i2t : I²t at which the fuse opens [A2 s], shape (n,)
    channel_resistance : Leads and switch [ohm], shape (m, n)
    channel_on, channel_off : Times between which a channel conducts [s], shape (m, n) or (m, 1)
    string_resistance : Series resistance of each string [ohm], shape (s, n)
    igniter_resistance, spent_resistance : Resistance cold and after function [ohm], shape (k, n)
    threshold_current : Threshold [A], shape (k, n)
    time_constant : Thermal time constant [s], shape (k, n), or (1, n) in a chunk where it is common to all igniters
    growth : Relative growth of the resistance up to function [1], shape (k, n)
    guarded : Whether a fuse or a release can end the current
    state_voltage, state_supply : Polarisation or bank voltage v at t = 0, and what it tends to at no current [V], shape
        (n,)
    state_leak : Rate in dv/dt = (state_supply - v) state_leak + state_gain I [1/s], shape (n,)
    state_gain : Gain in the same equation [V/(A s)], shape (n,)
    """

    tree: ClusterTree
    voltage: FloatArray
    source_resistance: FloatArray
    terminal_resistance: FloatArray
    release_voltage: FloatArray
    fuse_i2t: FloatArray
    channel_resistance: FloatArray
    channel_on: FloatArray
    channel_off: FloatArray
    string_resistance: FloatArray
    igniter_resistance: FloatArray
    threshold_current: FloatArray
    time_constant: FloatArray
    spent_resistance: FloatArray
    growth: FloatArray
    source_kind: str
    guarded: bool
    spent_open: bool
    state_voltage: FloatArray
    state_supply: FloatArray
    state_leak: FloatArray
    state_gain: FloatArray

    @property
    def trials(self) -> int:
        """Number of trials."""
        return batch_size(self._arrays())

    @property
    def sub_stepped(self) -> bool:
        """Whether a current changes between events, so that the exact path does not apply."""
        return self.source_kind != "ideal" or bool(np.any(self.growth != 0.0))

    def chunk(self, first: int, last: int) -> MarchInputs:
        """Views of trials first .. last - 1, all of full width; a time constant common to all igniters stays one row.

        The edges of the channels keep one column where all trials have them in common.
        """
        cut: dict[str, FloatArray] = {}
        for name, array in self._arrays().items():
            part = array if array.shape[-1] == 1 else array[..., first:last]
            if name == "time_constant" and part.strides[0] == 0:
                part = part[:1]
            if name not in ("channel_on", "channel_off"):
                part = np.broadcast_to(part, (*part.shape[:-1], last - first))
            cut[name] = part
        return replace(self, **cut)  # type: ignore[arg-type]

    def _arrays(self) -> dict[str, FloatArray]:
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name not in _NO_ARRAY}


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """Part of the sequence in which no channel switches; a column is one trial, or all of them.

    Attributes
    ----------
    begin, length : Start and duration [s], shape (n,) or (1,)
    conducting : 1 where the channel is on, 0 where off [1], shape (m, n) or (m, 1)
    starting : Whether the channel starts to conduct at `begin`, shape (m, n) or (m, 1)
    """

    begin: FloatArray
    length: FloatArray
    conducting: FloatArray
    starting: BoolArray


def segments(channel_on: FloatArray, channel_off: FloatArray) -> Iterator[Segment]:
    """Cut the sequence at every edge of a channel, from t = 0.

    Parameters
    ----------
    channel_on : Time at which each channel starts to conduct [s], shape (m, n) or (m, 1)
    channel_off : Time at which it ends [s]; one that is not after the start means never, shape (m, n) or (m, 1)

    Yields
    ------
    The segments in order; those without duration in every trial are left out
    """
    on, off = np.broadcast_arrays(channel_on, channel_off)
    used = on < off
    edges = np.concatenate([np.zeros((1, on.shape[1])), np.where(used, on, 0.0), np.where(used, off, 0.0)])
    edges.sort(axis=0)
    for begin, end in pairwise(edges):
        if np.any(end > begin):
            yield Segment(
                begin=begin,
                length=end - begin,
                conducting=(used & (on <= begin) & (begin < off) & (begin < end)).astype(np.float64),
                starting=used & (on == begin) & (begin < end),
            )


def march_inputs(
    tree: ClusterTree,
    *,
    per_trial: dict[str, ArrayLike],
    per_channel: dict[str, ArrayLike],
    per_string: dict[str, ArrayLike],
    per_igniter: dict[str, ArrayLike],
    polarisation: Polarisation | None,
    bank: CapacitorBank | None,
    stop: float | None,
) -> MarchInputs:
    """Check the arguments of `march` and bring them to their shapes.

    Raises InputError if a value is out of its range, a shape does not fit, or two kinds of source are given.

    Parameters
    ----------
    per_trial, per_channel, per_string, per_igniter : The quantities of the source, the channels, the strings and the
        igniters, by their names in `march`
    bank : Capacitor as the source
    stop : Latest end of every pulse [s]
    """
    arrays = {name: member_array(name, value, 0) for name, value in per_trial.items()}
    for group, rows in ((per_channel, tree.channels), (per_string, tree.strings), (per_igniter, tree.igniters)):
        arrays |= {name: member_array(name, value, rows) for name, value in group.items()}
    _check_ranges(arrays)
    if np.any(arrays["terminal_resistance"] > arrays["source_resistance"]):
        raise InputError(
            "terminal_resistance: it is the part of source_resistance inside the battery's terminals, cannot be more "
            "than it; received more; write a value between 0 and source_resistance"
        )
    on = arrays["start"] + arrays.pop("turn_on_delay")
    off = arrays.pop("start") + arrays.pop("pulse")
    if stop is not None:
        if not stop >= 0.0:
            raise InputError(f"stop: a time of 0 s or more expected, received {stop!r}; write seconds from t = 0")
        off = np.minimum(off, stop)
    for name in ("source_resistance", "channel_resistance"):
        arrays[name] = np.minimum(arrays[name], MOST_RESISTANCE)
    state = _source_state(arrays["voltage"], polarisation, bank)
    kind = "ideal" if polarisation is None and bank is None else "polarised" if bank is None else "bank"
    batch_size(arrays | state | {"start, pulse, turn_on_delay": on + off})
    return MarchInputs(
        tree=tree,
        channel_on=on,
        channel_off=off,
        source_kind=kind,
        guarded=bool(np.any(arrays["release_voltage"] > -np.inf) or np.any(arrays["fuse_i2t"] < np.inf)),
        spent_open=bool(np.all(np.isinf(arrays["spent_resistance"]))),
        **arrays,
        **state,
    )


_RANGES: dict[str, tuple[float, bool, float, bool, str]] = {
    # name: (low, low allowed, high, high allowed, what to write)
    "voltage": (0.0, True, 1e9, True, "volts >= 0"),
    "source_resistance": (0.0, True, np.inf, True, "ohms >= 0"),
    "terminal_resistance": (0.0, True, np.inf, False, "ohms >= 0"),
    "release_voltage": (-np.inf, True, np.inf, False, "volts, or -inf for no release"),
    "fuse_i2t": (0.0, False, np.inf, True, "A2s > 0, or inf for no fuse"),
    "channel_resistance": (0.0, True, np.inf, True, "ohms >= 0"),
    "start": (0.0, True, np.inf, False, "seconds >= 0"),
    "pulse": (0.0, True, np.inf, False, "seconds >= 0"),
    "turn_on_delay": (0.0, True, np.inf, False, "seconds >= 0"),
    "string_resistance": (0.0, True, np.inf, True, "ohms >= 0"),
    "igniter_resistance": (0.0, True, np.inf, True, "ohms >= 0, inf for an open bridge"),
    "threshold_current": (
        1e-12,
        True,
        np.inf,
        True,
        "amperes of 1 pA or more, inf for an igniter that never functions",
    ),
    "time_constant": (1e-15, True, 1e15, True, "seconds > 0 (an adiabatic bridge: a long time constant)"),
    "spent_resistance": (0.0, True, np.inf, True, "ohms >= 0, inf for an open"),
    "growth": (-1.0, False, np.inf, False, "a number > -1"),
    "capacitance": (0.0, False, np.inf, False, "farads > 0"),
    "initial_voltage": (0.0, True, np.inf, False, "volts >= 0"),
    "recharge_resistance": (0.0, False, np.inf, True, "ohms > 0, inf for no recharge"),
    "resistance": (0.0, False, np.inf, False, "ohms > 0"),
}


def _check_ranges(arrays: dict[str, FloatArray], owner: str = "") -> None:
    """Raise on the first array that leaves its range, or holds a NaN."""
    for name, array in arrays.items():
        low, low_allowed, high, high_allowed, write = _RANGES[name]
        if array.size == 0:
            continue
        least, most = float(array.min()), float(array.max())  # NaN where there is one
        fits_below = least >= low if low_allowed else least > low
        fits_above = most <= high if high_allowed else most < high
        if not (fits_below and fits_above):
            bad = most if fits_below else least
            span = f"{'[' if low_allowed else '('}{low:g}, {high:g}{']' if high_allowed else ')'}"
            raise InputError(f"{owner}{name}: every value must lie in {span}, received {bad!r}; write {write}")


def _source_state(
    voltage: FloatArray, polarisation: Polarisation | None, bank: CapacitorBank | None
) -> dict[str, FloatArray]:
    """Coefficients of the state voltage of the source: dv/dt = (supply - v) leak + gain I, and v at t = 0."""
    zero = np.zeros(1)
    if polarisation is not None and bank is not None:
        raise InputError("polarisation, bank: one kind of source expected, received both; leave one of them out")
    if polarisation is not None:
        names = ("resistance", "time_constant", "initial_voltage")
        part = {n: member_array(f"polarisation.{n}", getattr(polarisation, n), 0) for n in names}
        _check_ranges(part, "polarisation.")
        leak = 1.0 / part["time_constant"]
        gain = part["resistance"] * leak
        return {"state_voltage": part["initial_voltage"], "state_supply": zero, "state_leak": leak, "state_gain": gain}
    if bank is not None:
        names = ("capacitance", "initial_voltage", "recharge_resistance")
        part = {n: member_array(f"bank.{n}", getattr(bank, n), 0) for n in names}
        _check_ranges(part, "bank.")
        leak = 1.0 / (part["recharge_resistance"] * part["capacitance"])
        return {
            "state_voltage": part["initial_voltage"],
            "state_supply": voltage,
            "state_leak": leak,
            "state_gain": -1.0 / part["capacitance"],
        }
    return {"state_voltage": zero, "state_supply": zero, "state_leak": zero, "state_gain": zero}
