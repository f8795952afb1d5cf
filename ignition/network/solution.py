"""Batched solution: thousands of value sets of one network in one call."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from ignition.errors import NetworkError
from ignition.network.branches import Branches
from ignition.network.compiled import Compiled, compiled, tree_of
from ignition.network.elements import GROUND, KNEE_VOLTAGE, UNLIMITED, Network
from ignition.network.linear import Indices
from ignition.network.loops import Loops
from ignition.network.tableau import solve_tableau, tableau_adjoint, tableau_matrix
from ignition.typing import ArrayLike, BoolArray, FloatArray

__all__ = ["Solution", "solve"]

_MAX_ROUNDS = 12

_MOST_LOOPS = 40
"""Unknowns of a member up to which loop currents are the faster way [1]."""

_INSULATION = 1e-12
"""Conductance of a resistor or source that a member opens [S]: far below every leakage of a real board."""


_RESIDUAL, _LEAST = 1e-9, 1e-13
"""What is left of a branch equation that is met: of the member's largest voltage or current [1], and in all [V, A]."""

_LARGE = 1e6
"""Resistance from which on a branch is written as a conductance [ohm]: beside it shorts would be lost in rounding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Voltages and currents of a batch of value sets.

    Attributes
    ----------
    network : The network, with every element closed that is closed in some member
    parameters : Parameter values used [SI], in the order of the network's parameters, shape (batch, parameters)
    unknowns : Node voltages [V], then branch currents [A], shape (batch, nodes + elements)
    branches : Branch equations in the final state of every clamp and leakage
    closed, active : For each closed element: whether it is closed in the member, and whether it is a clamp that
        conducts or a saturated leakage, shape (batch, elements)
    loops : Loop equations that were solved; None where other ones were, or not all members at once
    """

    network: Network
    parameters: FloatArray
    unknowns: FloatArray
    branches: Branches = field(repr=False)
    closed: BoolArray = field(repr=False)
    active: BoolArray = field(repr=False)
    loops: Loops | None = field(repr=False, default=None)

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
            branches=self.branches.take(members),
            closed=self.closed[members],
            active=self.active[members],
            loops=None if self.loops is None else self.loops.take(members),
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
        arrays = compiled(self.network)
        wanted = np.broadcast_to(weights[..., arrays.kept], (self.batch, *weights.shape[-2:-1], len(arrays.kept)))
        adjoint = _adjoint(self.network, self.branches, wanted, self.loops)
        found = self.unknowns[:, arrays.kept]
        # change of each branch equation's right side (db/dp - dA/dp x) per unit of its sums R, E and J
        linear = self.closed & (arrays.linear | (arrays.clamp & self.active))
        by_voltage = np.where(linear, self.branches.slope, 0.0)
        by_resistance = by_voltage * found[:, arrays.nodes :]
        leaks = self.closed & arrays.leakage
        by_current = np.where((self.closed & arrays.sink) | (leaks & self.active), -1.0, 0.0)
        ohmic = leaks & ~self.active
        resistance, current = (terms.totals(self.parameters) for terms in (arrays.resistance, arrays.current))
        drop = _saturates_at(resistance, current)
        written = np.where(ohmic & ~_is_conductance(resistance, current), current, drop)
        by_current -= np.where(ohmic, KNEE_VOLTAGE * arrays.across(found) / drop, 0.0) / written
        by_resistance += np.where(ohmic, self.branches.slope * found[:, arrays.nodes :], 0.0)
        return (
            arrays.resistance.shares(adjoint * by_resistance[..., None])
            + arrays.voltage.shares(adjoint * by_voltage[..., None])
            + arrays.current.shares(adjoint * by_current[..., None])
        )


