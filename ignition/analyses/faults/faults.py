"""Faults: what each broken part does in each phase, which reading shows it, and the fewest faults that fire."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.board import Board
from ignition.analyses.faults.circuit_board import every_board
from ignition.analyses.faults.corners import Corners
from ignition.analyses.faults.currents import hazards, highest_uncommanded, lowest_commanded
from ignition.analyses.faults.cut_sets import CutSets, minimal_cut_sets
from ignition.analyses.faults.fault import Fault
from ignition.analyses.faults.inhibits import inhibits
from ignition.analyses.faults.readings import measurements, read
from ignition.analyses.faults.results import FaultClass, FaultRow, Faults, PhaseFaults
from ignition.analyses.faults.situations import Situation
from ignition.analyses.faults.strain import Strain, strain
from ignition.analyses.faults.worst import Worst
from ignition.analyses.no_fire.heating import highest_fraction
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.network.linear import Indices
from ignition.typing import BoolArray, FloatArray

__all__ = ["board_faults", "faults"]

_SILENT = "controller silent"


def faults(circuit: Circuit, order: int = 1) -> Faults:
    """Analyse faults one at a time, and more at a time up to an order.

    Raises InputError for an order that is not 1, 2 or 3.

    Parameters
    ----------
    order : Most faults at a time that are listed [1], 1 to 3; pairs are always evaluated, for what is latent

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> found = faults(load_example("tether-cutter"))
    >>> found.fewest["disarmed"], found.fewest["armed"]
    (2, 1)
    """
    return board_faults(every_board(circuit), order)


def board_faults(board: Board, order: int = 1) -> Faults:
    """Analyse the faults of a board in the same way.

    Raises InputError for an order that is not 1, 2 or 3.

    Parameters
    ----------
    order : Most faults at a time that are listed [1], 1 to 3
    """
    if order not in (1, 2, 3):
        raise InputError(f"the order is 1, 2 or 3 faults at a time; received {order}")
    work = _Singles.of(board)
    unsolved: dict[str, int] = {}
    sets = {phase: _cut_sets(work, phase, max(order, 2), unsolved) for phase in work.phases}
    return Faults(
        circuit=board.circuit.name,
        order=order,
        pin_limit=board.circuit.controller.pin.clamp_current_limit.low,
        phases=tuple(_phase(work, phase, sets[phase], order, unsolved.get(phase)) for phase in work.phases),
        inhibits=tuple(inhibits(board, sets)),
        left_out=board.left_out,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Singles:
    """Nothing and every single fault in every situation; arrays of shape (situations, faults + 1), the last: nothing.

    Attributes
    ----------
    shown : By which readings each fault shows, in any phase
    """

    bench: Bench
    quiet: Worst
    fired: Worst
    shown: tuple[tuple[str, ...], ...]
    corners: Corners
    strain: Strain

    @classmethod
    def of(cls, board: Board) -> _Singles:
        """Evaluate a board."""
        bench = Bench.on(board)
        count = len(bench.faults) + 1
        picks = np.append(np.arange(count - 1), -1)[:, None]
        members = Members.each(range(len(bench.situations)), picks)
        corners = Corners.none(bench)
        return cls(
            bench=bench,
            corners=corners,
            quiet=highest_uncommanded(bench, members, record=corners),
            fired=lowest_commanded(bench, members),
            shown=_shown(bench, picks),
            strain=strain(bench, members),
        )

    @property
    def phases(self) -> tuple[str, ...]:
        """Phases in their order."""
        return tuple(dict.fromkeys(s.phase for s in self.bench.situations))

    def rows(self, phase: str) -> Indices:
        """Places of the members of a phase, shape (situations of the phase, faults + 1)."""
        places = np.arange(len(self.quiet.current)).reshape(len(self.bench.situations), -1)
        return np.asarray(places[self.bench.numbers(phase)])


def _cut_sets(work: _Singles, phase: str, order: int, unsolved: dict[str, int]) -> CutSets:
    """Smallest sets of faults that are hazardous in a phase; of the larger ones small off currents are rounded up.

    Enters the size of the smallest sets that are not solved, where there are such.
    """
    rows = work.rows(phase)
    single: BoolArray = np.asarray(work.quiet.beyond[rows].any(axis=(0, 2)))
    missing = ~work.quiet.settled[rows].all(axis=(0, 2)) & ~single
    if missing.any():
        unsolved[phase] = 0 if missing[-1] else 1
    numbers = work.bench.numbers(phase)

    def happens(sets: Indices) -> BoolArray:
        if sets.shape[1] == 0:
            return single[-1:]
        if sets.shape[1] == 1:
            return np.asarray(single[sets[:, 0]])
        if missing[-1]:  # not solved with nothing broken: no set of faults would tell more
            return np.zeros(len(sets), dtype=bool)
        members = Members.each(numbers, sets)
        found, lost = (each.reshape(len(numbers), -1) for each in hazards(work.bench, members, work.corners))
        happening: BoolArray = np.asarray(found.any(axis=0))
        if (lost.any(axis=0) & ~happening).any():
            unsolved.setdefault(phase, sets.shape[1])
        return happening

    return minimal_cut_sets([fault.part for fault in work.bench.faults], happens, order)


def _shown(bench: Bench, picks: Indices) -> tuple[tuple[str, ...], ...]:
    found: list[list[str]] = [[] for _ in picks]
    for number, situation in enumerate(bench.situations):
        if not measurements(bench, situation):
            continue
        readings = read(bench, number, picks)
        healthy = readings.take(np.array([len(picks) - 1]))
        for row, flags in enumerate(readings.apart(healthy)):
            names = [f"{m.name} ({m.phase})" for m, flag in zip(readings.measurements, flags, strict=True) if flag]
            found[row] += [_SILENT] if readings.silent[row] and _SILENT not in found[row] else names
    return tuple(tuple(names) for names in found)


def _phase(work: _Singles, phase: str, sets: CutSets, order: int, unsolved: int | None) -> PhaseFaults:
    every = work.rows(phase)
    latent = {k for pick in sets.of_size(2) for k in pick}
    rows = []
    for number, fault in enumerate(work.bench.faults):
        shown = work.shown[number]
        kind, source, spot = _class(work.quiet, work.fired, every[:, number])
        if kind == "harmless" and (shown or number in latent):
            kind = "detected" if shown else "latent"
        situation = work.bench.situations[spot[0] // (len(work.bench.faults) + 1)]
        row = _row(work.bench, source, spot, situation, (fault,), kind, shown)
        rows.append(replace(row, **_strained(work.strain, every[:, number])))
    for size in range(2, order + 1):
        rows += _larger(work, phase, np.array(sets.of_size(size), dtype=np.intp).reshape(-1, size))
    parts = Counter(work.bench.faults[k].part for events in sets.sets for k in events)
    return PhaseFaults(
        phase=phase,
        faults=tuple(rows),
        fewest=None if unsolved is not None and (sets.fewest is None or unsolved < sets.fewest) else sets.fewest,
        unsolved=unsolved,
        pairs=len(sets.of_size(2)),
        recurring=dict(parts.most_common()),
    )


def _strained(found: Strain, places: Indices) -> dict[str, Any]:
    """Highest currents of battery and pins in some members."""
    return {
        "battery_current": _highest(found.battery[places]),
        "pin_currents": {name: _highest(current[places]) for name, current in found.pins.items()},
    }


def _highest(currents: FloatArray) -> float | None:
    return None if np.isnan(currents).any() else float(currents.max())


_Spot = tuple[int, int]
"""Member and channel."""


def _class(quiet: Worst, fired: Worst, places: Indices) -> tuple[FaultClass, Worst, _Spot]:
    """Class by currents alone, and where the current stands that decides it, in the worst of some members."""
    worst, least = _worst(quiet, places), _worst(fired, places)
    uncommanded = fired if quiet.igniter[worst] < 0 <= fired.igniter[least] else quiet
    spot = worst if uncommanded is quiet else least
    if quiet.beyond[worst]:
        return "hazardous", quiet, worst
    if not (quiet.settled[places].all() and fired.settled[places].all()):
        return "not solved", uncommanded, spot
    if fired.beyond[least]:
        return "dud", fired, least
    unjudged = any(((one.igniter >= 0) & np.isnan(one.share))[places].any() for one in (quiet, fired))
    return "not judged" if unjudged else "harmless", uncommanded, spot


def _worst(one: Worst, places: Indices) -> _Spot:
    """Member and channel of the highest rank, of several the one of the worst current."""
    rank, current = one.rank[places], one.sign * one.current[places]
    flat = int(np.lexsort((current.ravel(), rank.ravel()))[-1])
    return int(places[flat // rank.shape[1]]), flat % rank.shape[1]


def _larger(work: _Singles, phase: str, picks: Indices) -> Iterator[FaultRow]:
    """Rows of sets that are hazardous, each in its worst situation, without rounding."""
    numbers = work.bench.numbers(phase)
    members = Members.each(numbers, picks)
    found = highest_uncommanded(work.bench, members)
    places = np.arange(len(members.situations)).reshape(len(numbers), -1)
    for column, pick in enumerate(picks):
        spot = _worst(found, places[:, column])
        faults = tuple(work.bench.faults[k] for k in pick)
        situation = work.bench.situations[members.situations[spot[0]]]
        yield _row(work.bench, found, spot, situation, faults, "hazardous", ())


def _row(
    bench: Bench,
    source: Worst,
    spot: _Spot,
    situation: Situation,
    faults: tuple[Fault, ...],
    kind: FaultClass,
    shown: tuple[str, ...],
) -> FaultRow:
    line, number = bench.board.lines[spot[1]], source.igniter[spot]
    name = source.names[number] if number >= 0 else next(iter(line.igniters))
    igniter, commanded = bench.circuit.igniters[line.igniters[name]], source.sign < 0.0
    current = None if kind == "not solved" or number < 0 else float(source.current[spot])
    likely = [fault.likelihood for fault in faults]
    return FaultRow(
        faults=tuple(fault.name for fault in faults),
        channel=line.name,
        igniter=name,
        controller=situation.controller,
        current=current,
        limit=igniter.all_fire_current if commanded else igniter.threshold_low,
        commanded=commanded,
        thermal_fraction=None if current is None or commanded else highest_fraction(igniter, current, None),
        likelihood=None if None in likely else math.prod(one for one in likely if one is not None),
        battery_current=None,
        pin_currents={},
        kind=kind,
        detected_by=shown,
        members=faults,
    )
