"""Batched modified nodal analysis: thousands of value sets of one network in one call."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ignition.circuit.network import GROUND, KNEE_VOLTAGE, Element, Network
from ignition.errors import NetworkError
from ignition.typing import ArrayLike, BoolArray, FloatArray

__all__ = ["Solution", "solve"]

_MAX_ROUNDS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Voltages and currents of a batch of value sets.

    Attributes
    ----------
    network : Network
        The network solved.
    values : mapping of str to ndarray
        Parameter values used [SI], each of shape (batch,).
    unknowns : ndarray
        Node voltages [V], then branch currents [A], shape (batch, nodes + elements).
    matrix : ndarray
        System matrix in the final state of every clamp and leakage, open elements left out, shape (batch, n, n).
    kept : ndarray
        Positions of the matrix's n rows among the unknowns, shape (n,).
    active : dict of str to ndarray
        For each clamp and leakage: whether it conducts or is saturated, shape (batch,).
    """

    network: Network
    values: Mapping[str, FloatArray]
    unknowns: FloatArray
    matrix: FloatArray = field(repr=False)
    kept: npt.NDArray[np.intp] = field(repr=False)
    active: Mapping[str, BoolArray] = field(repr=False)

    @property
    def batch(self) -> int:
        """Number of value sets."""
        return int(self.unknowns.shape[0])

    def voltage(self, node: str, reference: str = GROUND) -> FloatArray:
        """Return the voltage of a node against another.

        Parameters
        ----------
        node, reference : str
            Node names.

        Returns
        -------
        ndarray
            Voltage [V], shape (batch,).
        """
        return self._node(node) - self._node(reference)

    def _node(self, node: str) -> FloatArray:
        if node == GROUND:
            return np.zeros(self.batch)
        try:
            return self.unknowns[:, self.network.nodes.index(node)]
        except ValueError:
            raise NetworkError(f"no node {node!r}; there are {', '.join(self.network.nodes)}") from None

    def current(self, element: str) -> FloatArray:
        """Return the current inside an element from plus to minus.

        Parameters
        ----------
        element : str
            Element name.

        Returns
        -------
        ndarray
            Current [A], shape (batch,).
        """
        names = [e.name for e in self.network.elements]
        return self.unknowns[:, len(self.network.nodes) + names.index(self.network.element(element).name)]

    def kirchhoff_residual(self) -> FloatArray:
        """Return the largest node current that does not balance, over the largest current into that node.

        Returns
        -------
        ndarray
            Relative residual [1], shape (batch,); at most rounding error for a sound solution.
        """
        nodes = self.network.nodes
        net = np.zeros((self.batch, len(nodes)))
        gross = np.zeros_like(net)
        for element in self.network.elements:
            current = self.current(element.name)
            for node, sign in ((element.plus, 1.0), (element.minus, -1.0)):
                if node != GROUND:
                    index = nodes.index(node)
                    net[:, index] += sign * current
                    gross[:, index] = np.maximum(gross[:, index], np.abs(current))
        scale = np.where(gross > 0, gross, 1.0)
        return np.asarray(np.max(np.abs(net) / scale, axis=1, initial=0.0))

    def sensitivities(self, weights: FloatArray) -> dict[str, FloatArray]:
        """Derivatives of linear outputs with respect to every parameter, by the adjoint system.

        Parameters
        ----------
        weights : ndarray
            Output weights on the unknowns [output unit per unknown], shape (outputs, nodes + elements), or
            (batch, outputs, nodes + elements) where each member has outputs of its own.

        Returns
        -------
        dict of str to ndarray
            For each parameter the derivatives [output unit per SI], shape (batch, outputs).

        Notes
        -----
        With A x = b and y = w x: dy/dp = l (db/dp - dA/dp x), A^T l = w (Tellegen's theorem in matrix form). A clamp
        or leakage is differentiated in the state it is in.
        """
        wanted = weights[..., self.kept]
        rights = np.broadcast_to(np.swapaxes(wanted, -1, -2), (self.batch, wanted.shape[-1], wanted.shape[-2]))
        adjoint = np.linalg.solve(np.swapaxes(self.matrix, 1, 2), rights)
        count = len(self.network.nodes)
        result: dict[str, FloatArray] = {}
        closed = (e for e in self.network.elements if e.closed)
        for row, element in enumerate(closed, start=count):
            multiplier = adjoint[:, row, :]
            current = self.unknowns[:, self.kept[row]]
            voltage = self.voltage(element.plus, element.minus)
            for derivative, terms in _derivatives(element, voltage, current, self.active.get(element.name)):
                for name, factor in terms:
                    change = factor * multiplier * derivative[:, None]
                    result[name] = result[name] + change if name in result else change
        return result


