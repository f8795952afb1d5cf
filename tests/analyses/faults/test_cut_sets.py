"""Minimal cut sets against published fault trees, brute force and counts."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import combinations
from typing import Any

import numpy as np
import pytest

from ignition.analyses.faults.cut_sets import CutSets, minimal_cut_sets
from ignition.network.linear import Indices
from ignition.typing import BoolArray

Published = Callable[[str], dict[str, Any]]
Law = Callable[..., BoolArray]


def sets_of(law: Law, events: Sequence[str], order: int) -> CutSets:
    """Cut sets of a law of named events, each a part of its own."""

    def happens(sets: Indices) -> BoolArray:
        present = {name: (sets == k).any(axis=1) for k, name in enumerate(events)}
        return np.asarray(law(**present), dtype=bool)

    return minimal_cut_sets(events, happens, order)


def named(found: CutSets, events: Sequence[str]) -> set[frozenset[str]]:
    """Sets by the names of their events."""
    return {frozenset(events[k] for k in one) for one in found.sets}


def exact(found: CutSets, probability: Sequence[float]) -> float:
    """Probability that some set happens whole: inclusion and exclusion over all sets, events independent."""
    total = 0.0
    for size in range(1, len(found.sets) + 1):
        for some in combinations(found.sets, size):
            events = {k for one in some for k in one}
            total += (-1.0) ** (size + 1) * math.prod(probability[k] for k in events)
    return total


def rare(found: CutSets, probability: Sequence[float]) -> float:
    """Sum over all sets, which is too much where events are frequent."""
    return sum(math.prod(probability[k] for k in one) for one in found.sets)


def tank(T: BoolArray, K2: BoolArray, S: BoolArray, S1: BoolArray, K1: BoolArray, R: BoolArray) -> BoolArray:
    """Pressure tank rupture."""
    return T | K2 | (S & (S1 | K1 | R))


def test_pressure_tank(published: Published) -> None:
    """Five sets, and the probability of both printed sets of values."""
    entry = published("faults.tank")
    events = list(entry["probability"])
    found = sets_of(tank, events, 3)
    assert named(found, events) == {frozenset(one) for one in entry["sets"]}
    assert found.fewest == 1
    assert len(found.of_size(2)) == 3
    assert exact(found, list(entry["probability"].values())) == pytest.approx(entry["exact"], rel=1e-8)
    assert rare(found, list(entry["probability"].values())) == pytest.approx(entry["rare_event"], rel=1e-12)
    older = published("faults.tank_1981")
    assert exact(found, [older["probability"][e] for e in events]) == pytest.approx(older["exact"], rel=1e-7)


def test_small_trees(published: Published) -> None:
    """Seals with a set of four; a theatre's supply; two trains, whose rare-event sum passes 1."""
    seals = sets_of(lambda t, c, a, b, d, e: (t & c) | (a & b & d & e), "tcabde", 4)
    assert seals.sets == ((0, 1), (2, 3, 4, 5))
    value = published("faults.seals")["exact"]
    assert exact(seals, [0.1, 1e-5, 1e-3, 1e-3, 1e-3, 1e-3]) == pytest.approx(value, rel=1e-12)
    assert sets_of(lambda t, c, a, b, d, e: (t & c) | (a & b & d & e), "tcabde", 3).sets == ((0, 1),)
    theatre, entry = sets_of(lambda m, g, r: m & (g | r), "mgr", 2), published("faults.theatre")
    assert exact(theatre, [0.03, 0.02, 0.05]) == pytest.approx(entry["exact"], rel=1e-9)
    assert rare(theatre, [0.03, 0.02, 0.05]) == pytest.approx(entry["rare_event"], rel=1e-9)
    trains, entry = sets_of(lambda v, p, w, q: (v | p) & (w | q), "vpwq", 4), published("faults.two_trains")
    assert len(trains.sets) == 4
    assert exact(trains, [0.5, 0.7, 0.5, 0.7]) == pytest.approx(entry["exact"], rel=1e-9)
    assert rare(trains, [0.5, 0.7, 0.5, 0.7]) == pytest.approx(entry["rare_event"], rel=1e-9)


