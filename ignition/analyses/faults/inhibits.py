"""What stands between battery and igniter in each phase, and what defeats it alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from ignition.analyses.faults.board import Board
from ignition.analyses.faults.cut_sets import CutSets
from ignition.analyses.faults.fault import Fault
from ignition.analyses.faults.results import Inhibit

__all__ = ["inhibits"]


def inhibits(board: Board, sets: Mapping[str, CutSets]) -> Iterator[Inhibit]:
    """The open arm switch and each MOSFET that is off; what defeats one is read from sets in which the other is broken.

    While disarmed the arm switch is the only inhibit left where a channel's MOSFET is shorted, and the MOSFETs where
    the switch is stuck closed.

    Parameters
    ----------
    sets : Smallest sets of faults that fire, by phase
    """
    faults = board.faults
    numbers = {fault.name: k for k, fault in enumerate(faults)}
    stuck = [numbers.get(f"{arm} stuck-closed", -1) for arm in board.arms]
    for phase, found in sets.items():
        if phase == "firing" and len(board.lines) == 1:
            continue  # its only channel is commanded
        for line in board.lines:
            shorted = numbers.get(f"{line.switch} drain-source-short", -1)
            own = [e for e in found.sets if {faults[k].channel for k in e} <= {line.name, None}]
            if phase == "disarmed":
                yield Inhibit(
                    phase=phase, channel=line.name, inhibit=f"{' and '.join(board.arms)} open",
                    defeated_by=_beside(found.sets, shorted, faults),
                )  # fmt: skip
                defeats = tuple(dict.fromkeys(name for arm in stuck for name in _beside(own, arm, faults)))
            else:
                defeats = tuple(faults[e[0]].name for e in own if len(e) == 1)
            yield Inhibit(phase=phase, channel=line.name, inhibit="MOSFET off", defeated_by=defeats)


def _beside(sets: Sequence[tuple[int, ...]], one: int, faults: Sequence[Fault]) -> tuple[str, ...]:
    """Faults that make a pair with one."""
    return tuple(faults[k].name for pair in sets if len(pair) == 2 and one in pair for k in pair if k != one)
