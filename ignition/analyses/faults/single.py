"""What a check asks of single faults: while disarmed, of the test path in every phase, and while armed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.board import Board
from ignition.analyses.faults.circuit_board import every_board
from ignition.analyses.faults.currents import highest_against
from ignition.analyses.faults.situations import Situation
from ignition.analyses.faults.worst import Worst
from ignition.analyses.no_fire.heating import current_limit
from ignition.circuit.model import Circuit
from ignition.findings.presets import own_rules
from ignition.kept import Kept
from ignition.network.linear import Indices
from ignition.typing import Amps, BoolArray, FloatArray, Missing, Ratio

__all__ = [
    "FailurePoint",
    "SingleFaults",
    "WorstFault",
    "board_fault_currents",
    "single_fault_currents",
    "single_fault_inputs",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstFault:
    """Single fault that drives the highest current through an igniter of one channel in one phase.

    Attributes
    ----------
    fault : Its name; empty where no fault drives any
    current : Highest current of the igniter, in either direction, while nobody commands it
    limit : What it is held against
    kind : Igniter type
    unsolved : Faults whose network has no solution, or whose worst corner was not found
    """

    channel: str
    phase: str
    fault: str
    igniter: str
    kind: str
    controller: str
    current: Amps
    limit: Annotated[Amps | None, Missing(otherwise="no no-fire current is given")]
    unsolved: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FailurePoint:
    """Single fault that may fire an igniter while armed.

    Attributes
    ----------
    current : Highest current of the igniter that comes nearest to its no-fire current, or passes it furthest
    """

    fault: str
    channel: str
    igniter: str
    current: Amps
    share: Ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class SingleFaults:
    """Single faults of a circuit, as a check asks of them.

    Attributes
    ----------
    disarmed : Worst single fault of each channel while disarmed, against its no-fire current
    test_path : Worst single fault of the sense divider, its pin, clamps and second measurement, of each channel in each
        phase, against the largest monitor current
    points : Single faults that may fire an igniter while armed
    fewest : Fewest faults that may fire an igniter in each phase; 2 stands for two or more
    unsolved : Faults of each phase whose network has no solution or whose worst corner was not found
    left_out : Faults that the circuit file leaves out, each with its reason
    """

    disarmed: tuple[WorstFault, ...]
    test_path: tuple[WorstFault, ...]
    points: tuple[FailurePoint, ...]
    fewest: dict[str, Literal[0, 1, 2]]
    unsolved: dict[str, tuple[str, ...]]
    left_out: Mapping[str, str]


def single_fault_currents(circuit: Circuit) -> SingleFaults:
    """Analyse every single fault in every phase, those of the test path alone while a channel fires.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> found = single_fault_currents(load_example("tether-cutter"))
    >>> found.fewest["disarmed"], found.fewest["armed"]
    (2, 1)
    """
    return _KEPT.answers([circuit], lambda asked: [board_fault_currents(every_board(one)) for one in asked])[0]


def board_fault_currents(board: Board) -> SingleFaults:
    """Analyse every single fault of a board in the same way."""
    bench = Bench.on(board)
    path = [k for k, fault in enumerate(bench.faults) if fault.side == "test path"]
    everything = [-1, *range(len(bench.faults))]
    alone = len(board.lines) == 1  # nobody is left whom no one commands
    tested = [] if alone else path
    asked = [tested if s.phase == "firing" else everything for s in bench.situations]
    members = Members(
        situations=np.repeat(np.arange(len(asked)), [len(some) for some in asked]),
        picks=np.array([k for some in asked for k in some], dtype=np.intp)[:, None],
    )
    limits = board.limits("threshold_low"), _monitor_limits(bench)
    quiet, path_alone = highest_against(bench, members, limits, starts=1)
    work = _Work(bench=bench, members=members, path=np.isin(members.picks[:, 0], path))
    phases = tuple(dict.fromkeys(s.phase for s in bench.situations))
    return SingleFaults(
        disarmed=tuple(work.worst(quiet, "disarmed", number) for number in range(len(board.lines))),
        test_path=tuple(
            work.worst(path_alone, phase, number, test_path=True)
            for number in range(len(board.lines))
            for phase in phases
        ),
        points=tuple(work.points(quiet)),
        fewest={phase: work.fewest(quiet, phase) for phase in phases if phase != "firing"},
        unsolved={phase: work.unsolved(quiet, phase) for phase in phases if phase != "firing"},
        left_out=board.left_out,
    )


def single_fault_inputs(circuit: Circuit) -> tuple[object, ...]:
    """Return everything that single faults depend on: the same for circuits whose single faults are the same."""
    battery, controller = circuit.battery, circuit.controller
    return (
        circuit.ambient,
        (battery.voltage, battery.resistance, battery.slow_resistance, battery.bank_resistance),
        (battery.recharge_resistance, battery.bank_capacitance is None),
        tuple((part.name, part.kind, part.resistance) for part in circuit.feed),
        circuit.loads,
        (controller.powered_before_arm_switch, controller.supply, controller.dropout, controller.current),
        (controller.pin, controller.adc),
        tuple(
            (i.name, i.resistance, i.heated, i.spent_resistance, i.threshold_low, i.all_fire_current)
            for i in circuit.igniters.values()
        ),
        tuple(
            (
                (
                    m.name,
                    m.threshold,
                    m.threshold_drift,
                    m.threshold_current,
                    m.subthreshold_slope,
                    m.rows,
                    m.hot_factor,
                ),
                (m.leakage_cool, m.leakage_hot, m.gate_leakage, m.max_junction),
            )
            for m in circuit.mosfets.values()
        ),
        tuple(
            (
                (c.name, c.strings, c.mosfet, None if c.branch is None else c.branch.resistance),
                (c.gate_series, c.pull_downs, c.gate_capacitor is None, c.uppers, c.lower, c.filter is None),
                c.lead.resistance,
                (c.pin_resistor, c.second, c.high_side, c.return_contact, c.shunt),
            )
            for c in circuit.channels
        ),
        own_rules(circuit),
        repr(circuit.given.faults),
    )


_KEPT = Kept[Circuit, SingleFaults](inputs=single_fault_inputs, size=64)


def _monitor_limits(bench: Bench) -> FloatArray:
    """Largest monitor current through each igniter of the circuit [A], nan where none is known."""
    channels = bench.circuit.channels
    limits = [current_limit(bench.circuit, channels[owner])[0] for owner in bench.owner]
    return np.array([np.nan if limit is None else limit for limit in limits])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Work:
    """Members with one fault or none in each situation, and which of them are faults of the test path."""

    bench: Bench
    members: Members
    path: BoolArray

    def rows(self, phase: str) -> Indices:
        """Places of the members of a phase."""
        return np.flatnonzero(np.isin(self.members.situations, self.bench.numbers(phase)))

    def worst(self, found: Worst, phase: str, channel: int, *, test_path: bool = False) -> WorstFault:
        """Worst fault of a channel in a phase; a channel that is commanded in every situation has none."""
        rows = self.rows(phase)
        rows = rows[self.path[rows]] if test_path else rows[self.members.picks[rows, 0] >= 0]
        unsolved = [self._name(row) for row in rows if not found.settled[row, channel]]
        rows = rows[found.igniter[rows, channel] >= 0]
        line = self.bench.board.lines[channel]
        kinds = line.igniters
        fault, igniter, controller, current = "", next(iter(kinds)), "alive", 0.0
        if len(rows):
            row = rows[np.lexsort((found.current[rows, channel], found.rank[rows, channel]))[-1]]
            fault, igniter = self._name(row), found.names[found.igniter[row, channel]]
            controller, current = self._situation(row).controller, float(found.current[row, channel])
        return WorstFault(
            channel=line.name,
            phase=phase,
            fault=fault,
            igniter=igniter,
            kind=kinds[igniter],
            controller=controller,
            current=current,
            limit=self._limit(test_path, channel, kinds[igniter]),
            unsolved=tuple(dict.fromkeys(unsolved)),
        )

    def points(self, found: Worst) -> Sequence[FailurePoint]:
        """Faults that may fire an igniter while armed, each in its worst situation and channel."""
        rows = self.rows("armed")
        rows = rows[self.members.picks[rows, 0] >= 0]
        points: dict[str, FailurePoint] = {}
        for row, channel in zip(*np.nonzero(found.beyond[rows]), strict=True):
            spot, name = (rows[row], channel), self._name(rows[row])
            share = float(found.share[spot])
            if name not in points or share > points[name].share:
                points[name] = FailurePoint(
                    fault=name,
                    channel=self.bench.board.lines[channel].name,
                    igniter=found.names[found.igniter[spot]],
                    current=float(found.current[spot]),
                    share=share,
                )
        return list(points.values())

    def fewest(self, found: Worst, phase: str) -> Literal[0, 1, 2]:
        """Fewest faults that may fire an igniter in a phase, up to one."""
        rows = self.rows(phase)
        beyond, none = found.beyond[rows], self.members.picks[rows, 0] < 0
        return 0 if beyond[none].any() else 1 if beyond.any() else 2

    def unsolved(self, found: Worst, phase: str) -> tuple[str, ...]:
        """Faults of a phase that are not solved and not known to fire."""
        rows = self.rows(phase)
        rows = rows[~found.settled[rows].all(axis=1) & ~found.beyond[rows].any(axis=1)]
        return tuple(dict.fromkeys(self._name(row) for row in rows))

    def _name(self, row: int) -> str:
        number = int(self.members.picks[row, 0])
        return self.bench.faults[number].name if number >= 0 else "nothing broken"

    def _situation(self, row: int) -> Situation:
        number = int(self.members.situations[row])
        return self.bench.situations[number]

    def _limit(self, test_path: bool, channel: int, kind: str) -> float | None:
        circuit = self.bench.circuit
        if test_path:
            return current_limit(circuit, circuit.channels[channel])[0]
        return circuit.igniters[kind].threshold_low
