"""The igniter that is worst off against its limit, in each channel of every member of a batch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ignition.analyses.faults.bench import Batch, Bench
from ignition.network.linear import Indices
from ignition.typing import BoolArray, FloatArray

__all__ = ["Worst"]

_UNJUDGED = 1.0 - 1e-9
"""Where an igniter without a limit stands among the others: after one beyond its limit, before all within it [1]."""

_FAR = 2.0
"""How far from its limit a current that did not settle is clear of it [1]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Worst:
    """Igniter of each channel that is worst off against its limit, in each member.

    Attributes
    ----------
    names, owner : All igniters of the circuit, and the number of the channel of each
    sign : 1 where the highest current is the worst, -1 where the lowest is [1]
    igniter : Which one, by place in `names`; -1 where there is none to look at, shape (m, channels)
    current : Its worst current [A], shape (m, channels)
    share : That over its limit [1]: nan where none is given or there is no igniter, infinite over a limit of zero;
        shape (m, channels)
    settled : Whether the search for the corner of every igniter came to an end, or ended far from its limit with all
        that its tolerances still asked for, twice; shape (m, channels)
    """

    names: tuple[str, ...]
    owner: Indices
    sign: float
    igniter: Indices
    current: FloatArray
    share: FloatArray
    settled: BoolArray

    @classmethod
    def nowhere(cls, bench: Bench, sign: float, size: int) -> Worst:
        """Make one in which no member has an igniter to look at.

        Parameters
        ----------
        size : Number of members [1]
        """
        shape = size, len(bench.board.lines)
        return cls(
            names=bench.igniters,
            owner=bench.owner,
            sign=sign,
            igniter=np.full(shape, -1),
            current=np.zeros(shape),
            share=np.full(shape, np.nan),
            settled=np.ones(shape, dtype=bool),
        )

    @property
    def beyond(self) -> BoolArray:
        """Whether the igniter may be beyond its limit: at it or above, or below it; shape (m, channels)."""
        return np.asarray(self.share >= 1.0 if self.sign > 0.0 else self.share < 1.0)

    @property
    def rank(self) -> FloatArray:
        """How bad it is [1], shape (m, channels); without a limit: after one beyond its limit, before all within it."""
        return np.where(self.igniter >= 0, self._ranked(self.share), -np.inf)

    def _ranked(self, share: FloatArray) -> FloatArray:
        return self.sign * np.where(np.isnan(share), _UNJUDGED if self.sign > 0.0 else 1.0, share)

    def put(
        self, batch: Batch, row: Indices, igniter: Indices, current: FloatArray, limit: FloatArray, settled: BoolArray
    ) -> None:
        """Enter the worst igniter of each channel in each row of a batch.

        Parameters
        ----------
        row, igniter : Row and igniter of each entry, shape (n,)
        current : Its worst current [A], nan where its network has no solution, shape (n,)
        limit : Its limit [A], nan where none is given, shape (n,)
        settled : Whether the search for the corner came to an end, shape (n,)
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(limit == 0.0, np.inf, current / limit)
        settled = settled | ((share < 1.0 / _FAR) if self.sign > 0.0 else (share > _FAR))
        channel = self.owner[igniter]
        order = np.lexsort((self.sign * current, self._ranked(share)))
        order = order[~np.isnan(current[order])]  # what has no solution is told by `settled`
        place = np.full((len(batch.first), self.igniter.shape[1]), -1)
        place[row[order], channel[order]] = order  # of several the last one stays, which is the worst
        own = place[batch.place]
        some, where = np.nonzero(own >= 0)
        chosen, some = own[some, where], batch.members[some]
        self.igniter[some, where], self.current[some, where] = igniter[chosen], current[chosen]
        self.share[some, where] = share[chosen]
        unsettled = np.zeros(place.shape, dtype=bool)
        unsettled[row[~settled], channel[~settled]] = True
        self.settled[batch.members] &= ~unsettled[batch.place]
