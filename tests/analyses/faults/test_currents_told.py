"""Which current is told of what a search found: made-up searches, either direction, limits, samples, no solution."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ignition.analyses.faults.bench import Batch, Bench, Members
from ignition.analyses.faults.circuit_board import circuit_board
from ignition.analyses.faults.corners import Corners
from ignition.analyses.faults.currents import hazards, highest_against, highest_uncommanded, lowest_commanded
from ignition.analyses.faults.fault import single_faults
from ignition.analyses.faults.situations import Situation
from ignition.circuit.file import parse_circuit
from ignition.network.worst_members import Boxes, WorstMembers
from ignition.typing import BoolArray, FloatArray
from tests.analyses.faults.boards import board as file_of
from tests.analyses.faults.boards import held

ARMED = Situation(phase="armed", controller="alive")
FIRING = Situation(phase="firing", controller="alive", commanded=frozenset({"line"}))
SHORT, ARM = "line.mosfet drain-source-short", "arm switch stuck-closed"
NAN = float("nan")

Way = tuple[float, bool]
"""Current in one direction [A], and whether its search came to an end."""


class Searches:
    """Made-up results of a search: in an igniter's own direction, in the other one, and of the lowest current."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, channels: int = 1) -> None:
        circuit = held(channels=str(channels))
        faults = {fault.name: fault for fault in single_faults(circuit)}
        self.bench = Bench.on(circuit_board(circuit, (ARMED, FIRING), [faults[SHORT], faults[ARM]]))
        self.forth: dict[str, Way] = {}
        self.back: dict[str, Way] = {}
        self.low: Way = (1.0, True)
        self.starts: list[int] = []
        self.begin: list[BoolArray | None] = []
        self.negligible: list[Any] = []
        monkeypatch.setattr("ignition.analyses.faults.currents.worst_members", self.search)
        monkeypatch.setattr("ignition.analyses.faults.currents.both_ways", self.both_ways)

    def both_ways(
        self, boxes: Boxes, weights: FloatArray, starts: int, begin: Sequence[BoolArray], negligible: Any = None
    ) -> tuple[WorstMembers, WorstMembers]:
        """The same, turned round for the other direction."""
        one = np.ones(len(weights))
        forth, back = (
            self.search(boxes, sign * weights, one, starts, side, negligible)
            for sign, side in zip((1.0, -1.0), begin, strict=True)
        )
        return forth, back

    def search(
        self,
        boxes: Boxes,
        weights: FloatArray,
        direction: FloatArray,
        starts: int,
        begin: BoolArray | None = None,
        negligible: Any = None,
    ) -> WorstMembers:
        """Stand in for it; what stands at its upper end is the first parameter, or the second in the other direction."""
        self.starts.append(starts)
        self.begin.append(begin)
        self.negligible.append(negligible)
        names = [*boxes.network.nodes, *(e.name for e in boxes.network.elements)]
        own = weights.sum(axis=1) > 0.0
        if (direction < 0.0).all():
            ways = [self.low] * len(weights)
        else:
            told = [names[int(np.flatnonzero(row)[0])] for row in weights]
            ways = [(self.forth if way else self.back).get(n, (1e-6, True)) for n, way in zip(told, own, strict=True)]
        high = np.zeros(boxes.low.shape, dtype=bool)
        high[np.arange(len(weights)), np.where(own, 0, 1)] = True
        value, settled = (np.array(each) for each in zip(*ways, strict=True))
        return WorstMembers(value=value.astype(float), high=high, settled=settled)

    def one(self, forth: Way, back: Way) -> tuple[int, float, bool]:
        """Igniter, current and settled while armed with nothing broken."""
        self.forth, self.back = {"line.igniter 1.1": forth}, {"line.igniter 1.1": back}
        found = highest_uncommanded(self.bench, Members.each([0], np.array([[-1]])))
        return int(found.igniter[0, 0]), float(found.current[0, 0]), bool(found.settled[0, 0])


