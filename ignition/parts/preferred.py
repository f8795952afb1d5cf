"""Preferred values of resistors and capacitors (IEC 60063), held by the package `eseries`."""

from __future__ import annotations

import functools
import math

import numpy as np

from ignition.errors import InputError
from ignition.parts._require import bounded
from ignition.typing import FloatArray

__all__ = ["series_tolerance", "series_values"]

_NAMES = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")
_SMALLEST, _LARGEST = 1e-15, 1e15


@functools.cache
def _series(name: str) -> tuple[tuple[int, ...], float]:
    """Base values of one decade and the tolerance of a series; eseries is loaded on the first call."""
    if name not in _NAMES:
        raise InputError(f'a preferred series must be one of {", ".join(_NAMES)}, received {name!r}; write "E24"')
    import eseries

    key = eseries.ESeries[name]
    return tuple(int(base) for base in eseries.series(key)), float(eseries.tolerance(key))


def series_values(series: str, low: float, high: float) -> FloatArray:
    """List every value of a preferred series between two limits, both included.

    Each value is the float nearest to its decimal text (4700.0, not 4700.000000000001).

    Raises InputError if the series is unknown, a limit is outside 1e-15 .. 1e15, or low is above high.

    Source: IEC 60063, as held in PyPI package `eseries` 1.2.1.

    Parameters
    ----------
    series : "E3", "E6", "E12", "E24", "E48", "E96" or "E192"
    low, high : Limits, in the unit of the part, for example [ohm]; 1e-15 to 1e15

    Returns
    -------
    Values [unit of the part] in rising order, (n,); empty where no value lies between the limits

    Examples
    --------
    >>> series_values("E24", 4.3e3, 5.6e3)
    array([4300., 4700., 5100., 5600.])
    """
    bases, _ = _series(series)
    lowest = float(bounded("low", low, "ohm", least=_SMALLEST, most=_LARGEST))
    highest = float(bounded("high", high, "ohm", least=_SMALLEST, most=_LARGEST))
    if lowest > highest:
        raise InputError(f"low must not be above high, received {lowest:g} and {highest:g}; write the smaller first")
    digits = len(str(bases[0])) - 1
    first, last = math.floor(math.log10(lowest)) - 1, math.floor(math.log10(highest)) + 1
    values = [float(f"{base}e{decade - digits}") for decade in range(first, last + 1) for base in bases]
    found = np.array(values, dtype=np.float64)
    return found[(found >= lowest) & (found <= highest)]


def series_tolerance(series: str) -> float:
    """Give the tolerance that belongs to a preferred series.

    The tolerance the series was made for; a part may be sold with a closer one.

    Raises InputError if the series is unknown.

    Source: PyPI package `eseries` 1.2.1.

    Parameters
    ----------
    series : "E3", "E6", "E12", "E24", "E48", "E96" or "E192"

    Returns
    -------
    Tolerance [1], either way: 0.05 is plus or minus 5 %

    Examples
    --------
    >>> series_tolerance("E96")
    0.01
    """
    return _series(series)[1]
