"""Corners of single faults as places to begin from: made-up ones, put together by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from ignition.analyses.faults.bench import Members
from ignition.analyses.faults.corners import Corners

BENCH: Any = SimpleNamespace(
    situations=("armed", "disarmed"),
    faults=("a", "b"),
    igniters=("1", "2"),
    lines=SimpleNamespace(network=SimpleNamespace(parameters=("p", "q", "r"))),
)

ZERO = [[False] * 3] * 2


def corner(high: str, low: str) -> list[list[bool]]:
    """Parameters at their upper end for the highest and for the lowest current, as the letters that do."""
    return [[name in way for name in "pqr"] for way in (high, low)]


def recorded() -> Corners:
    """Armed: nothing, a and b; disarmed: nothing and a, which share a row; the second igniter only with nothing broken."""
    found = Corners.none(BENCH)
    armed = Members(situations=np.array([0, 0, 0]), picks=np.array([[-1], [0], [1]]))
    # rows in another order than members: b is row 0, nothing row 1, a row 2
    batch: Any = SimpleNamespace(first=np.array([2, 0, 1]), members=np.array([0, 1, 2]), place=np.array([1, 2, 0]))
    high = [corner("p", "q"), corner("r", "pqr"), corner("pq", "q"), corner("", "p")]
    found.record(armed, batch, np.array([1, 1, 2, 0]), np.array([0, 1, 0, 0]), np.array(high))
    shared: Any = SimpleNamespace(first=np.array([0]), members=np.array([0, 1]), place=np.array([0, 0]))
    other = Members(situations=np.array([1, 1]), picks=np.array([[-1], [0]]))
    found.record(other, shared, np.array([0]), np.array([0]), np.array([corner("qr", "r")]))
    return found


def begin(situation: int, picks: tuple[int, ...], igniter: int = 0) -> list[list[bool]]:
    """Corner to begin from of one set of faults."""
    found = recorded().begin(np.array([situation]), np.array([picks]), np.array([igniter]))
    return found[0].tolist()  # type: ignore[no-any-return]


def test_nothing_was_looked_at() -> None:
    """Every parameter at its lower end."""
    found = Corners.none(BENCH).begin(np.array([0, 1]), np.array([[0, 1], [-1, -1]]), np.array([0, 1]))
    assert found.tolist() == [ZERO, ZERO]


def test_each_member_has_its_own_corner() -> None:
    """By situation, fault and igniter."""
    assert begin(0, (-1,)) == corner("p", "q") and begin(0, (-1,), 1) == corner("r", "pqr")
    assert begin(0, (0,)) == corner("pq", "q") and begin(0, (1,)) == corner("", "p")
    assert begin(1, (-1,)) == begin(1, (0,)) == corner("qr", "r")


def test_a_set_changes_what_each_of_its_faults_changes() -> None:
    """Fault a raises q for the highest; b lowers p there, and for the lowest swaps p and q."""
    assert begin(0, (0, 1)) == corner("q", "p") == begin(0, (1, 0))
    assert begin(0, (0, -1)) == corner("pq", "q")
    assert begin(0, (0, 0)) == corner("pq", "q")  # what two of them change is changed once


def test_a_fault_that_was_not_looked_at_changes_nothing() -> None:
    """No corner is known of it: neither with the second igniter, nor of b while disarmed."""
    assert begin(0, (0, 1), 1) == corner("r", "pqr")
    assert begin(1, (1,)) == begin(1, (0, 1)) == corner("qr", "r")


def test_members_keep_apart() -> None:
    """Each row of many its own."""
    found = recorded().begin(np.array([0, 1, 0]), np.array([[0, 1], [0, 1], [-1, -1]]), np.array([0, 0, 1]))
    assert found.tolist() == [corner("q", "p"), corner("qr", "r"), corner("r", "pqr")]
