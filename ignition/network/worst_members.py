"""Worst case of a batch in which each member has bounds, states and an output of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ignition.errors import NetworkError
from ignition.network.elements import Network
from ignition.network.linear import Indices
from ignition.network.solution import Solution, solve
from ignition.network.worst_case import NEGLIGIBLE
from ignition.typing import BoolArray, FloatArray

__all__ = ["Boxes", "WorstMembers", "at_nominal", "both_ways", "bounds", "worst_members"]

_ROUNDING = 1e-11
"""Effect of one tolerance over the output up to which its sign is rounding and is not followed [1]."""

_MAX_ROUNDS = 16

_DECADES = 1e6
"""Ratio of a value to the low end of its range, and 1 ohm, from which on the slope there is not that of the range."""

_FAR = 1e3
"""How many times its value, or its unit where that is more, a parameter's change counts at most [1]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Boxes:
    """Bounds of every parameter and the changed elements of each member of a batch.

    Attributes
    ----------
    low, nominal, high : Parameter values [SI], in the order of the network's parameters, shape (batch, parameters)
    closed : Which elements are closed in which members, shape (batch,)
    """

    network: Network
    low: FloatArray
    nominal: FloatArray
    high: FloatArray
    closed: Mapping[str, BoolArray]

    def take(self, members: Indices) -> Boxes:
        """Return some members.

        Parameters
        ----------
        members : Their places in the batch, shape (m,)
        """
        return Boxes(
            network=self.network,
            low=self.low[members],
            nominal=self.nominal[members],
            high=self.high[members],
            closed={name: state[members] for name, state in self.closed.items()},
        )

    def solved(self, values: FloatArray, like: Solution | None = None) -> Solution:
        """Solve every member.

        Parameters
        ----------
        values : Parameter values [SI], shape (batch, parameters)
        like : Solution of the same members at other values
        """
        named = {name: values[:, column] for column, name in enumerate(self.network.parameters)}
        return solve(self.network, named, closed=self.closed, like=like)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorstMembers:
    """Worst case of each member.

    Attributes
    ----------
    value : Highest value of each member's output in its direction [output unit], nan where the network has no
        solution, shape (batch,)
    high : Which parameters stand at their upper end there, shape (batch, parameters)
    settled : Whether no single parameter asks for its other end there, shape (batch,)
    """

    value: FloatArray
    high: BoolArray
    settled: BoolArray


def worst_members(
    boxes: Boxes,
    weights: FloatArray,
    direction: FloatArray,
    starts: int = 2,
    begin: BoolArray | None = None,
    negligible: FloatArray | float = NEGLIGIBLE,
) -> WorstMembers:
    """Find the worst corner of one output of each member, all members at once.

    An output is monotone in each parameter with the others fixed, so that its extremes stand at corners. From the
    nominal point, and from further fixed points, each parameter goes to the end that its sensitivity asks for, until
    none asks for its other end; the worst of these corners is taken. A value that did not settle counts what its
    parameters still ask for on top, twice.

    Parameters
    ----------
    weights : Output weights on node voltages and element currents [1], shape (batch, nodes + elements)
    direction : 1 where the highest value is sought, -1 where the lowest [1], shape (batch,)
    starts : Number of points to start from; the first is nominal, the others are pseudo-random corners
    begin : Corners to start from instead of the nominal point, as those of like members, shape (batch, parameters)
    negligible : Effect of one tolerance that is not followed [output unit], one for all or of shape (batch,)
    """
    batch = len(boxes.low)
    negligible = np.broadcast_to(np.asarray(negligible, dtype=float), (batch,))
    try:
        return _worst(boxes, weights, [direction], starts, [begin], negligible)[0]
    except NetworkError:
        if batch == 1:
            nothing = np.zeros((1, boxes.low.shape[1]), dtype=bool)
            return WorstMembers(value=np.array([np.nan]), high=nothing, settled=np.array([False]))
    some = [
        worst_members(
            boxes.take(own),
            weights[own],
            direction[own],
            starts,
            None if begin is None else begin[own],
            negligible[own],
        )
        for own in _halves(batch)
    ]
    return WorstMembers(
        value=np.concatenate([one.value for one in some]),
        high=np.concatenate([one.high for one in some]),
        settled=np.concatenate([one.settled for one in some]),
    )


