"""Classes of faults, the row that is told, and the fewest that fire: made-up currents, decided by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.circuit_board import circuit_board
from ignition.analyses.faults.fault import single_faults
from ignition.analyses.faults.faults import board_faults, faults
from ignition.analyses.faults.results import FaultRow, Faults
from ignition.analyses.faults.situations import Situation
from ignition.analyses.faults.strain import Strain
from ignition.analyses.faults.worst import Worst
from ignition.errors import InputError
from ignition.toleranced import Toleranced
from ignition.typing import BoolArray
from tests.analyses.faults.boards import held

SHORT, OPEN, UPPER, LOWER = (
    "line.mosfet drain-source-short", "line.mosfet open", "line.upper short", "line.lower open",
)  # fmt: skip
ALIVE, DEAD = Situation(phase="armed", controller="alive"), Situation(phase="armed", controller="dead")
FIRING = Situation(phase="firing", controller="alive", commanded=frozenset({"line"}))
NAN = float("nan")

Told = tuple[float, float]
"""Current [A], negative where it is not settled, and share of the limit."""

Made = Mapping[Any, Told]
"""What is told of a controller (``firing`` while commanded), a channel, and the faults beside."""


class World:
    """Two channels, or one, four faults, and whatever currents and hazards a test makes up."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, channels: int = 2, strings: str = '[["match"]]') -> None:
        circuit = held(channels=str(channels), igniters=strings)
        faults = {fault.name: fault for fault in single_faults(circuit)}
        few = [faults[name] for name in (SHORT, OPEN, UPPER, LOWER)]
        self.board = circuit_board(circuit, (ALIVE, DEAD, FIRING), few)
        self.quiet: Made = {}
        self.fired: Made = {}
        self.hazards: dict[frozenset[str], str] = {}
        self.shown: dict[str, tuple[str, ...]] = {}
        self.igniter = 0
        self.asked: list[tuple[str, frozenset[str]]] = []
        here = "ignition.analyses.faults.faults."
        monkeypatch.setattr(f"{here}highest_uncommanded", lambda b, m, **_: self.worst(b, m, 1.0, self.quiet))
        monkeypatch.setattr(f"{here}lowest_commanded", lambda b, m: self.worst(b, m, -1.0, self.fired))
        monkeypatch.setattr(f"{here}hazards", self.sought)
        monkeypatch.setattr(f"{here}strain", lambda _, m: Strain(battery=np.zeros(len(m.situations)), pins={}))
        monkeypatch.setattr(f"{here}_shown", self.readings)

    def named(self, bench: Bench, members: Members) -> list[tuple[Situation, frozenset[str]]]:
        """Situation and faults of each member."""
        return [
            (bench.situations[number], frozenset(bench.faults[k].name for k in picks if k >= 0))
            for number, picks in zip(members.situations, members.picks, strict=True)
        ]

    def worst(self, bench: Bench, members: Members, sign: float, made: Made) -> Worst:
        """Stand in for the search: 1 uA where nobody commands, twice the all-fire current where somebody does."""
        found = Worst.nowhere(bench, sign, len(members.situations))
        for row, (situation, broken) in enumerate(self.named(bench, members)):
            for number, line in enumerate(bench.board.lines):
                if (line.name in situation.commanded) is (sign > 0.0):
                    continue
                where = "firing" if situation.phase == "firing" else situation.controller
                usual = (1e-6, 5e-6) if sign > 0.0 else (1.6, 2.0)
                current, share = made.get((where, line.name, *sorted(broken)), usual)
                found.igniter[row, number] = number + self.igniter
                found.current[row, number], found.share[row, number] = abs(current), share
                found.settled[row, number] = current >= 0.0
        return found

    def sought(self, bench: Bench, members: Members, _: Any) -> tuple[BoolArray, BoolArray]:
        """Stand in for the search of sets: ``alive`` is a hazard with that controller, ``lost dead`` not solved."""
        named = self.named(bench, members)
        self.asked += [(situation.phase, faults) for situation, faults in named]
        words = [self.hazards.get(faults, "").split(",") if s.phase == "armed" else [] for s, faults in named]
        found = [s.controller in word for word, (s, _) in zip(words, named, strict=True)]
        lost = [f"lost {s.controller}" in word for word, (s, _) in zip(words, named, strict=True)]
        return np.array(found, dtype=bool), np.array(lost, dtype=bool)

    def readings(self, bench: Bench, picks: Any) -> tuple[tuple[str, ...], ...]:
        """Stand in for the readings."""
        return tuple(self.shown.get(bench.faults[k].name if k >= 0 else "", ()) for (k,) in picks)

    def found(self, order: int = 1) -> Faults:
        """Analyse."""
        return board_faults(self.board, order)

    def row(self, fault: str, phase: str = "armed") -> FaultRow:
        """One row."""
        return next(one for one in self.found().phase(phase).faults if one.faults == (fault,))


