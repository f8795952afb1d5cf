"""Batched modified nodal analysis: thousands of value sets of one network in one call."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from ignition.errors import NetworkError
from ignition.network.elements import GROUND, KNEE_VOLTAGE, Element, Network, Terms
from ignition.network.linear import Indices, Pattern
from ignition.typing import ArrayLike, BoolArray, FloatArray

__all__ = ["Solution", "solve"]

_MAX_ROUNDS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Voltages and currents of a batch of value sets.

    Attributes
    ----------
    parameters : Parameter values used [SI], in the order of the network's parameters, shape (batch, parameters)
    unknowns : Node voltages [V], then branch currents [A], shape (batch, nodes + elements)
    entries : Entries of the system matrix in the final state of every clamp and leakage [SI], shape (batch, places)
    active : For each closed element: whether it is a clamp that conducts or a saturated leakage, shape (batch, closed)
    """

    network: Network
    parameters: FloatArray
    unknowns: FloatArray
    entries: FloatArray = field(repr=False)
    active: BoolArray = field(repr=False)

    @property
    def batch(self) -> int:
        """Number of value sets."""
        return int(self.unknowns.shape[0])

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
            entries=self.entries[members],
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
        adjoint = compiled.pattern.solve(self.entries, rights, transposed=True)[:, count:, :]
        found = self.unknowns[:, compiled.kept]
        # change of each branch equation's right side (db/dp - dA/dp x) per unit of its sums R, E and J
        linear = compiled.linear | (compiled.clamp & self.active)
        by_resistance = np.where(linear, found[:, count:], 0.0)
        by_voltage = np.where(linear, 1.0, 0.0)
        by_current = np.where(compiled.sink | (compiled.leakage & self.active), -1.0, 0.0)
        by_current -= np.where(compiled.leakage & ~self.active, compiled.across(found) / KNEE_VOLTAGE, 0.0)
        return (
            compiled.resistance.shares(adjoint * by_resistance[..., None])
            + compiled.voltage.shares(adjoint * by_voltage[..., None])
            + compiled.current.shares(adjoint * by_current[..., None])
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sums:
    """The sums R, E or J of all closed elements: each term's element, parameter and factor.

    No matrix product: a BLAS would split a large batch over its threads.
    """

    elements: int
    parameters: int
    rows: Indices
    columns: Indices
    factors: FloatArray

    @classmethod
    def of(cls, terms_of: Iterable[Terms], columns: Mapping[str, int], elements: int) -> _Sums:
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
class _Compiled:
    """A network as arrays: its closed elements' ends, the sums R, E and J, the kinds as masks.

    The system's unknowns are the node voltages, then the closed elements' currents; `base` has the entries of its
    pattern that no value changes (plus and minus one), zero where an element's resistance stands.
    """

    closed: tuple[Element, ...]
    nodes: int
    kept: Indices
    plus: Indices
    minus: Indices
    pattern: Pattern
    base: FloatArray
    resistance: _Sums
    voltage: _Sums
    current: _Sums
    linear: BoolArray
    sink: BoolArray
    leakage: BoolArray
    clamp: BoolArray

    def across(self, found: FloatArray) -> FloatArray:
        """Voltage of each closed element [V], from the unknowns of the system; (batch, closed)."""
        voltages = np.concatenate([found[:, : self.nodes], np.zeros((len(found), 1))], axis=1)  # ground stands last
        return np.asarray(voltages[:, self.plus] - voltages[:, self.minus])


@functools.lru_cache(maxsize=256)
def _compiled(network: Network) -> _Compiled:
    closed = tuple(e for e in network.elements if e.closed)
    count = len(network.nodes)
    places = {node: index for index, node in enumerate(network.nodes)} | {GROUND: count}
    columns = {name: index for index, name in enumerate(network.parameters)}
    entries = {(count + k, count + k): 0.0 for k in range(len(closed))}
    for row, element in enumerate(closed, start=count):
        for node, sign in ((element.plus, 1.0), (element.minus, -1.0)):
            if node != GROUND:
                for place in ((places[node], row), (row, places[node])):
                    entries[place] = entries.get(place, 0.0) + sign

    def sums(terms_of: Iterable[Terms]) -> _Sums:
        return _Sums.of(terms_of, columns, len(closed))

    def mask(*kinds: str) -> BoolArray:
        return np.array([e.kind in kinds for e in closed], dtype=bool)

    return _Compiled(
        closed=closed,
        nodes=count,
        kept=np.array([*range(count), *(count + k for k, e in enumerate(network.elements) if e.closed)], dtype=np.intp),
        plus=np.array([places[e.plus] for e in closed], dtype=np.intp),
        minus=np.array([places[e.minus] for e in closed], dtype=np.intp),
        pattern=Pattern(
            size=count + len(closed),
            rows=np.array([row for row, _ in entries], dtype=np.intp),
            columns=np.array([column for _, column in entries], dtype=np.intp),
        ),
        base=np.array(list(entries.values())),
        resistance=sums(e.resistance for e in closed),
        voltage=sums(e.voltage for e in closed),
        current=sums(e.current for e in closed),
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
    size = len(parameters)
    resistance = compiled.resistance.totals(parameters)
    voltage = compiled.voltage.totals(parameters)
    current = compiled.current.totals(parameters)
    active = np.broadcast_to(compiled.leakage, resistance.shape).copy()
    entries = np.empty((size, len(compiled.base)))
    unknowns = np.zeros((size, len(network.nodes) + len(network.elements)))
    pending: Indices = np.arange(size)
    for _ in range(_MAX_ROUNDS):
        sums = (resistance[pending], voltage[pending], current[pending])
        states = active[pending]
        coefficients, right = _assemble(compiled, *sums, states)
        found = _solve(compiled, coefficients, right, pending)
        entries[pending] = coefficients
        unknowns[pending[:, None], compiled.kept] = found
        wanted = _wanted_states(compiled, sums[1], states, found)
        active[pending] = wanted
        pending = pending[np.any(wanted != states, axis=1)]
        if not len(pending):
            break
    else:
        raise NetworkError(f"clamps and leakages find no consistent state for batch member {int(pending[0])}")
    return Solution(network=network, parameters=parameters, unknowns=unknowns, entries=entries, active=active)


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
    """Entries and right side of ``a v - b i = c`` with Kirchhoff's current law above it."""
    conducts = compiled.linear | (compiled.clamp & active)
    slope = np.where(conducts, 1.0, 0.0)
    slope += np.where(compiled.leakage & ~active, current / KNEE_VOLTAGE, 0.0)
    rows, columns = compiled.pattern.rows, compiled.pattern.columns
    branch = np.flatnonzero(rows >= compiled.nodes)
    entries = np.tile(compiled.base, (len(resistance), 1))
    entries[:, branch] *= slope[:, rows[branch] - compiled.nodes]
    entries[:, rows == columns] = -np.where(conducts, resistance, 1.0)
    right = np.zeros((len(resistance), compiled.pattern.size))
    flows = compiled.sink | (compiled.leakage & active)
    right[:, compiled.nodes :] = np.where(conducts, voltage, 0.0) - np.where(flows, current, 0.0)
    return entries, right


def _solve(compiled: _Compiled, entries: FloatArray, right: FloatArray, members: Indices) -> FloatArray:
    try:
        found = compiled.pattern.solve(entries, right[..., None])[..., 0]
    except np.linalg.LinAlgError:
        raise _singular(compiled, entries, members) from None
    if not np.all(np.isfinite(found)):
        raise _singular(compiled, entries, members)
    return found


def _singular(compiled: _Compiled, entries: FloatArray, members: Indices) -> NetworkError:
    """Name the first singular member and the elements that its null vector runs through."""
    for index, member in enumerate(members):
        _, sizes, rows = np.linalg.svd(compiled.pattern.dense(entries[index : index + 1])[0])
        if sizes[-1] <= 1e-14 * sizes[0]:
            null = np.abs(rows[-1][compiled.nodes :])
            involved = [e.name for e, share in zip(compiled.closed, null, strict=True) if share > 0.1 * null.max()]
            return NetworkError(
                f"batch member {int(member)} has no unique solution: a loop of ideal sources or zero-ohm links through "
                + ", ".join(involved)
            )
    return NetworkError("the network has no unique solution")


def _wanted_states(compiled: _Compiled, voltage: FloatArray, active: BoolArray, found: FloatArray) -> BoolArray:
    """State that each clamp's and leakage's voltage asks for."""
    across = compiled.across(found)
    conducts = np.where(active, found[:, compiled.nodes :] >= 0.0, across > voltage)
    return np.asarray((compiled.leakage & (across >= KNEE_VOLTAGE)) | (compiled.clamp & conducts))
