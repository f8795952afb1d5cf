"""Which dividers no other one beats, why each is listed, and how large its weakest margin is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from ignition.analyses.divider.demands import DividerDuty
from ignition.typing import FloatArray
from ignition.units import engineering

__all__ = ["OBJECTIVES", "Objectives", "non_dominated", "reasons", "steps", "weakest_margin"]

OBJECTIVES = (
    "sense current",
    "leakage that fools it",
    "leakage and sampling error",
    "single-fault current",
    "parts",
)
"""What is traded, in words; each is the smaller the better."""

STEPS_A_DECADE = 12
"""Differences below a step of the E12 series are no reason to choose."""

ENOUGH = 10.0
"""Factor beyond which a margin counts as enough: 20 dB."""

_MARGINS = (
    "monitor current against its limit",
    "single-fault current against the monitor limit",
    "leakage across open terminals against wet terminals",
    "leakage and sampling error against a twentieth of the dead band",
    "back-feed against the clamp's limit",
    "charge drawn in a day against a tenth of the battery",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Objectives:
    """What is traded against each other; all arrays (n,).

    Attributes
    ----------
    sense_current : Highest igniter current of the healthy line [A]
    false_leak : Largest leakage that reads intact [ohm]
    error_share : Leakage and sampling error over the dead band between open and intact [1]
    fault_current : Highest single-fault current [A]
    parts : Number of resistors [1]
    """

    sense_current: FloatArray
    false_leak: FloatArray
    error_share: FloatArray
    fault_current: FloatArray
    parts: FloatArray

    @classmethod
    def joined(cls, members: Sequence[Objectives]) -> Objectives:
        """Return all members one after the other [each its own unit]."""
        return cls(
            sense_current=np.concatenate([m.sense_current for m in members]),
            false_leak=np.concatenate([m.false_leak for m in members]),
            error_share=np.concatenate([m.error_share for m in members]),
            fault_current=np.concatenate([m.fault_current for m in members]),
            parts=np.concatenate([m.parts for m in members]),
        )


def steps(objectives: Objectives) -> npt.NDArray[np.int64]:
    """Return the objectives in whole steps of a twelfth of a decade.

    Returns
    -------
    Steps, shape (n, 5); the number of parts as it is
    """
    columns = []
    for values in (objectives.sense_current, objectives.false_leak, objectives.error_share, objectives.fault_current):
        held = np.clip(values, 1e-15, 1e15)
        columns.append(np.floor(STEPS_A_DECADE * np.log10(held) + 1e-9).astype(np.int64))
    columns.append(objectives.parts.astype(np.int64))
    return np.stack(columns, axis=1)


def non_dominated(objectives: Objectives, full_scale_use: FloatArray, upper: FloatArray) -> npt.NDArray[np.intp]:
    """Find the members that no other one beats.

    A member is beaten where another one is at least as good in every objective and better in one, in whole steps.

    Parameters
    ----------
    full_scale_use, upper : Use of the converter's range [1] and upper resistor [ohm], (n,): of members with equal steps
        the one with the largest use is listed, then the one with the smallest upper resistor
    """
    grid = steps(objectives)
    base = grid.min(axis=0)
    spans = grid.max(axis=0) - base + 1
    key = np.zeros(len(grid), dtype=np.int64)
    for column, span in zip((grid - base).T, spans, strict=True):
        key = key * span + column
    keys, places = np.unique(key, return_index=True)
    rows = grid[places]
    order = np.argsort(rows.sum(axis=1), kind="stable")
    keys, rows = keys[order], rows[order]
    front: list[int] = []
    while len(keys):  # the row of the smallest sum cannot be beaten; drop it and all that it beats
        front.append(int(keys[0]))
        left = np.any(rows < rows[0], axis=1)
        keys, rows = keys[left], rows[left]
    members = np.flatnonzero(np.isin(key, front))
    ranked = members[np.lexsort((upper[members], -full_scale_use[members], key[members]))]
    first = np.concatenate([[True], key[ranked][1:] != key[ranked][:-1]])
    return np.sort(ranked[first])


def reasons(objectives: Objectives, front: npt.NDArray[np.intp]) -> tuple[str, ...]:
    """Say of each member of the front in what it is best.

    Returns
    -------
    The fewest conditions under which it is the best of the list in something
    """
    rows = steps(objectives)[front]
    columns = (
        [engineering(float(v), "A") for v in objectives.sense_current[front]],
        [engineering(float(v), "ohm") for v in objectives.false_leak[front]],
        [f"{100.0 * float(v):.3g} % of the dead band" for v in objectives.error_share[front]],
        [engineering(float(v), "A") for v in objectives.fault_current[front]],
        [f"{int(v)}" for v in objectives.parts[front]],
    )
    return tuple(_reason(rows, index, [column[index] for column in columns]) for index in range(len(rows)))


def _reason(rows: npt.NDArray[np.int64], index: int, texts: list[str]) -> str:
    count = rows.shape[1]
    for size in range(count):
        for best in range(count):
            others = [o for o in range(count) if o != best]
            for held in combinations(others, size):
                rivals = np.all(rows[:, list(held)] <= rows[index, list(held)], axis=1)
                if (
                    rows[index, best] == rows[rivals, best].min()
                    and np.sum(rows[rivals, best] == rows[index, best]) == 1
                ):
                    given = " and ".join(f"no more {OBJECTIVES[o]} than {texts[o]}" for o in held)
                    return f"least {OBJECTIVES[best]} ({texts[best]})" + (f" of those with {given}" if held else "")
    return "a compromise that no other candidate beats in every objective"


def weakest_margin(
    duty: DividerDuty, objectives: Objectives, back_feed: FloatArray, wet_leak: float
) -> tuple[list[str], FloatArray]:
    """Return the smallest margin of each member and its name.

    Parameters
    ----------
    back_feed : Current into an unpowered pin [A], (n,)
    wet_leak : Leakage that should read open [ohm]

    Returns
    -------
    Names, and factors [1] that count as enough from ten on; below 1 the aim is missed
    """
    tiny = 1e-18
    limit = np.inf if duty.limit is None else duty.limit
    factors = np.stack(
        [
            limit / np.maximum(objectives.sense_current, tiny),
            limit / np.maximum(objectives.fault_current, tiny),
            wet_leak / np.maximum(objectives.false_leak, tiny),
            0.05 / np.maximum(objectives.error_share, tiny),
            duty.clamp_limit / np.maximum(back_feed, tiny),
            (np.inf if duty.capacity is None else 0.1 * duty.capacity)
            / np.maximum(86400.0 * objectives.sense_current, tiny),
        ]
    )
    # a negative share means that open and intact overlap
    factors[3] = np.where(objectives.error_share < 0.0, 0.0, factors[3])
    factors = np.clip(factors, tiny, ENOUGH)
    worst = np.argmin(factors, axis=0)
    return [_MARGINS[int(w)] for w in worst[:1]] if len(worst) else [], np.min(factors, axis=0)
