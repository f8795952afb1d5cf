"""Parts that open the feed: fuse, resettable fuse, battery protection circuit.

The laws answer "could it open before the igniter functions": each returns the EARLIEST time at which the part may open,
which is the careful direction for a firing question. None of them shows that a part clears a short in time, except
:func:`resettable_latest_trip_time`, which says so.
"""

from __future__ import annotations

import functools
import importlib.resources
import tomllib
from collections.abc import Sequence
from typing import Any

import numpy as np

from ignition.errors import InputError
from ignition.parts._require import bounded
from ignition.typing import ArrayLike, BoolArray, FloatArray

__all__ = [
    "fuse_melts",
    "least_melting_share",
    "melting_time",
    "rating_ratio",
    "resettable_hold_current",
    "resettable_hold_ratio",
    "resettable_latest_trip_time",
    "resettable_trip_time",
    "trips",
]


@functools.cache
def _table() -> dict[str, Any]:
    text = (importlib.resources.files("ignition") / "data" / "fuses.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _rows(part: str) -> list[tuple[float, float]]:
    return list(zip(_table()[part]["temperature"], _table()[part]["ratio"], strict=True))


def least_melting_share() -> float:
    """Give the least melting integral of a fuse over the typical one that its data sheet prints [1].

    Published opening windows begin earlier than the typical integral says, at every overload from twice the rating up,
    and repeated pulses weaken a fuse. This share covers both.

    Source: ``data/fuses.toml``.

    Examples
    --------
    >>> least_melting_share()
    0.22
    """
    return float(_table()["melting"]["least_share"])


def _earliest(current: FloatArray, i2t: FloatArray, threshold: FloatArray) -> FloatArray:
    """Time i2t/I^2 above the threshold current, infinite at or below it."""
    magnitude, i2t, threshold = np.broadcast_arrays(np.abs(current), i2t, threshold)
    above = magnitude > threshold
    divisor = np.where(above, magnitude, 1.0)
    return np.where(above, i2t / divisor / divisor, np.inf)


def melting_time(current: ArrayLike, melting_i2t: ArrayLike, rating: ArrayLike) -> FloatArray:
    """Give the earliest time at which a fuse may melt at a constant current.

    ``t = melting_i2t / I^2``. The melting integral is the heat without losses, so with the LEAST integral the true
    melting time is never shorter. Below about five times the rating the law fails the other way: heat is lost and the
    fuse holds for very much longer. So this is a lower bound, careful for "does the fuse open before the igniter
    functions", NOT for "does the fuse clear the short". The integral that a data sheet prints is typical, no minimum:
    multiply it by :func:`least_melting_share`. "Infinite at the rating" supposes the current that the fuse carries for
    good where it is: see :func:`rating_ratio`.

    Raises InputError if melting_i2t or rating is not positive and finite, or the current is not finite.

    Source: Adiabatic melting integral, textbook (from memory).

    Parameters
    ----------
    current : Constant current [A], any shape, broadcasts; its sign does not matter
    melting_i2t : Lowest melting integral of the data sheet [A^2 s], any shape, broadcasts
    rating : Current that it carries for good [A], any shape, broadcasts

    Returns
    -------
    Time [s]; infinite at or below the rating

    Examples
    --------
    >>> float(melting_time(20.0, 55.0, 10.0))
    0.1375
    >>> float(melting_time(10.0, 55.0, 10.0))
    inf
    """
    return _earliest(
        bounded("current", current, "A"),
        bounded("melting_i2t", melting_i2t, "A^2 s", above=0.0),
        bounded("rating", rating, "A", above=0.0),
    )


def fuse_melts(current: ArrayLike, time: ArrayLike, melting_i2t: ArrayLike, rating: ArrayLike) -> BoolArray:
    """Tell whether a fuse may melt within a pulse of constant current.

    ``I > rating`` and ``I^2 t >= melting_i2t``. "May melt": see the direction of the bound in :func:`melting_time`.

    Raises InputError as :func:`melting_time`; also if the time is negative or not a number.

    Source: As :func:`melting_time`.

    Parameters
    ----------
    current : Constant current [A], any shape, broadcasts
    time : Length of the pulse [s], any shape, broadcasts; may be infinite
    melting_i2t : Lowest melting integral of the data sheet [A^2 s], any shape, broadcasts
    rating : Current that it carries for good [A], any shape, broadcasts

    Returns
    -------
    True where the fuse may melt; False where it carries the pulse

    Examples
    --------
    >>> bool(fuse_melts(20.0, 0.5, 55.0, 10.0)), bool(fuse_melts(20.0, 0.1, 55.0, 10.0))
    (True, False)
    """
    earliest = melting_time(current, melting_i2t, rating)
    return np.isfinite(earliest) & (bounded("time", time, "s", least=0.0, endless=True) >= earliest)


def rating_ratio(temperature: ArrayLike) -> FloatArray:
    """Give the current that a fuse carries for good over its rated current, at an ambient temperature [1].

    The least of the published derating tables of blade fuses, straight lines between rows; a default, where the fuse's
    own derating is not given. No more in the cold than at 20 degC.

    Raises InputError if a temperature is outside -40 to 100 degC.

    Source: ``data/fuses.toml``.

    Parameters
    ----------
    temperature : Ambient temperature [degC], any shape

    Examples
    --------
    >>> [round(float(ratio), 4) for ratio in rating_ratio([20.0, 60.0])]
    [0.8666, 0.7333]
    """
    return resettable_hold_current(1.0, temperature, table=_rows("fuse"))


def resettable_hold_ratio(temperature: ArrayLike) -> FloatArray:
    """Give the hold current of a resettable fuse over that at 25 degC, at an ambient temperature [1].

    At each temperature the least of the published tables, straight lines between rows; a default, where the fuse's own
    derating is not given. The trip integral goes with its square: both hold current squared and heat to trip go with
    the distance from the ambient to the trip temperature.

    Raises InputError if a temperature is outside -40 to 85 degC.

    Source: ``data/fuses.toml``.

    Parameters
    ----------
    temperature : Ambient temperature [degC], any shape

    Examples
    --------
    >>> [round(float(ratio), 4) for ratio in resettable_hold_ratio([25.0, 50.0, 85.0])]
    [1.0, 0.75, 0.3818]
    """
    return resettable_hold_current(1.0, temperature, table=_rows("resettable"))


def resettable_hold_current(
    hold_at_23: ArrayLike,
    temperature: ArrayLike,
    *,
    zero_temperature: float | None = None,
    table: Sequence[tuple[float, float]] | None = None,
) -> FloatArray:
    """Give the current that a resettable fuse carries without tripping at an ambient temperature.

    Linear: ``I(T) = I(23) (Tz - T)/(Tz - 23)``. There is no default: the slope differs from part to part.

    Raises InputError if none or both of the deratings are given, the table is not in order, or a temperature lies
    outside it.

    Source: Common practice in data sheets of polymer resettable fuses (from memory).

    Parameters
    ----------
    hold_at_23 : Hold current of the data sheet at 23 degC [A], any shape, broadcasts
    temperature : Ambient temperature [degC], any shape, broadcasts
    zero_temperature : Linear derating: temperature at which the hold current falls to zero [degC]
    table : Derating table of the data sheet, rising temperatures [degC] and falling ratios [1]; linear between
        rows, refused outside. Give exactly one of table and zero_temperature

    Returns
    -------
    Hold current [A]; zero from zero_temperature upward

    Examples
    --------
    >>> float(resettable_hold_current(2.0, 60.0, table=[(23.0, 1.0), (60.0, 0.65)]))
    1.3
    >>> float(resettable_hold_current(2.0, 74.0, zero_temperature=125.0))
    1.0
    """
    hold = bounded("hold_at_23", hold_at_23, "A", above=0.0)
    ambient = bounded("temperature", temperature, "degC", least=-273.15)
    if (zero_temperature is None) == (table is None):
        raise InputError(
            "the derating of a resettable fuse must be given once, received "
            + ("neither form" if table is None else "both forms")
            + "; write table=[(23.0, 1.0), (60.0, 0.65)] from the data sheet, or zero_temperature=125.0"
        )
    if table is None:
        zero = bounded("zero_temperature", 0.0 if zero_temperature is None else zero_temperature, "degC", above=23.0)
        return hold * np.maximum((zero - ambient) / (zero - 23.0), 0.0)
    rows = np.asarray(table, dtype=np.float64)
    shaped = rows.ndim == 2 and rows.shape[1] == 2 and len(rows) >= 2 and bool(np.all(np.isfinite(rows)))
    if not shaped or np.any(np.diff(rows[:, 0]) <= 0.0) or np.any(np.diff(rows[:, 1]) > 0.0) or rows[-1, 1] < 0.0:
        raise InputError(
            "the derating table must hold at least two rows (temperature, ratio) with rising temperatures and falling, "
            f"non-negative ratios, received {table!r}; write [(23.0, 1.0), (60.0, 0.65)]"
        )
    inside = bounded("temperature in the derating table", ambient, "degC", least=rows[0, 0], most=rows[-1, 0])
    return hold * np.interp(inside, rows[:, 0], rows[:, 1])


def resettable_trip_time(current: ArrayLike, trip_i2t: ArrayLike, hold_current: ArrayLike) -> FloatArray:
    """Give the earliest time at which a resettable fuse may trip at a constant current.

    ``t = trip_i2t / I^2``, heat without losses. Between hold and trip current a part may trip or not; the time here
    is when it may. A data sheet prints the LONGEST time to trip, from which trip_i2t cannot be had: measure it on
    cold and hot parts, or treat the question as unknown.

    Raises InputError if trip_i2t or hold_current is not positive and finite, or the current is not finite.

    Source: Adiabatic heating, textbook (from memory).

    Parameters
    ----------
    current : Constant current [A], any shape, broadcasts; its sign does not matter
    trip_i2t : Smallest current squared times time that trips the part from its ambient [A^2 s], any shape, broadcasts
    hold_current : Hold current at that ambient [A] (:func:`resettable_hold_current`), any shape, broadcasts

    Returns
    -------
    Time [s]; infinite at or below the hold current

    Examples
    --------
    >>> float(resettable_trip_time(8.0, 6.4, 2.0))
    0.1
    """
    return _earliest(
        bounded("current", current, "A"),
        bounded("trip_i2t", trip_i2t, "A^2 s", above=0.0),
        bounded("hold_current", hold_current, "A", above=0.0),
    )


def resettable_latest_trip_time(current: ArrayLike, test_current: ArrayLike, test_time: ArrayLike) -> FloatArray:
    """Give the latest time by which a resettable fuse has tripped, from the data sheet's longest time to trip.

    ``t = test_time (test_current/I)^2`` for ``I >= test_current``: the shorter the pulse the smaller the losses, so
    the heat that sufficed at the test current suffices above it. Below it no bound follows. It holds at the
    temperature of the test (23 degC in most data sheets) or hotter; a cold part is slower.

    Raises InputError if test_current or test_time is not positive and finite, or the current is not finite.

    Source: Adiabatic heating, textbook (from memory).

    Parameters
    ----------
    current : Constant current [A], any shape, broadcasts; its sign does not matter
    test_current : Current at which the data sheet gives the time [A], any shape, broadcasts
    test_time : Longest time to trip at test_current [s], any shape, broadcasts

    Returns
    -------
    Time [s]; infinite (no bound) below test_current

    Examples
    --------
    >>> float(resettable_latest_trip_time(16.0, 8.0, 2.0)), float(resettable_latest_trip_time(7.0, 8.0, 2.0))
    (0.5, inf)
    """
    magnitude = np.abs(bounded("current", current, "A"))
    test = bounded("test_current", test_current, "A", above=0.0)
    longest = bounded("test_time", test_time, "s", above=0.0)
    reached = magnitude >= test
    return np.where(reached, longest * (test / np.where(reached, magnitude, 1.0)) ** 2, np.inf)


def trips(current: ArrayLike, time: ArrayLike, trip_current: ArrayLike, delay: ArrayLike) -> BoolArray:
    """Tell whether a battery protection circuit may cut the battery off during a pulse.

    ``I >= trip_current`` and ``time >= delay``; both at equality count as a trip.

    Raises InputError if trip_current is not positive, or time or delay is negative.

    Source: Definite-time overcurrent protection, textbook (from memory).

    Parameters
    ----------
    current : Constant current drawn [A], any shape, broadcasts; its sign does not matter
    time : Length of the pulse [s], any shape, broadcasts; may be infinite
    trip_current : Lowest trip current [A], any shape, broadcasts
    delay : Shortest delay of the protection [s], any shape, broadcasts; zero where it is not known

    Returns
    -------
    True where the battery may be cut off

    Examples
    --------
    >>> bool(trips(6.0, 0.5, 5.0, 0.01)), bool(trips(6.0, 0.005, 5.0, 0.01))
    (True, False)
    """
    magnitude = np.abs(bounded("current", current, "A"))
    length = bounded("time", time, "s", least=0.0, endless=True)
    threshold = bounded("trip_current", trip_current, "A", above=0.0)
    wait = bounded("delay", delay, "s", least=0.0)
    return (magnitude >= threshold) & (length >= wait)