def both_ways(
    boxes: Boxes,
    weights: FloatArray,
    starts: int,
    begin: Sequence[BoolArray],
    negligible: FloatArray | float = NEGLIGIBLE,
) -> tuple[WorstMembers, WorstMembers]:
    """Find the highest value of each member's output, and of the same output turned round, as `worst_members` does.

    Both are sought from the same points, which are solved once.

    Parameters
    ----------
    weights : Output weights on node voltages and element currents [1], shape (batch, nodes + elements)
    starts : Number of points to start from in either direction
    begin : Corners to start from for either direction, each of shape (batch, parameters)
    negligible : Effect of one tolerance that is not followed [output unit], one for all or of shape (batch,)
    """
    one = np.ones(len(weights))
    small = np.broadcast_to(np.asarray(negligible, dtype=float), one.shape)
    try:
        forth, back = _worst(boxes, weights, [one, -one], starts, begin, small)
        return forth, WorstMembers(value=-back.value, high=back.high, settled=back.settled)
    except NetworkError:
        forth, back = (
            worst_members(boxes, sign * weights, one, starts, side, small)
            for sign, side in zip((1.0, -1.0), begin, strict=True)
        )
        return forth, back


def at_nominal(boxes: Boxes, weights: FloatArray) -> tuple[FloatArray, BoolArray, BoolArray]:
    """Return each member's output at nominal values, and the corners that its highest and lowest value ask for there.

    Parameters
    ----------
    weights : Output weights on node voltages and element currents [1], shape (batch, nodes + elements)

    Returns
    -------
    Output [output unit], nan where the network has no solution, shape (batch,); which parameters go to their upper end,
    twice, each of shape (batch, parameters)
    """
    one, small = np.ones(len(weights)), np.full(len(weights), NEGLIGIBLE)
    try:
        value, effect, _ = _at(boxes, weights, one, boxes.nominal, small, None)
        return value, effect > 0.0, effect < 0.0
    except NetworkError:
        if len(weights) == 1:
            nothing = np.zeros(boxes.low.shape, dtype=bool)
            return np.array([np.nan]), nothing, nothing
    some = [at_nominal(boxes.take(own), weights[own]) for own in _halves(len(weights))]
    return (
        np.concatenate([one[0] for one in some]),
        np.concatenate([one[1] for one in some]),
        np.concatenate([one[2] for one in some]),
    )


