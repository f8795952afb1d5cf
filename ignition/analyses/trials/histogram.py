"""Counts of positive numbers in fine logarithmic bins: exact to merge, in any order, and of bounded size."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

import numpy as np
import numpy.typing as npt

from ignition.errors import InputError
from ignition.typing import INLINE, FloatArray

__all__ = ["Counts", "Histogram", "Quantiles", "Tally"]

Counts = npt.NDArray[np.int64]

# A bin is what a double's exponent and its first nine binary places have in common: 512 bins an octave.
_SHIFT = np.int64(52 - 9)
_FIRST = int(np.array(2.0**-30).view(np.int64) >> _SHIFT)
_BINS = 512 * 50

_SHARES = (0.01, 0.05, 0.5, 0.95, 0.99)


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantiles:
    """Extremes and quantiles of a tally [`unit`], by name; each None where nothing was counted."""

    number: int
    unit: str
    values: Annotated[Mapping[str, float | None], INLINE]
    reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Histogram:
    """Counts between edges [`unit`]; both empty where nothing was counted.

    Attributes
    ----------
    edges : One more than there are counts [`unit`]
    """

    edges: tuple[float, ...]
    counts: tuple[int, ...]
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tally:
    """How many numbers fell where, from 1e-9 to 1e6, in bins of 0.14 to 0.2 %.

    Attributes
    ----------
    counts : Numbers in each bin [1]
    least, most : Extremes, exact [unit of the numbers]; inf and -inf while there is nothing
    """

    counts: Counts
    least: float
    most: float

    @classmethod
    def empty(cls) -> Tally:
        """Make a tally of nothing."""
        return cls(counts=np.zeros(_BINS, dtype=np.int64), least=np.inf, most=-np.inf)

    @classmethod
    def of(cls, numbers: FloatArray) -> Tally:
        """Count finite numbers of 0 or more.

        Parameters
        ----------
        numbers : The numbers, any unit, shape (n,)
        """
        if numbers.size == 0:
            return cls.empty()
        bins = (np.ascontiguousarray(numbers, dtype=np.float64).view(np.int64) >> _SHIFT) - _FIRST
        np.clip(bins, 0, _BINS - 1, out=bins)
        return cls(
            counts=np.bincount(bins, minlength=_BINS).astype(np.int64, copy=False),
            least=float(numbers.min()),
            most=float(numbers.max()),
        )

    @property
    def number(self) -> int:
        """How many numbers were counted [1]."""
        return int(self.counts.sum())

    def merged(self, other: Tally) -> Tally:
        """Tally of both; the order of merging does not matter."""
        return Tally(
            counts=self.counts + other.counts, least=min(self.least, other.least), most=max(self.most, other.most)
        )

    def quantile(self, share: float) -> float | None:
        """Value that this share of the numbers does not exceed.

        Raises InputError if the share is outside its range.

        Parameters
        ----------
        share : Share [1], from 0 to 1

        Returns
        -------
        The value, within 0.2 %, inside the extremes; None where nothing was counted
        """
        if not 0.0 <= share <= 1.0:
            raise InputError(f"share: a number from 0 to 1 expected, received {share!r}; write for example 0.95")
        total = self.number
        if total == 0:
            return None
        if share in (0.0, 1.0):
            return self.least if share == 0.0 else self.most
        below = np.cumsum(self.counts)
        index = int(np.searchsorted(below, share * total))
        before = float(below[index - 1]) if index else 0.0
        place = (share * total - before) / float(self.counts[index])
        low, high = _edge(index), _edge(index + 1)
        return float(min(max(low + place * (high - low), self.least), self.most))

    def quantiles(self, unit: str, missing: str) -> Quantiles:
        """Extremes and usual quantiles, for a table [`unit`]."""
        shares = {"least": 0.0} | {f"q{share:g}": share for share in _SHARES} | {"most": 1.0}
        return Quantiles(
            number=self.number,
            unit=unit,
            values={name: self.quantile(share) for name, share in shares.items()},
            reason=None if self.number else missing,
        )

    def histogram(self, bins: int = 20) -> tuple[FloatArray, Counts]:
        """Counts in equal bins from the least to the greatest number, for a picture.

        Raises InputError if the number of bins is below 1.

        Parameters
        ----------
        bins : Number of bins [1]

        Returns
        -------
        Edges, shape (bins + 1,), and counts, shape (bins,); each fine bin counts where its middle lies
        """
        if bins < 1:
            raise InputError(f"bins: a whole number of 1 or more expected, received {bins!r}")
        if self.number == 0:
            return np.zeros(bins + 1), np.zeros(bins, dtype=np.int64)
        edges = np.linspace(self.least, self.most, bins + 1)
        used = np.flatnonzero(self.counts)
        middle = np.array([0.5 * (_edge(int(i)) + _edge(int(i) + 1)) for i in used])
        place = np.clip(np.searchsorted(edges, middle, side="right") - 1, 0, bins - 1)
        counts = np.zeros(bins, dtype=np.int64)
        np.add.at(counts, place, self.counts[used])
        return edges, counts


def _edge(index: int) -> float:
    """Lower edge of a bin; the first one reaches down to 0."""
    return 0.0 if index <= 0 else float(np.array((index + _FIRST) << int(_SHIFT), dtype=np.int64).view(np.float64))
