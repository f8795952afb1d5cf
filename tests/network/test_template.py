"""The network of a channel in every phase and line state, solved by hand; the bounds of each of its parameters."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from ignition.analyses.continuity.bands import armed_states
from ignition.circuit.examples import load_example
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.network.solution import Solution, solve
from ignition.network.template import (
    LEAKING,
    LINE_STATES,
    PHASES,
    State,
    adc_pin,
    build_network,
    drain,
    igniter_names,
    line_states,
    parameter_box,
)
from ignition.toleranced import Toleranced
from tests.analyses.sense_circuits import bench

BRANCH = 'branch = { resistance = "1 ohm", joints = "0 ohm" }\n'
LOAD = '[[load]]\nname = "lamp"\ncurrent = "1 A .. 2 A .. 4 A"\n'
FUSE = '[[feed]]\nname = "fuse"\nkind = "fuse"\nresistance = "1 ohm"\n'
STRINGS = '[["match", "match"], ["match"]]'

# 0.25 feed, 1 lead, two strings of 2 in parallel, 8 divider: 10.25 ohm in all but the battery's 0.5
VALUES = {
    "battery.voltage": 10.0,
    "battery.resistance": 0.5,
    "load.lamp": 2.0,
    "controller.current": 1.0,
    "feed.arm switch": 0.125,
    "feed.fuse": 0.125,
    "line.lead": 1.0,
    "line.branch 1": 0.5,
    "line.igniter 1.1": 0.5,
    "line.igniter 1.2": 1.0,
    "line.branch 2": 1.5,
    "line.igniter 2.1": 0.5,
    "line.bridging": 0.0,
    "line.mosfet": 0.25,
    "line.off current": 0.0,
    "line.upper": 3.0,
    "line.lower": 5.0,
    "line.pin resistor": 2.0,
    "line.adc leakage": 0.0,
    "line.clamp voltage": 100.0,
    "line.clamp resistance": 0.5,
    "bank.voltage": 10.0,
    "bank.resistance": 0.5,
    "bank.recharge": 0.5,
}
BOX = bench(igniters=STRINGS, second=BRANCH + FUSE + LOAD)
STRING_CURRENTS = ("line.igniter 1.1", "line.igniter 1.2", "line.igniter 2.1")


def solved(state: State, circuit: Circuit = BOX, **changes: float) -> Solution:
    """The circuit in a state at the values above, some of them changed (a blank in a name is written __)."""
    values = VALUES | {f"line.{name.replace('__', ' ')}": value for name, value in changes.items()}
    return solve(build_network(circuit, state), values)


def currents(solution: Solution, *names: str) -> list[float]:
    """Currents of some elements [A]."""
    return [float(solution.current(name)[0]) for name in names]


def armed(line: str = "intact", *, commanded: bool = False) -> State:
    """Armed, or firing the channel, with its line in a state."""
    phase = "firing" if commanded else "armed"
    return State(phase=phase, lines={"line": line}, commanded=frozenset({"line"} if commanded else ()))


def test_intact_line_by_hand() -> None:
    """Controller and lamp load the battery alone; what is left drives one loop, halved by the two strings."""
    solution = solved(armed())
    loop = (10.0 - 0.5 * 3.0) / 10.75
    assert currents(solution, *STRING_CURRENTS) == pytest.approx([loop / 2] * 3)
    terminal = 10.0 - 0.5 * (3.0 + loop)
    steps = {"battery terminal": 0.0, "after arm switch": 0.125, "bus": 0.25, "line.line out": 0.75}
    steps |= {"line.string 1 node 1": 0.75 + 0.5, "line.string 2 start": 0.75 + 0.75, "line.line back": 1.75}
    steps |= {"line.drain": 2.25, "line.tap": 5.25, "line.adc pin": 5.25}
    for node, resistance in steps.items():
        assert solution.voltage(node)[0] == pytest.approx(terminal - loop * resistance), node


def test_controller_behind_the_arm_switch_loads_the_bus() -> None:
    """Its current passes the feed as well, and stops when the switch is open."""
    circuit = bench(igniters=STRINGS, second=BRANCH + FUSE + LOAD, powered_by="after arm switch")
    solution = solved(armed(), circuit)
    loop = (10.0 - 0.5 * 3.0 - 0.25 * 1.0) / 10.75
    assert currents(solution, "line.igniter 2.1", "controller") == pytest.approx([loop / 2, 1.0])
    assert solution.voltage("bus")[0] == pytest.approx(10.0 - 0.5 * (3.0 + loop) - 0.25 * (1.0 + loop))
    off = solved(State(phase="disarmed"), circuit)
    assert off.voltage("battery terminal")[0] == pytest.approx(9.0) and currents(off, "controller") == [0.0]


def test_loads_that_the_battery_cannot_feed_drive_nothing_backwards() -> None:
    """10 V behind 60 ohm feeds no 3 A: the terminal rests just above 0 V, and no current comes back through the line."""
    values = VALUES | {"battery.resistance": 60.0}
    solution = solve(build_network(BOX, armed()), values)
    assert 0.0 <= solution.voltage("battery terminal")[0] < 1e-3
    lamp, controller, battery = currents(solution, "load.lamp", "controller", "battery")
    assert lamp + controller == pytest.approx(10.0 / 60.0, rel=1e-3) and lamp == pytest.approx(2.0 * controller)
    assert -battery == pytest.approx(10.0 / 60.0, rel=1e-3)
    assert all(0.0 <= current < 1e-3 for current in currents(solution, *STRING_CURRENTS))


@pytest.mark.parametrize("state", [State(phase="disarmed"), armed("not armed")])
def test_an_open_arm_switch_leaves_the_bus_dead(state: State) -> None:
    """Controller and lamp draw on, in front of the switch; the fuse behind it stays in place; nothing flows."""
    solution = solved(state)
    assert solution.voltage("battery terminal")[0] == pytest.approx(10.0 - 0.5 * 3.0)
    assert currents(solution, *STRING_CURRENTS, "feed.arm switch") == pytest.approx([0.0] * 4)
    assert opened(BOX, state) == {"feed.arm switch", "line.bridging", "line.mosfet", "line.mosfet short"}


@pytest.mark.parametrize(
    ("line", "bridging", "resistance", "through"),
    [
        ("open", 0.0, None, None),
        ("shorted", 0.0, 9.25, "line.bridging"),
        (LEAKING, 3.0, 12.25, "line.bridging"),
        ("mosfet shorted", 0.0, 2.25, "line.mosfet short"),
    ],
)
def test_line_states_by_hand(line: str, bridging: float, resistance: float | None, through: str | None) -> None:
    """Nothing; the lead and the divider; those with the leak between; the line without the divider."""
    solution = solved(armed(line), bridging=bridging)
    loop = 0.0 if resistance is None else 8.5 / (0.5 + resistance)
    assert currents(solution, "feed.arm switch") == pytest.approx([loop])
    expected = loop / 2 if line == "mosfet shorted" else 0.0
    assert currents(solution, *STRING_CURRENTS) == pytest.approx([expected] * 3)
    if through is not None:
        assert currents(solution, through) == pytest.approx([loop])


def test_a_commanded_mosfet_carries_what_the_divider_does_not() -> None:
    """0.25 ohm beside 8 ohm; its leakage is over, and a short of it is its on-resistance."""
    loop = 8.5 / (0.5 + 2.25 + 0.25 * 8.0 / 8.25)
    for line in ("intact", "mosfet shorted"):
        solution = solved(armed(line, commanded=True), off__current=1.0)
        assert currents(solution, "line.mosfet") == pytest.approx([loop * 8.0 / 8.25])
        assert currents(solution, "line.mosfet off", "line.mosfet short") == [0.0, 0.0]
    off = solved(armed(), off__current=0.5)
    loop = (8.5 + 0.5 * 8.0) / 10.75  # the divider carries half an ampere less
    assert currents(off, "line.mosfet off", "line.mosfet") == pytest.approx([0.5, 0.0])
    assert currents(off, "line.upper", "feed.fuse") == pytest.approx([loop - 0.5, loop])


def test_converter_leakage_pulls_its_pin_down() -> None:
    """It flows into the pin through the pin resistor, beside the lower resistor."""
    solution = solved(armed(), adc__leakage=0.1)
    loop = (8.5 + 0.1 * 5.0) / 10.75
    tap = (loop - 0.1) * 5.0
    assert solution.voltage("line.tap")[0] == pytest.approx(tap)
    assert solution.voltage("line.adc pin")[0] == pytest.approx(tap - 0.2)


def test_clamp_takes_the_pin_down_to_its_rail() -> None:
    """At 1 V the clamp conducts: two meshes by hand, through pin resistor and clamp (2.5 ohm) and the lower resistor."""
    solution = solved(armed(), clamp__voltage=1.0)
    # the tap: current from 8.5 V behind 5.75 ohm = tap / 5 + (tap - 1) / 2.5
    tap = (8.5 / 5.75 + 1.0 / 2.5) / (1.0 / 5.75 + 1.0 / 5.0 + 1.0 / 2.5)
    assert solution.voltage("line.tap")[0] == pytest.approx(tap)
    assert currents(solution, "line.clamp") == pytest.approx([(tap - 1.0) / 2.5])


def opened(circuit: Circuit, state: State) -> set[str]:
    """Names of the elements that are open in a state."""
    return {e.name for e in build_network(circuit, state).elements if not e.closed}


@pytest.mark.parametrize(
    ("second", "first_of_each"),
    [(BRANCH, ["line.branch 1", "line.branch 2"]), ("", ["line.igniter 1.1", "line.igniter 2.1"])],
)
def test_a_string_opens_at_its_first_element(second: str, first_of_each: list[str]) -> None:
    """Its branch where there is one, else its first igniter; with one string open only its own."""
    circuit = bench(igniters=STRINGS, second=second)
    usual = {"line.bridging", "line.mosfet", "line.mosfet short"}
    assert opened(circuit, armed()) == usual
    assert opened(circuit, armed("open")) == usual | set(first_of_each)
    assert opened(circuit, armed(LEAKING)) == usual - {"line.bridging"} | set(first_of_each)
    assert opened(circuit, armed("shorted")) == usual - {"line.bridging"}
    assert opened(circuit, armed("mosfet shorted")) == usual - {"line.mosfet short"}
    (channel,) = circuit.channels
    each = [opened(circuit, state) - usual for state in armed_states(circuit, channel, "one string open")]
    assert each == [{name} for name in first_of_each]


@pytest.mark.parametrize("recharged", [True, False])
def test_capacitor_bank_is_a_source_in_front_of_the_feed(recharged: bool) -> None:
    """At the battery's voltage behind its own resistance; without a recharge resistor the battery gives nothing."""
    extra = ', recharge_resistance = "1 kohm"' if recharged else ""
    bank = f'capacitor_bank = {{ capacitance = "10 mF", series_resistance = "50 mohm"{extra} }}'
    circuit = bench(igniters=STRINGS, second=BRANCH + FUSE + LOAD, battery=bank)
    solution = solved(armed(), circuit)
    # recharged: 8.5 V behind 0.5 + 0.5 ohm beside 10 V behind 0.5 ohm
    voltage, behind = ((8.5 / 1.0 + 10.0 / 0.5) / 3.0, 1.0 / 3.0) if recharged else (10.0, 0.5)
    loop = voltage / (10.25 + behind)
    assert currents(solution, "feed.arm switch") == pytest.approx([loop])
    assert solution.voltage("bank terminal")[0] == pytest.approx(voltage - loop * behind)
    assert ("recharge" in opened(circuit, armed())) is not recharged
    box = box_of(circuit, certain=True)
    assert box["bank.resistance"] == circuit.battery.bank_resistance
    assert box["bank.recharge"] == (Toleranced.exact(1000.0, "ohm") if recharged else Toleranced.exact(0.0, "ohm"))