def solve(
    network: Network,
    values: Mapping[str, ArrayLike],
    closed: Mapping[str, npt.ArrayLike] | None = None,
    like: Solution | None = None,
) -> Solution:
    """Solve a network for a batch of parameter values.

    A current of microamperes through a milliohm is solved for as a current, not found as a difference of two voltages.
    Clamps and leakages are piecewise linear; their states are found by repeated solution of the members that changed.

    Raises NetworkError for a missing parameter, a floating node, a loop of ideal sources or links, a singular member,
    or clamps that find no consistent state; the message names node, element or batch member.

    Parameters
    ----------
    network : The network; what is open and what is closed in it holds for the whole batch
    closed : Elements of which that does not hold, by name: closed or not, of shape (batch,) or one for all. A resistor
        or source of the network that is open in a member insulates with 1 Tohm there, so that no node hangs loose; an
        element that the network has open is not there at all
    values : Value of every parameter [SI], each a scalar or of shape (batch,)
    like : Solution of the same members at other values, whose clamps and leakages are tried first

    Examples
    --------
    >>> from ignition.network.elements import Element
    >>> loop = Network(elements=(
    ...     Element(name="battery", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),)),
    ...     Element(name="bridge", kind="resistor", plus="top", minus=GROUND, resistance=(("R", 1.0),)),
    ... ))
    >>> solve(loop, {"E": 6.0, "R": [1.0, 2.0, 4.0]}).current("bridge").tolist()
    [6.0, 3.0, 1.5]
    >>> solve(loop, {"E": 6.0, "R": 2.0}, closed={"bridge": [True, False]}).current("bridge").round(9).tolist()
    [3.0, 0.0]
    """
    states = {name: np.asarray(state, dtype=bool) for name, state in (closed or {}).items()}
    added = frozenset(name for name in states if not network.element(name).closed)
    network = _with_closed(network, added)
    parameters = _batch(network, values, states)
    floating = network.floating_nodes()
    if floating:
        raise NetworkError(
            f"node {floating[0]!r} is floating: no closed resistor or source ties it to ground"
            + (f" (also {', '.join(floating[1:])})" if floating[1:] else "")
        )
    arrays = compiled(network)
    present = np.ones((len(parameters), len(arrays.closed)), dtype=bool)
    insulates = arrays.linear & [e.name not in added for e in arrays.closed]
    for column, element in enumerate(arrays.closed):
        if element.name in states:
            present[:, column] = states[element.name]
    resistance = arrays.resistance.totals(parameters)
    voltage, current = arrays.voltage.totals(parameters), arrays.current.totals(parameters)
    drop = _saturates_at(resistance, current)
    # what nothing but its resistance limits starts as that
    active = arrays.leakage & present & (current < UNLIMITED) if like is None else like.active & present
    branches = _branches(arrays, resistance, voltage, current, present, active, insulates)
    unknowns = np.zeros((len(parameters), len(network.nodes) + len(network.elements)))
    pending: Indices = np.arange(len(parameters))
    loops: Loops | None = None
    for attempt in range(_MAX_ROUNDS):
        found, some = _solve(network, branches.take(pending) if attempt else branches, pending)
        loops = some if len(pending) == len(parameters) else None
        unknowns[pending[:, None], arrays.kept] = found
        wanted = _wanted_states(arrays, voltage[pending], drop[pending], active[pending], found) & present[pending]
        changed = np.any(wanted != active[pending], axis=1)
        active[pending] = wanted
        pending = pending[changed]
        if not len(pending):
            break
        sums = resistance[pending], voltage[pending], current[pending]
        branches = branches.put(pending, _branches(arrays, *sums, present[pending], active[pending], insulates))
    else:
        raise NetworkError(f"clamps and leakages find no consistent state for batch member {int(pending[0])}")
    return Solution(
        network=network,
        parameters=parameters,
        unknowns=unknowns,
        branches=branches,
        closed=present,
        active=active,
        loops=loops,
    )


@functools.lru_cache(maxsize=64)
def _with_closed(network: Network, names: frozenset[str]) -> Network:
    return network.switched(closed=names) if names else network


def _batch(network: Network, values: Mapping[str, ArrayLike], states: Mapping[str, BoolArray]) -> FloatArray:
    """Parameter values as an array (batch, parameters)."""
    missing = [name for name in network.parameters if name not in values]
    if missing:
        raise NetworkError(
            f"no value for parameter {missing[0]!r}" + (f" and {len(missing) - 1} more" if missing[1:] else "")
        )
    columns = [np.asarray(values[name], dtype=float) for name in network.parameters]
    shape = np.broadcast_shapes((1,), *{c.shape for c in columns}, *{s.shape for s in states.values()})
    batch = np.empty((shape[0], len(columns)))
    for index, column in enumerate(columns):
        batch[:, index] = column
    finite = np.isfinite(batch)
    if not finite.all():
        member, index = (int(i) for i in np.argwhere(~finite)[0])
        raise NetworkError(f"parameter {network.parameters[index]!r} is not finite in batch member {member}")
    return batch


def _branches(
    arrays: Compiled,
    resistance: FloatArray,
    voltage: FloatArray,
    current: FloatArray,
    present: BoolArray,
    active: BoolArray,
    insulates: BoolArray,
) -> Branches:
    """Coefficients of every element in its state."""
    conducts = present & (arrays.linear | (arrays.clamp & active))
    flows = present & (arrays.sink | (arrays.leakage & active))
    ohmic, drop = present & arrays.leakage & ~active, _saturates_at(resistance, current)
    weak = _is_conductance(resistance, current)
    resistance = np.where(ohmic & ~weak, drop / np.where(weak, 1.0, current), resistance)
    conducts |= ohmic & ~weak
    scale = 1.0 / np.where(resistance > _LARGE, resistance, 1.0)
    slope = np.where(conducts, scale, np.where(insulates, _INSULATION, 0.0))
    slope += np.where(ohmic & weak, current / drop, 0.0)
    return Branches(
        slope=slope,
        resistance=np.where(conducts, resistance * scale, 1.0),
        right=np.where(conducts, voltage * scale, 0.0) - np.where(flows, current, 0.0),
    )


