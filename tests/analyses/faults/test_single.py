"""What a check asks of single faults: which one is told of made-up currents, and what currents depend on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.circuit_board import every_board
from ignition.analyses.faults.single import (
    SingleFaults,
    board_fault_currents,
    single_fault_currents,
    single_fault_inputs,
)
from ignition.analyses.faults.worst import Worst
from ignition.circuit.model import Circuit
from ignition.typing import FloatArray
from tests.analyses.faults.boards import SPLIT, held

Made = dict[tuple[str, str, str], float]
"""Current by phase, fault (empty for nothing broken) and channel [A]; negative where it is not settled."""

NAN = float("nan")


def made_up(
    monkeypatch: pytest.MonkeyPatch, circuit: Circuit, currents: Made, shares: Made | None = None
) -> SingleFaults:
    """Single faults of a circuit whose currents are made up, 1 uA where none is named, and shares where they are."""

    def currents_of(bench: Bench, members: Members, limits: Sequence[FloatArray], **_: Any) -> tuple[Worst, ...]:
        shape = len(members.situations), len(bench.board.lines)
        current, igniter = np.full(shape, 1e-6), np.zeros(shape, dtype=np.intp)
        unsettled, share = np.zeros(shape, dtype=bool), np.full(shape, NAN)
        assert limits[0] == pytest.approx([0.2] * shape[1]) and limits[1] == pytest.approx([0.02] * shape[1])
        for row, (number, (pick,)) in enumerate(zip(members.situations, members.picks, strict=True)):
            situation, fault = bench.situations[number], bench.faults[pick].name if pick >= 0 else ""
            for channel, line in enumerate(bench.board.lines):
                value = currents.get((situation.phase, fault, line.name), 1e-6)
                current[row, channel], unsettled[row, channel] = abs(value), value < 0.0 or np.isnan(value)
                told = line.name not in situation.commanded and not np.isnan(value)
                igniter[row, channel] = channel if told else -1
                share[row, channel] = (shares or {}).get(
                    (situation.phase, fault, line.name), current[row, channel] / 0.2
                )
                if situation.controller == "dead":  # of two situations the one with a controller that is alive
                    current[row, channel] *= 0.5
        return tuple(
            replace(
                Worst.nowhere(bench, 1.0, len(members.situations)),
                igniter=igniter,
                current=np.where(igniter >= 0, current, 0.0),
                share=np.where(igniter >= 0, share, NAN),
                settled=~unsettled,
            )
            for _ in limits
        )

    monkeypatch.setattr("ignition.analyses.faults.single.highest_against", currents_of)
    return board_fault_currents(every_board(circuit))  # made-up currents are not to be kept


ARM, SHORT, UPPER = "arm switch stuck-closed", "line.mosfet drain-source-short", "line.upper short"


def test_nothing_is_near_a_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two or more faults, no failure point, nothing unsolved; each finding has its own limit of 0.2 A and a tenth of it."""
    found = made_up(monkeypatch, held(channels="2"), {})
    assert found.fewest == {"disarmed": 2, "reset": 2, "armed": 2} and not found.points
    assert found.unsolved == {"disarmed": (), "reset": (), "armed": ()}
    assert [one.channel for one in found.disarmed] == ["line", "line 2"]
    assert {(one.phase, one.limit) for one in found.disarmed} == {("disarmed", 0.2)}
    phases = ["disarmed", "reset", "armed", "firing"]
    assert [(one.channel, one.phase) for one in found.test_path] == [(c, p) for c in ("line", "line 2") for p in phases]
    assert [one.limit for one in found.test_path] == pytest.approx([0.02] * 8)
    assert {one.igniter for one in found.test_path if one.channel == "line 2"} == {"line 2.igniter 1.1"}


@pytest.mark.parametrize("fault", [ARM, SHORT, UPPER])
def test_the_worst_fault_of_a_phase_is_told(monkeypatch: pytest.MonkeyPatch, fault: str) -> None:
    """The first fault of the list like any other, with its current, and the controller that is worse."""
    found = made_up(monkeypatch, held(), {("disarmed", fault, "line"): 0.15, ("armed", "regulator dead", "line"): 0.19})
    (worst,) = found.disarmed
    assert (worst.fault, worst.current, worst.controller) == (fault, 0.15, "alive")
    assert (worst.igniter, worst.kind, worst.unsolved) == ("line.igniter 1.1", "match", ())


def test_the_share_of_the_limit_decides_before_the_current(monkeypatch: pytest.MonkeyPatch) -> None:
    """Igniters of several kinds: 0.1 A of 0.2 A before 0.4 A of 4 A; of two that are equally near the larger current."""
    made = {("disarmed", ARM, "line"): 0.1, ("disarmed", UPPER, "line"): 0.4, ("disarmed", SHORT, "line"): 0.05}
    shares = {("disarmed", ARM, "line"): 0.5, ("disarmed", UPPER, "line"): 0.1, ("disarmed", SHORT, "line"): 0.5}
    (worst,) = made_up(monkeypatch, held(), made, shares).disarmed
    assert (worst.fault, worst.current) == (ARM, 0.1)


