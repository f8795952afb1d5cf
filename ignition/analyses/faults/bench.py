"""Situations and sets of faults as batches: what holds the gates is settled first, then the lines are laid out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from ignition.analyses.faults.board import Board
from ignition.analyses.faults.changes import Changes
from ignition.analyses.faults.circuit_board import circuit_board
from ignition.analyses.faults.fault import Fault
from ignition.analyses.faults.gates import Switch, gate_voltages, settled_gates, switches
from ignition.analyses.faults.situations import Situation
from ignition.circuit.model import Circuit
from ignition.network.linear import Indices
from ignition.network.worst_members import Boxes
from ignition.typing import ArrayLike, BoolArray, FloatArray

__all__ = ["Batch", "Bench", "Members"]

_CHUNK_VALUES = 300_000
"""Numbers that are laid out at a time, rows by elements by igniters: more is beyond the caches [1]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Members:
    """Sets of faults, each in one situation.

    Attributes
    ----------
    situations : Number of each member's situation, shape (m,)
    picks : Numbers of its faults, in the order of the fault list, -1 for none, shape (m, k)
    """

    situations: Indices
    picks: Indices

    @classmethod
    def each(cls, situations: ArrayLike, picks: Indices) -> Members:
        """Make every set of faults in every one of some situations, one situation after the other.

        Parameters
        ----------
        situations : Numbers of the situations, shape (s,)
        picks : Numbers of the faults of each set, shape (sets, k)
        """
        numbers = np.asarray(situations, dtype=np.intp)
        return cls(situations=np.repeat(numbers, len(picks)), picks=np.tile(picks, (len(numbers), 1)))

    def take(self, members: Indices) -> Members:
        """Return some members.

        Parameters
        ----------
        members : Their places, shape (n,)
        """
        return Members(situations=self.situations[members], picks=self.picks[members])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batch:
    """Members as bounds and states of a network; members in which the same is changed share a row.

    Attributes
    ----------
    members : Places of the members that belong to it, shape (n,)
    place : Row of each of them, shape (n,)
    first : Place of a member for each row, shape (rows,)
    unsettled : Rows in which gate voltage and off current do not settle, so that nothing is known, shape (rows,)
    """

    boxes: Boxes
    members: Indices
    place: Indices
    first: Indices
    unsettled: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bench:
    """A board with everything laid out that its faults change: its lines, its gates, and all together.

    Attributes
    ----------
    igniters, owner : All igniters of the circuit, and the number of the channel of each
    applied : Place of each fault in the order in which faults apply: those common to channels first
    gate_voltages : What was solved of the gates so far [V], by channel and what is changed there
    """

    board: Board
    igniters: tuple[str, ...]
    owner: Indices
    lines: Changes
    gates: tuple[Changes | None, ...]
    whole: Changes
    applied: Indices
    gate_voltages: dict[tuple[int, bytes], FloatArray] = field(default_factory=dict, repr=False)

    @classmethod
    def of(
        cls,
        circuit: Circuit,
        situations: Sequence[Situation],
        faults: Sequence[Fault],
    ) -> Bench:
        """Lay the circuit of a circuit file out.

        Parameters
        ----------
        situations, faults : What members are made of
        """
        return cls.on(circuit_board(circuit, situations, faults))

    @classmethod
    def on(cls, board: Board) -> Bench:
        """Lay out what the faults of a board change."""
        situations, faults = board.situations, board.faults
        lines = Changes.of(board.network, situations, board.settings, faults)
        sides = [line.gate_side for line in board.lines]
        order = sorted(range(len(faults)), key=lambda k: (faults[k].channel is not None, faults[k].name))
        applied = np.empty(len(faults) + 1, dtype=np.intp)
        applied[[*order, -1]] = np.arange(len(faults) + 1)
        owner = [number for number, line in enumerate(board.lines) for _ in line.igniters]
        return cls(
            board=board,
            igniters=tuple(board.igniters),
            owner=np.array(owner, dtype=np.intp),
            lines=lines,
            gates=tuple(s if s is None else Changes.of(s, situations, board.settings, faults) for s in sides),
            whole=Changes.of(board.whole, situations, board.settings, faults),
            applied=applied,
        )

    @property
    def circuit(self) -> Circuit:
        """Circuit that the board is of."""
        return self.board.circuit

    @property
    def situations(self) -> tuple[Situation, ...]:
        """What the board can be in."""
        return self.board.situations

    @property
    def faults(self) -> tuple[Fault, ...]:
        """What can be wrong with it."""
        return self.board.faults

    def numbers(self, *phases: str) -> Indices:
        """Return the numbers of the situations of some phases.

        Parameters
        ----------
        phases : Their names
        """
        return np.array([k for k, s in enumerate(self.situations) if s.phase in phases], dtype=np.intp)

    def batches(self, members: Members, coarse: bool = False) -> Iterator[Batch]:
        """Lay out members, not too many at a time.

        Parameters
        ----------
        coarse : Whether small off currents are rounded up, so that more members share a row
        """
        order = np.argsort(self.applied[members.picks], axis=1, kind="stable")
        picks = np.take_along_axis(members.picks, order, axis=1)
        bases = self.lines.bases(members.situations, picks)
        numbers, passed, unsettled = self._switches(bases, picks, members.situations, coarse)
        tied = np.append(self.board.tied, False)[picks].any(axis=1)
        for changes, some in ((self.lines, np.flatnonzero(~tied)), (self.whole, np.flatnonzero(tied))):
            kinds = _packed(changes.kinds[bases[some, None], picks[some]])
            keys = np.concatenate([bases[some, None], kinds, numbers[some], unsettled[some, None]], axis=1)
            _, first, place = np.unique(keys, axis=0, return_index=True, return_inverse=True)
            chunk = self._chunk(changes, len(self.igniters))
            for start in range(0, len(first), chunk):
                rows = np.arange(start, min(start + chunk, len(first)))
                own = np.flatnonzero((place >= start) & (place <= rows[-1]))
                firsts = some[first[rows]]
                boxes = changes.boxes(bases[firsts], picks[firsts])
                self._put(boxes, numbers[firsts], passed)
                yield Batch(
                    boxes=boxes,
                    members=some[own],
                    place=place[own] - start,
                    first=firsts,
                    unsettled=unsettled[firsts],
                )

    @staticmethod
    def _chunk(changes: Changes, igniters: int) -> int:
        """Rows of a network that are laid out at a time."""
        return max(_CHUNK_VALUES // (len(changes.network.elements) * igniters), 1)

    def _put(self, boxes: Boxes, numbers: Indices, passed: Sequence[Sequence[Switch]]) -> None:
        """Put what each MOSFET is among the bounds."""
        columns = {name: k for k, name in enumerate(boxes.network.parameters)}
        for line, own, found in zip(self.board.lines, numbers.T, passed, strict=True):
            places = [columns[line.off_current], columns[line.resistance]]
            ends = np.array([(s.current, s.resistance) for s in found])[own]
            boxes.low[:, places], boxes.nominal[:, places], boxes.high[:, places] = np.moveaxis(ends, 2, 0)

    def _switches(
        self, bases: Indices, picks: Indices, situations: Indices, coarse: bool
    ) -> tuple[Indices, list[list[Switch]], BoolArray]:
        """Number of what each MOSFET is to each member, what the numbers stand for, and where nothing settles."""
        lines = self.board.lines
        numbers = np.zeros((len(bases), len(lines)), dtype=np.intp)
        known: list[dict[Switch, int]] = [{} for _ in lines]
        told = np.array([[line.name in s.commanded for line in lines] for s in self.situations], dtype=bool)
        for index, changes in enumerate(self.gates):
            if changes is None:
                continue
            commanded = told[situations, index]
            # what holds a gate differs little between situations: the same bounds and states are solved once
            alike = _alike(changes)
            kinds = _packed(changes.kinds[bases[:, None], picks])
            keys = np.concatenate([alike[bases, None], kinds, commanded[:, None]], axis=1)
            _, first, place = np.unique(keys, axis=0, return_index=True, return_inverse=True)
            volts = self._gates_at(index, keys[first], changes, bases[first], picks[first])
            each = switches(self.board, index, volts, commanded[first], coarse)
            numbers[:, index] = _numbered(each, known[index])[place]
        unsettled = self._hung(bases, picks, numbers, known, coarse)
        return numbers, [list(switch) for switch in known], unsettled

    def _hung(
        self, bases: Indices, picks: Indices, numbers: Indices, known: Sequence[dict[Switch, int]], coarse: bool
    ) -> BoolArray:
        """Enter what each MOSFET is whose gate hangs on the lines; return where that does not settle."""
        unsettled = np.zeros(len(bases), dtype=bool)
        hung: BoolArray = np.asarray(self.board.hung[picks].any(axis=1))
        some = np.flatnonzero(hung.any(axis=1))
        kinds = _packed(self.whole.kinds[bases[some, None], picks[some]])
        keys = np.concatenate([bases[some, None], kinds, np.where(hung[some], -1, numbers[some])], axis=1)
        _, first, place = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        chunk = self._chunk(self.whole, 1)
        for start in range(0, len(first), chunk):
            rows = some[first[start : start + chunk]]
            boxes = self.whole.boxes(bases[rows], picks[rows])
            usual = [
                np.array([(s.current, s.resistance) for s in found] or [((0.0,) * 3,) * 2])[numbers[rows, k]]
                for k, found in enumerate(known)
            ]
            volts, settled = settled_gates(self.board, boxes, np.stack(usual, axis=1), hung[rows])
            own = (place >= start) & (place < start + len(rows))
            unsettled[some[own]] = ~settled[place[own] - start]
            for index in range(len(self.board.lines)):
                asked = own & hung[some, index]
                each = switches(self.board, index, volts[:, index], np.zeros(len(rows), dtype=bool), coarse)
                numbers[some[asked], index] = _numbered(each, known[index])[place[asked] - start]
        return unsettled

    def _gates_at(self, index: int, keys: Indices, changes: Changes, bases: Indices, picks: Indices) -> FloatArray:
        """Lowest, nominal and highest gate voltage of a channel in each row [V]; what was solved is known by key."""
        names = [(index, row.tobytes()) for row in keys[:, :-1]]
        new = np.array([k for k, name in enumerate(names) if name not in self.gate_voltages], dtype=np.intp)
        if len(new):
            found = gate_voltages(self.board, index, changes.boxes(bases[new], picks[new]))
            self.gate_voltages.update({names[k]: volts for k, volts in zip(new, found, strict=True)})
        return np.array([self.gate_voltages[name] for name in names]).reshape(len(names), 3)


def _numbered(each: Iterator[Switch], known: dict[Switch, int]) -> Indices:
    """Number of each switch among those known."""
    return np.array([known.setdefault(switch, len(known)) for switch in each], dtype=np.intp)


def _packed(kinds: Indices) -> Indices:
    """Kinds in their order, those of faults that change nothing last."""
    return np.take_along_axis(kinds, np.argsort(kinds == 0, axis=1, kind="stable"), axis=1)


def _alike(changes: Changes) -> Indices:
    """Number of each base, the same where bounds, states and what every fault changes are the same."""
    keys: dict[bytes, int] = {}
    found = []
    for base in range(len(changes.low)):
        own = (changes.low, changes.nominal, changes.high, changes.closed)
        entries = (t.entries(np.full(t.count.shape[1], base), np.arange(t.count.shape[1])) for t in changes.tables)
        key = b"".join(part[base].tobytes() for part in own)
        key += b"".join(part.tobytes() for entry in entries for part in entry)
        found.append(keys.setdefault(key, len(keys)))
    return np.array(found, dtype=np.intp)