def bounds(boxes: Boxes, weights: FloatArray, starts: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the lowest, nominal and highest value of each member's output [output unit], nan where it has no solution.

    Parameters
    ----------
    weights : Output weights on node voltages and element currents [1], shape (batch, nodes + elements)
    starts : Number of points to start from in either direction
    """
    nominal, *sides = at_nominal(boxes, weights)
    high, back = (one.value for one in both_ways(boxes, weights, starts, sides))
    return np.minimum(-back, nominal), nominal, np.maximum(high, nominal)


def _halves(batch: int) -> tuple[Indices, ...]:
    return tuple(half for half in np.array_split(np.arange(batch), 2) if len(half))


def _worst(
    boxes: Boxes,
    weights: FloatArray,
    directions: Sequence[FloatArray],
    starts: int,
    begin: Sequence[BoolArray | None],
    negligible: FloatArray,
) -> list[WorstMembers]:
    """Worst case in some directions; no member climbs again from a corner that it has begun from or ended at."""
    batch, count = boxes.low.shape
    nothing = np.zeros((batch, count), dtype=bool)
    best = [
        WorstMembers(value=np.full(batch, -np.inf), high=nothing.copy(), settled=np.zeros(batch, dtype=bool))
        for _ in directions
    ]
    known: list[list[tuple[BoolArray, FloatArray]]] = [[] for _ in directions]
    rng, one = np.random.default_rng(20261127), np.ones(batch)
    for start in range(starts):
        effect, like = None, None
        if start or any(corner is None for corner in begin):
            values = np.where(rng.random(count) < 0.5, boxes.low, boxes.high) if start else boxes.nominal
            _, effect, like = _at(boxes, weights, one, values, negligible, None)
        for direction, corner, found, corners in zip(directions, begin, best, known, strict=True):
            trial = corner if not start and corner is not None else _asked_for(effect, direction)
            new = np.ones(batch, dtype=bool)
            for other, _ in corners:
                new &= (trial != other).any(axis=1)
            own = np.flatnonzero(new)
            if len(own):
                ends = _ascend(boxes, weights, direction, trial, own, like, negligible, found, corners)
                corners += [(trial, np.full(batch, -np.inf)), ends]
    return [
        WorstMembers(value=direction * one.value, high=one.high, settled=one.settled)
        for direction, one in zip(directions, best, strict=True)
    ]


def _asked_for(effect: FloatArray | None, direction: FloatArray) -> BoolArray:
    assert effect is not None
    return np.asarray(direction[:, None] * effect > 0.0)


def _ascend(
    boxes: Boxes,
    weights: FloatArray,
    direction: FloatArray,
    corners: BoolArray,
    own: Indices,
    like: Solution | None,
    negligible: FloatArray,
    best: WorstMembers,
    known: Sequence[tuple[BoolArray, FloatArray]],
) -> tuple[BoolArray, FloatArray]:
    """Climb from one corner of some members; what is better than `best` takes its place there.

    All parameters that ask for their other end go there at once; where that is worse, they go one by one, the one of
    largest effect first. One that asks and is worse at its other end, as where a clamp changes its state on the way,
    is refused until another one has gone. What the refused ones ask for is owed, but for ranges over many decades, of
    which the slope says little. One that comes to a known corner, at which nothing asks for more, climbs no further.

    Returns
    -------
    Corners at which nothing asks for more, with their values; else those of the start, and -inf
    """
    pending, trial = own, corners[own]
    like = None if like is None else like.take(own)
    high, final = corners.copy(), corners.copy()
    reached, value = np.full((2, len(corners)), -np.inf)
    wishes = np.zeros(high.shape)
    wide = boxes.high > _DECADES * (np.abs(boxes.low) + 1.0)
    refused, flipped = np.zeros(high.shape, dtype=bool), np.zeros(high.shape, dtype=bool)
    for attempt in range(_MAX_ROUNDS):
        some, last = boxes.take(pending), attempt == _MAX_ROUNDS - 1
        values = np.where(trial, some.high, some.low)
        found, effect, like = _at(some, weights[pending], direction[pending], values, negligible[pending], like)
        against = np.where(trial, -effect, effect)
        asked = np.where(against > 0.0, against, 0.0)
        worse = found < reached[pending]
        kept = pending[~worse]
        high[kept], reached[kept], wishes[kept], refused[kept] = trial[~worse], found[~worse], asked[~worse], False
        alone = worse & (flipped[pending].sum(axis=1) == 1)
        refused[pending[alone]] |= flipped[pending[alone]]
        left = np.where(refused[pending], 0.0, wishes[pending])
        ended = (left == 0.0).all(axis=1)
        owed = np.where(wide[pending], 0.0, wishes[pending])
        total = reached[pending] + np.where(ended | last, 2.0 * owed.sum(axis=1), 0.0)
        better = total >= best.value[pending]
        winners = pending[better]
        best.value[winners], best.high[winners] = total[better], high[winners]
        best.settled[winners] = ended[better] & (owed[better] == 0.0).all(axis=1)
        content = pending[(wishes[pending] == 0.0).all(axis=1)]
        final[content], value[content] = high[content], reached[content]
        pending, worse, left = pending[~ended], worse[~ended], left[~ended]
        like = like.take(np.flatnonzero(~ended))
        largest = np.zeros(left.shape, dtype=bool)
        largest[np.arange(len(pending)), np.argmax(left, axis=1)] = True
        flip = np.where((worse | refused[pending].any(axis=1))[:, None], largest, left > 0.0)
        flipped[pending] = flip
        trial = high[pending] ^ flip
        on = np.ones(len(pending), dtype=bool)
        for other, told in known:
            on &= (told[pending] < reached[pending]) | (trial != other[pending]).any(axis=1)
        pending, trial, like = pending[on], trial[on], like.take(np.flatnonzero(on))
        if not len(pending):
            break
    return final, value


def _at(
    boxes: Boxes,
    weights: FloatArray,
    direction: FloatArray,
    values: FloatArray,
    negligible: FloatArray,
    like: Solution | None,
) -> tuple[FloatArray, FloatArray, Solution]:
    """Output of each member in its direction, and the effect of each tolerance on it; zero where it is negligible.

    In a range over many decades, as of a line that may be open, the slope at one end says little of the other. From a
    low value the part near it counts. From a high one, v, to a low one, w, with a resistance R of the rest of the
    circuit: by its bilinear law, y(w) - y(v) = dy/dv (w - v) (v + R) / (w + R), here with R of 1 ohm.
    """
    solution = boxes.solved(values, like)
    widths = np.minimum(boxes.high - boxes.low, _FAR * np.maximum(np.abs(values), 1.0))
    low = np.abs(boxes.low) + 1.0
    widths = np.where(values > _DECADES * low, values * (values / low), widths)
    effect = direction[:, None] * solution.sensitivities(weights[:, None, :])[:, :, 0] * widths
    found = direction * np.einsum("bu,bu->b", solution.unknowns, weights)
    small = np.maximum(negligible, _ROUNDING * np.abs(found))
    return found, np.where(np.abs(effect) <= small[:, None], 0.0, effect), solution