def test_single_faults_of_the_bench_by_hand() -> None:
    """A dead controller's clamp holds its pin at 0.5 V behind 10 ohm.

    Disarmed a fault that feeds the bus leaves the upper resistor of 99 kohm; armed a short of that one leaves battery,
    arm switch, lead and joints, bridge and clamp.
    """
    found = single_fault_currents(held())
    assert found.disarmed[0].current == pytest.approx((8.4 - 0.5) / (0.99 * 100e3), rel=2e-4)
    path = next(one for one in found.test_path if one.phase == "armed")
    assert (path.fault, path.controller) == (UPPER, "dead")
    assert path.current == pytest.approx((8.4 - 0.5) / (0.05 + 0.41970799955868247 + 0.8 + 10.0), rel=1e-3)
    assert found.fewest == {"disarmed": 2, "reset": 1, "armed": 1}


def test_nothing_broken_is_no_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    """What flows anyway is not told as a fault's, but where it fires no fault at all is needed."""
    made = {("disarmed", "", "line"): 0.3, ("armed", "", "line"): 0.1}
    found = made_up(monkeypatch, held(channels="2"), made)
    assert found.disarmed[0].fault and found.disarmed[0].current == 1e-6
    assert found.fewest == {"disarmed": 0, "reset": 2, "armed": 2} and not found.points


def test_one_fault_that_fires(monkeypatch: pytest.MonkeyPatch) -> None:
    """At the no-fire current it fires; a failure point is one of the armed phase alone, the first of the list too."""
    made = {("disarmed", SHORT, "line"): 0.2, ("armed", ARM, "line"): 0.2, ("reset", SHORT, "line"): 0.19}
    found = made_up(monkeypatch, held(), made)
    assert found.fewest == {"disarmed": 1, "reset": 2, "armed": 1}
    assert [(p.fault, p.channel, p.igniter, p.current) for p in found.points] == [
        (ARM, "line", "line.igniter 1.1", 0.2)
    ]
    assert found.points[0].share == pytest.approx(1.0)


