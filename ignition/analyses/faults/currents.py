"""Worst igniter currents of sets of faults: of what nobody commands the highest, of what is commanded the lowest."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from ignition.analyses.faults.bench import Batch, Bench, Members
from ignition.analyses.faults.corners import Corners
from ignition.analyses.faults.loosened import loosened_beside
from ignition.analyses.faults.worst import Worst
from ignition.network.linear import Indices
from ignition.network.sampled_members import sampled
from ignition.network.worst_case import NEGLIGIBLE, Probe
from ignition.network.worst_members import Boxes, WorstMembers, at_nominal, both_ways, worst_members
from ignition.typing import BoolArray, FloatArray

__all__ = ["hazards", "highest_against", "highest_uncommanded", "lowest_commanded"]

_INSULATED = 1e-10
"""Current that counts as none: what an open part, which insulates with 1 Tohm, passes at a hundred volts [A]."""

_SMALL = 1e-5
"""Effect of one tolerance that is not followed while sets of faults are sought, over the no-fire current [1]."""

_NEXT_TO_NOTHING = 1e-3
"""Firing current over the all-fire current from which down an igniter is a dud wherever its corner is [1]: rounding of
the amperes that flow beside it may leave that open."""

_MESH_STARTS = 8
"""Points from which a corner is sought where the network may be any mesh: a local one is not the worst [1]."""

_THREADS = 2


def highest_uncommanded(bench: Bench, members: Members, *, starts: int = 2, record: Corners | None = None) -> Worst:
    """Return the igniter of each channel that nobody commands and that comes nearest to its lowest no-fire current.

    Its current is the highest in either direction, in what else its circuit may be in.

    Parameters
    ----------
    starts : Points from which the search for a corner starts [1]
    record : Where the corners go, of members of one fault each
    """
    return highest_against(bench, members, (bench.board.limits("threshold_low"),), starts=starts, record=record)[0]


def highest_against(
    bench: Bench,
    members: Members,
    limits: Sequence[FloatArray],
    *,
    starts: int = 2,
    record: Corners | None = None,
) -> tuple[Worst, ...]:
    """Return the same against several limits at once, for each the igniter that comes nearest to it.

    Parameters
    ----------
    limits : Limit of each igniter [A], nan where there is none, each of shape (igniters,)
    starts : Points from which the search for a corner starts [1]
    record : Where the corners go, of members of one fault each
    """
    found = tuple(Worst.nowhere(bench, 1.0, len(members.situations)) for _ in limits)
    for batch in bench.batches(members):
        row, igniter = _asked(bench, batch, members, commanded=False)
        if not len(row):
            continue
        ways = _both_ways(bench, batch, row, igniter, _MESH_STARTS if bench.board.samples else starts)
        current, settled = _larger_one(ways)
        seen = _seen(bench, batch, row, igniter)
        for worst, limit in zip(found, limits, strict=True):
            told, sure = _told(current, seen, limit[igniter])
            worst.put(batch, row, igniter, told, limit[igniter], settled & sure)
        if record is not None and batch.boxes.network is bench.lines.network:
            record.record(members, batch, row, igniter, np.stack([one.high for one in ways], axis=1))
    return found


def hazards(bench: Bench, members: Members, corners: Corners) -> tuple[BoolArray, BoolArray]:
    """Return whether an igniter that nobody commands may reach its no-fire current, of many sets of faults.

    Sought, not told: small off currents are rounded up, the search starts from where single faults have their corners,
    and effects below a hundred thousandth of the no-fire current are not followed.

    Parameters
    ----------
    corners : Of every single fault

    Returns
    -------
    Whether it may, and whether that is not solved so that it is not known, each of shape (m,)
    """
    limits = bench.board.limits("threshold_low")
    with ThreadPoolExecutor(_THREADS) as pool:
        batches = list(bench.batches(members, coarse=True))
        found = pool.map(lambda batch: _hazards(bench, batch, members, limits, corners), batches)
        answer, unsolved = np.zeros((2, len(members.situations)), dtype=bool)
        for batch, (hazardous, missing) in zip(batches, found, strict=True):
            answer[batch.members] = hazardous[batch.place]
            unsolved[batch.members] = missing[batch.place]
    return answer, unsolved


def _hazards(
    bench: Bench, batch: Batch, members: Members, limits: FloatArray, corners: Corners
) -> tuple[BoolArray, BoolArray]:
    """Whether each row of a batch is hazardous, and whether an igniter of it is not solved while none is."""
    hazardous, unsolved = np.zeros((2, len(batch.first)), dtype=bool)
    row, igniter = _asked(bench, batch, members, commanded=False)
    row, igniter = row[~np.isnan(limits[igniter])], igniter[~np.isnan(limits[igniter])]
    if len(row):
        begin = None
        if batch.boxes.network is bench.lines.network:
            first = members.take(batch.first[row])
            begin = corners.begin(first.situations, first.picks, igniter)
        small = _SMALL * limits[igniter]
        current, _ = _larger_one(_both_ways(bench, batch, row, igniter, 1, begin, small))
        hazardous[row[current >= (1.0 - 100.0 * _SMALL) * limits[igniter]]] = True
        unsolved[row[np.isnan(current)]] = True
    return hazardous, unsolved & ~hazardous


def _both_ways(
    bench: Bench,
    batch: Batch,
    row: Indices,
    igniter: Indices,
    starts: int,
    begin: BoolArray | None = None,
    negligible: FloatArray | float = NEGLIGIBLE,
) -> tuple[WorstMembers, WorstMembers]:
    """Highest current of an igniter of each row in its own direction, and in the other."""
    boxes = loosened_beside(bench, batch.boxes.take(row), igniter)
    weights = _weights(bench, boxes, igniter)
    unsolved: BoolArray = np.zeros(len(row), dtype=bool)
    if begin is None:
        nominal, *sides = at_nominal(boxes, weights)
        unsolved = np.isnan(nominal)
    else:
        sides = [begin[:, 0], begin[:, 1]]
    forth, back = both_ways(boxes, weights, starts, sides, negligible)
    unsolved |= batch.unsettled[row]
    forth.value[unsolved] = back.value[unsolved] = np.nan  # told as not solved, whatever some corner gives
    return forth, back


def _seen(bench: Bench, batch: Batch, row: Indices, igniter: Indices) -> FloatArray:
    """Highest current of each igniter at sampled points of what it is sought in [A]; zero where none is sampled."""
    if not bench.board.samples:
        return np.zeros(len(row))
    boxes = loosened_beside(bench, batch.boxes.take(row), igniter)
    low, high = sampled(boxes, _weights(bench, boxes, igniter), bench.board.samples)
    return np.asarray(np.maximum(np.abs(low), np.abs(high)))


def _told(current: FloatArray, seen: FloatArray, limit: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Currents to tell [A], and whether no sampled one lies beyond them.

    One that lies beyond shows that the worst case was not found: nothing is known then, but that a limit is reached
    where the sampled current reaches it.
    """
    missed = seen > current + _INSULATED + 1e-9 * current
    reached = np.isfinite(seen) & (seen >= limit)
    return np.where(missed, np.where(reached, seen, np.nan), current), np.asarray(~missed)