def _derivatives(
    element: Element, voltage: FloatArray, current: FloatArray, active: BoolArray | None
) -> list[tuple[FloatArray, tuple[tuple[str, float], ...]]]:
    """Change of the branch equation's right side per unit of each sum (db/dp - dA/dp x)."""
    ones = np.ones_like(voltage)
    if element.kind in ("resistor", "source"):
        return [(current, element.resistance), (ones, element.voltage)]
    if element.kind == "sink":
        return [(-ones, element.current)]
    assert active is not None
    if element.kind == "leakage":
        return [(np.where(active, -ones, -voltage / KNEE_VOLTAGE), element.current)]
    return [(np.where(active, current, 0.0), element.resistance), (np.where(active, ones, 0.0), element.voltage)]


def solve(network: Network, values: Mapping[str, ArrayLike]) -> Solution:
    """Solve a network for a batch of parameter values.

    Parameters
    ----------
    network : Network
        The network; its state (what is open, what is closed) is common to the batch.
    values : mapping of str to array_like
        Value of every parameter [SI], each a scalar or of shape (batch,).

    Returns
    -------
    Solution
        Voltages and currents.

    Raises
    ------
    NetworkError
        For a missing parameter, a floating node, a loop of ideal sources or links, a singular member, or clamps
        that find no consistent state; the message names node, element or batch member.

    Notes
    -----
    Unknowns are all node voltages and all branch currents (sparse tableau), so that a current of microamperes
    through a milliohm is solved for directly, not found as a difference of two voltages. Clamps and leakages are
    piecewise linear; their states are found by repeated solution of the members that changed.

    Examples
    --------
    >>> loop = Network(elements=(
    ...     Element(name="battery", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),)),
    ...     Element(name="bridge", kind="resistor", plus="top", minus=GROUND, resistance=(("R", 1.0),)),
    ... ))
    >>> solve(loop, {"E": 6.0, "R": [1.0, 2.0, 4.0]}).current("bridge").tolist()
    [6.0, 3.0, 1.5]
    """
    arrays = _batch(network, values)
    size = len(next(iter(arrays.values()))) if arrays else 1
    floating = network.floating_nodes()
    if floating:
        raise NetworkError(
            f"node {floating[0]!r} is floating: no closed resistor or source ties it to ground"
            + (f" (also {', '.join(floating[1:])})" if floating[1:] else "")
        )
    closed = tuple(e for e in network.elements if e.closed)
    base = _incidence(network, closed)
    kept = np.concatenate(
        [np.arange(len(network.nodes)), len(network.nodes) + np.flatnonzero([e.closed for e in network.elements])]
    ).astype(np.intp)
    active = {e.name: np.full(size, e.kind == "leakage") for e in closed if e.kind in ("leakage", "clamp")}
    matrix = np.empty((size, len(base), len(base)))
    unknowns = np.zeros((size, len(network.nodes) + len(network.elements)))
    pending = np.arange(size)
    for _ in range(_MAX_ROUNDS):
        part = arrays if len(pending) == size else {name: array[pending] for name, array in arrays.items()}
        states = {name: state[pending] for name, state in active.items()}
        coefficients, right = _assemble(network, closed, base, part, states, len(pending))
        found = _solve(closed, coefficients, right, pending)
        matrix[pending] = coefficients
        unknowns[pending[:, None], kept] = found
        changed = _update_states(network, closed, part, states, found)
        for name, state in states.items():
            active[name][pending] = state
        pending = pending[changed]
        if not len(pending):
            break
    else:
        raise NetworkError(f"clamps and leakages find no consistent state for batch member {int(pending[0])}")
    return Solution(network=network, values=arrays, unknowns=unknowns, matrix=matrix, kept=kept, active=active)


def _batch(network: Network, values: Mapping[str, ArrayLike]) -> dict[str, FloatArray]:
    missing = [name for name in network.parameters if name not in values]
    if missing:
        raise NetworkError(f"no value for parameter {missing[0]!r}" + (f" and {len(missing) - 1} more" if missing[1:] else ""))
    arrays = {name: np.atleast_1d(np.asarray(values[name], dtype=float)) for name in network.parameters}
    size = np.broadcast_shapes(*(a.shape for a in arrays.values())) if arrays else (1,)
    for name, array in arrays.items():
        if not np.all(np.isfinite(array)):
            raise NetworkError(f"parameter {name!r} is not finite in batch member {int(np.argmin(np.isfinite(array)))}")
    return {name: np.broadcast_to(array, size) for name, array in arrays.items()}