@pytest.mark.parametrize(
    ("forth", "back", "told"),
    [
        ((0.15, True), (0.12, False), (0, 0.15, True)), ((0.12, False), (0.15, True), (0, 0.15, True)),
        ((0.15, False), (0.12, True), (0, 0.15, False)), ((0.12, True), (0.15, False), (0, 0.15, False)),
        ((0.15, True), (0.15, False), (0, 0.15, True)), ((0.15, False), (0.15, True), (0, 0.15, False)),
        ((-0.3, True), (0.15, True), (0, 0.15, True)), ((0.9e-10, True), (-1.0, True), (0, 0.0, True)),
        ((1e-10, True), (-1.0, True), (0, 1e-10, True)), ((-1.0, True), (-1.0, True), (0, 0.0, True)),
        ((NAN, True), (0.15, True), (-1, 0.0, False)), ((0.15, True), (NAN, True), (-1, 0.0, False)),
    ],
)  # fmt: skip
def test_the_larger_direction_is_told(
    monkeypatch: pytest.MonkeyPatch, forth: Way, back: Way, told: tuple[int, float, bool]
) -> None:
    """With what its own search came to; what insulation passes is none; without a solution nothing is known."""
    assert Searches(monkeypatch).one(forth, back) == told


def test_against_several_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each has its own share: 0.15 A of 0.2 A, and of 0.1 A; one igniter without a limit has none."""
    searches = Searches(monkeypatch)
    searches.forth = {"line.igniter 1.1": (0.15, True)}
    limits = [np.array([v]) for v in (0.2, 0.1, NAN)]
    some = highest_against(searches.bench, Members.each([0], np.array([[-1]])), limits, starts=3)
    assert [float(one.share[0, 0]) for one in some] == pytest.approx([0.75, 1.5, NAN], nan_ok=True)
    assert [bool(one.beyond[0, 0]) for one in some] == [False, True, False] and set(searches.starts) == {3}


def test_where_corners_are_not_proved_more_are_sought(monkeypatch: pytest.MonkeyPatch) -> None:
    """A netlist's search starts from eight points whatever is asked, a circuit file's from two."""
    searches = Searches(monkeypatch)
    highest_uncommanded(searches.bench, Members.each([0], np.array([[-1]])))
    assert set(searches.starts) == {2} and not any(one is None for one in searches.begin)
    searches.starts.clear()
    mesh = Bench.on(replace(searches.bench.board, samples=4))
    monkeypatch.setattr("ignition.analyses.faults.currents.sampled", lambda *_: (np.zeros(1), np.zeros(1)))
    highest_uncommanded(mesh, Members.each([0], np.array([[-1]])))
    assert set(searches.starts) == {8}


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (-0.1, 0.15, (0, 0.15, True)), (-0.15, 0.1, (0, 0.15, True)),
        # beyond what was found, and within the limit: nothing is known
        (-0.16, 0.1, (-1, 0.0, False)), (0.1, 0.16, (-1, 0.0, False)), (-np.inf, np.inf, (-1, 0.0, False)),
        (-0.2, 0.1, (0, 0.2, False)), (-0.1, 0.3, (0, 0.3, False)),
        # a part in 1e9, and what insulation passes, are no difference
        (0.0, 0.15 + 2e-10, (0, 0.15, True)), (0.0, 0.15 + 3e-10, (-1, 0.0, False)),
    ],
)  # fmt: skip
def test_a_sample_beyond_what_was_found(
    monkeypatch: pytest.MonkeyPatch, low: float, high: float, told: tuple[int, float, bool]
) -> None:
    """In either direction; where it reaches the limit that is told, without an end."""
    searches = Searches(monkeypatch)
    searches.bench = Bench.on(replace(searches.bench.board, samples=4))
    monkeypatch.setattr("ignition.analyses.faults.currents.sampled", lambda *_: (np.array([low]), np.array([high])))
    assert searches.one((0.15, True), (0.1, True)) == told


def test_gates_that_do_not_settle_are_told_of_no_igniter(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever some corner gives: not solved, and of a set sought not known."""
    searches, laid = Searches(monkeypatch), Bench.batches
    searches.forth = {"line.igniter 1.1": (0.3, True)}
    corners, picks = Corners.none(searches.bench), np.array([[0, 1]])
    found, lost = hazards(searches.bench, Members.each([0], picks), corners)
    assert (found.tolist(), lost.tolist()) == ([True], [False])

    rounded = []

    def unsettled(bench: Bench, members: Members, coarse: bool = False) -> Iterator[Batch]:
        rounded.append(coarse)
        for one in laid(bench, members, coarse):
            yield replace(one, unsettled=np.ones(len(one.first), dtype=bool))

    monkeypatch.setattr(Bench, "batches", unsettled)
    assert searches.one((0.3, True), (0.1, True)) == (-1, 0.0, False)
    found, lost = hazards(searches.bench, Members.each([0], picks), corners)
    assert (found.tolist(), lost.tolist()) == ([False], [True])
    assert rounded == [False, True]  # off currents are rounded up where sets are sought, never where one is told


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        (0.1998, 0.0, (True, False)), (0.0, 0.1998, (True, False)), (0.1997, 0.1997, (False, False)),
        (NAN, 0.0, (False, True)), (NAN, 0.2, (True, False)), (0.2, NAN, (True, False)),
    ],
)  # fmt: skip
def test_what_is_sought_of_sets(
    monkeypatch: pytest.MonkeyPatch, first: float, second: float, expected: tuple[bool, bool]
) -> None:
    """Any channel's igniter at 0.2 A less a thousandth, as small effects are not followed; one that fires is enough."""
    searches = Searches(monkeypatch, 2)
    searches.forth = {"line.igniter 1.1": (first, True), "line 2.igniter 1.1": (second, True)}
    members = Members.each([0], np.array([[0, 1], [-1, -1]]))
    found, lost = hazards(searches.bench, members, Corners.none(searches.bench))
    assert (found.tolist(), lost.tolist()) == ([expected[0]] * 2, [expected[1]] * 2)
    assert set(searches.starts) == {1} and searches.negligible[0] == pytest.approx([0.2e-5] * 4)


