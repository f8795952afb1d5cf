"""What else a circuit may be in beside a fault: lines, strings and igniters that are open, not connected or shorted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ignition.analyses.faults.bench import Bench
from ignition.circuit.model import ChannelModel
from ignition.network.linear import Indices
from ignition.network.template import igniter_kinds, igniter_names
from ignition.network.whole import CONTACT
from ignition.network.worst_members import Boxes

__all__ = ["loosened_beside", "loosened_lines", "representatives"]

_INSULATION = 1e12
"""Resistance of a line or string that is not connected [ohm]."""


def representatives(channel: ChannelModel, touched: frozenset[str]) -> tuple[str, ...]:
    """List igniters of a channel of which one has the highest current: one a type in each kind of string.

    Parameters
    ----------
    touched : Igniters that a fault touches, which are no more like any other

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> representatives(load_example("demo").channels[0], frozenset({"boosters.igniter 2.1"}))
    ('boosters.igniter 1.1', 'boosters.igniter 2.1')
    """
    kinds, known = igniter_kinds(channel), set()
    found: list[str] = []
    for string in igniter_names(channel):
        like = tuple(kinds[name] for name in string)
        if touched.intersection(string):
            found += string
        elif like not in known:
            known.add(like)
            found += {kinds[name]: name for name in reversed(string)}.values()
    return tuple(found)


def loosened_beside(bench: Bench, boxes: Boxes, igniter: Indices) -> Boxes:
    """Return bounds with what may be open, not connected or shorted beside one igniter.

    The other channels' lines are intact or open, the other strings of its channel not connected or spent, the other
    igniters of its string whole or shorted.

    Parameters
    ----------
    igniter : Igniter of each row, by place in the bench's, shape (rows,)
    """
    columns = {name: k for k, name in enumerate(boxes.network.parameters)}
    low, nominal, high = boxes.low.copy(), boxes.nominal.copy(), boxes.high.copy()
    for channel in bench.circuit.channels:
        strings = igniter_names(channel)
        first = [own[0] if channel.branch is None else f"{channel.name}.branch {k}" for k, own in enumerate(strings, 1)]
        for number, string in enumerate(strings):
            apart = [columns[part] for index, part in enumerate(first) if index != number]
            for name in string:
                rows = np.flatnonzero(igniter == bench.igniters.index(name))
                for other in set(string) - {name}:
                    low[rows, columns[other]] = CONTACT
                for part in apart:
                    for bounds in (low, nominal, high):
                        bounds[rows, part] = _INSULATION
    return loosened_lines(bench, replace(boxes, low=low, nominal=nominal, high=high), bench.owner[igniter])


def loosened_lines(bench: Bench, boxes: Boxes, own: Indices) -> Boxes:
    """Return bounds in which every line but one may be open.

    Parameters
    ----------
    own : Number of the channel whose line is as it is, of each row, shape (rows,)
    """
    columns = {name: k for k, name in enumerate(boxes.network.parameters)}
    high = boxes.high.copy()
    for number, channel in enumerate(bench.circuit.channels):
        rows = np.flatnonzero(own != number)
        for end in ("out", "back"):
            high[rows, columns[f"{channel.name}.lead {end}"]] = _INSULATION
    return replace(boxes, high=high)
