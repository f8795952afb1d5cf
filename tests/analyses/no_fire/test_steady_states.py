"""What a line can be in while nobody commands, and which of the currents found is the one that is reported."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ignition.analyses.no_fire.gate import phase_box
from ignition.analyses.no_fire.steady import (
    ChannelNoFire,
    IgniterNoFire,
    PhaseNoFire,
    Uncommanded,
    _uncommanded,
    no_fire,
    uncommanded_states,
)
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.findings.corner import Corner
from ignition.network.elements import KNEE_VOLTAGE
from ignition.network.worst_case import NEGLIGIBLE, Extreme
from ignition.toleranced import Toleranced
from tests.circuit.edits import DEMO, edited
from tests.circuit.sound import SOUND
from tests.findings.ends import WIDE

SECOND_CHANNEL = SOUND[SOUND.index("[[channel]]") : SOUND.index("[checklist]")].replace('"line"', '"spare"')
PULL_UP = ("sense = {", 'second = { drain_pull_up = "10 kohm ± 10 %" }\nsense = {')


def circuit_of(igniters: str, *swaps: tuple[str, str]) -> Circuit:
    """The sound circuit with a cluster."""
    return parse_circuit(edited(SOUND, ('[["match"]]', igniters), *swaps))


def states_of(circuit: Circuit) -> dict[str, tuple[dict[str, Toleranced], list[str], frozenset[int]]]:
    """Bounds, igniters that carry current and open strings of each state of the first channel."""
    channel = circuit.channels[0]
    found = uncommanded_states(circuit, channel, "armed", phase_box(circuit, "armed"))
    return {label: (box, names, state.open_strings_of(channel.name)) for label, state, box, names in found}


@pytest.mark.parametrize(
    ("igniters", "labels"),
    [
        ('[["match"]]', []),
        ('[["match", "match"]]', ["only igniter 1.1 not shorted", "only igniter 1.2 not shorted"]),
        ('[["match"], ["match"]]', ["only string 1 connected", "only string 2 connected"]),
        (
            '[["match"], ["match", "match"]]',
            [
                "only string 1 connected",
                "only string 2 connected",
                "only igniter 2.1 not shorted",
                "only igniter 2.2 not shorted",
            ],
        ),
    ],
)
def test_the_states_of_an_arrangement(igniters: str, labels: list[str]) -> None:
    """Each string alone where there are several; each igniter of a string alone where it has several."""
    assert list(states_of(circuit_of(igniters))) == ["intact", "shorted", *labels]


def test_who_carries_current_in_which_state() -> None:
    """All strings but the named one are open, and all igniters of it but the named one are shorted."""
    states = states_of(circuit_of('[["match"], ["match", "match"], ["match"]]'))
    box, names, opened = states["intact"]
    assert names == [f"line.igniter {n}" for n in ("1.1", "2.1", "2.2", "3.1")] and opened == frozenset()
    assert states["shorted"][1] == []
    box, names, opened = states["only string 2 connected"]
    assert names == ["line.igniter 2.1", "line.igniter 2.2"] and opened == {0, 2}
    assert box["line.igniter 2.1"].low == pytest.approx(1.0) and box["line.igniter 2.2"].high == pytest.approx(1.5)
    box, names, opened = states["only igniter 2.2 not shorted"]
    assert names == ["line.igniter 2.2"] and opened == {0, 2}
    assert box["line.igniter 2.1"] == Toleranced.exact(0.0, "ohm")
    assert box["line.igniter 2.2"].high == pytest.approx(1.5)


def test_a_bridge_may_fall_on_its_way_and_stays_what_it_is_at_rest() -> None:
    """-0.001 / K from 20 to 320 degC takes 1.0 ohm to 0.7 ohm; a rising bridge keeps its cold 1.0 ohm, 1.5 ohm at most."""
    for coefficient, low in (("-0.001 / K", 0.7), ("0.001 / K", 1.0)):
        swap = ('temperature_coefficient = "0 / K"\nfunction', f'temperature_coefficient = "{coefficient}"\nfunction')
        box = states_of(circuit_of('[["match"]]', swap))["intact"][0]["line.igniter 1.1"]
        assert box.low == pytest.approx(low) and box.high == pytest.approx(1.5)


def test_another_channel_may_load_the_battery_or_not() -> None:
    """Its lead reaches from what it is to an insulation; the channel's own lead stays what it is."""
    circuit = parse_circuit(edited(SOUND, ("[checklist]", f"{SECOND_CHANNEL}[checklist]")))
    box = states_of(circuit)["intact"][0]
    own, other = (channel.lead.resistance for channel in circuit.channels)
    assert box["line.lead"] == own
    assert (box["spare.lead"].low, box["spare.lead"].high) == (other.low, 1e12)


