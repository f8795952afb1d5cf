"""Worst case of a network: lowest and highest value of a voltage or current over all tolerances."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ignition.circuit.network import GROUND, Network
from ignition.circuit.nodal import Solution, solve
from ignition.errors import NetworkError
from ignition.toleranced import Toleranced
from ignition.typing import BoolArray, FloatArray

__all__ = ["Extreme", "Probe", "draw", "extremes", "root_sum_square"]

NEGLIGIBLE = 1e-12
"""Effect of one tolerance below which its sign is rounding and is not followed [A or V]."""

_PROBES = 24
_MAX_UNDECIDED = 9
_MAX_ROUNDS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """A linear output: current of an element, or voltage between two nodes.

    Attributes
    ----------
    element : str or None
        Element whose current [A] is meant.
    node, reference : str or None
        Nodes whose voltage difference [V] is meant.
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
    low, nominal, high : float
        Bounds and nominal value [V or A].
    low_at, high_at : mapping of str to float
        Parameter values [SI] of the two corners.
    method : str
        How the corners were found.
    """

    low: float
    nominal: float
    high: float
    low_at: Mapping[str, float]
    high_at: Mapping[str, float]
    method: str


def extremes(network: Network, box: Mapping[str, Toleranced], probes: Sequence[Probe]) -> list[Extreme]:
    """Find the exact worst case of linear outputs over a box of parameter values.

    Parameters
    ----------
    network : Network
        The network, in one state.
    box : mapping of str to Toleranced
        Every parameter of the network with its bounds [SI].
    probes : sequence of Probe
        The outputs.

    Returns
    -------
    list of Extreme
        One for each probe.

    Raises
    ------
    NetworkError
        When the network cannot be solved, or the corner does not settle.

    Notes
    -----
    A voltage or current of a linear network is a ratio of multi-affine functions of its element values, hence
    monotone in each of them with the others fixed: a box's extremes stand at its corners. The side of each parameter
    is read from the sign of its adjoint sensitivity at the nominal point and at a fixed set of corners; parameters
    whose sign differs among these are enumerated both ways (beyond nine of them, those of least effect are covered by
    widening the bound by twice their effects). The corner found is then checked: no parameter's sign
    there may ask for the other side; where one does, it is enumerated too. In the series-parallel networks of the
    channel template the direction of every current, and so every sign, is fixed by the topology.
    """
    names = [n for n in network.parameters if not box[n].is_exact]
    nominal = {n: box[n].nominal for n in network.parameters}
    weights = np.stack([p.weights(network) for p in probes])
    points = _sign_points(names, box, nominal)
    solution = solve(network, points)
    outputs = solution.unknowns @ weights.T
    effects = _effects(solution, weights, names, box)
    middle = outputs[0]
    result: list[Extreme] = []
    for index in range(len(probes)):
        sides: dict[str, tuple[float, FloatArray, int]] = {}
        for direction in (-1, 1):
            sides["low" if direction < 0 else "high"] = _search(
                network, box, names, nominal, weights[index], effects[:, :, index], direction
            )
        undecided = max(sides["low"][2], sides["high"][2])
        low, high = sides["low"][0], sides["high"][0]
        result.append(
            Extreme(
                low=min(low, float(middle[index])),
                nominal=float(middle[index]),
                high=max(high, float(middle[index])),
                low_at=_corner(names, sides["low"][1], nominal),
                high_at=_corner(names, sides["high"][1], nominal),
                method=f"corner by signs of {len(names)} values, {undecided} enumerated",
            )
        )
    return result


def _corner(names: Sequence[str], row: FloatArray, nominal: Mapping[str, float]) -> dict[str, float]:
    return dict(nominal) | dict(zip(names, (float(v) for v in row), strict=True))


def _sign_points(
    names: Sequence[str], box: Mapping[str, Toleranced], nominal: Mapping[str, float]
) -> dict[str, FloatArray]:
    """Nominal point, all-low, all-high and a fixed set of pseudo-random corners."""
    rng = np.random.default_rng(20240229)
    points: dict[str, FloatArray] = {n: np.full(_PROBES, v) for n, v in nominal.items()}
    for name in names:
        side = rng.random(_PROBES) < 0.5
        side[1], side[2] = False, True
        column = np.where(side, box[name].high, box[name].low)
        column[0] = nominal[name]
        points[name] = column
    return points


def _effects(
    solution: Solution, weights: FloatArray, names: Sequence[str], box: Mapping[str, Toleranced]
) -> FloatArray:
    """Effect of each tolerance, zero where it is lost in rounding [A or V]; shape (batch, parameters, outputs)."""
    shape = (solution.batch, len(weights))
    if not names:
        return np.zeros((shape[0], 0, shape[1]))
    slopes = solution.sensitivities(weights)
    none = np.zeros(shape)  # for a parameter that only open elements use
    effect = np.stack([slopes.get(n, none) * (box[n].high - box[n].low) for n in names], axis=1)
    return np.where(np.abs(effect) <= NEGLIGIBLE, 0.0, effect)


def _search(
    network: Network,
    box: Mapping[str, Toleranced],
    names: Sequence[str],
    nominal: Mapping[str, float],
    weights: FloatArray,
    effects: FloatArray,
    direction: int,
) -> tuple[float, FloatArray, int]:
    """Best corner in one direction: signs choose the side, undecided parameters are enumerated."""
    low = np.array([box[n].low for n in names])
    high = np.array([box[n].high for n in names])
    rises = np.any(effects > 0, axis=0)
    falls = np.any(effects < 0, axis=0)
    undecided = rises & falls
    up = np.where(direction > 0, rises & ~falls, falls & ~rises)
    size = np.max(np.abs(effects), axis=0, initial=0.0)
    for _ in range(_MAX_ROUNDS):
        free, margin = _enumerated(undecided, size)
        corners = np.tile(np.where(up, high, low), (2 ** len(free), 1))
        for position, column in enumerate(free):
            bit = (np.arange(len(corners)) >> position) & 1
            corners[:, column] = np.where(bit == 1, high[column], low[column])
        values = dict(nominal) | {n: corners[:, i] for i, n in enumerate(names)}
        solution = solve(network, {n: values[n] for n in network.parameters})
        found = solution.unknowns @ weights
        best = int(np.argmax(direction * found))
        at_best = _effects(solution, weights[None], names, box)[best, :, 0]
        wrong = (at_best * direction * np.where(corners[best] == high, 1.0, -1.0) < 0) & ~undecided
        if not np.any(wrong):
            return float(found[best]) + direction * margin, corners[best], int(undecided.sum())
        undecided = undecided | wrong
        size = np.maximum(size, np.abs(at_best))
    raise NetworkError("the worst corner did not settle after eight rounds; this network needs another method")


def _enumerated(undecided: BoolArray, size: FloatArray) -> tuple[npt.NDArray[np.intp], float]:
    """The undecided parameters of largest effect, and a margin for the rest: twice the sum of their effects."""
    free = np.flatnonzero(undecided)
    order = free[np.argsort(-size[free], kind="stable")]
    return order[:_MAX_UNDECIDED], 2.0 * float(size[order[_MAX_UNDECIDED:]].sum())


def draw(box: Mapping[str, Toleranced], rng: np.random.Generator, size: int) -> dict[str, FloatArray]:
    """Draw independent samples of every parameter.

    Parameters
    ----------
    box : mapping of str to Toleranced
        Parameters with their bounds [SI].
    rng : numpy.random.Generator
        Source of randomness.
    size : int
        Number of samples [1].

    Returns
    -------
    dict of str to ndarray
        Samples [SI], each of shape (size,).
    """
    return {name: value.sample(rng, size) for name, value in box.items()}


def root_sum_square(network: Network, box: Mapping[str, Toleranced], probe: Probe) -> Toleranced:
    """Root-sum-square spread of an output: linear in each parameter about nominal, tolerances independent.

    Parameters
    ----------
    network : Network
        The network, in one state.
    box : mapping of str to Toleranced
        Every parameter with its bounds [SI].
    probe : Probe
        The output.

    Returns
    -------
    Toleranced
        Nominal and root-sum-square bounds [V or A]; a typical spread, not a guaranteed one.
    """
    solution = solve(network, {n: box[n].nominal for n in network.parameters})
    weights = probe.weights(network)
    middle = float(solution.unknowns[0] @ weights)
    slopes = solution.sensitivities(weights[None])
    below = above = 0.0
    for name in network.parameters:
        slope = float(slopes[name][0, 0]) if name in slopes else 0.0
        value = box[name]
        down, up = slope * (value.low - value.nominal), slope * (value.high - value.nominal)
        below += min(down, up, 0.0) ** 2
        above += max(down, up, 0.0) ** 2
    return Toleranced(
        low=middle - below**0.5, nominal=middle, high=middle + above**0.5, unit="A" if probe.element else "V"
    )
