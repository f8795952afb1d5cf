"""Minimal sets of simultaneous events that bring about a top event."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from ignition.network.linear import Indices
from ignition.typing import BoolArray

__all__ = ["CutSets", "minimal_cut_sets"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CutSets:
    """Minimal sets by size.

    Attributes
    ----------
    sets : Numbers of the events of each set in rising order; sets by size, then in order
    order : Most events in a set that was looked at [1]
    """

    sets: tuple[tuple[int, ...], ...]
    order: int

    @property
    def fewest(self) -> int | None:
        """Least number of events that bring the top event about [1]; None where no set up to the order does."""
        return len(self.sets[0]) if self.sets else None

    def of_size(self, size: int) -> tuple[tuple[int, ...], ...]:
        """Return the sets of one size.

        Parameters
        ----------
        size : Number of events [1]
        """
        return tuple(events for events in self.sets if len(events) == size)


def minimal_cut_sets(parts: Sequence[str], happens: Callable[[Indices], BoolArray], order: int) -> CutSets:
    """Find the minimal sets of events that bring about the top event.

    Two events of one part exclude each other, as a resistor is not open and shorted at once. Sizes are asked in turn,
    each once, without the sets that contain a smaller one found already. Without the assumption that one more event
    never undoes the top event, a set is minimal that no smaller one found is part of.

    Parameters
    ----------
    parts : Part that each event belongs to
    happens : Answers whether the top event happens with each of many sets, shape (sets, size), as shape (sets,)
    order : Most events in a set [1]

    Examples
    --------
    >>> def top(sets):
    ...     return (sets == 0).any(axis=1) | ((sets == 1).any(axis=1) & (sets == 2).any(axis=1))
    >>> minimal_cut_sets(("a", "b", "c", "d"), top, 3).sets
    ((0,), (1, 2))
    """
    known: dict[int, Indices] = {}
    numbers = {part: number for number, part in enumerate(dict.fromkeys(parts))}
    part_of = np.array([numbers[part] for part in parts], dtype=np.intp)
    for size in range(order + 1):
        sets = np.array(list(combinations(range(len(parts)), size)), dtype=np.intp)
        sets = sets.reshape(len(sets), size)
        owners = np.sort(part_of[sets], axis=1)
        sets = sets[(np.diff(owners, axis=1) != 0).all(axis=1)]
        for smaller, found in known.items():
            sets = sets[~_contains(sets, found, smaller, len(parts))]
        known[size] = sets[happens(sets)] if len(sets) else sets
        if size == 0 and len(known[0]):
            break
    return CutSets(sets=tuple(tuple(events) for found in known.values() for events in found.tolist()), order=order)


def _contains(sets: Indices, found: Indices, size: int, count: int) -> BoolArray:
    """Whether each set contains one of the smaller ones."""
    contains = np.zeros(len(sets), dtype=bool)
    if not len(found):
        return contains
    weights = count ** np.arange(size)
    keys = found @ weights
    for columns in combinations(range(sets.shape[1]), size):
        contains |= np.isin(sets[:, columns] @ weights, keys)
    return contains
