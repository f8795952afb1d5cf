"""What else a circuit may be in beside a fault: lines, strings, igniters that are open, spent, away or shorted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from ignition.analyses.faults.bench import Bench
from ignition.analyses.faults.board import Ends
from ignition.network.linear import Indices
from ignition.network.worst_members import Boxes

__all__ = ["loosened_beside", "loosened_lines"]


def loosened_beside(bench: Bench, boxes: Boxes, igniter: Indices) -> Boxes:
    """Return bounds with what may be open, not connected or shorted beside one igniter.

    The other channels' lines are intact, open or spent; what is beside it in its own channel, or in any channel of a
    foreign netlist, is as the board has it.

    Parameters
    ----------
    igniter : Igniter of each row, by place in the bench's, shape (rows,)
    """
    changed = _changed(boxes)
    for number, name in enumerate(bench.igniters):
        _put(changed, np.flatnonzero(igniter == number), bench.board.beside[name])
    return loosened_lines(bench, changed, bench.owner[igniter])


def loosened_lines(bench: Bench, boxes: Boxes, own: Indices) -> Boxes:
    """Return bounds in which every line but one may be open, or have been fired.

    Parameters
    ----------
    own : Number of the channel whose line is as it is, of each row, shape (rows,)
    """
    changed = _changed(boxes)
    for number, line in enumerate(bench.board.lines):
        _put(changed, np.flatnonzero(own != number), line.loosened)
    return changed


def _changed(boxes: Boxes) -> Boxes:
    """Bounds of their own, to be written into."""
    return replace(boxes, low=boxes.low.copy(), nominal=boxes.nominal.copy(), high=boxes.high.copy())


def _put(boxes: Boxes, rows: Indices, ends: Mapping[str, Ends]) -> None:
    """Put ends into some rows."""
    columns = {name: k for k, name in enumerate(boxes.network.parameters)}
    for name, values in ends.items():
        for bounds, value in zip((boxes.low, boxes.nominal, boxes.high), values, strict=True):
            if value is not None:
                bounds[rows, columns[name]] = value