def box_of(circuit: Circuit, *, certain: bool) -> dict[str, Toleranced]:
    """Bounds of every parameter behind a rail of 2.9 .. 3 .. 3.2 V; no leakage and no on-resistance are given."""
    rail = Toleranced(low=2.9, nominal=3.0, high=3.2, unit="V")
    return parameter_box(circuit, off_currents={}, on_resistances={}, rail=rail, loads_certain=certain)


@pytest.mark.parametrize("certain", [True, False])
def test_loads_are_as_given_or_may_be_off(certain: bool) -> None:
    """While firing each load stands between its bounds; else it may be off, its nominal and high value kept."""
    text = LOAD + '[igniter.other]\nbridge_resistance = "2 ohm .. 3 ohm .. 5 ohm"\n'
    circuit = bench(igniters='[["match", "other"], ["match"]]', second=BRANCH + text)
    controller = Toleranced(low=0.5, nominal=0.75, high=2.0, unit="A")
    circuit = replace(circuit, controller=replace(circuit.controller, current=controller))
    box = box_of(circuit, certain=certain)
    low = (1.0, 0.5) if certain else (0.0, 0.0)
    for name, least, nominal, high in (
        ("load.lamp", low[0], 2.0, 4.0),
        ("controller.current", low[1], 0.75, 2.0),
        ("feed.arm switch", 0.01, 0.02, 0.05),
        ("battery.voltage", 7.0, 7.6, 8.4),
        ("line.branch 2", 1.0, 1.0, 1.0),
        ("line.igniter 1.1", 0.8, 1.0, 1.3),
        ("line.igniter 1.2", 2.0, 3.0, 5.0),
        ("line.igniter 2.1", 0.8, 1.0, 1.3),
        ("line.upper", 99e3, 100e3, 101e3),
        ("line.lower", 32670.0, 33e3, 33330.0),
        ("line.clamp voltage", 3.4, 3.5, 3.7),
        ("line.clamp resistance", 10.0, 10.0, 10.0),
        ("line.bridging", 0.0, 0.0, 0.0),
        ("line.mosfet", 0.0, 0.0, 0.0),
        ("line.off current", 0.0, 0.0, 0.0),
    ):
        assert (box[name].low, box[name].nominal, box[name].high) == pytest.approx((least, nominal, high)), name
    assert set(build_network(circuit, armed()).parameters) <= set(box)


