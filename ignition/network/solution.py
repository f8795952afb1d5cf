"""Batched modified nodal analysis: thousands of value sets of one network in one call."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from ignition.errors import NetworkError
from ignition.network.elements import GROUND, KNEE_VOLTAGE, Element, Network, Terms
from ignition.typing import ArrayLike, BoolArray, FloatArray

__all__ = ["Indices", "Solution", "solve"]

_MAX_ROUNDS = 12
Indices = npt.NDArray[np.intp]
"""Positions in an array."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Voltages and currents of a batch of value sets.

    Attributes
    ----------
    parameters : Parameter values used [SI], in the order of the network's parameters, shape (batch, parameters)
    unknowns : Node voltages [V], then branch currents [A], shape (batch, nodes + elements)
    matrix : System matrix in the final state of every clamp and leakage, open elements left out [SI], shape (batch, n,
        n)
    active : For each closed element: whether it is a clamp that conducts or a saturated leakage, shape (batch, closed)
    """

    network: Network
    parameters: FloatArray
    unknowns: FloatArray
    matrix: FloatArray = field(repr=False)
    active: BoolArray = field(repr=False)

    @property
    def batch(self) -> int:
        """Number of value sets."""
        return int(self.unknowns.shape[0])

    @property
    def kept(self) -> Indices:
        """Positions of the matrix's rows among the unknowns, shape (n,)."""
        return _compiled(self.network).kept

    def take(self, members: Indices) -> Solution:
        """Return the solution of some members of the batch.

        Parameters
        ----------
        members : Their positions [1], shape (m,)
        """
        return replace(
            self,
            parameters=self.parameters[members],
            unknowns=self.unknowns[members],
            matrix=self.matrix[members],
            active=self.active[members],
        )

    def voltage(self, node: str, reference: str = GROUND) -> FloatArray:
        """Return the voltage of a node against another [V]."""
        return self._node(node) - self._node(reference)

    def _node(self, node: str) -> FloatArray:
        if node == GROUND:
            return np.zeros(self.batch)
        try:
            return self.unknowns[:, self.network.nodes.index(node)]
        except ValueError:
            raise NetworkError(f"no node {node!r}; there are {', '.join(self.network.nodes)}") from None

    def current(self, element: str) -> FloatArray:
        """Return the current inside an element from plus to minus [A]."""
        names = [e.name for e in self.network.elements]
        return self.unknowns[:, len(self.network.nodes) + names.index(self.network.element(element).name)]

    def kirchhoff_residual(self) -> FloatArray:
        """Return the largest node current that does not balance, over the largest current into that node.

        Returns
        -------
        Relative residual [1], shape (batch,); at most rounding error for a sound solution. A node with less than 1e-9
            of the network's largest current is measured against that share: its currents are rounding
        """
        compiled = _compiled(self.network)
        count = len(self.network.nodes)
        incidence = compiled.base[:count, count:]
        currents = self.unknowns[:, compiled.kept[count:]]
        net = np.abs(currents @ incidence.T)
        gross = np.max(np.abs(currents[:, None, :] * incidence), axis=2, initial=0.0)
        floor = 1e-9 * np.max(np.abs(currents), axis=1, initial=0.0, keepdims=True)
        scale = np.maximum(gross, floor)
        return np.asarray(np.max(net / np.where(scale > 0, scale, 1.0), axis=1, initial=0.0))

    def sensitivities(self, weights: FloatArray) -> FloatArray:
        """Derivatives of linear outputs with respect to every parameter, by the adjoint system.

        With A x = b and y = w x: dy/dp = l (db/dp - dA/dp x), A^T l = w (Tellegen's theorem in matrix form). A clamp
        or leakage is differentiated in the state it is in.

        Parameters
        ----------
        weights : Output weights on the unknowns [output unit per unknown], shape (outputs, nodes + elements), or
            (batch, outputs, nodes + elements) where each member has outputs of its own

        Returns
        -------
        Derivatives [output unit per SI], in the order of the network's parameters, shape (batch, parameters, outputs)
        """
        compiled = _compiled(self.network)
        count = len(self.network.nodes)
        wanted = weights[..., compiled.kept]
        rights = np.broadcast_to(np.swapaxes(wanted, -1, -2), (self.batch, wanted.shape[-1], wanted.shape[-2]))
        adjoint = np.linalg.solve(np.swapaxes(self.matrix, 1, 2), rights)[:, count:, :]
        found = self.unknowns[:, compiled.kept]
        # change of each branch equation's right side (db/dp - dA/dp x) per unit of its sums R, E and J
        linear = compiled.linear | (compiled.clamp & self.active)
        voltage = found[:, :count] @ compiled.base[:count, count:]
        by_resistance = np.where(linear, found[:, count:], 0.0)
        by_voltage = np.where(linear, 1.0, 0.0)
        by_current = np.where(compiled.sink | (compiled.leakage & self.active), -1.0, 0.0)
        by_current -= np.where(compiled.leakage & ~self.active, voltage / KNEE_VOLTAGE, 0.0)
        return np.asarray(
            compiled.resistance.T @ (adjoint * by_resistance[..., None])
            + compiled.voltage.T @ (adjoint * by_voltage[..., None])
            + compiled.current.T @ (adjoint * by_current[..., None])
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Compiled:
    """A network as arrays: its closed elements' incidence, the sums R, E and J as matrices, and the kinds as masks."""

    closed: tuple[Element, ...]
    kept: Indices
    base: FloatArray
    resistance: FloatArray
    voltage: FloatArray
    current: FloatArray
    linear: BoolArray
    sink: BoolArray
    leakage: BoolArray
    clamp: BoolArray


@functools.lru_cache(maxsize=256)
def _compiled(network: Network) -> _Compiled:
    closed = tuple(e for e in network.elements if e.closed)
    nodes = {node: index for index, node in enumerate(network.nodes)}
    columns = {name: index for index, name in enumerate(network.parameters)}
    count = len(nodes)
    base = np.zeros((count + len(closed),) * 2)
    for row, element in enumerate(closed, start=count):
        for node, sign in ((element.plus, 1.0), (element.minus, -1.0)):
            if node != GROUND:
                base[nodes[node], row] += sign
                base[row, nodes[node]] += sign

    def sums(terms_of: list[Terms]) -> FloatArray:
        matrix = np.zeros((len(closed), len(columns)))
        for row, terms in enumerate(terms_of):
            for name, factor in terms:
                matrix[row, columns[name]] += factor
        return matrix

    def mask(*kinds: str) -> BoolArray:
        return np.array([e.kind in kinds for e in closed], dtype=bool)

    places = [index for index, e in enumerate(network.elements) if e.closed]
    return _Compiled(
        closed=closed,
        kept=np.array([*range(count), *(count + p for p in places)], dtype=np.intp),
        base=base,
        resistance=sums([e.resistance for e in closed]),
        voltage=sums([e.voltage for e in closed]),
        current=sums([e.current for e in closed]),
        linear=mask("resistor", "source"),
        sink=mask("sink"),
        leakage=mask("leakage"),
        clamp=mask("clamp"),
    )


def solve(network: Network, values: Mapping[str, ArrayLike]) -> Solution:
    """Solve a network for a batch of parameter values.

    Unknowns are all node voltages and all branch currents (sparse tableau), so that a current of microamperes
    through a milliohm is solved for directly, not found as a difference of two voltages. Clamps and leakages are
    piecewise linear; their states are found by repeated solution of the members that changed.

    Raises NetworkError for a missing parameter, a floating node, a loop of ideal sources or links, a singular member,
    or clamps that find no consistent state; the message names node, element or batch member.

    Parameters
    ----------
    network : The network; its state (what is open, what is closed) is common to the batch
    values : Value of every parameter [SI], each a scalar or of shape (batch,)

    Examples
    --------
    >>> loop = Network(elements=(
    ...     Element(name="battery", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),)),
    ...     Element(name="bridge", kind="resistor", plus="top", minus=GROUND, resistance=(("R", 1.0),)),
    ... ))
    >>> solve(loop, {"E": 6.0, "R": [1.0, 2.0, 4.0]}).current("bridge").tolist()
    [6.0, 3.0, 1.5]
    """
    parameters = _batch(network, values)
    floating = network.floating_nodes()
    if floating:
        raise NetworkError(
            f"node {floating[0]!r} is floating: no closed resistor or source ties it to ground"
            + (f" (also {', '.join(floating[1:])})" if floating[1:] else "")
        )
    compiled = _compiled(network)
    size, full = len(parameters), len(compiled.base)
    resistance = parameters @ compiled.resistance.T
    voltage = parameters @ compiled.voltage.T
    current = parameters @ compiled.current.T
    active = np.broadcast_to(compiled.leakage, resistance.shape).copy()
    matrix = np.empty((size, full, full))
    unknowns = np.zeros((size, len(network.nodes) + len(network.elements)))
    pending: Indices = np.arange(size)
    for _ in range(_MAX_ROUNDS):
        sums = (resistance[pending], voltage[pending], current[pending])
        states = active[pending]
        coefficients, right = _assemble(compiled, *sums, states)
        found = _solve(compiled, coefficients, right, pending)
        matrix[pending] = coefficients
        unknowns[pending[:, None], compiled.kept] = found
        wanted = _wanted_states(compiled, sums[1], states, found)
        active[pending] = wanted
        pending = pending[np.any(wanted != states, axis=1)]
        if not len(pending):
            break
    else:
        raise NetworkError(f"clamps and leakages find no consistent state for batch member {int(pending[0])}")
    return Solution(network=network, parameters=parameters, unknowns=unknowns, matrix=matrix, active=active)


def _batch(network: Network, values: Mapping[str, ArrayLike]) -> FloatArray:
    """Parameter values as an array (batch, parameters)."""
    missing = [name for name in network.parameters if name not in values]
    if missing:
        raise NetworkError(
            f"no value for parameter {missing[0]!r}" + (f" and {len(missing) - 1} more" if missing[1:] else "")
        )
    columns = [np.asarray(values[name], dtype=float) for name in network.parameters]
    shape = np.broadcast_shapes((1,), *{c.shape for c in columns})
    batch = np.empty((shape[0], len(columns)))
    for index, column in enumerate(columns):
        batch[:, index] = column
    finite = np.isfinite(batch)
    if not finite.all():
        member, index = (int(i) for i in np.argwhere(~finite)[0])
        raise NetworkError(f"parameter {network.parameters[index]!r} is not finite in batch member {member}")
    return batch


def _assemble(
    compiled: _Compiled, resistance: FloatArray, voltage: FloatArray, current: FloatArray, active: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Matrix and right side of ``a v - b i = c`` with Kirchhoff's current law above it."""
    count = len(compiled.base) - len(compiled.closed)
    rows = np.arange(count, len(compiled.base))
    matrix = np.repeat(compiled.base[None], len(resistance), axis=0)
    conducts = compiled.linear | (compiled.clamp & active)
    slope = np.where(conducts, 1.0, 0.0)
    slope += np.where(compiled.leakage & ~active, current / KNEE_VOLTAGE, 0.0)
    special = np.flatnonzero(~compiled.linear)
    matrix[:, count + special, :count] *= slope[:, special, None]
    matrix[:, rows, rows] = -np.where(conducts, resistance, 1.0)
    right = np.zeros((len(resistance), len(compiled.base)))
    flows = compiled.sink | (compiled.leakage & active)
    right[:, count:] = np.where(conducts, voltage, 0.0) - np.where(flows, current, 0.0)
    return matrix, right


def _solve(compiled: _Compiled, matrix: FloatArray, right: FloatArray, members: Indices) -> FloatArray:
    try:
        found = np.linalg.solve(matrix, right[..., None])[..., 0]
    except np.linalg.LinAlgError:
        raise _singular(compiled, matrix, members) from None
    if not np.all(np.isfinite(found)):
        raise _singular(compiled, matrix, members)
    return np.asarray(found)


def _singular(compiled: _Compiled, matrix: FloatArray, members: Indices) -> NetworkError:
    """Name the first singular member and the elements that its null vector runs through."""
    for index, member in zip(range(len(matrix)), members, strict=True):
        _, sizes, rows = np.linalg.svd(matrix[index])
        if sizes[-1] <= 1e-14 * sizes[0]:
            null = np.abs(rows[-1][-len(compiled.closed) :])
            involved = [e.name for e, share in zip(compiled.closed, null, strict=True) if share > 0.1 * null.max()]
            return NetworkError(
                f"batch member {int(member)} has no unique solution: a loop of ideal sources or zero-ohm links through "
                + ", ".join(involved)
            )
    return NetworkError("the network has no unique solution")


def _wanted_states(compiled: _Compiled, voltage: FloatArray, active: BoolArray, found: FloatArray) -> BoolArray:
    """State that each clamp's and leakage's voltage asks for."""
    count = len(compiled.base) - len(compiled.closed)
    across = found[:, :count] @ compiled.base[:count, count:]
    conducts = np.where(active, found[:, count:] >= 0.0, across > voltage)
    return np.asarray((compiled.leakage & (across >= KNEE_VOLTAGE)) | (compiled.clamp & conducts))
