"""A foreign netlist laid out for faults, as a circuit file's circuit is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ignition.analyses.faults.board import INSULATION, Board, Ends, Line
from ignition.analyses.faults.changes import RAILS
from ignition.foreign.binding import Bound
from ignition.foreign.fault_list import netlist_faults
from ignition.foreign.settings import netlist_setting, quiet_situations
from ignition.foreign.whole import GateSide, gate_sides, lines_network, tie_name, whole_netlist
from ignition.network.whole import CONTACT
from ignition.network.worst_case import Probe

__all__ = ["netlist_board"]

_SAMPLES = 4
"""Points at which the worst case of each member is checked: a netlist may be any mesh [1]."""


def netlist_board(bound: Bound) -> Board:
    """Lay a netlist out in every phase in which nobody fires, with every single fault.

    Beside an igniter that is looked at, every other one of the netlist may be whole, open or shorted.
    """
    whole = whole_netlist(bound)
    sides = gate_sides(bound, whole)
    network, gates = lines_network(whole, sides)
    faults, situations = netlist_faults(bound), quiet_situations(bound)
    away = {tie_name(c) for c in bound.channels} - {e.name for e in network.elements}
    igniters = [name for channel in bound.channels for name in channel.igniters]
    lines = tuple(
        Line(
            name=channel.name,
            igniters=channel.igniters,
            strings=tuple((name,) for name in channel.igniters),
            alike=False,
            switch=channel.switch,
            gate=Probe(node=channel.gate, reference=channel.source),
            gate_side=gates[channel.name],
            off_current=f"{channel.switch} off current",
            resistance=f"{channel.switch} resistance",
            inputs={"drain": channel.sense},
            clamps={"drain": f"converter {channel.sense} upper clamp"},
            loosened={name: (None, None, INSULATION) for name in channel.igniters},
        )
        for channel in bound.channels
    )
    beside: dict[str, dict[str, Ends]] = {
        name: {other: (CONTACT, None, INSULATION) for other in igniters if other != name} for name in igniters
    }
    return Board(
        circuit=replace(bound.roles.circuit, name=bound.netlist.name),
        situations=situations,
        faults=faults,
        settings={(s, rail): netlist_setting(bound, s, rail) for s in situations for rail in RAILS},
        lines=lines,
        network=network,
        whole=whole,
        tied=np.array([bool(away & fault.closed) for fault in faults], dtype=bool),
        hung=np.array([_hung(bound, sides, fault.closed) for fault in faults] + [_hung(bound, sides, frozenset())]),
        beside=beside,
        battery=bound.battery,
        arms=bound.arm,
        samples=_SAMPLES,
    )


def _hung(bound: Bound, sides: dict[str, GateSide], closed: frozenset[str]) -> list[bool]:
    """Which gates hang on the lines where some elements are closed: always, or through a MOSFET that ties its own."""
    tied = [sides[channel.name].nodes for channel in bound.channels if tie_name(channel) in closed]
    return [not side.apart or any(side.nodes & nodes for nodes in tied) for side in sides.values()]
