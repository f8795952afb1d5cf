"""Faulted circuits in ngspice: single faults of three circuits and a netlist, and 200 random pairs, at nominal values."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pytest

from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.fault import single_faults
from ignition.analyses.faults.situations import situations
from ignition.circuit.examples import load_example, netlist_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.foreign.binding import bind
from ignition.foreign.board import netlist_board
from ignition.foreign.reader import parse_netlist
from ignition.foreign.roles import parse_roles
from ignition.network.solution import Solution
from ignition.network.template import adc_pin, drain
from ignition.spice.deck import operating_point_deck, read_operating_point
from ignition.spice.ngspice import run_operating_points
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND
from tests.spice.faulted import bare


def compared(table: Bench, members: Members, nodes: tuple[str, ...]) -> Iterator[tuple[str, bool, float, float]]:
    """What each row gives: quantity, whether a clamp or saturated switch is in it, our value and that of ngspice."""
    for batch in table.batches(members):
        solution: Solution = batch.boxes.solved(batch.boxes.nominal)
        rows = [bare(batch.boxes, row) for row in range(len(batch.first))]
        labels = [f"member {member}" for member in batch.first]
        decks = [
            operating_point_deck(network, values, label) for (network, values), label in zip(rows, labels, strict=True)
        ]
        for row, plot in enumerate(run_operating_points(decks, timeout=300.0)):
            theirs = read_operating_point(plot, rows[row][0])
            picks = [table.faults[k].name for k in members.picks[batch.first[row]] if k >= 0]
            label = f"{table.situations[members.situations[batch.first[row]]]}, {picks}"
            curved = bool(solution.active[row].any())
            for igniter in table.igniters:
                yield f"{igniter}: {label}", curved, solution.current(igniter)[row], theirs.currents[igniter]
            for node in nodes:
                yield f"{node}: {label}", curved, solution.voltage(node)[row], theirs.voltages[node]


def places(circuit: Circuit) -> tuple[str, ...]:
    """Drains and converter pins of a circuit."""
    return tuple(node for channel in circuit.channels for node in (drain(channel), adc_pin(channel)))


def held(table: Bench, members: Members, nodes: tuple[str, ...]) -> int:
    """Compare all, and return how many numbers."""
    count = 0
    for what, curved, ours, theirs in compared(table, members, nodes):
        count += 1
        # beside a short of 1 uohm a bridge's current is, in nodal analysis, a difference of two voltages lost in rounding
        limit, floor = 1e-3 if curved else 1e-6, 1e-8
        assert abs(ours - theirs) <= limit * max(abs(ours), abs(theirs)) + floor, (what, curved, ours, theirs)
    return count


@pytest.mark.parametrize("name", ["demo", "ejection-single-cell", "kelp-line-cutter"])
def test_every_single_fault(name: str) -> None:
    """Igniter currents, drains and converter pins under every fault, alive and armed, and fired."""
    circuit = load_example(name)
    asked = [s for s in situations(circuit) if s.controller == "alive" and s.phase in ("armed", "firing")][:2]
    table = Bench.of(circuit, asked, single_faults(circuit))
    count = len(table.faults) + 1
    members = Members(
        situations=np.repeat(np.arange(len(asked)), count),
        picks=np.tile(np.array([*range(count - 1), -1])[:, None], (len(asked), 1)),
    )
    assert held(table, members, places(circuit)) > 3 * len(table.faults)


def test_every_single_fault_of_a_line_with_contacts() -> None:
    """The same of a line with every contact and a pull-up, in every phase and while the pull-up tests it."""
    fitted = (
        'high_side = { resistance = "20 mohm", around = "10 kohm" }\nreturn_contact = "15 mohm"\nshunt = "50 mohm"\n'
        'second = { drain_pull_up = "47 kohm", before_arming = true }\n'
    )
    circuit = parse_circuit(edited(SOUND, ("gate = {", f"{fitted}gate = {{")), "contacts.toml")
    table = Bench.of(circuit, situations(circuit), single_faults(circuit))
    assert {s.tested for s in table.situations} == {"", "line"}
    members = Members.each(range(len(table.situations)), np.array([*range(len(table.faults)), -1])[:, None])
    assert held(table, members, places(circuit)) > 15 * len(table.faults)


def test_every_single_fault_of_a_netlist() -> None:
    """Igniter currents, drains and converter pins of the netlist example under every fault, disarmed and armed."""
    shown = netlist_example()
    bound = bind(parse_netlist(shown.netlist), parse_roles(shown.roles))
    table = Bench.on(netlist_board(bound))
    asked = [
        k
        for k, s in enumerate(table.situations)
        if (s.phase, s.controller) in (("disarmed", "alive"), ("armed", "dead"))
    ]
    members = Members.each(asked, np.array([*range(len(table.faults)), -1])[:, None])
    nodes = tuple(node for channel in bound.channels for node in (channel.drain, channel.sense))
    assert held(table, members, nodes) > 5 * len(table.faults)


def test_random_pairs() -> None:
    """200 pairs of the demo, each in a random situation, the controller alive or dead."""
    circuit = load_example("demo")
    table = Bench.of(circuit, situations(circuit), single_faults(circuit))
    rng = np.random.default_rng(20261130)
    parts = [fault.part for fault in table.faults]
    pairs = [pair for pair in combinations(range(len(parts)), 2) if parts[pair[0]] != parts[pair[1]]]
    chosen = rng.choice(len(pairs), 200, replace=False)
    members = Members(
        situations=rng.integers(0, len(table.situations), 200), picks=np.array([pairs[k] for k in chosen])
    )
    held(table, members, places(circuit))
