"""Currents of a firing tree: one source, its series resistance, channels, strings in parallel, igniters in series.

The tree is solved by its own formulas, not by a matrix: exact, batched, and sound for an open bridge (no conductance),
a spent bridge that is a dead short, and a channel that is switched off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ignition.errors import InputError
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "ClusterTree",
    "LEAST_RESISTANCE",
    "MOST_RESISTANCE",
    "TreeCurrents",
    "batch_size",
    "ladder_currents",
    "member_array",
    "string_conductance",
    "tree_currents",
]

LEAST_RESISTANCE = 1e-12
"""Least resistance of a whole string [ohm]; a string of less is taken as this, so that a dead short stays finite."""

MOST_RESISTANCE = 1e280
"""Series resistance [ohm] that stands for an open in the source or in a channel."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClusterTree:
    """Who hangs on whom: igniters in series in strings, strings in parallel on channels, channels on the bus.

    Raises InputError if a tuple is empty or an index is negative or left out.

    Parameters
    ----------
    channel_of_string : Channel of each string, from 0; every channel has at least one string
    string_of_igniter : String of each igniter, from 0; every string has at least one igniter

    Examples
    --------
    >>> tree = ClusterTree(channel_of_string=(0, 0), string_of_igniter=(0, 0, 1))
    >>> tree.channels, tree.strings, tree.igniters
    (1, 2, 3)
    """

    channel_of_string: tuple[int, ...]
    string_of_igniter: tuple[int, ...]

    def __post_init__(self) -> None:
        _check_members("channel_of_string", self.channel_of_string, None)
        _check_members("string_of_igniter", self.string_of_igniter, len(self.channel_of_string))

    @classmethod
    def parallel(cls, igniters: int) -> ClusterTree:
        """Tree of one channel with each igniter alone in its string."""
        return cls(channel_of_string=(0,) * igniters, string_of_igniter=tuple(range(igniters)))

    @classmethod
    def series(cls, igniters: int) -> ClusterTree:
        """Tree of one channel with all igniters in one string."""
        return cls(channel_of_string=(0,), string_of_igniter=(0,) * igniters)

    @property
    def channels(self) -> int:
        """Number of channels."""
        return max(self.channel_of_string) + 1

    @property
    def strings(self) -> int:
        """Number of strings."""
        return len(self.channel_of_string)

    @property
    def igniters(self) -> int:
        """Number of igniters."""
        return len(self.string_of_igniter)

    @property
    def channel_of_igniter(self) -> tuple[int, ...]:
        """Channel of each igniter."""
        return tuple(self.channel_of_string[s] for s in self.string_of_igniter)

    @property
    def single_igniter_strings(self) -> bool:
        """Whether igniter i is alone in string i, for all i."""
        return self.string_of_igniter == tuple(range(self.strings))


@dataclass(frozen=True, slots=True, kw_only=True)
class TreeCurrents:
    """Currents and voltages of a firing tree; n is the batch.

    Attributes
    ----------
    bus_voltage : Voltage of the bus to ground [V], shape (n,)
    source_current : Current out of the source [A], shape (n,)
    channel_voltage : Voltage across the strings of each channel [V], shape (m, n)
    channel_current : Current of each channel [A], shape (m, n)
    string_current : Current of each string [A], shape (s, n)
    """

    bus_voltage: FloatArray
    source_current: FloatArray
    channel_voltage: FloatArray
    channel_current: FloatArray
    string_current: FloatArray


