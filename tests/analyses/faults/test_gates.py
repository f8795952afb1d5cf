"""What each MOSFET is at a gate voltage, by hand, and gates that hang on the lines."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.board import Board
from ignition.analyses.faults.circuit_board import circuit_board
from ignition.analyses.faults.gates import Switch, gate_voltages, settled_gates, switches
from ignition.analyses.faults.situations import Situation
from ignition.foreign.binding import Bound, bind
from ignition.foreign.board import netlist_board
from ignition.foreign.reader import parse_netlist
from ignition.foreign.roles import parse_roles
from ignition.network.worst_members import Boxes
from ignition.toleranced import Toleranced
from ignition.typing import FloatArray
from tests.analyses.faults.boards import held
from tests.foreign.foreign_cases import BENCH_NETLIST, BENCH_ROLES

ARMED = Situation(phase="armed", controller="alive")
RELY = 2.5
"""Gate voltage of the first row of the bench's MOSFET [V]."""


@pytest.fixture
def passed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A MOSFET that passes a made-up current of 1 mA per volt through 10 ohm per volt, at each end."""

    def off(_: Any, low: FloatArray, nominal: FloatArray, high: FloatArray, __: Any) -> tuple[FloatArray, ...]:
        volts = np.stack([low, nominal, high], axis=-1)
        return 1e-3 * volts, 10.0 * volts

    monkeypatch.setattr("ignition.analyses.faults.gates.off_states", off)


def board() -> Board:
    """The bench circuit while armed."""
    return circuit_board(held(), (ARMED,), ())


def told(*volts: tuple[float, float, float], commanded: bool = False, coarse: bool = False) -> list[Switch]:
    """What the MOSFET is at gate voltages."""
    return list(switches(board(), 0, np.array(volts), np.full(len(volts), commanded), coarse))


@pytest.mark.usefixtures("passed")
def test_off_current_at_a_gate_voltage() -> None:
    """Each end of current and resistance belongs to the same end of the voltage."""
    (one,) = told((0.1, 0.2, 0.4))
    assert one.current == pytest.approx((0.1e-3, 0.2e-3, 0.4e-3)) and one.resistance == pytest.approx((1.0, 2.0, 4.0))


@pytest.mark.usefixtures("passed")
def test_small_off_currents_are_rounded_up_where_sets_are_sought() -> None:
    """To 1 uA, 10 uA, 100 uA or 1 mA, what is exactly that staying; larger ones stay, and none becomes less."""
    highest = (1e-4, 1e-3, 1.5e-3, 2e-2, 0.5, 1.0, 1.5)
    found = [one.current for one in told(*((0.5 * v, 0.7 * v, v) for v in highest), coarse=True)]
    expected = [1e-6, 1e-6, 1e-5, 1e-4, 1e-3, 1e-3, 1.5e-3]
    assert [high for _, _, high in found] == pytest.approx(expected, rel=1e-12)
    assert [low for low, _, _ in found] == [0.0] * 7
    assert [nominal for _, nominal, _ in found] == [high for _, _, high in found]


@pytest.mark.parametrize(
    ("volts", "resistance"),
    [
        ((RELY, 3.0, 3.3), (0.01, 0.014, 0.02)), ((2.49, RELY, 3.3), (0.01, 0.014, 1e12)),
        ((2.0, 2.49, 3.3), (0.01, 1e12, 1e12)),
    ],
)  # fmt: skip
def test_a_commanded_gate_that_is_too_low(
    volts: tuple[float, float, float], resistance: tuple[float, float, float]
) -> None:
    """Below the gate voltage that its on-resistance is given for, at its lowest or usually, it may be open; above not."""
    assert [one.resistance for one in told(volts, commanded=True)] == [pytest.approx(resistance)]


def gate_boxes(one: Board, **changes: tuple[float, float, float]) -> Boxes:
    """Bounds of the gate side of a board's only line, armed, with some changed."""
    network = one.lines[0].gate_side
    assert network is not None
    box = one.settings[ARMED, "regulated"].box
    ends = np.array([changes.get(n, (box[n].low, box[n].nominal, box[n].high)) for n in network.parameters])
    low, nominal, high = ends.T[:, None, :]
    return Boxes(network=network, low=low, nominal=nominal, high=high, closed={})


def test_gate_voltage_by_hand() -> None:
    """A pin of 3.0 to 3.6 V over 100 ohm of series resistor and 10 kohm of pull-down."""
    one = board()
    boxes = gate_boxes(one, **{"line.pin voltage": (3.0, 3.3, 3.6), "line.gate leakage up": (0.0, 0.0, 0.0),
                               "line.gate leakage down": (0.0, 0.0, 0.0)})  # fmt: skip
    share = 10e3 / 10.1e3
    expected = np.array([[3.0 * share, 3.3 * share, 3.6 * share]])
    assert gate_voltages(one, 0, boxes) == pytest.approx(expected, rel=1e-6)


