"""Worst igniter currents of sets of faults: of what nobody commands the highest, of what is commanded the lowest."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from ignition.analyses.faults.bench import Batch, Bench, Members
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.linear import Indices
from ignition.network.template import igniter_kinds, igniter_names
from ignition.network.whole import CONTACT
from ignition.network.worst_case import NEGLIGIBLE, Probe
from ignition.network.worst_members import Boxes, WorstMembers, nominal_sides, worst_members
from ignition.typing import BoolArray, FloatArray

__all__ = [
    "Corners",
    "Worst",
    "hazards",
    "highest_against",
    "highest_uncommanded",
    "loosened_lines",
    "lowest_commanded",
    "no_fire_limits",
    "representatives",
]

INSULATION = 1e12
"""Resistance of a line or string that is not connected [ohm]."""

_INSULATED = 1e-10
"""Current that counts as none: what an open part, which insulates with 1 Tohm, passes at a hundred volts [A]."""

_UNJUDGED = 1.0 - 1e-9
"""Where an igniter without a limit stands among the others: after one beyond its limit, before all within it [1]."""


_FAR = 2.0
"""How far from its limit a current that did not settle is clear of it [1]."""

_SMALL = 1e-5
"""Effect of one tolerance that is not followed while sets of faults are sought, over the no-fire current [1]."""

_THREADS = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Worst:
    """Igniter of each channel that is worst off against its limit, in each member.

    Attributes
    ----------
    names, owner : All igniters of the circuit, and the number of the channel of each
    sign : 1 where the highest current is the worst, -1 where the lowest is [1]
    igniter : Which one, by place in `names`; -1 where there is none to look at, shape (m, channels)
    current : Its worst current [A], shape (m, channels)
    share : That over its limit [1]: nan where none is given or there is no igniter, infinite over a limit of zero;
        shape (m, channels)
    settled : Whether the search for the corner of every igniter came to an end, or ended far from its limit with all
        that its tolerances still asked for, twice; shape (m, channels)
    """

    names: tuple[str, ...]
    owner: Indices
    sign: float
    igniter: Indices
    current: FloatArray
    share: FloatArray
    settled: BoolArray

    @classmethod
    def nowhere(cls, circuit: Circuit, sign: float, size: int) -> Worst:
        """Make one in which no member has an igniter to look at.

        Parameters
        ----------
        size : Number of members [1]
        """
        owners = {name: k for k, channel in enumerate(circuit.channels) for name in igniter_kinds(channel)}
        shape = size, len(circuit.channels)
        return cls(
            names=tuple(owners),
            owner=np.array(list(owners.values()), dtype=np.intp),
            sign=sign,
            igniter=np.full(shape, -1),
            current=np.zeros(shape),
            share=np.full(shape, np.nan),
            settled=np.ones(shape, dtype=bool),
        )

    @property
    def beyond(self) -> BoolArray:
        """Whether the igniter may be beyond its limit: at it or above, or below it; shape (m, channels)."""
        return np.asarray(self.share >= 1.0 if self.sign > 0.0 else self.share < 1.0)

    @property
    def rank(self) -> FloatArray:
        """How bad it is [1], shape (m, channels); without a limit: after one beyond its limit, before all within it."""
        unjudged = _UNJUDGED if self.sign > 0.0 else 1.0
        rank = self.sign * np.where(np.isnan(self.share), unjudged, self.share)
        return np.where(self.igniter >= 0, rank, -np.inf)

    def put(
        self, batch: Batch, row: Indices, igniter: Indices, found: tuple[FloatArray, FloatArray, BoolArray]
    ) -> None:
        """Enter the worst igniter of each channel in each row of a batch.

        Parameters
        ----------
        row, igniter : Row and igniter of each entry, shape (n,)
        found : Current [A], share of the limit [1], and whether it settled, each of shape (n,)
        """
        current, share, settled = found
        channel, rows = self.owner[igniter], len(batch.first)
        one = Worst(
            names=self.names, owner=self.owner, sign=self.sign,
            igniter=igniter, current=current, share=share, settled=settled,
        )  # fmt: skip
        order = np.lexsort((self.sign * current, one.rank, channel, row))
        order = order[~np.isnan(current[order])]  # what has no solution is told by `settled`
        key = row[order] * self.igniter.shape[1] + channel[order]
        last = order[np.flatnonzero(np.append(np.diff(key) != 0, True))]
        place = np.full((rows, self.igniter.shape[1]), -1)
        place[row[last], channel[last]] = last
        own = place[batch.place]
        some, where = np.nonzero(own >= 0)
        chosen, some = own[some, where], batch.members[some]
        self.igniter[some, where], self.current[some, where] = igniter[chosen], current[chosen]
        self.share[some, where] = share[chosen]
        unsettled = np.zeros(place.shape, dtype=bool)
        unsettled[row[~settled], channel[~settled]] = True
        self.settled[batch.members] &= ~unsettled[batch.place]


def representatives(channel: ChannelModel, touched: frozenset[str]) -> tuple[str, ...]:
    """List igniters of a channel of which one has the highest current: one a type in each kind of string.

    Parameters
    ----------
    touched : Igniters that a fault touches, which are no more like any other

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> representatives(load_example("demo").channels[0], frozenset({"boosters.igniter 2.1"}))
    ('boosters.igniter 1.1', 'boosters.igniter 2.1')
    """
    kinds, known = igniter_kinds(channel), set()
    found: list[str] = []
    for string in igniter_names(channel):
        like = tuple(kinds[name] for name in string)
        if touched.intersection(string):
            found += string
        elif like not in known:
            known.add(like)
            found += {kinds[name]: name for name in reversed(string)}.values()
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corners:
    """Corners at which the currents of single faults stand: where the search for larger sets may begin.

    Attributes
    ----------
    place : Row in `high` of each situation, fault (the last: none) and igniter, shape (situations, faults + 1,
        igniters)
    high : Which parameters of the lines stand at their upper end, for the highest and for the lowest current; the first
        row is that of what was not looked at; shape (rows, 2, parameters)
    """

    place: Indices
    high: list[BoolArray]

    @classmethod
    def none(cls, bench: Bench, igniters: int) -> Corners:
        """Make a table without corners.

        Parameters
        ----------
        igniters : Number of igniters [1]
        """
        return cls(
            place=np.zeros((len(bench.situations), len(bench.faults) + 1, igniters), dtype=np.intp),
            high=[np.zeros((1, 2, len(bench.lines.network.parameters)), dtype=bool)],
        )

    def record(self, members: Members, batch: Batch, row: Indices, igniter: Indices, high: BoolArray) -> None:
        """Enter the corners of single faults.

        Parameters
        ----------
        members, batch : Members of one fault each, as laid out
        row, igniter : Row of the batch and igniter of each corner, shape (n,)
        high : Corners, shape (n, 2, parameters)
        """
        start = sum(len(some) for some in self.high)
        numbers = np.zeros((len(batch.first), self.place.shape[2]), dtype=np.intp)
        numbers[row, igniter] = start + np.arange(len(row))
        some = members.take(batch.members)
        self.place[some.situations, some.picks[:, 0]] = numbers[batch.place]
        self.high.append(high)

    def begin(self, situations: Indices, picks: Indices, igniter: Indices) -> BoolArray:
        """Return corners to begin from: that of no fault, with what each fault changes of it.

        Parameters
        ----------
        situations, picks, igniter : Situation, faults and igniter, shape (n,), (n, faults) and (n,)

        Returns
        -------
        For the highest and the lowest current, shape (n, 2, parameters)
        """
        high = np.concatenate(self.high)
        usual = high[self.place[situations, -1, igniter]]
        changed = np.zeros_like(usual)
        for column in picks.T:
            place = self.place[situations, column, igniter]
            changed |= (high[place] ^ usual) & (place > 0)[:, None, None]
        return np.asarray(usual ^ changed)


def highest_uncommanded(bench: Bench, members: Members, *, starts: int = 2, record: Corners | None = None) -> Worst:
    """Return the igniter of each channel that nobody commands and that comes nearest to its lowest no-fire current.

    Its current is the highest in either direction, in what else its circuit may be in: the other channels' lines intact
    or open, the other strings of its channel not connected or spent, the other igniters of its string shorted.

    Parameters
    ----------
    starts : Points from which the search for a corner starts [1]
    record : Where the corners go, of members of one fault each
    """
    return highest_against(bench, members, (no_fire_limits(bench.circuit),), starts=starts, record=record)[0]


def highest_against(
    bench: Bench,
    members: Members,
    limits: Sequence[FloatArray],
    *,
    starts: int = 2,
    record: Corners | None = None,
    corners: Corners | None = None,
) -> tuple[Worst, ...]:
    """Return the same against several limits at once, for each the igniter that comes nearest to it.

    Parameters
    ----------
    limits : Limit of each igniter [A], nan where there is none, each of shape (igniters,)
    starts : Points from which the search for a corner starts [1]
    record : Where the corners go, of members of one fault each
    corners : Corners from which the search starts instead of the nominal point
    """
    found = tuple(Worst.nowhere(bench.circuit, 1.0, len(members.situations)) for _ in limits)
    names = found[0].names
    for batch in bench.batches(members):
        row, igniter = _asked(bench, batch, members, names, commanded=False)
        if not len(row):
            continue
        of_lines = batch.boxes.network is bench.lines.network
        begin = None
        if corners is not None and of_lines:
            first = members.take(batch.first[row])
            begin = corners.begin(first.situations, first.picks, igniter)
        ways = _both_ways(bench, batch, row, igniter, names, starts, begin)
        current, settled = _larger_one(ways)
        for worst, limit in zip(found, limits, strict=True):
            worst.put(batch, row, igniter, _judged(current, limit[igniter], settled, 1.0))
        if record is not None and of_lines:
            record.record(members, batch, row, igniter, np.stack([one.high for one in ways], axis=1))
    return found


def no_fire_limits(circuit: Circuit) -> FloatArray:
    """Return the lowest no-fire current of each igniter of a circuit [A], nan without one, shape (igniters,)."""
    return _limits(circuit, "threshold_low")


def hazards(bench: Bench, members: Members, corners: Corners) -> BoolArray:
    """Return whether an igniter that nobody commands may reach its no-fire current, of many sets of faults, shape (m,).

    Sought, not told: small off currents are rounded up, the search starts from where single faults have their corners,
    and effects below a hundred thousandth of the no-fire current are not followed.

    Parameters
    ----------
    corners : Of every single fault
    """
    names = tuple(name for channel in bench.circuit.channels for name in igniter_kinds(channel))
    limits = no_fire_limits(bench.circuit)
    with ThreadPoolExecutor(_THREADS) as pool:
        batches = list(bench.batches(members, coarse=True))
        found = pool.map(lambda batch: _hazards(bench, batch, members, names, limits, corners), batches)
        answer = np.zeros(len(members.situations), dtype=bool)
        for batch, hazardous in zip(batches, found, strict=True):
            answer[batch.members] = hazardous[batch.place]
    return answer


def _hazards(
    bench: Bench, batch: Batch, members: Members, names: tuple[str, ...], limits: FloatArray, corners: Corners
) -> BoolArray:
    """Whether each row of a batch is hazardous."""
    hazardous: BoolArray = np.zeros(len(batch.first), dtype=bool)
    row, igniter = _asked(bench, batch, members, names, commanded=False)
    row, igniter = row[~np.isnan(limits[igniter])], igniter[~np.isnan(limits[igniter])]
    if len(row):
        begin = None
        if batch.boxes.network is bench.lines.network:
            first = members.take(batch.first[row])
            begin = corners.begin(first.situations, first.picks, igniter)
        small = _SMALL * limits[igniter]
        current, _ = _larger_one(_both_ways(bench, batch, row, igniter, names, 1, begin, small))
        hazardous[row[current >= (1.0 - 100.0 * _SMALL) * limits[igniter]]] = True
    return hazardous


def _both_ways(
    bench: Bench,
    batch: Batch,
    row: Indices,
    igniter: Indices,
    names: tuple[str, ...],
    starts: int,
    begin: BoolArray | None = None,
    negligible: FloatArray | float = NEGLIGIBLE,
) -> tuple[WorstMembers, WorstMembers]:
    """Highest current of an igniter of each row in its own direction, and in the other."""
    boxes = _loosened(bench.circuit, batch.boxes.take(row), igniter, names)
    weights, one = _weights(boxes, igniter, names), np.ones(len(row))
    sides = nominal_sides(boxes, weights) if begin is None else (begin[:, 0], begin[:, 1])
    starting = (None, None) if sides is None else sides
    forth, back = (
        worst_members(boxes, sign * weights, one, starts, high, negligible)
        for sign, high in zip((1.0, -1.0), starting, strict=True)
    )
    return forth, back


def _larger_one(found: tuple[WorstMembers, WorstMembers]) -> tuple[FloatArray, BoolArray]:
    """Current in whichever direction is the larger [A], and whether its corner settled."""
    forth, back = found
    value = np.maximum(forth.value, back.value)
    settled = np.where(forth.value >= back.value, forth.settled, back.settled) & ~np.isnan(value)
    return np.where(value < _INSULATED, 0.0, value), settled


def lowest_commanded(bench: Bench, members: Members, starts: int = 2) -> Worst:
    """Return the commanded igniter that is furthest below its all-fire current, of each member.

    Its current is the lowest, not below zero; its limit is its highest all-fire current.

    Parameters
    ----------
    starts : Points from which the search for a corner starts [1]
    """
    limits, worst = (
        _limits(bench.circuit, "all_fire_current"),
        Worst.nowhere(bench.circuit, -1.0, len(members.situations)),
    )
    names = worst.names
    commands = np.array([bool(s.commanded) for s in bench.situations], dtype=bool)
    own = np.flatnonzero(commands[members.situations])
    for some in bench.batches(members.take(own)):
        batch = replace(some, members=own[some.members], first=own[some.first])
        row, igniter = _asked(bench, batch, members, names, commanded=True)
        boxes = batch.boxes.take(row)
        found = worst_members(boxes, _weights(boxes, igniter, names), np.full(len(row), -1.0), starts)
        current = np.maximum(found.value, 0.0)
        worst.put(batch, row, igniter, _judged(current, limits[igniter], found.settled, -1.0))
    return worst


def _limits(circuit: Circuit, what: str) -> FloatArray:
    """Limit of each igniter of the circuit [A]; nan where none is given."""
    kinds = [kind for channel in circuit.channels for kind in igniter_kinds(channel).values()]
    limits = [getattr(circuit.igniters[kind], what) for kind in kinds]
    return np.array([np.nan if limit is None else limit for limit in limits])


def _weights(boxes: Boxes, igniter: Indices, names: tuple[str, ...]) -> FloatArray:
    return np.array([Probe(element=name).weights(boxes.network) for name in names])[igniter]


def _judged(
    current: FloatArray, limit: FloatArray, settled: BoolArray, sign: float
) -> tuple[FloatArray, FloatArray, BoolArray]:
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(limit == 0.0, np.inf, current / limit)
    return current, share, settled | ((share < 1.0 / _FAR) if sign > 0.0 else (share > _FAR))


def _asked(
    bench: Bench, batch: Batch, members: Members, names: tuple[str, ...], *, commanded: bool
) -> tuple[Indices, Indices]:
    """Rows, and of each the igniters to look at, by place in `names`."""
    places = {name: k for k, name in enumerate(names)}
    known: dict[tuple[frozenset[str], frozenset[str]], list[int]] = {}
    touching = [fault.igniters for fault in bench.faults]
    marked = np.array([*(bool(igniters) for igniters in touching), False], dtype=bool)
    picks = members.picks[batch.first]
    plain: BoolArray = ~np.asarray(marked[picks].any(axis=1))
    rows: list[int] = []
    igniters: list[int] = []
    for row, situation in enumerate(members.situations[batch.first]):
        own, touched = bench.situations[situation].commanded, frozenset[str]()
        if not plain[row]:
            touched = frozenset().union(*(touching[k] for k in picks[row] if k >= 0))
        key = own, touched
        if key not in known:
            some = [representatives(c, touched) for c in bench.circuit.channels if (c.name in own) == commanded]
            known[key] = [places[name] for each in some for name in each]
        rows += [row] * len(known[key])
        igniters += known[key]
    return np.array(rows, dtype=np.intp), np.array(igniters, dtype=np.intp)


def _loosened(circuit: Circuit, boxes: Boxes, igniter: Indices, names: tuple[str, ...]) -> Boxes:
    """Bounds with what may be open, not connected or shorted beside each row's igniter."""
    columns = {name: k for k, name in enumerate(boxes.network.parameters)}
    low, nominal, high = boxes.low.copy(), boxes.nominal.copy(), boxes.high.copy()
    for channel in circuit.channels:
        for number, string in enumerate(igniter_names(channel), start=1):
            for name in string:
                rows = np.flatnonzero(igniter == names.index(name))
                for other in set(string) - {name}:
                    low[rows, columns[other]] = CONTACT
                for index, beside in enumerate(igniter_names(channel), start=1):
                    if index != number:
                        part = beside[0] if channel.branch is None else f"{channel.name}.branch {index}"
                        for bounds in (low, nominal, high):
                            bounds[rows, columns[part]] = INSULATION
                for line in circuit.channels:
                    if line is not channel:
                        _open(high, rows, line, columns)
    return replace(boxes, low=low, nominal=nominal, high=high)


def _open(high: FloatArray, rows: Indices, line: ChannelModel, columns: dict[str, int]) -> None:
    for end in ("out", "back"):
        high[rows, columns[f"{line.name}.lead {end}"]] = INSULATION


def loosened_lines(circuit: Circuit, boxes: Boxes, own: Indices) -> Boxes:
    """Return bounds in which every line but one may be open.

    Parameters
    ----------
    own : Number of the channel whose line is as it is, of each row, shape (rows,)
    """
    columns = {name: k for k, name in enumerate(boxes.network.parameters)}
    high = boxes.high.copy()
    for number, channel in enumerate(circuit.channels):
        _open(high, np.flatnonzero(own != number), channel, columns)
    return replace(boxes, high=high)