def test_a_failure_point_is_told_once_where_it_is_worst(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of two channels and a controller alive or dead: the highest share, the first of several alike."""
    made = {("armed", SHORT, "line"): 0.5, ("armed", SHORT, "line 2"): 0.8, ("armed", UPPER, "line"): 0.6}
    made |= {("armed", UPPER, "line 2"): 0.6}
    points = {p.fault: p for p in made_up(monkeypatch, held(channels="2"), made).points}
    assert set(points) == {SHORT, UPPER}
    assert (points[SHORT].channel, points[SHORT].current) == ("line 2", 0.8)
    assert points[SHORT].share == pytest.approx(4.0)
    assert (points[UPPER].channel, points[UPPER].current) == ("line", 0.6)


def test_test_path_faults_alone_against_the_monitor_current(monkeypatch: pytest.MonkeyPatch) -> None:
    """A MOSFET's or nothing's current is not told there; the upper resistor's is, while another channel fires too."""
    made = {(phase, SHORT, "line"): 0.5 for phase in ("disarmed", "reset", "armed", "firing")}
    made |= {("firing", UPPER, "line"): 0.01, ("armed", UPPER, "line"): 0.03, ("armed", "", "line"): 0.1}
    made |= {("disarmed", "line.lower short", "line"): -0.015}
    found = made_up(monkeypatch, held(channels="2"), made)
    told = {one.phase: one for one in found.test_path if one.channel == "line"}
    assert (told["firing"].fault, told["firing"].current) == (UPPER, 0.01)
    assert (told["armed"].fault, told["armed"].current) == (UPPER, 0.03)
    assert told["disarmed"].unsolved == ("line.lower short",) and told["armed"].unsolved == ()


def test_a_lone_channel_that_fires_has_nobody_to_be_told_of(monkeypatch: pytest.MonkeyPatch) -> None:
    """No fault, no current, the igniter that it would be, and the limit all the same."""
    one = made_up(monkeypatch, held(), {}).test_path[-1]
    assert (one.phase, one.fault, one.current, one.controller, one.igniter) == (
        "firing", "", 0.0, "alive", "line.igniter 1.1",
    )  # fmt: skip
    assert one.limit == pytest.approx(0.02)


def test_faults_that_are_not_solved(monkeypatch: pytest.MonkeyPatch) -> None:
    """One channel is enough; a fault that fires in another one is known to; nothing broken has a name of its own."""
    made = {
        ("armed", ARM, "line"): -0.15,
        ("armed", SHORT, "line"): 0.5, ("armed", SHORT, "line 2"): NAN,
        ("disarmed", UPPER, "line 2"): NAN, ("disarmed", "", "line"): NAN,
    }  # fmt: skip
    found = made_up(monkeypatch, held(channels="2"), made)
    assert found.unsolved["armed"] == (ARM,) and found.unsolved["reset"] == ()
    assert set(found.unsolved["disarmed"]) == {"nothing broken", UPPER}
    first, second = found.disarmed
    assert first.unsolved == () and second.unsolved == (UPPER,) and second.fault not in ("", UPPER)


@pytest.mark.parametrize(
    ("other", "changes"),
    [
        ("ambient", {"ambient": "21 degC"}),
        ("battery voltage", {"voltage": "7.0 V .. 7.6 V .. 8.5 V"}),
        ("bridge", {"bridge": "0.7 ohm .. 1.0 ohm .. 1.3 ohm"}),
        ("lead", {"lead": '{ resistance = "0.39970799955868247 ohm", joints = "20 mohm .. 40 mohm .. 110 mohm" }'}),
        ("sense", {"sense": SPLIT}),
        ("converter", {"leakage": "1 uA"}),
        ("arm switch before", {"powered_by": "after arm switch"}),
        ("shunt", {"second": 'shunt = "50 mohm"'}),
        ("return contact", {"second": 'return_contact = "50 mohm"'}),
        ("second", {"second": 'second = { drain_pull_up = "100 kohm" }'}),
        ("strings", {"igniters": '[["match", "match"]]'}),
        ("channels", {"channels": "2"}),
        ("bank", {"battery": 'capacitor_bank = { capacitance = "10 mF", series_resistance = "50 ohm" }'}),
    ],
)
def test_inputs_of_single_faults(other: str, changes: dict[str, str]) -> None:
    """A circuit that differs in something that single faults depend on is not taken for the same one."""
    assert single_fault_inputs(held(**changes)) != single_fault_inputs(held()), other
    assert single_fault_inputs(held(title="Another title")) == single_fault_inputs(held())


def test_inputs_that_are_values_of_parts() -> None:
    """The same for values that the file's text keeps to itself: replaced one by one."""
    circuit = held()
    ((name, igniter),) = circuit.igniters.items()
    ((low_side, mosfet),) = circuit.mosfets.items()
    (channel,) = circuit.channels
    controller, battery = circuit.controller, circuit.battery
    wide = igniter.resistance.times(1.1)
    hot = replace(igniter.resistance, low=0.5, high=2.0)  # so wide that the cold resistance is not seen in it
    igniter = replace(igniter, temperatures=replace(igniter.temperatures, function_resistance=hot))
    circuit = replace(circuit, igniters={name: igniter})
    inputs = single_fault_inputs(circuit)
    others = [replace(circuit, igniters={name: replace(igniter, **one)}) for one in (
        {"resistance": replace(igniter.resistance, low=0.7)}, {"temperatures": replace(igniter.temperatures, function_resistance=wide)}, {"threshold_low": 0.1}, {"all_fire_current": 0.9}, {"name": "other"},
    )]  # fmt: skip
    amps, volts, ohms = mosfet.leakage_hot, mosfet.threshold.times(1.1), wide
    more = replace(amps, low=0.0, nominal=1e-6, high=2e-6)
    others += [replace(circuit, mosfets={low_side: replace(mosfet, **one)}) for one in (
        {"threshold": volts}, {"leakage_hot": more}, {"leakage_cool": more}, {"gate_leakage": more},
        {"max_junction": 175.0}, {"hot_factor": 2.0}, {"subthreshold_slope": volts}, {"threshold_drift": volts},
        {"threshold_current": 1e-4}, {"rows": ()},
    )]  # fmt: skip
    others += [replace(circuit, channels=(replace(channel, **one),)) for one in (
        {"gate_series": ohms}, {"pull_downs": ()}, {"lower": ohms}, {"pin_resistor": ohms}, {"uppers": (ohms, ohms)},
        {"name": "other"}, {"branch": channel.lead}, {"high_side": channel}, {"gate_capacitor": ohms}, {"filter": ohms},
        {"mosfet": "other"},
    )]  # fmt: skip
    others += [replace(circuit, controller=replace(controller, **one)) for one in (
        {"supply": volts}, {"dropout": volts}, {"current": more}, {"pin": None}, {"adc": None},
    )]  # fmt: skip
    others += [replace(circuit, battery=replace(battery, **one)) for one in (
        {"resistance": ohms}, {"slow_resistance": ohms}, {"bank_resistance": ohms}, {"recharge_resistance": ohms},
    )]  # fmt: skip
    (arm,) = circuit.feed
    others += [replace(circuit, feed=(replace(arm, **one),)) for one in (
        {"name": "other"}, {"kind": "fuse"}, {"resistance": ohms},
    )]  # fmt: skip
    others += [replace(circuit, loads=(("radio", more),)), replace(circuit, feed=())]
    for other in others:
        assert single_fault_inputs(other) != inputs