def test_an_igniter_without_a_limit_is_not_sought(monkeypatch: pytest.MonkeyPatch) -> None:
    """No current of it is a hazard that would be known, nor one that would not."""
    searches = Searches(monkeypatch)
    circuit = searches.bench.circuit
    unknown = replace(circuit.igniters["match"], threshold_low=None)
    board = replace(searches.bench.board, circuit=replace(circuit, igniters={"match": unknown}))
    searches.forth = {"line.igniter 1.1": (9.0, True)}
    found, lost = hazards(Bench.on(board), Members.each([0], np.array([[0, 1]])), Corners.none(searches.bench))
    assert (found.tolist(), lost.tolist()) == ([False], [False]) and not searches.starts


def test_where_a_search_begins(monkeypatch: pytest.MonkeyPatch) -> None:
    """At the corners of the single faults, if those were recorded, of either direction."""
    searches = Searches(monkeypatch)
    corners, singles = Corners.none(searches.bench), Members.each([0], np.array([[0], [1], [-1]]))
    highest_uncommanded(searches.bench, singles, record=corners)
    searches.begin.clear()
    hazards(searches.bench, Members.each([0], np.array([[0, 1]])), corners)
    forth, back = searches.begin
    assert forth is not None and back is not None
    assert [np.flatnonzero(one[0]).tolist() for one in (forth, back)] == [[0], [1]]


def test_nobody_is_asked_of_a_commanded_channel(monkeypatch: pytest.MonkeyPatch) -> None:
    """While one of two fires, the other's stray current and the one's own firing current are told."""
    searches = Searches(monkeypatch, 2)
    searches.forth, searches.low = {"line.igniter 1.1": (9.0, True), "line 2.igniter 1.1": (0.1, True)}, (0.9, False)
    members = Members.each([0, 1], np.array([[-1]]))
    quiet, fired = highest_uncommanded(searches.bench, members), lowest_commanded(searches.bench, members)
    assert quiet.igniter.tolist() == [[0, 1], [-1, 1]] and quiet.current.tolist() == [[9.0, 0.1], [0.0, 0.1]]
    assert fired.igniter.tolist() == [[-1, -1], [0, -1]] and fired.current.tolist() == [[0.0, 0.0], [0.9, 0.0]]
    assert fired.settled.tolist() == [[True, True], [False, True]] and fired.sign == -1.0 and quiet.sign == 1.0
    assert fired.share[1, 0] == pytest.approx(0.9 / 0.8) and quiet.share[1, 1] == pytest.approx(0.5)
    nobody = lowest_commanded(searches.bench, Members.each([0], np.array([[-1]])))
    assert nobody.igniter.tolist() == [[-1, -1]] and nobody.sign == -1.0