def spread(one: Board) -> Board:
    """A board whose pins' clamps drop 0.3 to 0.5 V."""
    pin = one.circuit.controller.pin
    pin = replace(pin, clamp_drop=Toleranced(low=0.3, nominal=0.4, high=0.5, unit="V"))
    return replace(one, circuit=replace(one.circuit, controller=replace(one.circuit.controller, pin=pin)))


@pytest.mark.parametrize(
    ("ends", "samples", "known"),
    [
        ((0.1, 0.3), (0.1, 0.3), True), ((0.1, 0.3), (0.05, 0.3), False), ((0.1, 0.3), (0.1, 0.35), False),
        ((0.1, np.nan), (0.2, 0.2), False), ((np.nan, 0.3), (0.2, 0.2), False),
        # 10 nV, and a part in 1e9 of whichever end is larger, are no difference
        ((-20.0, 0.3), (-20.0 - 2.5e-8, 0.3), True), ((-20.0, 0.3), (-20.0 - 3.5e-8, 0.3), False),
        ((0.1, 20.0), (0.1, 20.0 + 2.5e-8), True), ((0.1, 20.0), (0.1, 20.0 + 3.5e-8), False),
        ((0.1, 0.3), (0.1, 0.3 + 1.2e-8), False), ((0.1, 0.3), (0.1 - 1.2e-8, 0.3), False),
        ((0.1, 0.3), (0.1 - 9e-9, 0.3 + 9e-9), True),
    ],
)  # fmt: skip
def test_a_gate_that_is_not_known_may_be_at_the_battery(
    monkeypatch: pytest.MonkeyPatch, ends: tuple[float, float], samples: tuple[float, float], known: bool
) -> None:
    """Not solved, or a sample beyond what was found: anything from ground to 8.4 V and a clamp's 0.5 V."""

    def at(*values: float) -> tuple[FloatArray, ...]:
        return tuple(np.array([value]) for value in values)

    monkeypatch.setattr("ignition.analyses.faults.gates.bounds", lambda *_, **__: at(ends[0], 0.2, ends[1]))
    monkeypatch.setattr("ignition.analyses.faults.gates.sampled", lambda *_: at(*samples))
    one = replace(spread(board()), samples=4)
    expected = (ends[0], 0.2, ends[1]) if known else (0.0, 0.0, 8.9)
    assert gate_voltages(one, 0, gate_boxes(one)).tolist() == [list(expected)]
    if not np.isnan(sum(ends)):  # where corners are proved nothing is sampled
        assert gate_voltages(board(), 0, gate_boxes(one)).tolist() == [[ends[0], 0.2, ends[1]]]


def test_nothing_hangs_on_a_line() -> None:
    """No row, no voltage."""
    one = board()
    boxes = Bench.on(one).whole.boxes(np.zeros(0, dtype=np.intp), np.zeros((0, 1), dtype=np.intp))
    volts, settled = settled_gates(one, boxes, np.zeros((0, 1, 2, 3)), np.zeros((0, 1), dtype=bool))
    assert volts.shape == (0, 1, 3) and settled.shape == (0,)


STRINGS = '[["match", "match"], ["match"]]'


class Gates:
    """Gates on their lines: each at 0.1, 0.2 and 0.3 V, and higher by so many volts for each ampere that its MOSFET passes.

    The highest voltage counts its own highest current, the lowest its own lowest one.
    """

    def __init__(self, monkeypatch: pytest.MonkeyPatch, rise: float = 0.0, fall: float = 0.0) -> None:
        self.rise, self.fall, self.board = rise, fall, circuit_board(held(channels="2", igniters=STRINGS), (ARMED,), ())
        self.seen: list[Boxes] = []
        self.unsolved = False
        monkeypatch.setattr("ignition.analyses.faults.gates.bounds", self.bounds)

    def bounds(self, boxes: Boxes, weights: FloatArray, starts: int) -> tuple[FloatArray, ...]:
        """Stand in for the search."""
        node = next(name for name, weight in zip(boxes.network.nodes, weights[0], strict=False) if weight)
        name = node.replace(".gate", ".off current")
        column = boxes.network.parameters.index(name)
        self.seen.append(boxes)
        low, high = 0.1 - self.fall * boxes.high[:, column], 0.3 + self.rise * boxes.high[:, column]
        if self.unsolved:
            high[0] = np.nan
        return low, np.full(len(low), 0.2), high

    def settled(self, currents: Any, hung: Any) -> tuple[FloatArray, Any]:
        """Voltages, and whether they settled; each MOSFET's resistance is a hundred times its current."""
        rows, off = len(currents), np.stack([np.array(currents), 100.0 * np.array(currents)], axis=2)
        boxes = Bench.on(self.board).whole.boxes(np.zeros(rows, dtype=np.intp), np.full((rows, 1), -1))
        return settled_gates(self.board, boxes, off, np.array(hung))


