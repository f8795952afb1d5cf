"""What each MOSFET passes under faults: its gate's voltage by itself, or together with what it passes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from ignition.analyses.faults.board import Board
from ignition.analyses.no_fire.off_state import off_states, on_resistance
from ignition.network.linear import Indices
from ignition.network.sampled_members import sampled
from ignition.network.worst_members import Boxes, bounds
from ignition.typing import BoolArray, FloatArray

__all__ = ["Switch", "gate_voltages", "settled_gates", "switches"]

_COARSE = (1e-6, 1e-5, 1e-4, 1e-3)
"""Ends to which a small off current is rounded up where sets of faults are only sought, not told [A]."""

_SAME = 1e-8
"""Difference of gate voltages that is none, rounding: a MOSFET's current follows it by a part in a million [V]."""

_MOST_ROUNDS = 6

_OPEN = 1e12
"""Resistance of a MOSFET whose gate is not driven far enough to rely on [ohm]."""

Ends = tuple[float, float, float]
"""Lowest, nominal and highest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """What a MOSFET is.

    Attributes
    ----------
    current : Most that it passes while not commanded, lowest, nominal and highest [A]
    resistance : What it is below that, or commanded [ohm], the same
    """

    current: Ends
    resistance: Ends


def gate_voltages(board: Board, index: int, boxes: Boxes) -> FloatArray:
    """Return lowest, nominal and highest gate voltage of a line in each row [V], shape (rows, 3).

    Exact at the corners; anything up to the battery's where that is not solved, or a sampled point lies beyond.

    Parameters
    ----------
    index : Number of the line
    boxes : Bounds of its gate side
    """
    weights = np.tile(board.lines[index].gate.weights(boxes.network), (len(boxes.low), 1))
    low, nominal, high = bounds(boxes, weights, starts=1)
    highest = board.circuit.battery.voltage.high + board.circuit.controller.pin.clamp_drop.high
    unsolved = np.isnan(low + high) | ~_within(board, boxes, weights, low, high)
    columns = [np.where(unsolved, end, v) for end, v in ((0.0, low), (0.0, nominal), (highest, high))]
    return np.stack(columns, axis=1)


def _within(board: Board, boxes: Boxes, weights: FloatArray, low: FloatArray, high: FloatArray) -> BoolArray:
    """Whether no sampled point of a row lies beyond its bounds."""
    if not board.samples:
        return np.ones(len(low), dtype=bool)
    least, most = sampled(boxes, weights, board.samples)
    slack = _SAME + 1e-9 * np.maximum(np.abs(low), np.abs(high))
    return np.asarray((least >= low - slack) & (most <= high + slack))


def switches(board: Board, index: int, volts: FloatArray, commanded: BoolArray, coarse: bool) -> Iterator[Switch]:
    """Yield what the MOSFET of a line is at each gate voltage.

    Parameters
    ----------
    index : Number of the line
    volts : Lowest, nominal and highest gate voltage [V], shape (rows, 3)
    commanded : Whether it is commanded, shape (rows,)
    coarse : Whether small off currents are rounded up
    """
    mosfet = board.circuit.mosfets[board.circuit.channels[index].mosfet]
    low, nominal, high = volts.T
    off, resistance = off_states(mosfet, low, nominal, high, board.circuit.ambient)
    if coarse:
        place = np.searchsorted(_COARSE, off[:, 2])
        off[:, 2] = np.where(place < len(_COARSE), np.take(_COARSE, place, mode="clip"), off[:, 2])
        off[:, 0], off[:, 1] = 0.0, off[:, 2]
    on, rely = on_resistance(mosfet, board.circuit.ambient), mosfet.rows[0].gate
    resistance[commanded] = on.low, on.nominal, on.high
    resistance[commanded & (volts[:, 0] < rely), 2] = _OPEN
    resistance[commanded & (volts[:, 1] < rely), 1] = _OPEN
    for ends, path in zip(off.tolist(), resistance.tolist(), strict=True):
        yield Switch(current=(ends[0], ends[1], ends[2]), resistance=(path[0], path[1], path[2]))


def settled_gates(board: Board, boxes: Boxes, off: FloatArray, hung: BoolArray) -> tuple[FloatArray, BoolArray]:
    """Return the voltage of gates that hang on the lines, with what their own MOSFETs pass at it.

    A gate's voltage is bounded over all that its own and the other MOSFETs may pass; what it then may pass itself is
    added to that, until nothing is to be added. Every igniter may be whole, open or shorted meanwhile.

    Parameters
    ----------
    boxes : Bounds of the whole network
    off : What each MOSFET is whose gate does not hang there: current [A] and resistance [ohm] of a `Switch`, shape
        (rows, lines, 2, 3)
    hung : Which gates hang there, shape (rows, lines)

    Returns
    -------
    Lowest, nominal and highest gate voltage [V], shape (rows, lines, 3), zero for the others; whether they settled,
    within what sampled points tell, shape (rows,)
    """
    volts, settled = np.zeros((*hung.shape, 3)), np.zeros(len(off), dtype=bool)
    if not len(off):
        return volts, settled
    boxes, off = _loosened(board, boxes), np.where(hung[..., None, None], _passed(board, volts), off)
    columns = {name: k for k, name in enumerate(boxes.network.parameters)}
    places = [[columns[line.off_current], columns[line.resistance]] for line in board.lines]
    pending: Indices = np.arange(len(off))
    for _ in range(_MOST_ROUNDS):
        some = boxes.take(pending)
        for bounds_of, ends in zip((some.low, some.nominal, some.high), np.moveaxis(off[pending], 3, 0), strict=True):
            bounds_of[:, places] = ends
        solved = np.ones(len(pending), dtype=bool)
        for index, line in enumerate(board.lines):
            own = np.flatnonzero(np.take(hung[:, index], pending))
            if len(own):
                weights = np.tile(line.gate.weights(boxes.network), (len(own), 1))
                found = np.stack(bounds(some.take(own), weights, starts=2), axis=1)
                known: BoolArray = np.asarray(~np.isnan(found).any(axis=1))
                solved[own] &= known & _within(board, some.take(own), weights, found[:, 0], found[:, 2])
                volts[pending[own], index] = np.where(known[:, None], found, 0.0)
        pending = pending[solved]
        new = np.where(hung[pending][..., None, None], _passed(board, volts[pending]), off[pending])
        wider = _hull(off[pending], new)
        done = _inside(wider, off[pending])
        settled[pending[done]] = True
        pending, wider = pending[~done], wider[~done]
        if not len(pending):
            break
        off[pending] = wider
    return volts, settled


def _passed(board: Board, volts: FloatArray) -> FloatArray:
    """What each MOSFET is at gate voltages, current [A] and resistance [ohm], shape (rows, lines, 2, 3)."""
    found = np.empty((*volts.shape[:2], 2, 3))
    for index, channel in enumerate(board.circuit.channels):
        low, nominal, high = volts[:, index].T
        ends = off_states(board.circuit.mosfets[channel.mosfet], low, nominal, high, board.circuit.ambient)
        found[:, index] = np.stack(ends, axis=1)
    return found


def _hull(first: FloatArray, second: FloatArray) -> FloatArray:
    low, high = np.minimum(first[..., 0], second[..., 0]), np.maximum(first[..., 2], second[..., 2])
    return np.stack([low, second[..., 1], high], axis=-1)


def _inside(inner: FloatArray, outer: FloatArray) -> BoolArray:
    """Whether bounds hold others. The nominal current, which may swing between two states, is a place to start from."""
    slack = 1e-6 * np.abs(outer) + 1e-15  # each end's own: one without limit hides no other
    within = (inner[..., 2] <= outer[..., 2] + slack[..., 2]) & (inner[..., 0] >= outer[..., 0] - slack[..., 0])
    return np.asarray(within.all(axis=(1, 2)))


def _loosened(board: Board, boxes: Boxes) -> Boxes:
    """Bounds in which everything that may be in another state beside any igniter may be so."""
    low, nominal, high = boxes.low.copy(), boxes.nominal.copy(), boxes.high.copy()
    columns = {name: k for k, name in enumerate(boxes.network.parameters)}
    for near in (*board.beside.values(), *(line.loosened for line in board.lines)):
        for name, (least, _, most) in near.items():
            column = columns[name]
            low[:, column] = low[:, column] if least is None else np.minimum(low[:, column], least)
            high[:, column] = high[:, column] if most is None else np.maximum(high[:, column], most)
    return replace(boxes, low=low, nominal=nominal, high=high)