def test_a_firing_current_that_flows_backwards_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """It heats a bridge in either direction, but was not what was commanded."""
    searches = Searches(monkeypatch)
    searches.low = (-0.9, True)
    found = lowest_commanded(searches.bench, Members.each([1], np.array([[-1]])))
    assert found.current.tolist() == [[0.0]] and found.beyond.all()


@pytest.mark.parametrize(
    ("low", "settled"),
    [
        ((7.9e-4, False), True),
        ((8e-4, False), False),
        ((8.1e-4, False), False),
        ((-0.1, False), True),
        ((0.9, True), True),
    ],
)
def test_next_to_nothing_is_a_dud_wherever_its_corner_is(
    monkeypatch: pytest.MonkeyPatch, low: Way, settled: bool
) -> None:
    """Below a thousandth of 0.8 A it is settled that the igniter does not fire, though the search has not ended."""
    searches = Searches(monkeypatch)
    searches.low = low
    found = lowest_commanded(searches.bench, Members.each([1], np.array([[-1]])))
    assert found.settled.all() == settled and found.beyond.all() == (low[0] < 0.8)


def test_an_igniter_that_a_fault_touches_is_like_no_other() -> None:
    """Two strings are alike and one stands for both, until an igniter of the second one is open: it does not fire."""
    circuit = held(igniters='[["match"], ["match"]]')
    faults = {fault.name: fault for fault in single_faults(circuit)}
    few = [faults["line.igniter 2.1 open"], faults["line.lower open"]]
    bench = Bench.on(circuit_board(circuit, (FIRING,), few))
    found = lowest_commanded(bench, Members.each([0], np.array([[0, -1], [-1, -1], [0, 1], [1, -1]])))
    assert found.igniter[:, 0].tolist() == [1, 0, 1, 0] and found.current[2, 0] == pytest.approx(0.0, abs=1e-9)
    assert found.igniter[0, 0] == 1 and found.current[0, 0] == pytest.approx(0.0, abs=1e-9)
    assert found.igniter[1, 0] == 0
    # 7 V at least; two bridges of at most 1.3 ohm side by side, or 0.8 ohm beside 1.3 ohm, which takes the less
    rest = 0.1 + 0.05 + 0.39970799955868247 + 0.1 + 0.02
    shared = 7.0 / (rest + 0.8 * 1.3 / 2.1) * 0.8 / 2.1
    assert found.current[1, 0] == pytest.approx(shared, rel=2e-3)


@pytest.mark.parametrize(("share", "hazardous"), [(1.0005, True), (1.002, False)])
def test_a_pair_at_the_no_fire_current_by_hand(share: float, hazardous: bool) -> None:
    """8.4 V over battery, switch, lead with joints and bridge at their lowest; a no-fire current 0.2 % above is kept."""
    current = 8.4 / (0.04 + 0.01 + 0.39970799955868247 + 0.02 + 0.8 + 1e-6)
    text = file_of().replace('no_fire = { current = "0.2 A"', f'no_fire = {{ current = "{share * current!r} A"')
    text = text.replace('all_fire = { current = "0.8 A"', 'all_fire = { current = "9 A"')
    circuit = parse_circuit(text, "pair.toml")
    faults = [fault for fault in single_faults(circuit) if fault.name in (SHORT, ARM)]
    bench = Bench.on(circuit_board(circuit, (Situation(phase="disarmed", controller="alive"),), faults))
    found, lost = hazards(bench, Members.each([0], np.array([[0, 1]])), Corners.none(bench))
    assert (found.tolist(), lost.tolist()) == ([hazardous], [False])
