"""Worst case of a network: lowest and highest value of a voltage or current over all tolerances."""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ignition.errors import NetworkError
from ignition.network.elements import GROUND, Network, Terms
from ignition.network.linear import Indices
from ignition.network.solution import Solution, solve
from ignition.toleranced import Toleranced
from ignition.typing import ArrayLike, BoolArray, FloatArray

__all__ = ["Extreme", "NEGLIGIBLE", "Probe", "draw", "extremes"]

NEGLIGIBLE = 1e-12
"""Effect of one tolerance below which its sign is rounding and is not followed [A or V]."""

_PROBES = 24
_MAX_UNDECIDED = 7
_MOST_LISTED = 10
_MAX_ROUNDS = 8

_NEARNESS = 1e-9
"""What the voltage counts for that a clamp is short of conduction: off, it has no current to follow [S]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """A linear output: current of an element, or voltage between two nodes.

    Attributes
    ----------
    element : Element whose current [A] is meant
    node, reference : Nodes whose voltage difference [V] is meant
    """

    element: str | None = None
    node: str | None = None
    reference: str = GROUND

    def weights(self, network: Network) -> FloatArray:
        """Weights of the output on the solver's unknowns [1], shape (nodes + elements,)."""
        nodes = network.nodes
        row = np.zeros(len(nodes) + len(network.elements))
        if self.element is not None:
            names = [e.name for e in network.elements]
            row[len(nodes) + names.index(network.element(self.element).name)] = 1.0
        else:
            for node, sign in ((self.node, 1.0), (self.reference, -1.0)):
                if node != GROUND and node is not None:
                    if node not in nodes:
                        raise NetworkError(f"no node {node!r}; there are {', '.join(nodes)}")
                    row[nodes.index(node)] += sign
        return row


@dataclass(frozen=True, slots=True, kw_only=True)
class Extreme:
    """Bounds of one output, with the corners where they stand.

    Attributes
    ----------
    low, nominal, high : Bounds and nominal value [V or A]
    low_at, high_at : Parameter values [SI] of the two corners
    sizes : Largest effect of each tolerance that has one [V or A]
    """

    low: float
    nominal: float
    high: float
    low_at: Mapping[str, float]
    high_at: Mapping[str, float]
    method: str
    sizes: Mapping[str, float] = field(default_factory=dict)


def extremes(network: Network, box: Mapping[str, Toleranced], probes: Sequence[Probe]) -> list[Extreme]:
    """Find the exact worst case of linear outputs over a box of parameter values.

    A voltage or current of a linear network is a ratio of multi-affine functions of its element values, hence monotone
    in each of them with the others fixed: a box's extremes stand at its corners. The side of each parameter is read
    from the sign of its adjoint sensitivity at the nominal point and at a fixed set of corners. Where some sign differs
    among these, all corners of up to ten parameters that have an effect are listed; of more, those whose sign differs
    are enumerated both ways (beyond seven of them, those of least effect are covered by widening the bound by twice
    their effects); resistances in series count as one. The corner found is then checked: no parameter's sign there may
    ask for the other side; where one does, it is enumerated too. Where the topology fixes the direction of every
    current, as in series and parallel, it fixes every sign. A clamp that conducts at none of these points is followed
    by the voltage that it is short of conduction, at the point where that is least. In a mesh of more than ten
    tolerances whose currents may turn round within the box this is a search, which may miss the worst corner.

    Raises NetworkError when the network cannot be solved, or the corner does not settle.

    Parameters
    ----------
    box : Every parameter of the network with its bounds [SI]

    Examples
    --------
    >>> from ignition.network.elements import GROUND, Element
    >>> loop = Network(elements=(
    ...     Element(name="battery", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),)),
    ...     Element(name="bridge", kind="resistor", plus="top", minus=GROUND, resistance=(("R", 1.0),)),
    ... ), igniters=("bridge",))
    >>> box = {"E": Toleranced(low=5.0, nominal=6.0, high=7.0), "R": Toleranced(low=1.0, nominal=1.5, high=2.0)}
    >>> worst = extremes(loop, box, [Probe(element="bridge")])[0]
    >>> worst.low, worst.nominal, worst.high
    (2.5, 4.0, 7.0)
    """
    return list(_extremes(network, tuple(box[n] for n in network.parameters), tuple(probes)))


