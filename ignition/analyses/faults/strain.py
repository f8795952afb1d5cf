"""What single faults do to the battery and to converter pins: the currents there, beside those in igniters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.loosened import loosened_lines
from ignition.network.worst_case import Probe
from ignition.network.worst_members import worst_members
from ignition.typing import FloatArray

__all__ = ["Strain", "strain"]

_NO_LINE = -1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strain:
    """Highest currents of each member, nan where they are not solved.

    Attributes
    ----------
    battery : Out of the battery [A], shape (m,)
    pins : Into the clamp of each converter pin [A], by its channel and what it reads, each of shape (m,)
    """

    battery: FloatArray
    pins: dict[str, FloatArray]


def strain(bench: Bench, members: Members) -> Strain:
    """Return the highest battery current and the highest clamp currents of sets of faults.

    The line of a pin is as it is, the other lines, for the battery all of them, are intact, open or spent.

    Parameters
    ----------
    members : Sets of faults, each in one situation
    """
    board, size = bench.board, len(members.situations)
    asked = {"": (board.battery, -1.0, _NO_LINE)}
    for number, line in enumerate(board.lines):
        asked |= {f"{line.name} {what}": (element, 1.0, number) for what, element in line.clamps.items()}
    found = {name: np.full(size, np.nan) for name in asked}
    for batch in bench.batches(members):
        count = len(batch.first)
        for name, (element, sign, own) in asked.items():
            boxes = loosened_lines(bench, batch.boxes, np.full(count, own))
            weights = np.tile(sign * Probe(element=element).weights(boxes.network), (count, 1))
            worst = worst_members(boxes, weights, np.ones(count), 1)
            value = np.where(worst.settled & ~batch.unsettled, np.maximum(worst.value, 0.0), np.nan)
            found[name][batch.members] = value[batch.place]
    battery = found.pop("")
    return Strain(battery=battery, pins=found)
