"""Sparse tableau: all node voltages and branch currents of a batch as unknowns, for networks of very many loops."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from ignition.network.branches import Branches
from ignition.network.compiled import compiled
from ignition.network.elements import Network
from ignition.network.linear import Pattern
from ignition.typing import FloatArray

__all__ = ["solve_tableau", "tableau_adjoint", "tableau_matrix"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Plan:
    """Pattern of the system, and its entries that no value changes (plus and minus one), zero where b stands."""

    pattern: Pattern
    base: FloatArray


@functools.lru_cache(maxsize=64)
def _plan(network: Network) -> _Plan:
    arrays = compiled(network)
    count, closed = arrays.nodes, len(arrays.closed)
    entries = {(count + k, count + k): 0.0 for k in range(closed)}
    for row in range(closed):
        for node, sign in ((int(arrays.plus[row]), 1.0), (int(arrays.minus[row]), -1.0)):
            if node != count:
                for place in ((node, count + row), (count + row, node)):
                    entries[place] = entries.get(place, 0.0) + sign
    return _Plan(
        pattern=Pattern(
            size=count + closed,
            rows=np.array([row for row, _ in entries], dtype=np.intp),
            columns=np.array([column for _, column in entries], dtype=np.intp),
        ),
        base=np.array(list(entries.values())),
    )


def _entries(network: Network, branches: Branches) -> FloatArray:
    plan, nodes = _plan(network), compiled(network).nodes
    rows, columns = plan.pattern.rows, plan.pattern.columns
    branch = np.flatnonzero(rows >= nodes)
    entries = np.tile(plan.base, (branches.batch, 1))
    entries[:, branch] *= branches.slope[:, rows[branch] - nodes]
    entries[:, rows == columns] = -branches.resistance
    return entries


def solve_tableau(network: Network, branches: Branches) -> FloatArray:
    """Solve for node voltages [V] and element currents [A], shape (batch, nodes + elements).

    Raises numpy's LinAlgError where a member is singular.
    """
    plan = _plan(network)
    right = np.zeros((branches.batch, plan.pattern.size))
    right[:, compiled(network).nodes :] = branches.right
    return plan.pattern.solve(_entries(network, branches), right[..., None])[..., 0]


def tableau_adjoint(network: Network, branches: Branches, weights: FloatArray) -> FloatArray:
    """Return what outputs gain by each branch equation's right side [1/SI], shape (batch, elements, outputs).

    Raises numpy's LinAlgError where a member is singular.

    Parameters
    ----------
    weights : Output weights on node voltages and element currents [1], shape (batch, outputs, nodes + elements)
    """
    rights = weights.swapaxes(1, 2)
    found = _plan(network).pattern.solve(_entries(network, branches), rights, transposed=True)
    return found[:, compiled(network).nodes :, :]


def tableau_matrix(network: Network, branches: Branches) -> FloatArray:
    """Return the matrices themselves [SI], shape (batch, nodes + elements, nodes + elements)."""
    return _plan(network).pattern.dense(_entries(network, branches))