@pytest.fixture
def world(monkeypatch: pytest.MonkeyPatch) -> World:
    """Two channels."""
    return World(monkeypatch)


def test_hazardous_at_the_no_fire_current(world: World) -> None:
    """0.2 A of 0.2 A; the row is that of the situation and channel where it flows, the others stay harmless."""
    world.quiet = {("dead", "line 2", UPPER): (0.2, 1.0), ("alive", "line 2", UPPER): (0.19, 0.95)}
    row = world.row(UPPER)
    assert (row.kind, row.controller, row.channel, row.igniter) == (
        "hazardous", "dead", "line 2", "line 2.igniter 1.1",
    )  # fmt: skip
    assert (row.current, row.limit, row.commanded, row.share) == (0.2, 0.2, False, 1.0)
    assert row.thermal_fraction == pytest.approx(1.0)
    assert {one.kind for one in world.found().phase("armed").faults if one.faults != (UPPER,)} == {"harmless"}


def test_just_below_is_harmless(world: World) -> None:
    """A quarter of the heat at half of the current."""
    world.quiet = {("alive", "line", SHORT): (0.1, 0.5)}
    row = world.row(SHORT)
    assert (row.kind, row.current, row.channel, row.controller) == ("harmless", 0.1, "line", "alive")
    assert row.thermal_fraction == pytest.approx(0.25)


def test_of_two_equally_near_the_larger_current(world: World) -> None:
    """Of several limits: 0.4 A before 0.1 A, both half of theirs."""
    world.quiet = {("alive", "line 2", UPPER): (0.4, 0.5), ("dead", "line", UPPER): (0.1, 0.5)}
    assert (world.row(UPPER).channel, world.row(UPPER).current) == ("line 2", 0.4)


def test_a_dud(world: World) -> None:
    """Below the all-fire current, not at it; its row has the firing current against that one, and no heat."""
    world.fired = {("firing", "line", OPEN): (0.7, 0.875), ("firing", "line", UPPER): (0.8, 1.0)}
    row = world.row(OPEN, "firing")
    assert (row.kind, row.current, row.limit, row.commanded) == ("dud", 0.7, 0.8, True)
    assert row.share == pytest.approx(0.875) and row.thermal_fraction is None
    other = world.row(UPPER, "firing")  # the other channel's stray current is told
    assert (other.kind, other.current, other.channel, other.commanded) == ("harmless", 1e-6, "line 2", False)


def test_hazardous_before_all_else(world: World) -> None:
    """Though the same fault makes a dud, and though something else is not solved."""
    world.quiet = {("firing", "line 2", SHORT): (0.3, 1.5)}
    world.fired = {("firing", "line", SHORT): (-0.1, 0.125)}
    row = world.row(SHORT, "firing")
    assert (row.kind, row.channel, row.current, row.commanded) == ("hazardous", "line 2", 0.3, False)


@pytest.mark.parametrize(
    ("quiet", "fired"),
    [((-1e-6, 5e-6), (1.6, 2.0)), ((1e-6, 5e-6), (-1.6, 2.0)), ((1e-6, 5e-6), (-0.1, 0.125))],
)
def test_not_solved_is_not_harmless(world: World, quiet: Told, fired: Told) -> None:
    """Either search without an end: no class, no current; not even a dud's."""
    world.quiet, world.fired = {("firing", "line 2", UPPER): quiet}, {("firing", "line", UPPER): fired}
    row = world.row(UPPER, "firing")
    assert (row.kind, row.current, row.share, row.thermal_fraction) == ("not solved", None, None, None)


def test_one_situation_of_several_without_a_solution(world: World) -> None:
    """The controller that is dead, the other channel: it is enough."""
    world.quiet = {("dead", "line 2", UPPER): (-1e-6, 5e-6)}
    assert world.row(UPPER).kind == "not solved" and world.row(SHORT).kind == "harmless"


@pytest.mark.parametrize(("quiet", "fired"), [((0.3, NAN), (1.6, 2.0)), ((1e-6, 5e-6), (1.6, NAN))])
def test_nothing_to_judge_by(world: World, quiet: Told, fired: Told) -> None:
    """An igniter without a limit, of one current or of the other."""
    world.quiet, world.fired = {("firing", "line 2", UPPER): quiet}, {("firing", "line", UPPER): fired}
    row = world.row(UPPER, "firing")
    assert row.kind == "not judged" and not row.commanded and row.current == quiet[0]