def _larger_one(found: tuple[WorstMembers, WorstMembers]) -> tuple[FloatArray, BoolArray]:
    """Current in whichever direction is the larger [A], and whether its corner settled."""
    forth, back = found
    value = np.maximum(forth.value, back.value)
    settled = np.where(forth.value >= back.value, forth.settled, back.settled) & ~np.isnan(value)
    return np.where(value < _INSULATED, 0.0, value), settled


def lowest_commanded(bench: Bench, members: Members, starts: int = 2) -> Worst:
    """Return the commanded igniter of each channel that is furthest below its highest all-fire current.

    Its current is the lowest, not below zero.

    Parameters
    ----------
    starts : Points from which the search for a corner starts [1]
    """
    limits, worst = bench.board.limits("all_fire_current"), Worst.nowhere(bench, -1.0, len(members.situations))
    commands = np.array([bool(s.commanded) for s in bench.situations], dtype=bool)
    own = np.flatnonzero(commands[members.situations])
    if not len(own):
        return worst
    for some in bench.batches(members.take(own)):
        batch = replace(some, members=own[some.members], first=own[some.first])
        row, igniter = _asked(bench, batch, members, commanded=True)
        boxes = batch.boxes.take(row)
        found = worst_members(boxes, _weights(bench, boxes, igniter), np.full(len(row), -1.0), starts)
        settled = found.settled | (found.value < _NEXT_TO_NOTHING * limits[igniter])
        worst.put(batch, row, igniter, np.maximum(found.value, 0.0), limits[igniter], settled)
    return worst


def _weights(bench: Bench, boxes: Boxes, igniter: Indices) -> FloatArray:
    """Output weights of each row's igniter current [1]."""
    return np.array([Probe(element=name).weights(boxes.network) for name in bench.igniters])[igniter]


def _asked(bench: Bench, batch: Batch, members: Members, *, commanded: bool) -> tuple[Indices, Indices]:
    """Rows, and of each the igniters to look at, by place in the bench's."""
    places = {name: k for k, name in enumerate(bench.igniters)}
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
            some = [line.representatives(touched) for line in bench.board.lines if (line.name in own) == commanded]
            known[key] = [places[name] for each in some for name in each]
        rows += [row] * len(known[key])
        igniters += known[key]
    return np.array(rows, dtype=np.intp), np.array(igniters, dtype=np.intp)