@functools.lru_cache(maxsize=512)
def _extremes(network: Network, bounds: tuple[Toleranced, ...], probes: tuple[Probe, ...]) -> tuple[Extreme, ...]:
    """Find it, and keep the last: what-ifs and sweeps move one value at a time, and most networks do not have it."""
    box = dict(zip(network.parameters, bounds, strict=True))
    free = _free(network, box)
    nominal = {n: box[n].nominal for n in network.parameters}
    weights = np.stack([p.weights(network) for p in probes])
    if not free.names:
        exact = (float(value) for value in solve(network, nominal).unknowns[0] @ weights.T)
        return tuple(
            Extreme(low=v, nominal=v, high=v, low_at=nominal, high_at=nominal, method="no value has a tolerance")
            for v in exact
        )
    solution = solve(network, _sign_points(free, nominal))
    clamps = _clamps(network, probes)
    slopes = solution.sensitivities(np.stack([*weights, *(clamp.across for clamp in clamps.values())]))
    effects = _effects(slopes[:, :, : len(weights)], free)
    for place, (index, clamp) in enumerate(clamps.items(), start=len(weights)):
        if not solution.active[:, clamp.column].any():
            nearest = [int(np.argmax(clamp.excess(solution)))]
            effects[:, :, index] = clamp.effects(slopes[nearest, :, place], free)
    outputs = solution.unknowns[0] @ weights.T
    found = _search(solution, free, nominal, weights, effects, clamps)
    largest = np.max(np.abs(effects), axis=0, initial=0.0)
    result: list[Extreme] = []
    for index, middle in enumerate(outputs):
        (low, low_row, low_count), (high, high_row, high_count) = found[2 * index], found[2 * index + 1]
        result.append(
            Extreme(
                low=min(low, float(middle)),
                nominal=float(middle),
                high=max(high, float(middle)),
                low_at=_corner(free.names, low_row, nominal),
                high_at=_corner(free.names, high_row, nominal),
                method=f"corner by signs of {len(free.names)} values, {max(low_count, high_count)} undecided",
                sizes={n: float(v) for n, v in zip(free.names, largest[:, index], strict=True) if v > 0.0},
            )
        )
    return tuple(result)


