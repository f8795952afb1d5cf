"""Corners of single faults, from which the search for those of larger sets begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ignition.analyses.faults.bench import Batch, Bench, Members
from ignition.network.linear import Indices
from ignition.typing import BoolArray

__all__ = ["Corners"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corners:
    """Corners at which the currents of single faults stand: where the search for larger sets may begin.

    Attributes
    ----------
    place : Row in `high` of each situation, fault (the last: none) and igniter, shape (situations, faults + 1,
        igniters)
    high : Which parameters of the lines stand at their upper end, for the highest and for the lowest current; the first
        row is that of what was not looked at; shape (rows, 2, parameters)
    """

    place: Indices
    high: list[BoolArray]

    @classmethod
    def none(cls, bench: Bench) -> Corners:
        """Make a table without corners."""
        return cls(
            place=np.zeros((len(bench.situations), len(bench.faults) + 1, len(bench.igniters)), dtype=np.intp),
            high=[np.zeros((1, 2, len(bench.lines.network.parameters)), dtype=bool)],
        )

    def record(self, members: Members, batch: Batch, row: Indices, igniter: Indices, high: BoolArray) -> None:
        """Enter the corners of single faults.

        Parameters
        ----------
        members, batch : Members of one fault each, as laid out
        row, igniter : Row of the batch and igniter of each corner, shape (n,)
        high : Corners, shape (n, 2, parameters)
        """
        start = sum(len(some) for some in self.high)
        numbers = np.zeros((len(batch.first), self.place.shape[2]), dtype=np.intp)
        numbers[row, igniter] = start + np.arange(len(row))
        some = members.take(batch.members)
        self.place[some.situations, some.picks[:, 0]] = numbers[batch.place]
        self.high.append(high)

    def begin(self, situations: Indices, picks: Indices, igniter: Indices) -> BoolArray:
        """Return corners to begin from: that of no fault, with what each fault changes of it.

        Parameters
        ----------
        situations, picks, igniter : Situation, faults and igniter, shape (n,), (n, faults) and (n,)

        Returns
        -------
        For the highest and the lowest current, shape (n, 2, parameters)
        """
        high = np.concatenate(self.high)
        usual = high[self.place[situations, -1, igniter]]
        changed = np.zeros_like(usual)
        for column in picks.T:
            place = self.place[situations, column, igniter]
            changed |= (high[place] ^ usual) & (place > 0)[:, None, None]
        return np.asarray(usual ^ changed)