def ladder_currents(
    channel_of_string: tuple[int, ...],
    string_conductance: FloatArray,
    channel_resistance: FloatArray,
    source_resistance: FloatArray,
    voltage: FloatArray,
    conducting: FloatArray | None,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Currents from the string conductances: the kernel of `tree_currents`, without checks or conversions.

    With S_c the conductance of the strings of channel c: q = 1 + R_c S_c, G_c = S_c / q,
    V_bus = E / (1 + R_s sum G_c), voltage across the strings V_bus / q, channel current V_bus G_c.

    Parameters
    ----------
    string_conductance : Conductance of each string [S], finite, shape (s, n)
    channel_resistance : Series resistance of each channel [ohm], finite, shape (m, n)
    source_resistance : Series resistance of the source [ohm], finite, shape (n,)
    voltage : Open voltage of the source [V], shape (n,)
    conducting : 1 where a channel is on, 0 where it is off [1], shape (m, n) or (m, 1); None where all are on

    Returns
    -------
    Bus voltage [V] and source current [A], shape (n,); voltage across the strings of each channel [V] and its current
        [A], shape (m, n)
    """
    channels = channel_resistance.shape[0]
    strings = _sum_by_channel(channel_of_string, channels, string_conductance)
    ratio = channel_resistance * strings
    ratio += 1.0
    np.divide(1.0, ratio, out=ratio)
    if conducting is not None:
        ratio *= conducting
    conductance = np.multiply(strings, ratio, out=strings)
    bus_conductance = conductance[0] if channels == 1 else np.add.reduce(conductance, axis=0)
    divisor = source_resistance * bus_conductance
    divisor += 1.0
    bus_voltage = np.divide(voltage, divisor, out=divisor)
    source_current = bus_voltage * bus_conductance
    channel_voltage = np.multiply(ratio, bus_voltage, out=ratio)
    channel_current = np.multiply(conductance, bus_voltage, out=conductance)
    return bus_voltage, source_current, channel_voltage, channel_current


def string_conductance(tree: ClusterTree, string_resistance: FloatArray, igniter_resistance: FloatArray) -> FloatArray:
    """Conductance of each string: 1 / (R_b + sum R), 0 for an open, at most 1 / `LEAST_RESISTANCE`.

    Parameters
    ----------
    tree : Who hangs on whom: s strings, k igniters
    string_resistance : Series resistance of each string [ohm], inf = open, shape (s, n)
    igniter_resistance : Resistance of each igniter [ohm], inf = open, shape (k, n)

    Returns
    -------
    Conductance [S], a new array, shape (s, n)
    """
    if tree.single_igniter_strings:
        total = string_resistance + igniter_resistance
    else:
        total = np.broadcast_to(string_resistance, (tree.strings, igniter_resistance.shape[-1])).copy()
        for igniter, string in enumerate(tree.string_of_igniter):
            total[string] += igniter_resistance[igniter]
    np.maximum(total, LEAST_RESISTANCE, out=total)
    return np.divide(1.0, total, out=total)


def tree_currents(
    tree: ClusterTree,
    *,
    voltage: ArrayLike,
    source_resistance: ArrayLike,
    channel_resistance: ArrayLike,
    string_resistance: ArrayLike,
    igniter_resistance: ArrayLike,
    conducting: ArrayLike | None = None,
) -> TreeCurrents:
    """Solve all currents of a firing tree at one instant.

    V_bus = E / (1 + R_s sum G_c), G_c = S_c / (1 + R_c S_c), S_c = sum 1 / (R_b + sum R). A string of less than
    1 pico-ohm is taken as 1 pico-ohm: behind any real resistance the difference is below 1e-9, and an ideal source
    into a dead short shows as a very large, finite current.

    Raises InputError if a resistance is negative or not a number, or a shape does not fit.

    Parameters
    ----------
    tree : Who hangs on whom: m channels, s strings, k igniters
    voltage : Open voltage of the source [V], shape () or (n,)
    source_resistance : Series resistance of source and feed [ohm], shape () or (n,)
    channel_resistance : Leads and switch of each channel [ohm], shape (), (m,) or (m, n); inf = open
    string_resistance : Series resistance of each string [ohm], shape (), (s,) or (s, n); inf = open
    igniter_resistance : Resistance of each igniter [ohm], shape (), (k,) or (k, n); inf = open, 0 = short
    conducting : Whether each channel is on [1], shape (m,) or (m, n); all on by default

    Examples
    --------
    Two igniters of 2 ohm in parallel behind 0.5 ohm on 6 V:

    >>> answer = tree_currents(ClusterTree.parallel(2), voltage=6.0, source_resistance=0.5, channel_resistance=0.0,
    ...                        string_resistance=0.0, igniter_resistance=2.0)
    >>> [round(float(i), 6) for i in answer.string_current[:, 0]], round(float(answer.bus_voltage[0]), 6)
    ([2.0, 2.0], 4.0)
    """
    names = ("voltage", "source_resistance", "channel_resistance", "string_resistance", "igniter_resistance")
    rows = (0, 0, tree.channels, tree.strings, tree.igniters)
    given = (voltage, source_resistance, channel_resistance, string_resistance, igniter_resistance)
    arrays = [member_array(name, value, row) for name, value, row in zip(names, given, rows, strict=True)]
    on = None if conducting is None else member_array("conducting", conducting, tree.channels)
    size = batch_size(dict(zip(names, arrays, strict=True)) | ({} if on is None else {"conducting": on}))
    for name, array in zip(names[1:], arrays[1:], strict=True):
        if np.any(np.isnan(array) | (array < 0.0)):
            raise InputError(
                f"{name}: a resistance must be 0 or more (inf = open), received {array.min()!r}; write ohms >= 0"
            )
    full = [np.broadcast_to(a, (*a.shape[:-1], size)) for a in arrays]
    conductance = string_conductance(tree, full[3], full[4])
    bus, source, channel_voltage, channel_current = ladder_currents(
        tree.channel_of_string,
        conductance,
        np.minimum(full[2], MOST_RESISTANCE),
        np.minimum(full[1], MOST_RESISTANCE),
        full[0],
        on,
    )
    return TreeCurrents(
        bus_voltage=bus,
        source_current=source,
        channel_voltage=channel_voltage,
        channel_current=channel_current,
        string_current=conductance * channel_voltage[list(tree.channel_of_string)],
    )


def member_array(name: str, value: ArrayLike, rows: int) -> FloatArray:
    """Array of a member quantity [its unit] as (rows, 1 or n); rows = 0 means one value a trial: (1 or n,).

    Raises InputError if the shape is none of (), (rows,), (1, n), (rows, n), or for rows = 0 none of (), (n,).

    Parameters
    ----------
    value : The quantity in its own unit [any], shape as under Raises
    rows : Number of members, 0 for a quantity of the trial
    """
    array = np.asarray(value, dtype=np.float64)
    if rows == 0:
        if array.ndim <= 1:
            return array.reshape(-1)
        raise InputError(
            f"{name}: one value, or one value a trial, expected; received shape {array.shape}; write () or (trials,)"
        )
    if array.ndim == 0:
        return np.broadcast_to(array, (rows, 1))
    if array.ndim == 1 and array.shape[0] in (1, rows):
        return np.broadcast_to(array[:, None], (rows, 1))
    if array.ndim == 2 and array.shape[0] in (1, rows):
        return np.broadcast_to(array, (rows, array.shape[1]))
    raise InputError(
        f"{name}: {rows} members expected, received shape {array.shape}; write one value, ({rows},) for all trials "
        f"alike, or ({rows}, trials)"
    )


def batch_size(arrays: dict[str, FloatArray]) -> int:
    """Number of trials that the last axes agree on; 1 where every array is one value.

    Raises InputError if two arrays have different numbers of trials.

    Parameters
    ----------
    arrays : Arrays with the trials on the last axis, by name
    """
    sizes = {name: a.shape[-1] for name, a in arrays.items() if a.shape[-1] != 1}
    if len(set(sizes.values())) > 1:
        raise InputError(f"the numbers of trials must agree, received {sizes}; give each one value or the same number")
    return next(iter(sizes.values()), 1)


def _sum_by_channel(channel_of_string: tuple[int, ...], channels: int, values: FloatArray) -> FloatArray:
    """Sum of string rows over the strings of each channel, shape (m, n); always a new array."""
    if channels == 1:
        return np.add.reduce(values, axis=0, keepdims=True)
    total = np.zeros((channels, values.shape[1]))
    for string, channel in enumerate(channel_of_string):
        total[channel] += values[string]
    return total


def _check_members(name: str, members: tuple[int, ...], groups: int | None) -> None:
    """Raise unless every group from 0 up has a member (and there are `groups` of them, where given)."""
    wanted = set(range(max(members) + 1 if groups is None else groups)) if members else {0}
    if not members or set(members) != wanted:
        limit = "0, 1, 2, ... without a gap" if groups is None else f"each of 0 .. {groups - 1} at least once"
        raise InputError(f"{name}: indices must be {limit}, received {members!r}; number the groups from 0")