def test_given_leakage_and_on_resistance_are_taken_over() -> None:
    """Of the channel that they are named after."""
    circuit = bench(channels=2)
    leak, on = Toleranced(low=0.0, nominal=1.0, high=2.0, unit="A"), Toleranced(low=1.0, nominal=2.0, high=3.0)
    box = parameter_box(
        circuit,
        off_currents={"line 2": leak},
        on_resistances={"line": on},
        rail=Toleranced.exact(0.0, "V"),
        loads_certain=True,
    )
    assert box["line 2.off current"] == leak and box["line.mosfet"] == on
    assert box["line.off current"].high == 0.0 and box["line 2.mosfet"].high == 0.0


def test_phases_and_line_states_are_those_of_the_json() -> None:
    """The words that reports and files use, in order; one string open only where there are several."""
    assert PHASES == ("disarmed", "switch-on", "reset", "armed", "firing")
    five = ("intact", "open", "shorted", "mosfet shorted", "not armed")
    assert line_states(bench().channels[0]) == five
    assert line_states(BOX.channels[0]) == LINE_STATES == (*five, "one string open")


def test_names_of_a_channel() -> None:
    """String and position count from 1."""
    (channel,) = BOX.channels
    assert igniter_names(channel) == (("line.igniter 1.1", "line.igniter 1.2"), ("line.igniter 2.1",))
    assert (drain(channel), adc_pin(channel)) == ("line.drain", "line.adc pin")
    assert build_network(BOX, armed()).igniters == STRING_CURRENTS


