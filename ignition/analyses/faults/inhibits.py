"""What stands between battery and igniter in each phase, and what defeats it alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import product

from ignition.analyses.faults.board import Board, Line
from ignition.analyses.faults.cut_sets import CutSets
from ignition.analyses.faults.fault import Fault
from ignition.analyses.faults.results import Inhibit

__all__ = ["inhibits"]


def inhibits(board: Board, sets: Mapping[str, CutSets]) -> Iterator[Inhibit]:
    """The open arm switch, each MOSFET that is off, and the contacts of its line.

    What defeats one is read from sets in which all the others are broken, each in the way that no longer keeps current
    off; with more of them than faults were looked at together nothing is known. A contact that keeps nothing off once
    the others are broken, such as a shunt of high resistance, is none.

    Parameters
    ----------
    sets : Smallest sets of faults that fire, by phase
    """
    faults = board.faults
    numbers = {fault.name: k for k, fault in enumerate(faults)}
    for phase, found in sets.items():
        if phase == "firing" and len(board.lines) == 1:
            continue  # its only channel is commanded
        for line in board.lines:
            own = [e for e in found.sets if {faults[k].channel for k in e} <= {line.name, None}]
            standing = _standing(board, line, phase)
            broken = {name: [numbers[f] for f in by if f in numbers] for name, by in standing.items()}
            for name in [one.says for one in line.contacts if one.says in standing]:
                if _fires([by for other, by in broken.items() if other != name], own):
                    del standing[name], broken[name]
            for name in standing:
                others = [by for other, by in broken.items() if other != name]
                every = found.sets if name == _arms(board) else own
                known = len(standing) <= found.order
                yield Inhibit(
                    phase=phase, channel=line.name, inhibit=name,
                    defeated_by=_beside(every, others, faults) if known else None,
                )  # fmt: skip


def _fires(broken: Sequence[Sequence[int]], sets: Sequence[tuple[int, ...]]) -> bool:
    """Whether some set is all in one choice of faults, one of each group."""
    return any(frozenset(one) <= frozenset(some) for some in product(*broken) for one in sets)


def _arms(board: Board) -> str:
    return f"{' and '.join(board.arms)} open"


def _standing(board: Board, line: Line, phase: str) -> dict[str, tuple[str, ...]]:
    """What keeps current from a line in a phase, each with the faults by which it no longer does."""
    arm = {_arms(board): tuple(f"{arm} stuck-closed" for arm in board.arms)} if phase == "disarmed" else {}
    contacts = {one.says: (one.defeated_by,) for one in line.contacts if phase in one.phases}
    return arm | {"MOSFET off": (f"{line.switch} drain-source-short",)} | contacts


def _beside(
    sets: Sequence[tuple[int, ...]], others: Sequence[Sequence[int]], faults: Sequence[Fault]
) -> tuple[str, ...]:
    """Faults that fire, alone or with some of the others' faults, one of each, once those are there."""
    broken = [frozenset(some) for some in product(*others)]
    found = [k for one in sets for k in one if any(frozenset(one) - {k} <= some for some in broken)]
    return tuple(faults[k].name for k in dict.fromkeys(found))