def test_the_pin_of_a_pull_up_may_be_low() -> None:
    """Held low it leads to ground through 9 kohm and the pin's 30 ohm; as a clamp, through at most 11 kohm + 20 ohm."""
    swaps = (PULL_UP, ('output_resistance = "30 ohm"', 'output_resistance = "5 ohm .. 8 ohm .. 9 ohm"'))
    for changed, low in (((PULL_UP,), 9e3 + 20.0), (swaps, 9e3 + 5.0)):
        box = states_of(circuit_of('[["match"]]', *changed))["intact"][0]
        behind = box["line.pull-up clamp resistance"]
        assert behind.low == pytest.approx(low, rel=1e-12) and behind.high == pytest.approx(11e3 + 20.0, rel=1e-12)
        assert box["line.pull-up clamp voltage"].low == KNEE_VOLTAGE
        assert box["line.pull-up clamp voltage"].high == pytest.approx(3.3 + 0.7, rel=1e-3)


NO_DRIFT = ('leakage = { cool = "1 uA", hot = "100 uA" }', 'leakage = { cool = "0 A .. 1 uA", hot = "0 A .. 1 uA" }')
WEAKER = SECOND_CHANNEL.replace('lower = "47 kohm"', 'lower = "10 kohm"')


def test_leakage_behind_an_open_switch_flows_from_one_line_to_the_other() -> None:
    """100 nA into 47 kohm is 4.7 mV, 100 nA out of 10 kohm -1 mV; through 100 kohm at each end, and a MOSFET that is off.

    What leaks into the first line lifts the second one's drain, whose MOSFET passes 1 uA from 1 mV on, or as little as
    none; the other way round both drains are below ground, and it passes nothing.
    """
    circuit = parse_circuit(edited(SOUND, NO_DRIFT, ("[checklist]", f"{WEAKER}[checklist]")))
    own, other = (channel.phases[0].igniters[0] for channel in no_fire(circuit).channels)
    strong, weak = 100e-9 * 47e3, 100e-9 * 10e3
    passes = 1e-6 / KNEE_VOLTAGE
    lifted = (strong / 146.8e3 - weak / 110e3) / (1 / 146.8e3 + 1 / 110e3 + passes)
    assert 0.0 < lifted < KNEE_VOLTAGE
    assert (
        own.current == pytest.approx(other.current, rel=1e-12) == pytest.approx((strong - lifted) / 146.8e3, rel=1e-4)
    )
    assert own.current > 1.2 * (strong + weak) / (146.8e3 + 110e3)
    assert own.line_state == "intact"


def test_leakage_behind_an_open_switch_from_the_bus() -> None:
    """A divider of 100 kohm and 1 Mohm there: 100 nA into its pin, 100 mV, and out of the line's, -4.7 mV, in one loop.

    The line's drain is lifted, and its MOSFET that is off draws from there too.
    """
    bus = ("sense = {", 'second = { bus_divider = { upper = "100 kohm", lower = "1 Mohm" } }\nsense = {')
    found = no_fire(parse_circuit(edited(SOUND, NO_DRIFT, bus))).channels[0].phases[0]
    lifts, pulls = 100e-9 * 1e6, 100e-9 * 47e3
    drain = (lifts / 1.1e6 - pulls / 146.8e3) / (1 / 1.1e6 + 1 / 146.8e3 + 1e-6 / KNEE_VOLTAGE)
    assert 0.0 < drain < KNEE_VOLTAGE
    assert found.igniters[0].current == pytest.approx((lifts - drain) / 1.1e6, rel=1e-4)


