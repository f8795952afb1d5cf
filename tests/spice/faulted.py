"""Faulted circuits as networks of their own, as a deck can show them."""

from __future__ import annotations

from dataclasses import replace

from ignition.network.elements import Element, Network
from ignition.network.worst_members import Boxes

__all__ = ["bare"]

INSULATION = "insulation"


def bare(boxes: Boxes, row: int) -> tuple[Network, dict[str, float]]:
    """One member as a network of its own: what it opens insulates with 1 Tohm, as the batched solver has it."""
    network, states = boxes.network, {name: bool(state[row]) for name, state in boxes.closed.items()}
    elements = []
    for element in network.elements:
        closed = states.get(element.name, element.closed)
        if element.closed and not closed and element.kind in ("resistor", "source"):
            elements.append(
                Element(
                    name=element.name, kind="resistor", plus=element.plus, minus=element.minus,
                    resistance=((INSULATION, 1.0),),
                )
            )  # fmt: skip
        else:
            elements.append(replace(element, closed=closed))
    values = dict(zip(network.parameters, boxes.nominal[row].tolist(), strict=True))
    return Network(elements=tuple(elements), igniters=network.igniters), values | {INSULATION: 1e12}
