"""Spanning tree of a network: which branches carry the node voltages, and the loop that each other branch closes."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ignition.network.linear import Indices
from ignition.typing import FloatArray

__all__ = ["Tree", "spanning_tree"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tree:
    """A tree over all nodes, and the links beside it.

    Each link closes one loop through the tree: its current flows on in the tree's branches, so that Kirchhoff's current
    law holds whatever the currents of the links are, and its voltage is the sum of the drops along the loop.

    Attributes
    ----------
    branches, links : Places of the tree's branches and of all other elements among the elements
    paths : Which drops add up to each node's voltage [1], shape (nodes + 1, branches); ground stands last
    loops : Which drops add up to each link's voltage [1], shape (links, branches)
    """

    branches: Indices
    links: Indices
    paths: FloatArray
    loops: FloatArray


def spanning_tree(plus: Indices, minus: Indices, nodes: int, order: Iterable[int]) -> Tree:
    """Grow a tree from the elements in the order given, each taken unless its ends are joined already.

    Parameters
    ----------
    plus, minus : Node of each element's ends; ground is number `nodes`
    nodes : Number of nodes beside ground
    order : Elements that may be in the tree, the best first; together they reach every node

    Examples
    --------
    >>> tree = spanning_tree(np.array([0, 0, 0]), np.array([1, 1, 1]), 1, [1, 0, 2])
    >>> tree.branches.tolist(), tree.links.tolist(), tree.loops.tolist()
    ([1], [0, 2], [[1.0], [1.0]])
    """
    joined = list(range(nodes + 1))

    def root(node: int) -> int:
        while joined[node] != node:
            joined[node] = joined[joined[node]]
            node = joined[node]
        return node

    chosen: list[int] = []
    for element in order:
        one, other = root(int(plus[element])), root(int(minus[element]))
        if one != other:
            joined[one] = other
            chosen.append(element)
    branches = np.array(sorted(chosen), dtype=np.intp)
    links = np.setdiff1d(np.arange(len(plus)), branches)
    paths = _paths(plus[branches], minus[branches], nodes)
    return Tree(branches=branches, links=links, paths=paths, loops=paths[plus[links]] - paths[minus[links]])


def _paths(plus: Indices, minus: Indices, nodes: int) -> FloatArray:
    """Walk from ground outwards: a node's voltage is its neighbour's and the drop between them."""
    around: list[list[tuple[int, int, float]]] = [[] for _ in range(nodes + 1)]
    for branch, (one, other) in enumerate(zip(plus.tolist(), minus.tolist(), strict=True)):
        around[other].append((branch, one, 1.0))
        around[one].append((branch, other, -1.0))
    paths = np.zeros((nodes + 1, len(plus)))
    reached, waiting = {nodes}, deque([nodes])
    while waiting:
        here = waiting.popleft()
        for branch, there, sign in around[here]:
            if there not in reached:
                reached.add(there)
                waiting.append(there)
                paths[there] = paths[here]
                paths[there, branch] += sign
    return paths
