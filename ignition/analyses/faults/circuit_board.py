"""A circuit file's circuit laid out for faults."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from ignition.analyses.faults.board import INSULATION, Board, Contact, Ends, Line
from ignition.analyses.faults.changes import RAILS, Rail
from ignition.analyses.faults.fault import Fault, left_out, single_faults
from ignition.analyses.faults.situations import Setting, Situation, healthy, situations
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.template import adc_pin, bus_pin, high_side_closed, igniter_kinds, igniter_names
from ignition.network.whole import CONTACT, gate, gate_network, whole_network
from ignition.network.worst_case import Probe

__all__ = ["circuit_board", "circuit_lines", "every_board"]


def circuit_lines(circuit: Circuit) -> tuple[Line, ...]:
    """Return the channels of a circuit as faults look at them."""
    return tuple(
        Line(
            name=channel.name,
            igniters=igniter_kinds(channel),
            strings=igniter_names(channel),
            alike=True,
            switch=f"{channel.name}.mosfet",
            gate=Probe(node=gate(channel)),
            gate_side=gate_network(circuit, channel),
            off_current=f"{channel.name}.off current",
            resistance=f"{channel.name}.mosfet",
            inputs={"drain": adc_pin(channel)} | ({} if channel.bus_divider is None else {"bus": bus_pin(channel)}),
            clamps={what: f"{channel.name}.{element}" for what, element in _clamps(channel)},
            loosened=dict(_loosened(circuit, channel)),
            contacts=tuple(_contacts(circuit, channel)),
        )
        for channel in circuit.channels
    )


def _loosened(circuit: Circuit, channel: ChannelModel) -> Iterator[tuple[str, Ends]]:
    """Open, or as its bridges are once it has been fired."""
    for end in ("out", "back"):
        yield f"{channel.name}.lead {end}", (None, None, INSULATION)
    for name, kind in igniter_kinds(channel).items():
        spent = circuit.igniters[kind].spent_resistance
        if spent is not None:
            yield name, (min(max(spent.low, CONTACT), circuit.igniters[kind].heated.low), None, None)


def circuit_board(
    circuit: Circuit,
    asked: Sequence[Situation],
    faults: Sequence[Fault],
) -> Board:
    """Lay a circuit out.

    Parameters
    ----------
    asked, faults : Situations and faults, of which members are made
    """
    settings: dict[tuple[Situation, Rail], Setting] = {}
    for situation in asked:
        regulated = healthy(circuit, situation)
        for rail in RAILS:
            alive = situation.controller == "alive" and rail != "regulated"
            settings[situation, rail] = healthy(circuit, situation, rail) if alive else regulated
    return Board(
        circuit=circuit,
        situations=tuple(asked),
        faults=tuple(faults),
        settings=settings,
        lines=circuit_lines(circuit),
        network=whole_network(circuit, gates=False),
        whole=whole_network(circuit),
        tied=np.array([any(name.endswith(".drain-gate short") for name in f.closed) for f in faults], dtype=bool),
        hung=np.zeros((len(faults) + 1, len(circuit.channels)), dtype=bool),
        beside={name: near for channel in circuit.channels for name, near in _beside(channel).items()},
        battery="battery",
        arms=(circuit.arm_switch.name,),
    )


def every_board(circuit: Circuit) -> Board:
    """Lay a circuit out in every situation, with every single fault that its file does not leave out."""
    board = circuit_board(circuit, situations(circuit), single_faults(circuit))
    return replace(board, left_out=left_out(circuit))


def _contacts(circuit: Circuit, channel: ChannelModel) -> Iterator[Contact]:
    """Contacts of a line, with the phases in which they keep current off."""
    name, disarmed = channel.name, frozenset({"disarmed"})
    if channel.high_side is not None:
        kept = [
            p for p in ("disarmed", "reset", "armed", "firing") if not high_side_closed(circuit, p, commanded=False)
        ]
        yield Contact(
            says="high-side switch open", phases=frozenset(kept), defeated_by=f"{name}.high side stuck-closed"
        )
    if channel.return_contact is not None:
        fault = f"{name}.return contact stuck-closed"
        yield Contact(says="contact in the return open", phases=disarmed, defeated_by=fault)
    if channel.shunt is not None:
        yield Contact(says="shunt across the line", phases=disarmed, defeated_by=f"{name}.shunt stuck-open")


def _clamps(channel: ChannelModel) -> Iterator[tuple[str, str]]:
    """Pins of the controller on a line, each with its clamp."""
    yield "drain", "clamp"
    if channel.bus_divider is not None:
        yield "bus", "bus clamp"
    if channel.pull_up is not None:
        yield "pull-up", "pull-up clamp"


def _beside(channel: ChannelModel) -> dict[str, dict[str, Ends]]:
    """Beside each igniter: the other strings of its channel not connected or spent, its own string's others shorted."""
    strings, found = igniter_names(channel), {}
    first = [own[0] if channel.branch is None else f"{channel.name}.branch {k}" for k, own in enumerate(strings, 1)]
    for number, string in enumerate(strings):
        apart: dict[str, Ends] = {
            part: (INSULATION, INSULATION, INSULATION) for k, part in enumerate(first) if k != number
        }
        for name in string:
            shorted: dict[str, Ends] = {other: (CONTACT, None, None) for other in string if other != name}
            found[name] = shorted | apart
    return found