def _incidence(network: Network, closed: tuple[Element, ...]) -> FloatArray:
    """Matrix with Kirchhoff's current law in the first rows; branch rows are filled in by `_assemble`."""
    nodes = {node: index for index, node in enumerate(network.nodes)}
    count = len(nodes)
    base = np.zeros((count + len(closed),) * 2)
    for row, element in enumerate(closed, start=count):
        for node, sign in ((element.plus, 1.0), (element.minus, -1.0)):
            if node != GROUND:
                base[nodes[node], row] += sign
                base[row, nodes[node]] += sign
    return base


def _assemble(
    network: Network,
    closed: tuple[Element, ...],
    base: FloatArray,
    values: Mapping[str, FloatArray],
    states: Mapping[str, BoolArray],
    size: int,
) -> tuple[FloatArray, FloatArray]:
    count = len(network.nodes)
    matrix = np.repeat(base[None], size, axis=0)
    right = np.zeros((size, len(base)))
    for row, element in enumerate(closed, start=count):
        a, b, c = _coefficients(element, values, states.get(element.name))
        if np.ndim(a) or a != 1.0:
            matrix[:, row, :count] *= np.reshape(a, (-1, 1))
        matrix[:, row, row] = -b
        right[:, row] = c
    return matrix, right


def _coefficients(
    element: Element, values: Mapping[str, FloatArray], active: BoolArray | None
) -> tuple[ArrayLike, FloatArray, FloatArray]:
    """Coefficients of ``a v - b i = c``."""
    one = np.asarray(1.0)
    if element.kind in ("resistor", "source"):
        return 1.0, element.total(element.resistance, values), element.total(element.voltage, values)
    if element.kind == "sink":
        return 0.0, one, -element.total(element.current, values)
    assert active is not None
    if element.kind == "leakage":
        current = element.total(element.current, values)
        return np.where(active, 0.0, current / KNEE_VOLTAGE), one, np.where(active, -current, 0.0)
    on = active.astype(float)
    return (
        on,
        np.where(active, element.total(element.resistance, values), 1.0),
        on * element.total(element.voltage, values),
    )


def _solve(
    closed: tuple[Element, ...], matrix: FloatArray, right: FloatArray, members: npt.NDArray[np.intp]
) -> FloatArray:
    try:
        found = np.linalg.solve(matrix, right[..., None])[..., 0]
    except np.linalg.LinAlgError:
        raise _singular(closed, matrix, members) from None
    if not np.all(np.isfinite(found)):
        raise _singular(closed, matrix, members)
    return np.asarray(found)


def _singular(closed: tuple[Element, ...], matrix: FloatArray, members: npt.NDArray[np.intp]) -> NetworkError:
    """Name the first singular member and the elements that its null vector runs through."""
    for index, member in zip(range(len(matrix)), members, strict=True):
        _, sizes, rows = np.linalg.svd(matrix[index])
        if sizes[-1] <= 1e-14 * sizes[0]:
            null = np.abs(rows[-1][-len(closed) :])
            involved = [e.name for e, share in zip(closed, null, strict=True) if share > 0.1 * null.max()]
            return NetworkError(
                f"batch member {int(member)} has no unique solution: a loop of ideal sources or zero-ohm links through "
                + ", ".join(involved)
            )
    return NetworkError("the network has no unique solution")


def _update_states(
    network: Network,
    closed: tuple[Element, ...],
    values: Mapping[str, FloatArray],
    states: Mapping[str, BoolArray],
    unknowns: FloatArray,
) -> BoolArray:
    """Switch each clamp and leakage to the state its voltage asks for; tell which members changed."""
    nodes = {node: index for index, node in enumerate(network.nodes)}
    count = len(nodes)
    changed = np.zeros(len(unknowns), dtype=bool)
    for row, element in enumerate(closed, start=count):
        if element.name not in states:
            continue
        high = unknowns[:, nodes[element.plus]] if element.plus != GROUND else 0.0
        low = unknowns[:, nodes[element.minus]] if element.minus != GROUND else 0.0
        state = states[element.name]
        if element.kind == "leakage":
            wanted = np.asarray(high - low >= KNEE_VOLTAGE)
        else:
            excess = np.asarray(high - low - element.total(element.voltage, values))
            wanted = np.where(state, unknowns[:, row] >= 0.0, excess > 0.0)
        changed |= wanted != state
        state[:] = wanted
    return changed