def test_a_lone_channel_while_commanded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody is left whom no one commands: the firing current is told."""
    world = World(monkeypatch, channels=1)
    row = world.row(UPPER, "firing")
    assert (row.kind, row.current, row.commanded, row.limit) == ("harmless", 1.6, True, 0.8)
    assert row.thermal_fraction is None and row.share == pytest.approx(2.0)
    two = World(monkeypatch, 1, '[["match"], ["match"]]')
    two.igniter = 1
    assert (two.row(UPPER, "firing").commanded, two.row(UPPER, "firing").igniter) == (True, "line.igniter 2.1")
    world = World(monkeypatch, channels=1)
    world.quiet = {("alive", "line", UPPER): (0.1, 0.5)}
    assert (world.row(UPPER).commanded, world.row(UPPER).current) == (False, 0.1)


def test_detected_and_latent(world: World) -> None:
    """In a pair that fires: latent, unless a reading shows it; shown alone: detected; a hazard stays one."""
    world.hazards = {frozenset({UPPER, LOWER}): "alive"}
    world.shown = {UPPER: ("line drain (armed)",), OPEN: ("line drain (armed)",), SHORT: ("line drain (armed)",)}
    world.quiet = {("alive", "line", SHORT): (0.2, 1.0)}
    kinds = {one.faults[0]: (one.kind, one.detected_by) for one in world.found().phase("armed").faults}
    seen = ("line drain (armed)",)
    assert kinds == {
        SHORT: ("hazardous", seen), OPEN: ("detected", seen), UPPER: ("detected", seen), LOWER: ("latent", ()),
    }  # fmt: skip


def armed(world: World, order: int = 1) -> tuple[int | None, int | None]:
    """Fewest faults that fire while armed, and the size of the smallest sets that are not solved."""
    found = world.found(order).phase("armed")
    return found.fewest, found.unsolved


def test_the_fewest_that_fire(world: World) -> None:
    """None, a pair, one, or nothing broken at all; in which situation and channel does not matter."""
    assert armed(world) == (None, None)
    world.hazards = {frozenset({UPPER, LOWER}): "dead"}
    assert armed(world) == (2, None)
    world.quiet = {("dead", "line 2", LOWER): (0.2, 1.0)}
    assert armed(world) == (1, None)
    world.quiet = {("dead", "line 2"): (0.2, 1.0)}
    assert armed(world) == (0, None)


def test_the_fewest_are_not_known_where_fewer_are_not_solved(world: World) -> None:
    """A single fault without a solution hides whether one fires, but not that another one does."""
    lost = {("dead", "line 2", LOWER): (-1e-6, 5e-6)}
    world.quiet = lost
    assert armed(world) == (None, 1)
    world.hazards = {frozenset({UPPER, SHORT}): "alive"}
    assert armed(world) == (None, 1)
    world.quiet = lost | {("alive", "line", UPPER): (0.2, 1.0)}
    assert armed(world) == (1, 1)
    world.quiet = {("dead", "line 2", LOWER): (-0.2, 1.0)}  # it reaches the limit though its search did not end
    assert armed(world) == (1, None)


def test_nothing_broken_without_a_solution(world: World) -> None:
    """No set of faults would tell more: none is sought in that phase, and a single one that fires does not count."""
    world.quiet = {("alive", "line"): (-1e-6, 5e-6), ("dead", "line 2", LOWER): (-1e-6, 5e-6)}
    assert armed(world) == (None, 0)
    assert {phase for phase, _ in world.asked} == {"firing"}
    world.quiet = {("alive", "line"): (-1e-6, 5e-6), ("dead", "line 2", LOWER): (0.2, 1.0)}
    assert armed(world) == (None, 0)


def test_pairs_without_a_solution(world: World) -> None:
    """One that fires in another situation is solved; another one that does not hides nothing less than a pair."""
    world.hazards = {frozenset({UPPER, LOWER}): "lost alive"}
    assert armed(world) == (None, 2)
    world.hazards = {frozenset({UPPER, LOWER}): "lost alive,dead"}
    assert armed(world) == (2, None)
    world.hazards |= {frozenset({UPPER, SHORT}): "lost dead"}
    assert armed(world) == (2, 2)
    assert world.found().phase("firing").unsolved is None


def test_a_larger_set_without_a_solution_keeps_the_smallest_size(world: World) -> None:
    """A pair and a set of three are not solved: pairs are told."""
    world.hazards = {frozenset({UPPER, LOWER}): "lost alive", frozenset({UPPER, LOWER, SHORT}): "lost alive"}
    assert armed(world, 3) == (None, 2)
    world.hazards = {frozenset({UPPER, LOWER, SHORT}): "lost alive"}
    assert armed(world, 3) == (None, 3) and armed(world, 2) == (None, None)


def test_sets_that_are_listed(world: World) -> None:
    """Up to the order asked; each in its worst situation; pairs are counted and parts recur whatever is listed."""
    world.hazards = {
        frozenset({UPPER, LOWER}): "alive", frozenset({UPPER, SHORT}): "alive", frozenset({OPEN, LOWER}): "lost dead",
        frozenset({OPEN, UPPER, LOWER}): "alive",  # holds a pair that fires
    }  # fmt: skip
    world.quiet = {
        ("alive", "line", *sorted((UPPER, LOWER))): (0.5, 2.5), ("dead", "line 2", *sorted((UPPER, LOWER))): (0.6, 3.0),
    }  # fmt: skip
    single, pairs = world.found(), world.found(2)
    for found in (single, pairs, world.found(3)):
        phase = found.phase("armed")
        assert phase.pairs == 2 and found.order == (1 if found is single else 2 if found is pairs else 3)
        assert phase.recurring == {"line.upper": 2, "line.mosfet": 1, "line.lower": 1}
        assert found.phase("firing").pairs == 0 and found.phase("firing").recurring == {}
    assert len(single.phase("armed").faults) == 4
    listed = pairs.phase("armed").faults[4:]
    assert [set(one.faults) for one in listed] == [{SHORT, UPPER}, {UPPER, LOWER}]
    worst = listed[1]
    assert (worst.kind, worst.current, worst.channel, worst.controller) == ("hazardous", 0.6, "line 2", "dead")
    assert worst.share == pytest.approx(3.0) and worst.detected_by == () and worst.battery_current is None
    assert [fault.name for fault in worst.members] == [UPPER, LOWER]


def test_likelihood_of_a_set(world: World) -> None:
    """The product of what is known of each; nothing where one is not known, and zero is known."""
    weights = {SHORT: 0.5, OPEN: None, UPPER: 0.25, LOWER: 0.0}
    faults = tuple(
        replace(one, weight=weights[one.name], mode=replace(one.mode, share=None)) for one in world.board.faults
    )
    world.board = replace(world.board, faults=faults)
    sets = [frozenset({SHORT, UPPER}), frozenset({OPEN, UPPER}), frozenset({SHORT, LOWER})]
    world.hazards = dict.fromkeys(sets, "alive")
    found = {frozenset(one.faults): one.likelihood for one in world.found(2).phase("armed").faults}
    assert [found[one] for one in sets] == [0.125, None, 0.0]
    assert [found[frozenset({name})] for name in (SHORT, OPEN, UPPER, LOWER)] == [0.5, None, 0.25, 0.0]


def test_a_limit_of_nothing_has_no_share(world: World) -> None:
    """A row without a current or limit, or with a limit of zero, has no share."""
    row = world.row(UPPER)
    assert replace(row, current=0.3, limit=0.2).share == pytest.approx(1.5)
    assert [replace(row, current=c, limit=v).share for c, v in ((None, 0.2), (0.3, None), (0.3, 0.0))] == [None] * 3
    assert replace(row, current=0.0, limit=0.2).share == 0.0


@pytest.mark.parametrize("order", [0, 4])
def test_orders(world: World, order: int) -> None:
    """1, 2 or 3."""
    with pytest.raises(InputError, match=f"received {order}"):
        world.found(order)


def test_what_is_told_of_the_whole(world: World) -> None:
    """One fault at a time unless more are asked for, the name of the file, and the least that a clamp may carry."""
    assert board_faults(world.board).order == faults(world.board.circuit).order == 1
    pin = world.board.circuit.controller.pin
    pin = replace(pin, clamp_current_limit=Toleranced(low=1e-3, nominal=2e-3, high=5e-3, unit="A"))
    circuit = replace(world.board.circuit, controller=replace(world.board.circuit.controller, pin=pin))
    world.board = replace(world.board, circuit=circuit, left_out={SHORT: "so they say"})
    found = world.found()
    assert (found.pin_limit, found.circuit, found.left_out) == (1e-3, "held.toml", {SHORT: "so they say"})