def test_a_pin_that_leakage_alone_lifts_to_its_clamp() -> None:
    """1 uA into each of two pins at 10 Mohm would be 10 V: one clamp of a dead controller at 0.3 V takes nearly all.

    The other pin, whose clamp begins at 0.7 V, stands at 0.3 V and 1 uA x 20 kohm: 30 nA and 32 nA are left to ground.
    """
    divider = ('upper = ["49.9 kohm", "49.9 kohm"], lower = "47 kohm"', 'upper = "10 kohm", lower = "10 Mohm"')
    leaks = ('leakage = "100 nA"\ns', 'leakage = "1 uA"\ns')
    two = edited(SOUND, ("[checklist]", f"{SECOND_CHANNEL}[checklist]"), leaks, divider, divider, NO_DRIFT)
    clamp = no_fire(parse_circuit(two)).channels[0].phases[0].clamp
    assert clamp.controller == "dead" and clamp.current == pytest.approx(2e-6 - (0.3 + 0.32) / 10e6, rel=1e-3)


CORNER = Corner(battery_voltage=8.4, temperature=20.0)


def carries(amperes: float, limit: float | None, name: str = "one") -> IgniterNoFire:
    """An igniter with a current and a limit."""
    worst = Uncommanded(current=amperes, line_state="intact", controller="alive", corner=CORNER)
    return IgniterNoFire(igniter=name, kind="match", worst=worst, limit=limit, growth=1.0)


def phase_of(*igniters: IgniterNoFire) -> PhaseNoFire:
    """A phase with these igniters."""
    phase = no_fire(circuit_of('[["match"]]')).channels[0].phases[-1]
    return replace(phase, igniters=igniters)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ((0.002, 0.2), (0.001, 0.2)),  # the same limit: the larger current
        ((0.001, 0.05), (0.003, 0.2)),  # a smaller current nearer to its own limit
        ((0.0, None), (0.1, 0.2)),  # a limit that is not known, whatever the current
        ((0.0, 0.0), (0.1, 0.2)),  # one that may function without any current
        ((0.002, None), (0.001, None)),  # of two unknown the larger current
        ((0.002, None), (0.001, 0.0)),
    ],
)
def test_the_igniter_of_least_margin(first: tuple[float, float | None], second: tuple[float, float | None]) -> None:
    """The nearest to its limit is the one that is shown, in whichever order they stand."""
    near, far = carries(*first, name="near"), carries(*second, name="far")
    assert phase_of(near, far).least.igniter == "near" == phase_of(far, near).least.igniter


def test_the_gate_nearest_to_conduction_is_shown() -> None:
    """Of the controller alive and dead the one of the higher highest voltage, in whichever order."""
    phase = phase_of(carries(0.0, 0.2))
    low = replace(phase.gates[0], gate_voltage=Toleranced(low=0.5, nominal=0.5, high=0.5, unit="V"))
    high = replace(low, gate_voltage=Toleranced(low=0.0, nominal=0.1, high=0.6, unit="V"))
    assert replace(phase, gates=(low, high)).gate is high and replace(phase, gates=(high, low)).gate is high


def test_the_current_into_a_short_is_that_of_the_worst_phase() -> None:
    """The largest of all phases, wherever it stands."""
    phase = phase_of(carries(0.0, 0.2))
    phases = [replace(phase, into_short=replace(phase.into_short, current=amps)) for amps in (0.1, 0.3, 0.2)]
    assert ChannelNoFire(channel="line", phases=tuple(phases)).current_into_short == 0.3


