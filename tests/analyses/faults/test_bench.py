"""Members as batches: each member once, in rows that are not too many; what its MOSFETs are is put among the bounds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.board import Ends
from ignition.analyses.faults.circuit_board import circuit_board
from ignition.analyses.faults.currents import highest_uncommanded
from ignition.analyses.faults.fault import single_faults
from ignition.analyses.faults.gates import Switch
from ignition.analyses.faults.loosened import loosened_beside, loosened_lines
from ignition.analyses.faults.situations import Situation, situations
from ignition.circuit.file import parse_circuit
from ignition.foreign.binding import bind
from ignition.foreign.board import netlist_board
from ignition.foreign.reader import parse_netlist
from ignition.foreign.roles import parse_roles
from ignition.typing import BoolArray, FloatArray
from tests.analyses.faults.boards import board as file_of
from tests.analyses.faults.boards import held
from tests.foreign.foreign_cases import BENCH_NETLIST, BENCH_ROLES

ARMED = Situation(phase="armed", controller="alive")
DISARMED = Situation(phase="disarmed", controller="alive")
SHORT, UPPER = "line.mosfet drain-source-short", "line.upper short"


def table(*names: str, channels: int = 2) -> Bench:
    """Two channels armed and disarmed, with some faults in this order."""
    circuit = held(channels=str(channels))
    faults = {fault.name: fault for fault in single_faults(circuit)}
    return Bench.of(circuit, (ARMED, DISARMED), [faults[name] for name in names])


@pytest.mark.parametrize("rows", [1, 2, 3, 100])
def test_every_member_once_and_few_rows_at_a_time(monkeypatch: pytest.MonkeyPatch, rows: int) -> None:
    """Whatever fits at a time, each member is in one batch and has the bounds of its own situation and faults."""
    bench = table(SHORT, UPPER, "line.lower open")
    members = Members.each([0, 1], np.array([[-1], [0], [1], [2]]))
    each = len(bench.lines.network.elements) * 2
    monkeypatch.setattr("ignition.analyses.faults.bench._CHUNK_VALUES", rows * each)
    batches = list(bench.batches(members))
    assert [len(one.first) for one in batches] == {1: [1] * 8, 2: [2] * 4, 3: [3, 3, 2], 100: [8]}[rows]
    assert sorted(k for one in batches for k in one.members) == list(range(8))
    for one in batches:
        assert len(one.boxes.low) == len(one.unsettled) == len(one.first)
        assert one.first[one.place].tolist() == one.members.tolist()
        for name, fault in (("line.mosfet short", 0), ("line.upper short", 1), ("feed.arm switch", None)):
            usual = np.full(len(one.first), one.boxes.network.element(name).closed)
            closed = one.boxes.closed.get(name, usual)[one.place]
            told = [
                members.picks[k, 0] == fault if fault is not None else members.situations[k] == 0 for k in one.members
            ]
            assert closed.tolist() == told, name


def test_members_in_which_the_same_is_changed_share_a_row() -> None:
    """The lower resistor shorted and its filter shorted are one thing; so is either with one that changes nothing."""
    circuit = held(channels="1")
    faults = {fault.name: fault for fault in single_faults(circuit)}
    filtered = replace(faults["line.lower short"], name="line.filter short", part="line.filter")
    nothing = replace(filtered, name="line.filter open", closed=frozenset())
    bench = Bench.of(circuit, (ARMED,), [faults["line.lower short"], filtered, nothing, faults[UPPER]])
    picks = np.array([[0, -1], [1, -1], [2, 0], [0, 2], [3, -1], [2, -1], [-1, -1]])
    (batch,) = bench.batches(Members.each([0], picks))
    place = batch.place[np.argsort(batch.members)].tolist()
    assert len(batch.first) == 3
    assert len({*place[:4]}) == 1 and place[5] == place[6] and len({place[0], place[4], place[5]}) == 3


def test_what_mosfets_are_is_put_among_the_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Current and resistance of each, end by end."""
    asked: list[tuple[int, list[bool], bool]] = []

    def made(_: Any, index: int, volts: FloatArray, commanded: BoolArray, coarse: bool) -> Iterator[Switch]:
        asked.append((index, commanded.tolist(), coarse))
        for one in commanded:
            low = 1e-6 if index == 0 else 4e-6
            ends = (low, 2.0 * low, 3.0 * low)
            yield Switch(current=ends, resistance=(0.01, 1e12, 1e12) if one else (1e3 * low, 0.5, 0.7))

    monkeypatch.setattr("ignition.analyses.faults.bench.switches", made)
    circuit = held(channels="2")
    firing = Situation(phase="firing", controller="alive", commanded=frozenset({"line 2"}))
    bench = Bench.on(circuit_board(circuit, (ARMED, firing), ()))
    (batch,) = bench.batches(Members.each([0, 1], np.array([[-1]])), coarse=True)
    rows = batch.place[np.argsort(batch.members)]
    columns = {name: k for k, name in enumerate(batch.boxes.network.parameters)}

    def ends(name: str) -> list[list[float]]:
        return [
            [float(b[k, columns[name]]) for b in (batch.boxes.low, batch.boxes.nominal, batch.boxes.high)] for k in rows
        ]

    assert ends("line.off current") == [pytest.approx([1e-6, 2e-6, 3e-6])] * 2
    assert ends("line 2.off current") == [pytest.approx([4e-6, 8e-6, 12e-6])] * 2
    assert ends("line.mosfet") == [[1e-3, 0.5, 0.7]] * 2
    assert ends("line 2.mosfet") == [[4e-3, 0.5, 0.7], [0.01, 1e12, 1e12]]
    assert {coarse for _, _, coarse in asked} == {True}
    assert [flags for index, flags, _ in asked if index] in ([[False, True]], [[True, False]])


