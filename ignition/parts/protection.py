"""Parts that open the feed: fuse, resettable fuse, battery protection circuit.

The laws answer "could it open before the igniter functions": each returns the EARLIEST time at which the part may open,
which is the careful direction for a firing question. None of them shows that a part clears a short in time.
"""

from __future__ import annotations

import functools
import importlib.resources
import tomllib
from typing import Any

import numpy as np

from ignition.parts._require import bounded
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "least_melting_share",
    "melting_time",
    "rating_ratio",
    "resettable_hold_ratio",
    "resettable_trip_time",
]


@functools.cache
def _table() -> dict[str, Any]:
    text = (importlib.resources.files("ignition") / "data" / "fuses.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _derated(part: str, temperature: ArrayLike) -> FloatArray:
    """Ratio of a derating table, straight lines between rows; outside of it nothing is guessed."""
    rows, ratios = _table()[part]["temperature"], _table()[part]["ratio"]
    inside = bounded("temperature in the derating table", temperature, "degC", least=rows[0], most=rows[-1])
    return np.asarray(np.interp(inside, rows, ratios))


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


def rating_ratio(temperature: ArrayLike) -> FloatArray:
    """Give the current that a fuse carries for good over its rated current, at an ambient temperature [1].

    The least of the published derating tables of blade fuses, straight lines between rows; a default, where the fuse's
    own derating is not given. No more in the cold than at 20 degC.

    Source: ``data/fuses.toml``.

    Parameters
    ----------
    temperature : Ambient temperature [degC], any shape

    Examples
    --------
    >>> [round(float(ratio), 4) for ratio in rating_ratio([20.0, 60.0])]
    [0.8666, 0.7333]
    """
    return _derated("fuse", temperature)


def resettable_hold_ratio(temperature: ArrayLike) -> FloatArray:
    """Give the hold current of a resettable fuse over that at 25 degC, at an ambient temperature [1].

    At each temperature the least of the published tables, straight lines between rows; a default, where the fuse's own
    derating is not given. The trip integral goes with its square: both hold current squared and heat to trip go with
    the distance from the ambient to the trip temperature.

    Source: ``data/fuses.toml``.

    Parameters
    ----------
    temperature : Ambient temperature [degC], any shape

    Examples
    --------
    >>> [round(float(ratio), 4) for ratio in resettable_hold_ratio([25.0, 50.0, 85.0])]
    [1.0, 0.75, 0.3818]
    """
    return _derated("resettable", temperature)


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
    hold_current : Hold current at that ambient [A], any shape, broadcasts

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