def test_the_states_of_the_worst_current_are_told() -> None:
    """Of unlike strings the current is worst in one that is alone; which, and the hottest ambient, stand beside it."""
    text = edited(DEMO, ('[["booster"], ["booster"], ["booster"]]', '[["booster"], ["marker"]]'))
    channel = no_fire(parse_circuit(text)).channels[0]
    armed = channel.phases[-1]
    assert [one.line_state for one in armed.igniters] == ["only string 1 connected", "only string 2 connected"]
    assert {one.worst.corner.temperature for one in armed.igniters} == {35.0}
    assert armed.into_short.line_state == "shorted"
    # alone or all of them, the clamp sees nearly the same; the line of least resistance drives it most
    assert armed.clamp.controller == "dead" and armed.line.current >= max(one.current for one in armed.igniters)


@pytest.mark.parametrize(
    ("low", "high", "size", "volts", "end"),
    [
        (-3.0, 2.0, 3.0, 8.0, "low"),
        (-2.0, 3.0, 3.0, 8.4, "high"),
        (-3.0, 3.0, 3.0, 8.4, "high"),
        (2.0, 3.0, 3.0, 8.4, "high"),
        (-3.0, -2.0, 3.0, 8.0, "low"),
        (-NEGLIGIBLE, 0.9 * NEGLIGIBLE, NEGLIGIBLE, 8.0, "low"),
        (-0.9 * NEGLIGIBLE, 0.9 * NEGLIGIBLE, 0.0, 8.4, "high"),
    ],
)
def test_a_current_that_flows_backwards_counts_by_its_size(
    low: float, high: float, size: float, volts: float, end: str
) -> None:
    """The end of the larger size and its own corner count, whichever way it flows; below rounding there is none."""
    spread = Toleranced(low=1.0, nominal=1.0, high=2.0, unit="ohm")
    box = {"battery.voltage": Toleranced(low=8.0, nominal=8.2, high=8.4, unit="V"), "line.upper": spread}
    extreme = Extreme(
        low=low,
        nominal=0.0,
        high=high,
        low_at={"battery.voltage": 8.0, "line.upper": 1.0},
        high_at={"battery.voltage": 8.4, "line.upper": 2.0},
        method="listed",
        sizes={"battery.voltage": 1.0, "line.upper": 1.0},
    )
    found = _uncommanded(parse_circuit(WIDE), extreme, box, "intact", "dead")
    assert (found.current, found.line_state, found.controller) == (size, "intact", "dead")
    assert (found.corner.battery_voltage, found.corner.temperature) == (volts, 40.0)
    assert found.corner.ends == (("line.upper", end),)


def test_every_input_with_a_clamp_is_looked_at() -> None:
    """The pins of a divider at the bus and of a pull-up carry currents of their own, and only where they are fitted."""
    second = '{ bus_divider = { upper = "10 kohm", lower = "100 kohm" }, drain_pull_up = "10 kohm" }'
    armed = (
        no_fire(parse_circuit(edited(SOUND, ("sense = {", f"second = {second}\nsense = {{")))).channels[0].phases[-1]
    )
    # a dead pin's clamp of 0.3 V at least: 8.4 V on the bus through 10 kohm, to the drain through nothing much
    assert armed.bus_clamp is not None and armed.bus_clamp.current == pytest.approx(8.1 / 10e3, rel=0.01)
    assert armed.pull_up_clamp is not None and armed.pull_up_clamp.current == pytest.approx(8.4 / 10e3, rel=0.01)
    without = no_fire(parse_circuit(SOUND)).channels[0].phases[-1]
    assert (without.bus_clamp, without.pull_up_clamp) == (None, None)


def test_leakage_is_one_of_the_tolerances_where_the_battery_drives() -> None:
    """Armed, the MOSFET's is named among what the corner is made of; settled beforehand it would not be."""
    armed = no_fire(parse_circuit(WIDE)).channels[0].phases[-1]
    assert dict(armed.line.corner.ends)["line.off current"] == "high"