def test_gates_that_hang_on_the_lines_settle_few_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """One row at a time gives every member what all at once give."""
    netlist = BENCH_NETLIST.replace("R4 gate 0 10k", "R4 gate 0 10k\nR7 drain gate 100k")
    roles = BENCH_ROLES.replace("[tolerance]\n", '[tolerance]\nR7 = "1 %"\n')
    board = netlist_board(bind(parse_netlist(netlist, "bench.cir"), parse_roles(roles, "roles.toml")))
    bench = Bench.on(board)
    names = [fault.name for fault in board.faults]
    chosen = [names.index(name) for name in ("R3 open", "R4 open", "R7 short", "M1 drain-source-short")]
    numbers = [k for k, s in enumerate(board.situations) if s.phase == "reset"]
    members = Members.each(numbers, np.array([[-1], *([k] for k in chosen)]))

    def off() -> tuple[FloatArray, BoolArray]:
        found, unsettled = np.zeros((len(members.situations), 3)), np.zeros(len(members.situations), dtype=bool)
        for one in Bench.on(board).batches(members):
            column = one.boxes.network.parameters.index("M1 off current")
            ends = np.stack([b[:, column] for b in (one.boxes.low, one.boxes.nominal, one.boxes.high)], axis=1)
            found[one.members], unsettled[one.members] = ends[one.place], one.unsettled[one.place]
        return found, unsettled

    together, open_ones = off()
    assert len({tuple(row) for row in together.round(12).tolist()}) > 3  # they differ
    monkeypatch.setattr("ignition.analyses.faults.bench._CHUNK_VALUES", 1)
    alone, open_alone = off()
    assert alone == pytest.approx(together, rel=1e-9, abs=1e-15) and open_alone.tolist() == open_ones.tolist()
    assert bench.board.hung.all()


ENDS: dict[str, Ends] = {"line.lead out": (1.0, 2.0, 3.0), "line.lead back": (None, None, 1e12)}