def test_seven_sets(published: Published) -> None:
    """One single, three pairs and three threes."""
    entry = published("faults.ne574")
    events = list(entry["probability"])
    found = sets_of(lambda B, C, D, F, G, H, I: C | ((D | (H & I)) & (F | G | B)), events, 4)  # noqa: E741
    assert named(found, events) == {frozenset(one) for one in entry["sets"]}
    assert exact(found, list(entry["probability"].values())) == pytest.approx(entry["exact"], rel=1e-9)


def test_absorption(published: Published) -> None:
    """Of five gates, three add nothing: six pairs are left; unavailability over time as in the paper."""
    entry = published("faults.vesely")

    def two(a: BoolArray, b: BoolArray, c: BoolArray) -> BoolArray:
        return (a & b) | (a & c) | (b & c)

    def top(**e: BoolArray) -> BoolArray:
        one, two_, three, four, five, six, seven, eight, nine, ten = (e[f"e{k}"] for k in range(1, 11))
        return (
            two(one, two_, three)
            | two(four, five, six)
            | (one & two_ & (nine | ten))
            | ((seven | eight | nine) & ((one & two_ & three) | (four & five & six)))
            | ((seven | eight) & two(one, two_, three))
        )

    found = sets_of(top, [f"e{k}" for k in range(1, 11)], 4)
    assert found.sets == ((0, 1), (0, 2), (1, 2), (3, 4), (3, 5), (4, 5))
    for hours, value in zip(entry["hours"], entry["exact"], strict=True):
        probability = [1.0 - math.exp(-rate * hours) for rate in [2.6e-6] * 3 + [3.5e-5] * 3] + [0.0] * 4
        assert exact(found, probability) == pytest.approx(value, abs=5.1e-8)


def test_counts(published: Published) -> None:
    """Modes of one part exclude each other: the singles and doubles that are asked are as many as the formula says."""
    for parts, modes, singles, doubles in published("faults.counts")["rows"]:
        asked: list[int] = []

        def happens(sets: Indices, asked: list[int] = asked) -> BoolArray:
            asked.append(len(sets))
            return np.zeros(len(sets), dtype=bool)

        found = minimal_cut_sets([f"part {k}" for k in range(parts) for _ in range(modes)], happens, 2)
        assert asked == [1, singles, doubles]
        assert found.fewest is None
        assert found.sets == ()


def test_against_brute_force() -> None:
    """Random monotone laws of seven events of five parts: every minimal set up to three, and no other."""
    rng = np.random.default_rng(3)
    parts = ["a", "a", "b", "b", "c", "d", "e"]
    for _ in range(60):
        terms = [set(rng.choice(7, rng.integers(1, 4), replace=False).tolist()) for _ in range(rng.integers(1, 6))]
        admissible = [
            set(one)
            for size in range(4)
            for one in combinations(range(7), size)
            if len({parts[k] for k in one}) == size
        ]
        happening = [one for one in admissible if any(term <= one for term in terms)]
        wanted = {frozenset(one) for one in happening if not any(other < one for other in happening)}

        def happens(sets: Indices, terms: list[set[int]] = terms) -> BoolArray:
            return np.array([any(term <= set(one) for term in terms) for one in sets.tolist()], dtype=bool)

        found = minimal_cut_sets(parts, happens, 3)
        assert {frozenset(one) for one in found.sets} == wanted
        assert found.fewest == min((len(one) for one in wanted), default=None)


def test_what_always_happens() -> None:
    """The empty set is a set: nothing is asked after it."""
    calls = []

    def happens(sets: Indices) -> BoolArray:
        calls.append(sets.shape)
        return np.ones(len(sets), dtype=bool)

    found = minimal_cut_sets(["a", "b"], happens, 3)
    assert found.sets == ((),)
    assert found.fewest == 0
    assert calls == [(1, 0)]
