"""A check of worst cases: points of each member's bounds, at which no output may lie beyond what was found."""

from __future__ import annotations

import numpy as np

from ignition.errors import NetworkError
from ignition.network.worst_members import Boxes
from ignition.typing import FloatArray

__all__ = ["sampled"]

_SEED = 20240301


def sampled(boxes: Boxes, weights: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    """Return the lowest and highest output of each member at some points of its bounds, half of them corners.

    Infinite where the network has no solution, or where a current source drives a part of it that has no path: beyond
    ten times all of its voltages.

    Parameters
    ----------
    weights : Output weights on node voltages and element currents [1], shape (batch, nodes + elements)
    count : Points of each member [1]

    Returns
    -------
    Two arrays [output unit], each of shape (batch,)
    """
    batch = len(boxes.low)
    try:
        return _sampled(boxes, weights, count)
    except NetworkError:
        if batch == 1:
            return np.array([-np.inf]), np.array([np.inf])
    halves = [sampled(boxes.take(own), weights[own], count) for own in np.array_split(np.arange(batch), 2)]
    return np.concatenate([low for low, _ in halves]), np.concatenate([high for _, high in halves])


def _sampled(boxes: Boxes, weights: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    batch, parameters = boxes.low.shape
    share = np.random.default_rng(_SEED).random((count, parameters))
    share[: (count + 1) // 2] = np.round(share[: (count + 1) // 2])
    values = boxes.low[:, None] + share * (boxes.high - boxes.low)[:, None]
    every = boxes.take(np.repeat(np.arange(batch), count))
    unknowns = every.solved(values.reshape(batch * count, parameters)).unknowns.reshape(batch, count, -1)
    found = np.einsum("bsu,bu->bs", unknowns, weights)
    far = np.abs(unknowns[..., : len(boxes.network.nodes)]).max(axis=(1, 2), initial=0.0) > _highest(boxes)
    return np.where(far, -np.inf, found.min(axis=1)), np.where(far, np.inf, found.max(axis=1))


def _highest(boxes: Boxes) -> FloatArray:
    """Bound on any voltage of each member [V]."""
    places = {name: k for k, name in enumerate(boxes.network.parameters)}
    columns = sorted({places[name] for element in boxes.network.elements for name, _ in element.voltage})
    return np.asarray(10.0 * np.abs(boxes.high[:, columns]).sum(axis=1) + 10.0)