def _corner(names: Sequence[str], row: FloatArray, nominal: Mapping[str, float]) -> dict[str, float]:
    return dict(nominal) | dict(zip(names, (float(v) for v in row), strict=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Free:
    """The parameters that have a tolerance: names, columns among all parameters, bounds and widths."""

    names: tuple[str, ...]
    columns: Indices
    low: FloatArray
    high: FloatArray
    widths: FloatArray


def _free(network: Network, box: Mapping[str, Toleranced]) -> _Free:
    places = [i for i, n in enumerate(network.parameters) if not box[n].is_exact]
    names = tuple(network.parameters[i] for i in places)
    low = np.array([box[n].low for n in names], dtype=float)
    high = np.array([box[n].high for n in names], dtype=float)
    return _Free(names=names, columns=np.array(places, dtype=np.intp), low=low, high=high, widths=high - low)


@functools.lru_cache(maxsize=64)
def _sides(count: int) -> BoolArray:
    """Fixed pseudo-random corners, among them all-low and all-high: True for the high side; (probes, count)."""
    sides = np.random.default_rng(20240229).random((_PROBES, count)) < 0.5
    sides[1], sides[2] = False, True
    return sides


def _sign_points(free: _Free, nominal: Mapping[str, float]) -> dict[str, ArrayLike]:
    """Nominal point, all-low, all-high and a fixed set of pseudo-random corners."""
    rows = np.where(_sides(len(free.names)), free.high, free.low)
    rows[0] = [nominal[n] for n in free.names]
    values: dict[str, ArrayLike] = {**nominal}
    return values | {n: rows[:, i] for i, n in enumerate(free.names)}


def _effects(slopes: FloatArray, free: _Free) -> FloatArray:
    """Effect of each tolerance, zero where it is lost in rounding [A or V]; shape (batch, parameters, outputs)."""
    effect = slopes[:, free.columns, :] * free.widths[:, None]
    return np.where(np.abs(effect) <= NEGLIGIBLE, 0.0, effect)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Clamp:
    """The voltage by which a clamp exceeds where it begins to conduct; its place among the closed elements.

    Attributes
    ----------
    across : Weights of the voltage across it on the unknowns [1]
    begins : Factor of each parameter in the voltage at which it begins to conduct [1]
    """

    column: int
    across: FloatArray
    begins: FloatArray

    def excess(self, solution: Solution) -> FloatArray:
        """Return it [V], (batch,)."""
        return np.asarray(solution.unknowns @ self.across - solution.parameters @ self.begins)

    def effects(self, slopes: FloatArray, free: _Free) -> FloatArray:
        """Return what stands for the effect of each tolerance, from the slopes of `across`; (batch, parameters)."""
        effect = _NEARNESS * (slopes - self.begins)[:, free.columns] * free.widths
        return np.where(np.abs(effect) <= NEGLIGIBLE, 0.0, effect)


def _clamps(network: Network, probes: Sequence[Probe]) -> dict[int, _Clamp]:
    """Clamps among the outputs, by place."""
    closed = {e.name: column for column, e in enumerate(e for e in network.elements if e.closed)}
    elements = [None if p.element is None else network.element(p.element) for p in probes]

    def begins(terms: Terms) -> FloatArray:
        factors = np.zeros(len(network.parameters))
        for name, factor in terms:
            factors[network.parameters.index(name)] += factor
        return factors

    return {
        index: _Clamp(
            column=closed[e.name],
            across=Probe(node=e.plus, reference=e.minus).weights(network),
            begins=begins(e.voltage),
        )
        for index, e in enumerate(elements)
        if e is not None and e.kind == "clamp" and e.closed
    }


def _search(
    points: Solution,
    free: _Free,
    nominal: Mapping[str, float],
    weights: FloatArray,
    effects: FloatArray,
    clamps: Mapping[int, _Clamp],
) -> list[tuple[float, FloatArray, int]]:
    """Best corner of each output, down and up in turn: signs choose the side, undecided parameters are enumerated.

    All corners of all outputs are solved in one batch; an output whose corner is contradicted by a sign there goes
    another round with that parameter enumerated. Clamps and leakages are tried as they are at the first of `points`.
    """
    network = points.network
    tasks = [_Task(index, direction, effects[:, :, index]) for index in range(len(weights)) for direction in (-1, 1)]
    pending, alike = tasks, np.arange(len(free.names))
    for attempt in range(_MAX_ROUNDS):
        if attempt < 2 and any(task.undecided.any() for task in pending):  # needed by these alone
            alike = _alike(network, weights, free.names)
        corners = [task.corners(free.low, free.high, alike) for task in pending]
        edges = np.cumsum([0, *(len(c) for c in corners)])
        rows = np.concatenate(corners)
        values: dict[str, ArrayLike] = {**nominal, **{n: rows[:, i] for i, n in enumerate(free.names)}}
        solution = solve(network, values, like=points.take(np.zeros(len(rows), dtype=np.intp)))
        chosen = [
            start + task.choose(rows[start:end], solution.unknowns[start:end] @ weights[task.output])
            for task, start, end in zip(pending, edges[:-1], edges[1:], strict=True)
        ]
        pending = _contradicted(solution.take(np.array(chosen, dtype=np.intp)), free, weights, pending, clamps)
        if not pending:
            return [(t.value + t.direction * t.margin, t.row, int(t.undecided.sum())) for t in tasks]
    raise NetworkError("the worst corner did not settle after eight rounds; this network needs another method")


class _Task:
    """Search for one output in one direction."""

    def __init__(self, output: int, direction: int, effects: FloatArray) -> None:
        self.output, self.direction = output, direction
        rises, falls = np.any(effects > 0, axis=0), np.any(effects < 0, axis=0)
        self.undecided: BoolArray = rises & falls
        self.up = rises if direction > 0 else falls
        self.size: FloatArray = np.max(np.abs(effects), axis=0, initial=0.0)
        self.margin = 0.0
        self.value = 0.0
        self.row: FloatArray = np.empty(0)

    def corners(self, low: FloatArray, high: FloatArray, alike: Indices) -> FloatArray:
        """Corners to solve; parameters of one number in `alike` stand at the same end."""
        effective = np.unique(alike[self.size > 0.0])
        if np.any(self.undecided) and len(effective) <= _MOST_LISTED:
            free, self.margin = effective, 0.0
        else:
            free, self.margin = _enumerated(self.undecided, self.size, alike)
        corners = np.tile(np.where(self.up, high, low), (2 ** len(free), 1))
        for position, number in enumerate(free):
            bit = (np.arange(len(corners)) >> position) & 1
            together = alike == number
            corners[:, together] = np.where(bit[:, None] == 1, high[together], low[together])
        return corners

    def choose(self, corners: FloatArray, found: FloatArray) -> int:
        best = int(np.argmax(self.direction * found))
        self.value, self.row = float(found[best]), corners[best]
        return best


def _contradicted(
    at_corner: Solution, free: _Free, weights: FloatArray, tasks: Sequence[_Task], clamps: Mapping[int, _Clamp]
) -> list[_Task]:
    """Tasks at whose corner some parameter's sign asks for the other side; those parameters become undecided."""
    own = weights[[task.output for task in tasks]]
    off = {
        place: clamps[task.output]
        for place, task in enumerate(tasks)
        if task.direction > 0 and task.output in clamps and not at_corner.active[place, clamps[task.output].column]
    }
    for place, clamp in off.items():
        own[place] = clamp.across
    slopes = at_corner.sensitivities(own[:, None, :])
    effects = _effects(slopes, free)[:, :, 0]
    for place, clamp in off.items():
        effects[place] = clamp.effects(slopes[[place], :, 0], free)[0]
    again = []
    for task, effect in zip(tasks, effects, strict=True):
        side = np.where(task.row == free.high, 1.0, -1.0)
        wrong = (effect * task.direction * side < 0) & ~task.undecided
        if np.any(wrong):
            task.undecided = task.undecided | wrong
            task.size = np.maximum(task.size, np.abs(effect))
            again.append(task)
    return again


def _enumerated(undecided: BoolArray, size: FloatArray, alike: Indices) -> tuple[Indices, float]:
    """The undecided parameters of largest effect, and a margin for the rest: twice the sum of their effects."""
    free = np.unique(alike[undecided])
    sizes = np.array([size[undecided & (alike == number)].sum() for number in free])
    order = np.argsort(-sizes, kind="stable")
    return free[order[:_MAX_UNDECIDED]], 2.0 * float(sizes[order[_MAX_UNDECIDED:]].sum())


def _alike(network: Network, weights: FloatArray, names: Sequence[str]) -> Indices:
    """Number the parameters, with one number for resistances that only add up: of one element, or of a chain of them.

    Nothing but their sum matters to an output that does not look into the chain, so that one end is the worst of all.
    """
    closed = [e for e in network.elements if e.closed]
    uses = Counter(name for e in closed for name in e.parameters)
    chains = {e.name: index for index, e in enumerate(closed)}
    for node, looks in zip(network.nodes, weights.T, strict=False):
        here = [e for e in closed if node in (e.plus, e.minus)]
        if len(here) == 2 and not looks.any() and all(e.kind in ("resistor", "source") for e in here):
            one, other = (chains[e.name] for e in here)
            chains = {name: one if chain == other else chain for name, chain in chains.items()}
    adds = {name: chains[e.name] for e in closed for name, factor in e.resistance if factor > 0.0 and uses[name] == 1}
    numbers: dict[int | str, int] = {}
    return np.array([numbers.setdefault(adds.get(name, name), len(numbers)) for name in names], dtype=np.intp)


def draw(box: Mapping[str, Toleranced], rng: np.random.Generator, size: int) -> dict[str, FloatArray]:
    """Draw independent samples of every parameter [SI].

    Parameters
    ----------
    box : Parameters with their bounds [SI]
    size : Number of samples [1]

    Examples
    --------
    >>> samples = draw({"R": Toleranced(low=1.0, nominal=1.5, high=2.0)}, np.random.default_rng(1), 100)
    >>> bool(samples["R"].min() >= 1.0), samples["R"].shape
    (True, (100,))
    """
    return {name: value.sample(rng, size) for name, value in box.items()}
