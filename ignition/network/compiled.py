"""A network as arrays: ends and kinds of its closed elements, and their sums R, E and J."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from ignition.network.branches import Branches
from ignition.network.elements import GROUND, Element, Network, Terms
from ignition.network.linear import Indices
from ignition.network.tree import Tree, spanning_tree
from ignition.typing import BoolArray, FloatArray

__all__ = ["Compiled", "Sums", "compiled", "tree_of"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sums:
    """The sums R, E or J of all closed elements: each term's element, parameter and factor.

    No matrix product: a BLAS would split a large batch over its threads.

    Attributes
    ----------
    elements, parameters : How many there are
    rows, columns, factors : Element, parameter and factor of each term [1]
    """

    elements: int
    parameters: int
    rows: Indices
    columns: Indices
    factors: FloatArray

    @classmethod
    def of(cls, terms_of: Iterable[Terms], columns: Mapping[str, int], elements: int) -> Sums:
        """Collect the terms of all elements."""
        found = [(row, columns[name], factor) for row, terms in enumerate(terms_of) for name, factor in terms]
        return cls(
            elements=elements,
            parameters=len(columns),
            rows=np.array([row for row, _, _ in found], dtype=np.intp),
            columns=np.array([column for _, column, _ in found], dtype=np.intp),
            factors=np.array([factor for _, _, factor in found]),
        )

    def totals(self, parameters: FloatArray) -> FloatArray:
        """Sum of each element, shape (batch, elements)."""
        totals = np.zeros((self.elements, len(parameters)))
        np.add.at(totals, self.rows, parameters.T[self.columns] * self.factors[:, None])
        return totals.T

    def shares(self, of_elements: FloatArray) -> FloatArray:
        """What falls to each parameter of something that each element has, shape (batch, parameters, outputs)."""
        shares = np.zeros((self.parameters, len(of_elements), of_elements.shape[2]))
        np.add.at(shares, self.columns, of_elements.swapaxes(0, 1)[self.rows] * self.factors[:, None, None])
        return shares.swapaxes(0, 1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Compiled:
    """A network as arrays.

    Attributes
    ----------
    closed : Its closed elements
    nodes : Number of nodes beside ground, which is the number of ground itself
    kept : Place of each node, then of each closed element, among all nodes and elements of the network
    plus, minus : Node at each closed element's ends
    linear, sink, leakage, clamp : Which elements are of the kind; a resistor and a source are linear
    """

    closed: tuple[Element, ...]
    nodes: int
    kept: Indices
    plus: Indices
    minus: Indices
    resistance: Sums
    voltage: Sums
    current: Sums
    linear: BoolArray
    sink: BoolArray
    leakage: BoolArray
    clamp: BoolArray

    def across(self, found: FloatArray) -> FloatArray:
        """Voltage of each closed element [V], from node voltages (and whatever follows them); (batch, closed)."""
        voltages = np.concatenate([found[:, : self.nodes], np.zeros((len(found), 1))], axis=1)
        return np.asarray(voltages[:, self.plus] - voltages[:, self.minus])


@functools.lru_cache(maxsize=256)
def compiled(network: Network) -> Compiled:
    """Write a network as arrays."""
    closed = tuple(e for e in network.elements if e.closed)
    count = len(network.nodes)
    places = {node: index for index, node in enumerate(network.nodes)} | {GROUND: count}
    columns = {name: index for index, name in enumerate(network.parameters)}

    def sums(terms_of: Iterable[Terms]) -> Sums:
        return Sums.of(terms_of, columns, len(closed))

    def mask(*kinds: str) -> BoolArray:
        return np.array([e.kind in kinds for e in closed], dtype=bool)

    return Compiled(
        closed=closed,
        nodes=count,
        kept=np.array([*range(count), *(count + k for k, e in enumerate(network.elements) if e.closed)], dtype=np.intp),
        plus=np.array([places[e.plus] for e in closed], dtype=np.intp),
        minus=np.array([places[e.minus] for e in closed], dtype=np.intp),
        resistance=sums(e.resistance for e in closed),
        voltage=sums(e.voltage for e in closed),
        current=sums(e.current for e in closed),
        linear=mask("resistor", "source"),
        sink=mask("sink"),
        leakage=mask("leakage"),
        clamp=mask("clamp"),
    )


def tree_of(network: Network, branches: Branches) -> Tree:
    """Return the tree through what most members have closed and through the lowest resistances.

    What differs little from open closes the loops then, and few members have a branch of the tree open.

    Parameters
    ----------
    branches : Branch equations of the members; powers of ten of the highest resistance count
    """
    arrays = compiled(network)
    highest = branches.resistance.max(axis=0, initial=0.0)
    with np.errstate(divide="ignore"):
        decades = np.where(highest > 0.0, np.floor(np.log10(highest)), -np.inf)
    often_open = 2 * (branches.slope != 1.0).sum(axis=0) > branches.batch
    order = np.lexsort((decades, often_open))
    return _tree(network, tuple(order[arrays.linear[order]].tolist()))


@functools.lru_cache(maxsize=512)
def _tree(network: Network, order: tuple[int, ...]) -> Tree:
    arrays = compiled(network)
    return spanning_tree(arrays.plus, arrays.minus, arrays.nodes, order)
