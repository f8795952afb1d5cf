"""Which igniter of a channel is worst off: made-up currents and limits, sorted by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ignition.analyses.faults.bench import Batch
from ignition.analyses.faults.worst import Worst

BENCH: Any = SimpleNamespace(
    igniters=("a.1", "a.2", "b.1"),
    owner=np.array([0, 0, 1]),
    board=SimpleNamespace(lines=("a", "b")),
)
"""Two channels, of two igniters and of one."""

NAN, INF = float("nan"), float("inf")
Entry = tuple[int, int, float, float, bool]
"""Row, igniter, current [A], limit [A], and whether its search came to an end."""


def worst(*entries: Entry, sign: float = 1.0, place: tuple[int, ...] = (0,), bench: Any = BENCH) -> Worst:
    """Enter some igniters of a batch; its rows belong to members by `place`."""
    found = Worst.nowhere(bench, sign, len(place))
    boxes: Any = None
    rows = max(place) + 1
    batch = Batch(
        boxes=boxes,
        members=np.arange(len(place)),
        place=np.array(place),
        first=np.arange(rows),
        unsettled=np.zeros(rows, dtype=bool),
    )
    row, igniter, current, limit, settled = (np.array(values) for values in zip(*entries, strict=True))
    found.put(batch, row, igniter, current, limit, settled)
    return found


def test_nothing_entered() -> None:
    """No igniter, no share, nothing beyond a limit, and below whatever is known of another member."""
    found = Worst.nowhere(BENCH, 1.0, 2)
    assert found.igniter.tolist() == [[-1, -1]] * 2 and found.current.tolist() == [[0.0, 0.0]] * 2
    assert np.isnan(found.share).all() and found.settled.all() and not found.beyond.any()
    assert (found.rank == -INF).all()


def test_the_nearest_to_its_limit_of_each_channel() -> None:
    """0.3 A of 0.5 A is less than 0.2 A of 0.25 A; the other channel has its own; the first igniter counts as well."""
    found = worst((0, 0, 0.3, 0.5, True), (0, 1, 0.2, 0.25, True), (0, 2, 0.1, 1.0, True))
    assert found.igniter.tolist() == [[1, 2]] and found.current.tolist() == [[0.2, 0.1]]
    assert found.share[0] == pytest.approx([0.8, 0.1]) and found.rank[0] == pytest.approx([0.8, 0.1])
    first = worst((0, 0, 0.4, 0.4, True), (0, 1, 0.2, 0.25, True))
    assert first.igniter.tolist() == [[0, -1]] and first.rank.tolist() == [[1.0, -INF]]


def test_of_two_equally_near_the_larger_current() -> None:
    """Half of either limit: 0.4 A of 0.8 A is told before 0.1 A of 0.2 A, and of a firing current the lower one."""
    high = worst((0, 0, 0.4, 0.8, True), (0, 1, 0.1, 0.2, True))
    assert high.igniter.tolist() == [[0, -1]] and high.current.tolist() == [[0.4, 0.0]]
    low = worst((0, 0, 0.4, 0.8, True), (0, 1, 0.1, 0.2, True), sign=-1.0)
    assert low.igniter.tolist() == [[1, -1]] and low.current.tolist() == [[0.1, 0.0]]


def test_a_limit_is_reached_from_either_side() -> None:
    """A no-fire current reached exactly is beyond; an all-fire current reached exactly is not."""
    assert worst((0, 0, 0.2, 0.2, True)).beyond.tolist() == [[True, False]]
    assert worst((0, 0, 0.19, 0.2, True)).beyond.tolist() == [[False, False]]
    assert worst((0, 0, 0.8, 0.8, True), sign=-1.0).beyond.tolist() == [[False, False]]
    assert worst((0, 0, 0.79, 0.8, True), (0, 2, 0.9, 0.8, True), sign=-1.0).beyond.tolist() == [[True, False]]


def test_an_igniter_without_a_limit_stands_between() -> None:
    """It hides no igniter that is beyond its limit, and none within its limit hides it."""
    for known, chosen in ((0.2, 0), (0.1999, 1)):
        found = worst((0, 0, known, 0.2, True), (0, 1, 9.0, NAN, True))
        assert found.igniter.tolist() == [[chosen, -1]] and found.beyond.tolist() == [[chosen == 0, False]]
    for known, chosen in ((0.79, 0), (0.81, 1)):
        found = worst((0, 0, known, 0.8, True), (0, 1, 0.0, NAN, True), sign=-1.0)
        assert found.igniter.tolist() == [[chosen, -1]] and found.beyond.tolist() == [[chosen == 0, False]]


def test_a_limit_of_zero_is_reached_by_no_current_at_all() -> None:
    """A share of it is without end; a limit of 1 A is none of zero."""
    found = worst((0, 0, 0.0, 0.0, True), (0, 2, 0.5, 1.0, True))
    assert found.share.tolist() == [[INF, 0.5]] and found.beyond.tolist() == [[True, False]]


@pytest.mark.parametrize(
    ("sign", "current", "settled"),
    [
        (1.0, 0.099, True), (1.0, 0.1, False), (1.0, 0.15, False), (1.0, 0.41, False),
        (-1.0, 0.401, True), (-1.0, 0.4, False), (-1.0, 0.3, False), (-1.0, 0.01, False),
    ],
)  # fmt: skip
def test_a_search_without_an_end_is_settled_far_within_the_limit_alone(
    sign: float, current: float, settled: bool
) -> None:
    """Below half of a limit of 0.2 A that is not to be reached, or above twice of one that is to be reached."""
    assert worst((0, 0, current, 0.2, False), sign=sign).settled.tolist() == [[settled, True]]


def test_one_igniter_that_is_not_settled_is_enough() -> None:
    """Whichever igniter of the channel is told; the other channel and other members keep what they have."""
    found = worst((0, 0, 0.19, 0.2, True), (0, 1, 0.15, 0.2, False), (0, 2, 0.19, 0.2, True))
    assert found.igniter.tolist() == [[0, 2]] and found.settled.tolist() == [[False, True]]
    found = worst((0, 2, 0.19, 0.2, True), (1, 2, 0.19, 0.2, False), place=(1, 0, 1))
    assert found.settled.tolist() == [[True, False], [True, True], [True, False]]


def test_what_has_no_solution_is_not_told() -> None:
    """Its current is no number: it is not settled, and another igniter of the channel is told instead."""
    found = worst((0, 0, NAN, 0.2, False), (0, 1, 0.01, 0.2, True), (0, 2, NAN, 0.2, False))
    assert found.igniter.tolist() == [[1, -1]] and found.settled.tolist() == [[False, False]]
    assert found.current.tolist() == [[0.01, 0.0]]


def test_members_that_share_a_row_are_told_the_same() -> None:
    """Rows come in any order, and each has entries of its own."""
    entries = [(1, 0, 0.1, 0.2, True), (0, 1, 0.05, 0.2, True), (1, 1, 0.15, 0.2, True), (0, 0, 0.01, 0.2, True)]
    found = worst(*entries, place=(0, 1, 0, 1))
    assert found.igniter[:, 0].tolist() == [1, 1, 1, 1] and (found.igniter[:, 1] == -1).all()
    assert found.current[:, 0].tolist() == [0.05, 0.15, 0.05, 0.15]


def test_rows_and_channels_keep_apart() -> None:
    """Two channels in two rows, entered by turns, the other rows without a solution: each has its own worst."""
    entries = [
        (3, 2, 0.12, 0.2, True), (0, 0, 0.11, 0.2, True), (3, 0, 0.15, 0.2, True), (0, 2, 0.16, 0.2, True),
        (3, 1, 0.14, 0.2, True), (0, 1, 0.13, 0.2, True), (1, 0, NAN, 0.2, False), (2, 2, NAN, 0.2, False),
    ]  # fmt: skip
    found = worst(*entries, place=(0, 1, 2, 3))
    assert found.igniter.tolist() == [[1, 2], [-1, -1], [-1, -1], [0, 2]]
    assert found.current.tolist() == [[0.13, 0.16], [0.0, 0.0], [0.0, 0.0], [0.15, 0.12]]
    assert found.settled.tolist() == [[True, True], [False, True], [True, False], [True, True]]


def test_more_channels_than_members() -> None:
    """Three channels, two rows: the last channel of one is not the first of the next."""
    three = SimpleNamespace(igniters=("a", "b", "c"), owner=np.arange(3), board=SimpleNamespace(lines="abc"))
    entries = [(row, igniter, 0.01 * (1 + 3 * row + igniter), 0.2, True) for row in (0, 1) for igniter in (0, 1, 2)]
    found = worst(*entries, place=(0, 1), bench=three)
    assert found.igniter.tolist() == [[0, 1, 2]] * 2
    assert found.current == pytest.approx(np.array([[0.01, 0.02, 0.03], [0.04, 0.05, 0.06]]))
