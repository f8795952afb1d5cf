"""What a described test drives through the igniters, whatever the line is in while it is made."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from ignition.analyses.no_fire.steady import uncommanded_states
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.elements import Network
from ignition.network.template import State
from ignition.network.worst_case import Probe, extremes
from ignition.toleranced import Toleranced

__all__ = ["Condition", "DrivenCurrents", "driven_currents"]

Condition = tuple[str, Callable[[State], Network], Mapping[str, Toleranced]]
"""Phase in which a test may be made, how its network is built from a state, and its parameter bounds [SI]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrivenCurrents:
    """Highest currents that a test drives.

    Attributes
    ----------
    igniters : Of each igniter [A]
    line : Of the whole line [A]
    into_short : Of a short in place of the igniters [A]
    """

    igniters: Mapping[str, float]
    line: float
    into_short: float


def driven_currents(circuit: Circuit, channel: ChannelModel, conditions: Sequence[Condition]) -> DrivenCurrents:
    """Return the highest currents over all conditions and all that a line can be in."""
    lead = f"{channel.name}.lead out"
    igniters: dict[str, float] = {}
    line = short = 0.0
    for phase, build, box in conditions:
        for label, state, wide, names in uncommanded_states(circuit, channel, phase, box):
            found = extremes(build(state), wide, [Probe(element=n) for n in (*names, lead)])
            sizes = [max(abs(e.low), abs(e.high)) for e in found]
            igniters |= {n: max(igniters.get(n, 0.0), size) for n, size in zip(names, sizes[:-1], strict=True)}
            if label == "shorted":
                short = max(short, sizes[-1])
            line = max(line, sizes[-1])
    return DrivenCurrents(igniters=igniters, line=line, into_short=short)