NONE, SOME = [0.0, 0.0, 0.0], [1e-3, 2e-3, 3e-3]


@pytest.mark.usefixtures("passed")
def test_only_gates_that_hang_on_a_line_are_settled_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """The other MOSFETs pass what is told of them all the while; those that hang begin with what they pass at 0 V."""
    gates = Gates(monkeypatch)
    volts, settled = gates.settled([[SOME, SOME], [SOME, SOME]], [[True, False], [True, True]])
    assert volts.tolist() == [[[0.1, 0.2, 0.3], NONE], [[0.1, 0.2, 0.3]] * 2] and settled.tolist() == [True, True]
    columns = [gates.seen[0].network.parameters.index(f"{name}.off current") for name in ("line", "line 2")]
    first = [each[:, columns].tolist() for each in (gates.seen[0].low, gates.seen[0].nominal, gates.seen[0].high)]
    assert first == [[[0.0, own], [0.0, 0.0]] for own in SOME]
    # then the hull of that and of 1 mA per volt: from 0 to 0.3 mA, nominal 0.2 mA; in it they stay
    second = [each[:, columns[0]] for each in (gates.seen[2].low, gates.seen[2].nominal, gates.seen[2].high)]
    assert second == [pytest.approx([value] * 2) for value in (0.0, 0.2e-3, 0.3e-3)]
    assert len(gates.seen) == 4


@pytest.mark.usefixtures("passed")
@pytest.mark.parametrize(("rise", "rounds"), [(0.0, 2), (10.0, 4), (50.0, 6), (80.0, None), (2000.0, None)])
def test_what_a_gate_passes_is_added_until_nothing_is_left(
    monkeypatch: pytest.MonkeyPatch, rise: float, rounds: int | None
) -> None:
    """With 1 mA per volt each round adds a share of the last one's current: until that is a millionth, or six rounds.

    0.01 to the third is a millionth of it, 0.05 to the fifth less than one, 0.08 to the fifth is 3.3 of them.
    """
    gates = Gates(monkeypatch, rise)
    volts, settled = gates.settled([[NONE, NONE]], [[True, False]])
    assert settled.tolist() == [rounds is not None] and len(gates.seen) == (rounds or 6)
    column = gates.seen[0].network.parameters.index("line.off current")
    assert {float(one.low[0, column]) for one in gates.seen} == {0.0}  # what it passes at 0 V stays in
    if rounds:
        assert volts[0, 0] == pytest.approx([0.1, 0.2, 0.3 / (1.0 - 1e-3 * rise)], rel=1e-5)


@pytest.mark.usefixtures("passed")
def test_a_lowest_voltage_that_falls_widens_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    """The lowest current is then below that at 0 V, and the voltage is bounded over it once more."""
    gates = Gates(monkeypatch, fall=1000.0)
    volts, settled = gates.settled([[NONE, NONE]], [[True, False]])
    assert settled.tolist() == [True] and volts[0, 0] == pytest.approx([0.1 - 0.3, 0.2, 0.3])
    assert gates.seen[-1].low[0, gates.seen[-1].network.parameters.index("line.off current")] == pytest.approx(-0.2e-3)
    assert len(gates.seen) == 3


@pytest.mark.usefixtures("passed")
def test_what_a_gate_may_pass_is_never_taken_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """0.3 mA pull the lowest voltage to -0.05 V and the highest to 0 V, where it would not be drawn: it stays a bound."""
    gates = Gates(monkeypatch, rise=-1000.0, fall=500.0)
    volts, settled = gates.settled([[NONE, NONE]], [[True, False]])
    assert settled.tolist() == [True] and volts[0, 0] == pytest.approx([-0.05, 0.2, 0.0])
    assert len(gates.seen) == 3


@pytest.mark.usefixtures("passed")
def test_a_highest_voltage_that_falls_keeps_what_was_passed_before(monkeypatch: pytest.MonkeyPatch) -> None:
    """0.3 mA at first, 0.15 mA then: as long as the lowest one still widens, the highest stays at 0.3 mA."""
    gates = Gates(monkeypatch, rise=-500.0, fall=1000.0)
    volts, settled = gates.settled([[NONE, NONE]], [[True, False]])
    assert settled.tolist() == [True] and volts[0, 0] == pytest.approx([-0.2, 0.2, 0.15])
    assert gates.seen[-1].high[0, gates.seen[-1].network.parameters.index("line.off current")] == pytest.approx(0.3e-3)


