"""Time of faults: a batched solve of every pair, the worst-case search of every pair, and growth with the channels.

Run: PYTHONPATH=. python tests/benchmarks/bench_faults.py

Prints times and ratios of one run; nothing is asserted, because the times are the machine's.
"""

from __future__ import annotations

from itertools import combinations
from time import perf_counter

import numpy as np

from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.circuit_board import every_board
from ignition.analyses.faults.corners import Corners
from ignition.analyses.faults.currents import hazards, highest_uncommanded
from ignition.analyses.faults.fault import single_faults
from ignition.analyses.faults.faults import board_faults
from ignition.analyses.faults.single import board_fault_currents
from ignition.analyses.faults.situations import situations
from ignition.circuit.examples import DEMO, load_example, netlist_example
from ignition.foreign.binding import bind
from ignition.foreign.board import netlist_board
from ignition.foreign.reader import parse_netlist
from ignition.foreign.roles import parse_roles
from tests.analyses.faults.boards import SPLIT, held

SAMPLE = 60
"""Members that are solved one by one for the ratio [1]."""


def laid_out(table: Bench, size: int) -> Members:
    """All sets of some faults of different parts, in every situation."""
    parts = [fault.part for fault in table.faults]
    every = combinations(range(len(parts)), size)
    sets = np.array([s for s in every if len({parts[k] for k in s}) == size], dtype=np.intp)
    return Members.each(range(len(table.situations)), sets)


def main() -> None:
    """Print the times."""
    circuit = load_example(DEMO)
    start = perf_counter()
    table = Bench.of(circuit, situations(circuit), single_faults(circuit))
    print(
        f"laying out {len(table.faults)} faults in {len(table.situations)} situations: {perf_counter() - start:.2f} s"
    )
    pairs = laid_out(table, 2)
    start = perf_counter()
    batches = list(table.batches(pairs, coarse=True))
    print(f"laying out {len(pairs.situations)} pairs: {perf_counter() - start:.2f} s")
    start = perf_counter()
    for batch in batches:
        batch.boxes.solved(batch.boxes.nominal)
    solving = perf_counter() - start
    rows = sum(len(batch.first) for batch in batches)
    print(f"solving all of them once, {rows} that differ: {solving:.2f} s, {1e6 * solving / rows:.1f} us each")
    boxes = batches[0].boxes
    start = perf_counter()
    for row in range(SAMPLE):
        one = boxes.take(np.array([row]))
        one.solved(one.nominal)
    single = (perf_counter() - start) / SAMPLE
    print(f"one by one: {1e6 * single:.0f} us each, {single * rows / solving:.0f} times as long")
    start = perf_counter()
    corners = Corners.none(table)
    count = len(table.faults)
    singles = Members.each(range(len(table.situations)), np.array([*range(count), -1])[:, None])
    highest_uncommanded(table, singles, record=corners)
    print(f"worst case of every single fault: {perf_counter() - start:.2f} s")
    start = perf_counter()
    found, _ = hazards(table, pairs, corners)
    print(f"worst case of every pair, {int(found.sum())} hazardous: {perf_counter() - start:.2f} s")
    for channels in (1, 2, 4):
        board = held(channels=str(channels), sense=SPLIT)
        start = perf_counter()
        board_fault_currents(every_board(board))
        taken = perf_counter() - start
        print(f"{channels} channels, {len(single_faults(board))} single faults, as check asks them: {taken:.2f} s")
    shown = netlist_example()
    netlist = netlist_board(bind(parse_netlist(shown.netlist), parse_roles(shown.roles)))
    start = perf_counter()
    board_fault_currents(netlist)
    print(f"a netlist, {len(netlist.faults)} single faults: {perf_counter() - start:.2f} s")
    start = perf_counter()
    board_faults(netlist)
    print(f"and every pair of them: {perf_counter() - start:.2f} s")


if __name__ == "__main__":
    main()
