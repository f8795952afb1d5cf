"""Batches of sparse linear systems of one pattern."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ignition.typing import FloatArray

__all__ = ["Indices", "Pattern"]

Indices = npt.NDArray[np.intp]
"""Positions in an array."""

_CHUNK = 256
"""Systems that are factored together, as the blocks of one diagonal."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pattern:
    """Where the entries of all matrices of a batch stand; what is not listed is zero.

    Attributes
    ----------
    size : Number of unknowns [1]
    rows, columns : Place of each entry
    """

    size: int
    rows: Indices
    columns: Indices

    def dense(self, entries: FloatArray) -> FloatArray:
        """Return the matrices themselves, shape (batch, size, size).

        Parameters
        ----------
        entries : Their entries [SI], shape (batch, places)
        """
        matrix = np.zeros((len(entries), self.size, self.size))
        matrix[:, self.rows, self.columns] = entries
        return matrix

    def solve(self, entries: FloatArray, right: FloatArray, *, transposed: bool = False) -> FloatArray:
        """Solve A x = b, or the transposed system, for every member of a batch.

        Each system is factored by itself, its pivots chosen by their size. Raises numpy's LinAlgError where one is
        singular.

        Parameters
        ----------
        entries : Entries of each A [SI], shape (batch, places)
        right : Right sides b [SI], shape (batch, size, sides)

        Returns
        -------
        Unknowns x [SI], shape (batch, size, sides)
        """
        if not len(entries):
            return np.empty(right.shape)
        chunks = [slice(start, start + _CHUNK) for start in range(0, len(entries), _CHUNK)]
        return np.concatenate([_sparse(self, entries[chunk], right[chunk], transposed) for chunk in chunks])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Arranged:
    """A pattern with its columns in the order in which they are eliminated.

    Attributes
    ----------
    columns : The unknown that each column stands for
    places : Position of each entry among those of the pattern, column by column
    rows, starts : Row of each entry, and the first entry of each column
    """

    columns: Indices
    places: Indices
    rows: Indices
    starts: Indices


@functools.lru_cache(maxsize=256)
def _arranged(pattern: Pattern) -> _Arranged:
    """Order of least fill-in: found once for the pattern, kept for all its systems."""
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import splu

    some = np.random.default_rng(0).uniform(1.0, 2.0, len(pattern.rows))
    position = splu(csc_array((some, (pattern.rows, pattern.columns)), shape=(pattern.size,) * 2)).perm_c
    places = np.lexsort((pattern.rows, position[pattern.columns]))
    return _Arranged(
        columns=np.argsort(position),
        places=places,
        rows=pattern.rows[places],
        starts=np.searchsorted(position[pattern.columns][places], np.arange(pattern.size)),
    )


def _sparse(pattern: Pattern, entries: FloatArray, right: FloatArray, transposed: bool) -> FloatArray:
    """Solve all systems as the blocks of one diagonal."""
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import splu

    (count, places), size = entries.shape, pattern.size
    blocks = np.arange(count)[:, None]
    try:
        order = _arranged(pattern)
        starts = np.append((order.starts + places * blocks).ravel(), count * places)
        rows, values = (order.rows + size * blocks).ravel(), entries[:, order.places].ravel()
        matrix = csc_array((values, rows, starts), shape=(count * size, count * size))
        # no columns are alike enough to share
        factors = splu(matrix, permc_spec="NATURAL", relax=1, panel_size=1)
    except RuntimeError as error:  # "Factor is exactly singular"
        raise np.linalg.LinAlgError(str(error)) from None
    found = np.empty(right.shape)
    if transposed:
        found[:] = factors.solve(right[:, order.columns].reshape(count * size, -1), "T").reshape(right.shape)
    else:
        found[:, order.columns] = factors.solve(right.reshape(count * size, -1)).reshape(right.shape)
    return found