def test_what_is_loosened_beside_an_igniter() -> None:
    """Each end where there is one, of the rows whose igniter or line it is beside; the bounds given stay."""
    board = circuit_board(held(channels="2"), (ARMED,), ())
    first, second = board.lines
    beside: dict[str, dict[str, Ends]] = {
        "line.igniter 1.1": {"line 2.lead out": (4.0, None, None)}, "line 2.igniter 1.1": {},
    }  # fmt: skip
    lines = (replace(first, loosened=ENDS), replace(second, loosened={"line 2.lead back": (None, 5.0, None)}))
    bench = Bench.on(replace(board, lines=lines, beside=beside))
    boxes = bench.lines.boxes(np.zeros(2, dtype=np.intp), np.full((2, 1), -1))
    before = [each.copy() for each in (boxes.low, boxes.nominal, boxes.high)]
    columns = {name: k for k, name in enumerate(boxes.network.parameters)}

    def differences(found: Any) -> dict[tuple[int, int, str], float]:
        return {
            (row, end, name): float(bounds[row, column])
            for end, (bounds, old) in enumerate(zip((found.low, found.nominal, found.high), before, strict=True))
            for row in (0, 1)
            for name, column in columns.items()
            if bounds[row, column] != old[row, column]
        }

    lines_only = {(1, end, "line.lead out"): 1.0 + end for end in range(3)} | {
        (1, 2, "line.lead back"): 1e12, (0, 1, "line 2.lead back"): 5.0,
    }  # fmt: skip
    assert differences(loosened_lines(bench, boxes, np.array([0, 1]))) == lines_only
    own = {(0, 0, "line 2.lead out"): 4.0}
    assert differences(loosened_beside(bench, boxes, np.array([0, 1]))) == lines_only | own
    assert differences(boxes) == {}


def test_faults_common_to_channels_apply_first() -> None:
    """Then those of channels, by name; what stands for none is the last."""
    assert table(UPPER, "arm switch stuck-closed", SHORT).applied.tolist() == [2, 0, 1, 3]


def test_a_short_from_drain_to_gate_is_solved_with_the_gates() -> None:
    """On the whole network; every other member on the lines alone."""
    bench = table("line.mosfet drain-gate-short", SHORT)
    batches = list(bench.batches(Members.each([0], np.array([[0, -1], [1, -1], [0, 1]]))))
    told = {m: one.boxes.network is bench.whole.network for one in batches for m in one.members}
    assert told == {0: True, 1: False, 2: True}


HELD_LOW = ('reset_pull_up = "none"', 'reset_pull_up = "none"\nreset_pull_down = "100 kohm ± 50 %"')
PULLED = ('reset_pull_up = "none"', 'reset_pull_up = "3 kohm .. 10 kohm .. 30 kohm"')
LATE = ('powered_by = "before arm switch"', 'powered_by = "after arm switch"')


@pytest.mark.parametrize("swaps", [[("", "")], [HELD_LOW], [PULLED], [LATE], [('reset_pull_up = "none"', "")]])
def test_gates_in_company_are_as_alone(swaps: list[tuple[str, str]]) -> None:
    """A gate is solved once where situations are alike to it: none has another's off current, or is weak where it is not.

    The last circuit's pins may be driven high in reset: at least 0 V, and else the 3.3 V of a pin that is commanded.
    """
    text = file_of()
    for old, new in swaps:
        text = text.replace(old, new) if old else text
    circuit = parse_circuit(text, "alike.toml")
    names = ("line.pull-down open", "line.gate pin floating", "regulator passes-battery", "line.gate series drifted")
    few = [fault for fault in single_faults(circuit) if fault.name in names]
    asked, picks = situations(circuit), np.array([[-1], *([k] for k in range(len(few)))])

    def told(some: Sequence[Situation]) -> FloatArray:
        bench, members = Bench.on(circuit_board(circuit, some, few)), Members.each(range(len(some)), picks)
        found = np.zeros((len(members.situations), 6))
        for one in bench.batches(members):
            columns = [one.boxes.network.parameters.index(f"line.{name}") for name in ("off current", "mosfet")]
            ends = [b[:, columns] for b in (one.boxes.low, one.boxes.nominal, one.boxes.high)]
            found[one.members] = np.concatenate(ends, axis=1)[one.place]
        return found

    alone = np.concatenate([told([situation]) for situation in asked])
    assert told(asked) == pytest.approx(alone, rel=1e-9, abs=1e-15)
    turned = told(asked[::-1]).reshape(len(asked), len(picks), 6)[::-1].reshape(alone.shape)
    assert turned == pytest.approx(alone, rel=1e-9, abs=1e-15)


def test_an_empty_list_of_members() -> None:
    """Nothing is laid out, and nobody told."""
    bench = table(SHORT)
    nobody = Members(situations=np.zeros(0, dtype=np.intp), picks=np.zeros((0, 1), dtype=np.intp))
    assert highest_uncommanded(bench, nobody).current.shape == (0, 2)