@pytest.mark.parametrize("phase", ["switch-on", "landed"])
def test_a_phase_that_is_not_steady_is_refused(phase: str) -> None:
    """The edge has no steady state, and an unknown phase none at all; the four others have."""
    with pytest.raises(InputError, match=f"steady phase is one of disarmed, reset, armed, firing; received '{phase}'"):
        build_network(BOX, State(phase=phase))
    for steady in ("disarmed", "reset", "armed", "firing"):
        assert ("feed.arm switch" in opened(BOX, State(phase=steady))) is (steady == "disarmed")


def test_line_states_that_do_not_apply_are_refused() -> None:
    """One string open on a channel of one string, and a word that is no line state."""
    for line in ("one string open", "wet"):
        with pytest.raises(InputError, match=re.escape(f"channel 'line' has no line state '{line}'; there are intact")):
            build_network(bench(), armed(line))


def test_every_channel_hangs_on_the_same_bus() -> None:
    """A line that is not armed opens the arm switch of all; each channel has its own igniters."""
    circuit = load_example("demo")
    network = build_network(circuit, State(phase="armed", lines={circuit.channels[1].name: "not armed"}))
    assert not network.element("feed.arm switch").closed
    assert network.igniters == tuple(n for c in circuit.channels for string in igniter_names(c) for n in string)
    for channel in circuit.channels:
        assert network.element(f"{channel.name}.lead out").plus == "bus"
