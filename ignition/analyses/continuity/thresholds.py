"""Which line states read alike, and the integer codes that separate the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ignition.analyses.continuity.bands import LineReading
from ignition.toleranced import Spread
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "Group",
    "Threshold",
    "code_span",
    "groups_of",
    "integer_codes",
    "overlapping",
    "overlapping_pairs",
    "pair_thresholds",
    "runs",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Threshold:
    """Integer code that separates two states: readings below it are `below`, from it on `above`.

    Attributes
    ----------
    code : First code that counts as `above`
    below_highest, above_lowest : Highest code of the lower state and lowest code of the upper one; what lies between is
        a dead band that neither state can give
    """

    below: str
    above: str
    code: int
    below_highest: int
    above_lowest: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Line states whose bands hang together, so that no code separates one from all others."""

    states: tuple[str, ...]
    lowest_code: int
    highest_code: int


def integer_codes(code: Spread) -> tuple[int, int] | None:
    """Return the lowest and highest integer code of a band.

    Parameters
    ----------
    code : Reading before rounding [LSB], quantisation included

    Returns
    -------
    Codes; None where there is no reading

    Examples
    --------
    >>> integer_codes(Spread(low=9.2, nominal=10.0, high=10.8, unit="1"))
    (10, 10)
    """
    if code.low is None or code.high is None:
        return None
    low, high = code_span(code.low, code.high)
    return int(low), int(high)


def code_span(low: ArrayLike, high: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return the lowest and highest integer code of bands; half an LSB is in a band, so whole codes inside can be read.

    Parameters
    ----------
    low, high : Reading before rounding [LSB], quantisation included, broadcast

    Returns
    -------
    Codes [1]
    """
    least = np.ceil(low)
    return least, np.maximum(np.floor(high), least)


def overlapping(one: Spread, two: Spread) -> bool:
    """Whether two bands share a code; a missing band overlaps nothing.

    Parameters
    ----------
    one, two : Readings before rounding [LSB]

    Returns
    -------
    True where one code can come from either
    """
    first, second = integer_codes(one), integer_codes(two)
    return first is not None and second is not None and first[0] <= second[1] and second[0] <= first[1]


def overlapping_pairs(bands: Sequence[tuple[str, Spread]]) -> tuple[tuple[str, str], ...]:
    """List pairs of states whose bands overlap.

    Parameters
    ----------
    bands : State and reading [LSB]

    Returns
    -------
    Pairs, in the order given
    """
    return tuple(
        (first, second)
        for index, (first, one) in enumerate(bands)
        for second, two in bands[index + 1 :]
        if overlapping(one, two)
    )


def pair_thresholds(readings: Sequence[LineReading]) -> tuple[Threshold, ...]:
    """Return a code midway between the bands of every pair that can be told apart."""
    found = []
    for first in readings:
        for second in readings:
            one, two = integer_codes(first.band.code), integer_codes(second.band.code)
            if one is not None and two is not None and one[1] < two[0]:
                found.append(
                    Threshold(
                        below=first.state,
                        above=second.state,
                        code=one[1] + 1 + (two[0] - one[1] - 1) // 2,
                        below_highest=one[1],
                        above_lowest=two[0],
                    )
                )
    return tuple(found)


def groups_of(readings: Sequence[LineReading]) -> tuple[Group, ...]:
    """Gather states whose bands overlap, directly or through others, in rising order of code.

    Returns
    -------
    Groups with a free code or more, or at least a border, between neighbours
    """
    ranged = [(r.state, span) for r in readings if (span := integer_codes(r.band.code)) is not None]
    ranged.sort(key=lambda item: item[1])
    low, high = (np.array([span[end] for _, span in ranged]) for end in (0, 1))
    return tuple(
        Group(
            states=tuple(ranged[k][0] for k in run),
            lowest_code=int(low[run].min()),
            highest_code=int(high[run].max()),
        )
        for run in runs(low, high)
    )


def runs(low: FloatArray, high: FloatArray) -> tuple[list[int], ...]:
    """Gather ranges that overlap, directly or through others, in rising order.

    Parameters
    ----------
    low, high : Ends of each range [one unit for all], shape (n,)

    Returns
    -------
    Places of the ranges of each run, by low end and then high end

    Examples
    --------
    >>> runs(np.array([0.0, 5.0, 1.0]), np.array([2.0, 6.0, 3.0]))
    ([0, 2], [1])
    """
    found: list[list[int]] = []
    top = -np.inf
    for k in np.lexsort((high, low)).tolist():
        if not found or low[k] > top:
            found.append([])
            top = -np.inf
        found[-1].append(k)
        top = max(top, float(high[k]))
    return tuple(found)
