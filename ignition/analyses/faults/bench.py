"""Situations and sets of faults as batches: what holds the gates is settled first, then the lines are laid out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from ignition.analyses.faults.changes import RAILS, Changes, Rail
from ignition.analyses.faults.fault import Fault
from ignition.analyses.faults.situations import Setting, Situation, healthy
from ignition.analyses.no_fire.gate import off_current_range
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.linear import Indices
from ignition.network.template import igniter_kinds
from ignition.network.whole import gate, gate_network, whole_network
from ignition.network.worst_case import Probe
from ignition.network.worst_members import Boxes, bounds
from ignition.typing import ArrayLike, BoolArray, FloatArray

__all__ = ["Batch", "Bench", "Members"]

_OPEN = 1e12
"""Resistance of a MOSFET whose gate is not driven far enough to rely on [ohm]."""

_COARSE = (1e-6, 1e-5, 1e-4, 1e-3)
"""Ends to which a small off current is rounded up where sets of faults are only sought, not told [A]."""

_CHUNK_VALUES = 300_000
"""Numbers that are laid out at a time: rows, times elements, times igniters to look at; more is beyond the caches [1]."""


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
    """

    boxes: Boxes
    members: Indices
    place: Indices
    first: Indices


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bench:
    """A circuit laid out for faults: its lines, the gate side of each channel, and both together.

    Attributes
    ----------
    igniters, owner : All igniters of the circuit, and the number of the channel of each
    applied : Place of each fault in the order in which faults apply: those common to channels first
    tied : Whether a fault ties lines and gates together, so that only the whole network tells
    gate_voltages : What was solved of the gates so far [V], by channel and what is changed there
    """

    circuit: Circuit
    situations: tuple[Situation, ...]
    faults: tuple[Fault, ...]
    igniters: tuple[str, ...]
    owner: Indices
    lines: Changes
    gates: tuple[Changes, ...]
    whole: Changes
    applied: Indices
    tied: BoolArray
    gate_voltages: dict[tuple[int, bytes], FloatArray] = field(default_factory=dict, repr=False)

    @classmethod
    def of(
        cls,
        circuit: Circuit,
        situations: Sequence[Situation],
        faults: Sequence[Fault],
        alter: Callable[[Situation, Setting], Setting] | None = None,
    ) -> Bench:
        """Lay a circuit out.

        Parameters
        ----------
        situations, faults : What members are made of
        alter : What a part that the circuit does not describe makes of a situation's bounds and states
        """
        settings: dict[tuple[Situation, Rail], Setting] = {}
        for situation in situations:
            regulated = healthy(circuit, situation)
            for rail in RAILS:
                alive = situation.controller == "alive" and rail != "regulated"
                setting = healthy(circuit, situation, rail) if alive else regulated
                settings[situation, rail] = setting if alter is None else alter(situation, setting)
        networks = [whole_network(circuit, gates=False), *(gate_network(circuit, c) for c in circuit.channels)]
        lines, *gates = (Changes.of(network, situations, settings, faults) for network in networks)
        order = sorted(range(len(faults)), key=lambda k: (faults[k].channel is not None, faults[k].name))
        applied = np.empty(len(faults) + 1, dtype=np.intp)
        applied[[*order, -1]] = np.arange(len(faults) + 1)
        owners = {name: k for k, channel in enumerate(circuit.channels) for name in igniter_kinds(channel)}
        tied = [any(name.endswith(".drain-gate short") for name in fault.closed) for fault in faults]
        return cls(
            circuit=circuit,
            situations=tuple(situations),
            faults=tuple(faults),
            igniters=tuple(owners),
            owner=np.array(list(owners.values()), dtype=np.intp),
            lines=lines,
            gates=tuple(gates),
            whole=Changes.of(whole_network(circuit), situations, settings, faults),
            applied=applied,
            tied=np.array([*tied, False], dtype=bool),
        )

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
        switches, passed = self._switches(bases, picks, members.situations, coarse)
        tied = self.tied[picks].any(axis=1)
        for changes, some in ((self.lines, np.flatnonzero(~tied)), (self.whole, np.flatnonzero(tied))):
            kinds = _packed(changes.kinds[bases[some, None], picks[some]])
            keys = np.concatenate([bases[some, None], kinds, switches[some]], axis=1)
            _, first, place = np.unique(keys, axis=0, return_index=True, return_inverse=True)
            chunk = max(_CHUNK_VALUES // (len(changes.network.elements) * len(self.igniters)), 1)
            for start in range(0, len(first), chunk):
                rows = np.arange(start, min(start + chunk, len(first)))
                own = np.flatnonzero((place >= start) & (place <= rows[-1]))
                firsts = some[first[rows]]
                boxes = changes.boxes(bases[firsts], picks[firsts])
                self._put(boxes, switches[firsts], passed)
                yield Batch(boxes=boxes, members=some[own], place=place[own] - start, first=firsts)

    def _put(self, boxes: Boxes, switches: Indices, passed: Sequence[Sequence[_Switch]]) -> None:
        """Put each MOSFET's current, and its resistance where it is driven too little, among the bounds."""
        columns = {name: k for k, name in enumerate(boxes.network.parameters)}
        for channel, numbers, found in zip(self.circuit.channels, switches.T, passed, strict=True):
            off, on = columns[f"{channel.name}.off current"], columns[f"{channel.name}.mosfet"]
            ends = np.array([s.off for s in found])[numbers]
            boxes.low[:, off], boxes.nominal[:, off], boxes.high[:, off] = ends.T
            weak = np.array([s.weak for s in found])[numbers]
            boxes.high[weak != "", on] = _OPEN
            boxes.nominal[weak == "usual", on] = _OPEN

    def _switches(
        self, bases: Indices, picks: Indices, situations: Indices, coarse: bool
    ) -> tuple[Indices, list[list[_Switch]]]:
        """Number of what each MOSFET is to each member, shape (m, channels), and what the numbers stand for."""
        numbers = np.empty((len(bases), len(self.gates)), dtype=np.intp)
        found = []
        for index, (channel, changes) in enumerate(zip(self.circuit.channels, self.gates, strict=True)):
            commanded = np.array([channel.name in s.commanded for s in self.situations], dtype=bool)[situations]
            # what holds a gate differs little between situations: the same bounds and states are solved once
            alike = _alike(changes)
            kinds = _packed(changes.kinds[bases[:, None], picks])
            keys = np.concatenate([alike[bases, None], kinds, commanded[:, None]], axis=1)
            _, first, place = np.unique(keys, axis=0, return_index=True, return_inverse=True)
            volts = self._gates_at(index, keys[first], changes, bases[first], picks[first])
            known: dict[_Switch, int] = {}
            each = [
                known.setdefault(switch, len(known))
                for switch in _switches(self.circuit, channel, volts, commanded[first], coarse)
            ]
            numbers[:, index] = np.array(each, dtype=np.intp)[place]
            found.append(list(known))
        return numbers, found

    def _gates_at(self, index: int, keys: Indices, changes: Changes, bases: Indices, picks: Indices) -> FloatArray:
        """Lowest, nominal and highest gate voltage of a channel in each row [V]; what was solved is known by key."""
        names = [(index, row.tobytes()) for row in keys[:, :-1]]
        new = np.array([k for k, name in enumerate(names) if name not in self.gate_voltages], dtype=np.intp)
        if len(new):
            found = _gate_voltages(self.circuit, self.circuit.channels[index], changes.boxes(bases[new], picks[new]))
            self.gate_voltages.update({names[k]: volts for k, volts in zip(new, found, strict=True)})
        return np.array([self.gate_voltages[name] for name in names]).reshape(len(names), 3)


def _packed(kinds: Indices) -> Indices:
    """Kinds in their order, those of faults that change nothing last."""
    return np.take_along_axis(kinds, np.argsort(kinds == 0, axis=1, kind="stable"), axis=1)


def _alike(changes: Changes) -> Indices:
    """Number of each base, the same where bounds, states and what every fault changes are the same."""
    keys: dict[bytes, int] = {}
    found = []
    for base in range(len(changes.low)):
        own = (changes.low, changes.nominal, changes.high, changes.closed, changes.kinds)
        entries = (t.entries(np.full(t.count.shape[1], base), np.arange(t.count.shape[1])) for t in changes.tables)
        key = b"".join(part[base].tobytes() for part in own)
        key += b"".join(part.tobytes() for entry in entries for part in entry)
        found.append(keys.setdefault(key, len(keys)))
    return np.array(found, dtype=np.intp)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Switch:
    """What a MOSFET is: lowest, nominal and highest off current [A]; whether a commanded gate is too low, or may be."""

    off: tuple[float, float, float]
    weak: str


def _gate_voltages(circuit: Circuit, channel: ChannelModel, boxes: Boxes) -> FloatArray:
    """Lowest, nominal and highest gate voltage in each row [V], shape (rows, 3).

    Exact at the corners; anything up to the battery's where that is not solved.
    """
    weights = np.tile(Probe(node=gate(channel)).weights(boxes.network), (len(boxes.low), 1))
    low, nominal, high = bounds(boxes, weights, starts=1)
    highest = circuit.battery.voltage.high + circuit.controller.pin.clamp_drop.high
    unsolved = np.isnan(low + high)
    columns = [np.where(unsolved, end, v) for end, v in ((0.0, low), (0.0, nominal), (highest, high))]
    return np.stack(columns, axis=1)


def _switches(
    circuit: Circuit, channel: ChannelModel, volts: FloatArray, commanded: BoolArray, coarse: bool
) -> Iterator[_Switch]:
    """What the MOSFET of a channel is at each gate voltage."""
    mosfet = circuit.mosfets[channel.mosfet]
    off = np.stack(off_current_range(mosfet, volts[:, 0], volts[:, 1], volts[:, 2], circuit.ambient), axis=1)
    if coarse:
        place = np.searchsorted(_COARSE, off[:, 2])
        off[:, 2] = np.where(place < len(_COARSE), np.append(_COARSE, 0.0)[place], off[:, 2])
        off[:, 0], off[:, 1] = 0.0, off[:, 2]
    rely = mosfet.rows[0].gate
    weak = np.where(commanded & (volts[:, 0] < rely), np.where(volts[:, 1] < rely, "usual", "may be"), "")
    for ends, word in zip(off.tolist(), weak.tolist(), strict=True):
        yield _Switch(off=(ends[0], ends[1], ends[2]), weak=word)
