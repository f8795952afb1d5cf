"""Branch equations a (v_plus - v_minus) - b i = c of all elements of a batch, whatever state each is in."""

from __future__ import annotations

from dataclasses import dataclass

from ignition.network.linear import Indices
from ignition.typing import FloatArray

__all__ = ["Branches"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Branches:
    """Coefficients of every branch equation, each of shape (batch, elements).

    Attributes
    ----------
    slope : a [1], or [S] where `resistance` is 1: 1 of a branch that conducts, 0 of a current that no voltage changes
    resistance : b [ohm], or [1]
    right : c [V], or [A]
    """

    slope: FloatArray
    resistance: FloatArray
    right: FloatArray

    @property
    def batch(self) -> int:
        """Number of members."""
        return int(self.slope.shape[0])

    def take(self, members: Indices) -> Branches:
        """Return the equations of some members.

        Parameters
        ----------
        members : Their places in the batch, shape (m,)
        """
        return Branches(slope=self.slope[members], resistance=self.resistance[members], right=self.right[members])

    def put(self, members: Indices, changed: Branches) -> Branches:
        """Return the equations with those of some members changed.

        Parameters
        ----------
        members : Their places in the batch, shape (m,)
        """
        slope, resistance, right = self.slope.copy(), self.resistance.copy(), self.right.copy()
        slope[members], resistance[members], right[members] = changed.slope, changed.resistance, changed.right
        return Branches(slope=slope, resistance=resistance, right=right)