@pytest.mark.usefixtures("passed")
def test_a_gate_without_a_solution_does_not_settle(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is given up at once, the others go on."""
    gates = Gates(monkeypatch)
    gates.unsolved = True
    volts, settled = gates.settled([[NONE, NONE]], [[True, False]])
    assert settled.tolist() == [False] and volts[0].tolist() == [NONE, NONE] and len(gates.seen) == 1
    volts, settled = gates.settled([[NONE, NONE]] * 2, [[False, True], [True, False]])
    assert settled.tolist() == [False, False]


@pytest.mark.usefixtures("passed")
@pytest.mark.parametrize(("sample", "settled"), [((0.1, 0.3), True), ((0.1, 0.31), False), ((0.09, 0.3), False)])
def test_a_sampled_gate_voltage_beyond_what_was_found(
    monkeypatch: pytest.MonkeyPatch, sample: tuple[float, float], settled: bool
) -> None:
    """Shows that the search missed it: not settled."""
    gates = Gates(monkeypatch)
    gates.board = replace(gates.board, samples=4)
    monkeypatch.setattr("ignition.analyses.faults.gates.sampled", lambda *_: tuple(np.array([v]) for v in sample))
    assert gates.settled([[NONE, NONE]], [[True, False]])[1].tolist() == [settled]


@pytest.mark.usefixtures("passed")
def test_everything_beside_any_igniter_may_be_in_any_state(monkeypatch: pytest.MonkeyPatch) -> None:
    """Igniters shorted where one is in series with another, spent or away; wires open; what is nominal stays."""
    gates = Gates(monkeypatch)
    gates.settled([[NONE, NONE]], [[True, False]])
    boxes, usual = gates.seen[0], gates.board.settings[ARMED, "regulated"].box
    for column, name in enumerate(boxes.network.parameters):
        low, nominal, high = usual[name].low, usual[name].nominal, usual[name].high
        if name.endswith(("igniter 1.1", "igniter 1.2")):
            low, high = 1e-6, 1e12 if name.endswith("1.1") else high
        elif name.endswith("igniter 2.1"):  # spent, or away
            low, high = 1e-6, 1e12
        elif name.endswith(("lead out", "lead back")):
            high = 1e12
        ends = boxes.low[0, column], boxes.nominal[0, column], boxes.high[0, column]
        if not name.endswith(("off current", "mosfet")):
            assert ends == (low, nominal, high), name


@pytest.mark.usefixtures("passed")
def test_the_least_of_what_an_igniter_may_be(monkeypatch: pytest.MonkeyPatch) -> None:
    """A short beside another of its string, though spent it would be 0.3 ohm at least."""
    gates = Gates(monkeypatch)
    first, second = gates.board.lines
    first = replace(first, loosened={**first.loosened, "line.igniter 1.1": (0.3, None, None)})
    gates.board = replace(gates.board, lines=(first, second))
    gates.settled([[NONE, NONE]], [[True, False]])
    column = gates.seen[0].network.parameters.index("line.igniter 1.1")
    assert gates.seen[0].low[0, column] == 1e-6


def hanging() -> Bound:
    """The bench netlist with 100 kohm from drain to gate."""
    netlist = BENCH_NETLIST.replace("R4 gate 0 10k", "R4 gate 0 10k\nR7 drain gate 100k")
    roles = BENCH_ROLES.replace("[tolerance]\n", '[tolerance]\nR7 = "1 %"\n')
    return bind(parse_netlist(netlist, "bench.cir"), parse_roles(roles, "roles.toml"))


def test_a_gate_on_its_own_drain() -> None:
    """In reset its pin floats: 8.4 V over 99 kohm and 10 kohm, and a leakage of pin and gate of at most 0.5 uA, 5 mV."""
    table = Bench.on(netlist_board(hanging()))
    reset = [k for k, s in enumerate(table.situations) if s.phase == "reset"]
    (batch,) = table.batches(Members.each(reset, np.array([[-1]])))
    assert not batch.unsettled.any()
    boxes = table.whole.boxes(3 * np.array(reset), np.full((len(reset), 1), -1))
    volts, settled = settled_gates(
        table.board, boxes, np.zeros((len(reset), 1, 2, 3)), np.ones((len(reset), 1), dtype=bool)
    )
    assert settled.all()
    assert volts[:, 0, 2] == pytest.approx(8.4 * 10.0 / 109.0, abs=6e-3)
