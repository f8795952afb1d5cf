"""What each fault changes in a network, in each situation, as arrays: members of a batch without a dictionary each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ignition.analyses.faults.fault import Fault
from ignition.analyses.faults.situations import Setting, Situation
from ignition.network.elements import Network
from ignition.network.linear import Indices
from ignition.network.worst_members import Boxes
from ignition.typing import BoolArray, FloatArray

__all__ = ["Changes", "RAILS", "Rail"]

Rail = Literal["regulated", "battery", "none"]
"""What a fault makes of the controller's supply."""

RAILS: tuple[Rail, ...] = ("regulated", "battery", "none")
"""In this order: of several faults the last counts."""

_Entry = tuple[int, tuple[float, ...]]
"""Number of a parameter or element, and what becomes of it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Table:
    """What each fault changes in each base: some entries, one after the other.

    Attributes
    ----------
    start, count : First entry and number of entries, shape (bases, faults + 1); the last fault stands for none
    place : Parameter or element of each entry, shape (entries,)
    values : What becomes of it, shape (entries, k)
    """

    start: Indices
    count: Indices
    place: Indices
    values: FloatArray

    @classmethod
    def of(cls, rows: Sequence[Sequence[Sequence[_Entry]]], width: int) -> _Table:
        """Lay the entries of each base and fault one after the other."""
        count = np.array([[len(entries) for entries in faults] + [0] for faults in rows], dtype=np.intp)
        flat = [entry for faults in rows for entries in faults for entry in entries]
        start = (np.cumsum(count) - count.ravel()).reshape(count.shape)
        place = np.array([place for place, _ in flat], dtype=np.intp)
        return cls(start=start, count=count, place=place, values=np.array([v for _, v in flat]).reshape(-1, width))

    def entries(self, bases: Indices, faults: Indices) -> tuple[Indices, Indices, FloatArray]:
        """Member, place and values of every entry of one fault of each member."""
        counts = self.count[bases, faults]
        members = np.repeat(np.arange(len(bases)), counts)
        offset = np.arange(len(members)) - np.repeat(np.cumsum(counts) - counts, counts)
        chosen = np.repeat(self.start[bases, faults], counts) + offset
        return members, self.place[chosen], self.values[chosen]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Changes:
    """One network in every situation, and what each fault changes of it there.

    A base is a situation with what a fault makes of the controller's supply. A fault of number -1 is none.

    Attributes
    ----------
    elements : Elements that a situation or fault opens or closes
    low, nominal, high : Parameters of each base [SI], shape (bases, parameters)
    closed : State of those elements in each base, shape (bases, elements)
    kinds : For each base and fault a number, the same for faults that change the same and zero for one that changes
        nothing, shape (bases, faults + 1)
    rails : What each fault makes of the supply, by place in `RAILS`, and zero for none, shape (faults + 1,)
    fed : Which situations have a controller with a supply, shape (situations,)
    """

    network: Network
    elements: tuple[str, ...]
    low: FloatArray
    nominal: FloatArray
    high: FloatArray
    closed: BoolArray
    kinds: Indices
    rails: Indices
    fed: BoolArray
    _set: _Table
    _scaled: _Table
    _toggled: _Table

    @classmethod
    def of(
        cls,
        network: Network,
        situations: Sequence[Situation],
        settings: Mapping[tuple[Situation, Rail], Setting],
        faults: Sequence[Fault],
    ) -> Changes:
        """Lay out what each fault changes in a network.

        Parameters
        ----------
        settings : Bounds and states without any fault, of each situation with each state of the supply
        """
        present = {e.name: e.closed for e in network.elements}
        toggled = {name for setting in settings.values() for name in setting.states}
        toggled |= {name for fault in faults for name in (*fault.opened, *fault.closed)}
        elements = tuple(name for name in present if name in toggled)
        bases = [(s, settings[s, rail]) for s in situations for rail in RAILS]
        alive = [s.controller == "alive" and rail != "none" for s in situations for rail in RAILS]
        laid: dict[int, tuple[list[tuple[float, float, float]], list[bool]]] = {}
        for _, base in bases:
            if id(base) not in laid:
                values = (base.box[n] for n in network.parameters)
                laid[id(base)] = (
                    [(v.low, v.nominal, v.high) for v in values],
                    [base.states.get(name, present[name]) for name in elements],
                )
        bounds = np.array([laid[id(base)][0] for _, base in bases]).reshape(len(bases), len(network.parameters), 3)
        states = [laid[id(base)][1] for _, base in bases]
        places = {n: k for k, n in enumerate(network.parameters)}
        columns = {n: k for k, n in enumerate(elements)}
        usual = [_entries(fault, places, columns) for fault in faults]
        set_at = sorted({place for entries in usual for place, _ in entries[0]} | _from_rails(faults, places))
        known: dict[bytes, tuple[list[_Entries], list[int]]] = {}
        every = []
        for number, (_, base) in enumerate(bases):
            supply = [base.box[name] for name in _rails_of(faults)]
            key = bounds[number, set_at].tobytes() + bytes(states[number]) + bytes([alive[number]])
            key += np.array([(v.low, v.nominal, v.high) for v in supply]).tobytes()
            if key not in known:
                row = [
                    _fed(f, e, base, places) if alive[number] or not f.alive else ([], [], [])
                    for f, e in zip(faults, usual, strict=True)
                ]
                known[key] = row, _kinds(row, faults, bounds[number], states[number])
            every.append(known[key])
        rows, kinds = [row for row, _ in every], [kind for _, kind in every]
        return cls(
            network=network,
            elements=elements,
            low=bounds[..., 0],
            nominal=bounds[..., 1],
            high=bounds[..., 2],
            closed=np.array(states, dtype=bool).reshape(len(bases), len(elements)),
            kinds=np.array(kinds, dtype=np.intp),
            rails=np.array([*(RAILS.index(fault.rail) for fault in faults), 0], dtype=np.intp),
            fed=np.array([s.controller == "alive" for s in situations], dtype=bool),
            _set=_Table.of([[e[0] for e in row] for row in rows], 3),
            _scaled=_Table.of([[e[1] for e in row] for row in rows], 2),
            _toggled=_Table.of([[e[2] for e in row] for row in rows], 1),
        )

    @property
    def tables(self) -> tuple[_Table, ...]:
        """Everything that faults change, base by base."""
        return self._set, self._scaled, self._toggled

    def bases(self, situations: Indices, picks: Indices) -> Indices:
        """Return the base of each member.

        Parameters
        ----------
        situations : Number of its situation, shape (m,)
        picks : Numbers of its faults, shape (m, k)
        """
        rail = self.rails[picks].max(axis=1, initial=0)
        return len(RAILS) * situations + np.where(self.fed[situations], rail, 0)

    def boxes(self, bases: Indices, picks: Indices) -> Boxes:
        """Return bounds and states of members, each fault laid over those before it.

        Parameters
        ----------
        bases : Base of each member, shape (m,)
        picks : Numbers of its faults in the order in which they apply, shape (m, k)
        """
        low, nominal, high = (each[bases] for each in (self.low, self.nominal, self.high))
        closed = self.closed[bases]
        for faults in picks.T:
            members, place, values = self._set.entries(bases, faults)
            low[members, place], nominal[members, place], high[members, place] = values.T
            members, place, values = self._scaled.entries(bases, faults)
            low[members, place] *= values[:, 0]
            high[members, place] *= values[:, 1]
            members, place, values = self._toggled.entries(bases, faults)
            closed[members, place] = values[:, 0] != 0.0
        usual = np.array([self.network.element(name).closed for name in self.elements], dtype=bool)
        changed = np.flatnonzero((closed != usual).any(axis=0))
        return Boxes(
            network=self.network,
            low=low,
            nominal=nominal,
            high=high,
            closed={self.elements[column]: closed[:, column] for column in changed},
        )


_Entries = tuple[list[_Entry], list[_Entry], list[_Entry]]


def _entries(fault: Fault, places: Mapping[str, int], columns: Mapping[str, int]) -> _Entries:
    """Parameters that a fault sets and scales, and elements that it closes and opens; without what follows the rail."""
    states = dict.fromkeys(fault.closed, 1.0) | dict.fromkeys(fault.opened, 0.0)
    return (
        [(places[n], (v.low, v.nominal, v.high)) for n, v in fault.values.items() if n in places],
        [(places[n], ends) for n, ends in fault.scaled.items() if n in places],
        [(columns[n], (state,)) for n, state in states.items() if n in columns],
    )


def _fed(fault: Fault, entries: _Entries, base: Setting, places: Mapping[str, int]) -> _Entries:
    """The same with the parameters that become the controller's supply rail."""
    supply = [(places[n], base.box[_rail(n)]) for n in sorted(fault.from_rail) if n in places]
    if not supply:
        return entries
    return [*entries[0], *((place, (v.low, v.nominal, v.high)) for place, v in supply)], entries[1], entries[2]