def _saturates_at(resistance: FloatArray, current: FloatArray) -> FloatArray:
    """Voltage from which on a leakage is all of its current [V]."""
    return KNEE_VOLTAGE + resistance * current


def _is_conductance(resistance: FloatArray, current: FloatArray) -> BoolArray:
    """Whether a leakage that is not all of its current is written as a conductance, of any size, or as a resistance."""
    return np.asarray(resistance * current <= KNEE_VOLTAGE)


def _solve(network: Network, branches: Branches, members: Indices) -> tuple[FloatArray, Loops | None]:
    """Solve all members; those far from the others, whose equations are lost in rounding, by a tree of their own."""
    try:
        loops = _loops_of(network, branches)
        found = solve_tableau(network, branches) if loops is None else loops.solve()
    except np.linalg.LinAlgError:
        if branches.batch == 1:
            raise _singular(network, branches, members) from None
        return np.concatenate([_solve(network, some, members[own])[0] for own, some in _halves(branches)]), None
    missed = np.flatnonzero(~_met(network, branches, found))
    if not len(missed):
        return found, loops
    if branches.batch == 1:
        found = solve_tableau(network, branches)
        if not _met(network, branches, found).all():
            raise _singular(network, branches, members)
        return found, None
    parts = np.array_split(missed, 2) if len(missed) == branches.batch else [missed]
    for own in parts:
        found[own], _ = _solve(network, branches.take(own), members[own])
    return found, None


def _met(network: Network, branches: Branches, found: FloatArray) -> BoolArray:
    """Whether each member meets its branch equations: to a billionth of its largest voltage, or its largest current."""
    arrays = compiled(network)
    flow = found[:, arrays.nodes :]
    rest = arrays.across(found)
    rest *= branches.slope
    rest -= branches.resistance * flow
    rest -= branches.right
    volts = np.abs(found[:, : arrays.nodes]).max(axis=1, initial=0.0)[:, None]
    amperes = np.abs(flow).max(axis=1, initial=0.0)[:, None]
    scale = np.where(branches.slope == 1.0, volts, amperes + branches.slope * volts)
    scale *= _RESIDUAL
    scale += _LEAST
    # not (a > b): what is not a number is not met
    return np.asarray((np.abs(rest, out=rest) <= scale).all(axis=1))


def _adjoint(network: Network, branches: Branches, weights: FloatArray, loops: Loops | None = None) -> FloatArray:
    loops = loops or _loops_of(network, branches)
    try:
        return tableau_adjoint(network, branches, weights) if loops is None else loops.adjoint(weights)
    except np.linalg.LinAlgError:
        if branches.batch == 1:
            raise _singular(network, branches, np.array([0])) from None
        return np.concatenate([_adjoint(network, some, weights[own]) for own, some in _halves(branches)])


def _loops_of(network: Network, branches: Branches) -> Loops | None:
    """Loop equations; None where there are so many that the tableau is quicker."""
    return Loops.of(tree_of(network, branches), branches, _MOST_LOOPS)


def _halves(branches: Branches) -> list[tuple[Indices, Branches]]:
    """Halves of a batch that is lost in rounding: a member far from the others is told best by a tree of its own."""
    return [(own, branches.take(own)) for own in np.array_split(np.arange(branches.batch), 2)]


def _singular(network: Network, branches: Branches, members: Indices) -> NetworkError:
    """Name the first singular member and the elements that its null vector runs through."""
    arrays = compiled(network)
    for index, member in enumerate(members):
        _, sizes, rows = np.linalg.svd(tableau_matrix(network, branches.take(np.array([index])))[0])
        if sizes[-1] <= 1e-14 * sizes[0]:
            null = np.abs(rows[-1][arrays.nodes :])
            involved = [e.name for e, share in zip(arrays.closed, null, strict=True) if share > 0.1 * null.max()]
            return NetworkError(
                f"batch member {int(member)} has no unique solution: a loop of ideal sources or zero-ohm links through "
                + ", ".join(involved)
            )
    return NetworkError("the network has no unique solution")


def _wanted_states(
    arrays: Compiled, voltage: FloatArray, drop: FloatArray, active: BoolArray, found: FloatArray
) -> BoolArray:
    """State that each clamp's and leakage's voltage asks for."""
    across = arrays.across(found)
    conducts = np.where(active, found[:, arrays.nodes :] >= 0.0, across > voltage)
    return np.asarray((arrays.leakage & (across >= drop)) | (arrays.clamp & conducts))