def _rail(name: str) -> str:
    """The supply rail beside a parameter."""
    return f"{name.rsplit('.', 1)[0]}.rail"


def _rails_of(faults: Sequence[Fault]) -> list[str]:
    return sorted({_rail(name) for fault in faults for name in fault.from_rail})


def _from_rails(faults: Sequence[Fault], places: Mapping[str, int]) -> set[int]:
    return {places[name] for fault in faults for name in fault.from_rail if name in places}


def _kinds(row: Sequence[_Entries], faults: Sequence[Fault], bounds: FloatArray, states: Sequence[bool]) -> list[int]:
    """Number of each fault: the same for faults that change the same, zero for one that changes nothing, and for none.

    What is set to what it is already is no change, unless a fault of another part sets it to something else.
    """
    changed: dict[tuple[str, int], set[str]] = {}
    for fault, entries in zip(faults, row, strict=True):
        for what, place, _ in _changing(entries, bounds, states):
            changed.setdefault((what, place), set()).add(fault.part)
    numbers: dict[object, int] = {(): 0}
    found = []
    for fault, entries in zip(faults, row, strict=True):
        real = set(_changing(entries, bounds, states))
        every = _listed(entries)
        kept = [e for e in every if e in real or changed.get(e[:2], set()) - {fault.part}]
        found.append(numbers.setdefault(tuple(sorted(kept)), len(numbers)))
    return [*found, 0]


def _listed(entries: _Entries) -> list[tuple[str, int, tuple[float, ...]]]:
    kinds = ("value", "value", "state")
    return [(kind, place, values) for kind, some in zip(kinds, entries, strict=True) for place, values in some]


def _changing(
    entries: _Entries, bounds: FloatArray, states: Sequence[bool]
) -> Iterator[tuple[str, int, tuple[float, ...]]]:
    for what, place, values in _listed(entries):
        if what == "state":
            if bool(values[0]) != bool(states[place]):
                yield what, place, values
        elif len(values) == 2 or values != tuple(bounds[place]):
            yield what, place, values
