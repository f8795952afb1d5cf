"""What a circuit can be in: the list by hand, and bounds and states of everything that hangs on phase and controller."""

from __future__ import annotations

from typing import Any

import pytest

from ignition.analyses.faults.situations import Setting, Situation, healthy, situations
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from tests.analyses.faults.boards import held
from tests.analyses.sense_circuits import text
from tests.circuit.edits import edited

CONTACTS = """second = { drain_pull_up = "100 kohm", before_arming = true }
return_contact = "20 mohm"
shunt = "20 mohm"
high_side = { resistance = "20 mohm", around = "100 kohm" }"""

ROWS = """on_resistance = [
    { gate = "2.5 V", resistance = "10 mohm .. 14 mohm .. 20 mohm" },
    { gate = "2.7 V", resistance = "6 mohm .. 8 mohm .. 12 mohm" },
]
on_resistance_hot_factor = 1.5
"""

RAIL, BATTERY = (3.2, 3.3, 3.5), (7.0, 7.6, 8.4)


def circuit(pin: str = "", **changes: Any) -> Circuit:
    """The bench circuit with a supply, a pin and a MOSFET whose values have tolerances."""
    first = text(**changes)
    start, end = first.index("on_resistance ="), first.index("leakage = { cool")
    whole = edited(
        first[:start] + ROWS + first[end:],
        ('supply = "3.3 V"', 'supply = "3.2 V .. 3.3 V .. 3.5 V"'),
        ('output_resistance = "0 ohm"', f'output_resistance = "20 ohm .. 25 ohm .. 40 ohm"\n{pin}'),
    )
    return parse_circuit(whole, "tolerances.toml")


def situation(phase: str, **changes: Any) -> Situation:
    """One with a controller that is alive."""
    return Situation(**({"phase": phase, "controller": "alive"} | changes))


def ends(setting: Setting, name: str) -> tuple[float, float, float]:
    """Bounds of a parameter."""
    value = setting.box[name]
    return value.low, value.nominal, value.high


def near(*expected: float) -> Any:
    """The same but for rounding."""
    return pytest.approx(expected, rel=1e-12)


def test_every_phase_with_the_controller_alive_and_dead() -> None:
    """Disarmed, in reset and armed, then each channel fired alone."""
    quiet = [Situation(phase=p, controller=c) for p in ("disarmed", "reset", "armed") for c in ("alive", "dead")]  # type: ignore[arg-type]
    fired = [situation("firing", commanded=frozenset({name})) for name in ("line", "line 2")]
    assert situations(held(channels="2")) == (*quiet, *fired)
    assert {s.pins for s in quiet} == {"disarmed", "reset", "armed"}


def test_a_controller_after_the_arm_switch_is_dead_or_woken_while_disarmed() -> None:
    """What feeds it though the switch is open brings it into reset, and then to where it has its pins while armed."""
    found = [s for s in situations(held(powered_by="after arm switch")) if s.phase == "disarmed"]
    woken = [situation("disarmed", woken="reset"), situation("disarmed", woken="armed")]
    assert found == [Situation(phase="disarmed", controller="dead"), *woken]
    assert [s.pins for s in found] == ["disarmed", "reset", "armed"]


def test_each_pulled_up_drain_is_tested_before_arming() -> None:
    """Where the controller has its supply then, one channel after the other; not after the arm switch."""
    two = {"channels": "2", "second": 'second = { drain_pull_up = "100 kohm", before_arming = true }'}
    found = situations(held(**two))[:4]
    usual = [situation("disarmed"), Situation(phase="disarmed", controller="dead")]
    assert found == (*usual, situation("disarmed", tested="line"), situation("disarmed", tested="line 2"))
    late = held(powered_by="after arm switch", second='second = { drain_pull_up = "100 kohm" }')
    assert not [s for s in situations(late) if s.tested]


@pytest.mark.parametrize(
    ("one", "states"),
    [
        (situation("disarmed"), {"feed.arm switch": False}),
        (Situation(phase="disarmed", controller="dead"), {"feed.arm switch": False, "line.pin driver": False}),
        (situation("reset"), {}),
        (situation("armed"), {}),
        (Situation(phase="armed", controller="dead"), {"line.pin driver": False}),
        (situation("firing", commanded=frozenset({"line"})), {"line.mosfet": True, "line.mosfet off": False}),
    ],
)
def test_states_of_a_line_without_contacts(one: Situation, states: dict[str, bool]) -> None:
    """What is not as the armed circuit has it: the switch, the driver of a dead pin, the MOSFET that is commanded."""
    assert healthy(circuit(), one).states == states


def test_states_of_a_line_with_contacts() -> None:
    """Disarmed, its poles open the return and close the shunt; the high side follows pins, and is left alone when dead."""
    full = circuit(second=CONTACTS)
    poles = {"feed.arm switch": False, "line.return contact": False, "line.shunt": True}
    off, on = {"line.high side": False}, {"line.high side": True}
    assert healthy(full, situation("disarmed")).states == poles | off
    dead = healthy(full, Situation(phase="disarmed", controller="dead")).states
    assert dead == poles | {"line.pin driver": False}
    tested = {"line.pull-up driver": True, "line.pull-up clamp": False}
    assert healthy(full, situation("disarmed", tested="line")).states == poles | off | tested
    assert healthy(full, situation("disarmed", tested="line"), "none").states == dead
    assert healthy(full, situation("armed")).states == off
    assert healthy(full, situation("reset")).states == on  # a pin that may do anything in reset
    fired = {"line.mosfet": True, "line.mosfet off": False}
    assert healthy(full, situation("firing", commanded=frozenset({"line"}))).states == on | fired


def test_states_in_reset() -> None:
    """A pin without a pull-up floats; a pull-down of its own holds it; woken while disarmed it is the same."""
    down = circuit('reset_pull_up = "none"\nreset_pull_down = "40 kohm"')
    loose, held_down = {"line.pin driver": False}, {"line.reset pull-down": True}
    assert healthy(circuit('reset_pull_up = "none"'), situation("reset")).states == loose
    assert healthy(down, situation("reset")).states == loose | held_down
    assert healthy(down, situation("armed")).states == {}
    assert healthy(circuit('reset_pull_up = "40 kohm"'), situation("reset")).states == {}
    woken = healthy(down, situation("disarmed", woken="reset"))
    assert woken.states == loose | held_down | {"feed.arm switch": False}
    assert healthy(down, Situation(phase="reset", controller="dead")).states == loose


def test_supply_of_the_pins() -> None:
    """As regulated, the battery's own where the regulator passes it, and none: then a rail from 0 to 3.5 V is loose."""
    for one, rail, supply, clamp in (
        (situation("armed"), "regulated", RAIL, (3.7, 3.8, 4.0)),
        (situation("armed"), "battery", BATTERY, (7.5, 8.1, 8.9)),
        (situation("armed"), "none", (0.0, 0.0, 0.0), (0.5, 0.5, 4.0)),
        (Situation(phase="armed", controller="dead"), "regulated", (0.0, 0.0, 0.0), (0.5, 0.5, 4.0)),
        (Situation(phase="armed", controller="dead"), "battery", (0.0, 0.0, 0.0), (0.5, 0.5, 4.0)),
    ):
        found = healthy(circuit(), one, rail)
        assert ends(found, "line.rail") == near(*supply)
        assert ends(found, "line.pin clamp voltage") == near(*clamp)
        assert ends(found, "line.clamp voltage") == near(*(volts + 0.5 for volts in supply))
        assert ends(found, "line.pin voltage") == (0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("pin", "volts", "behind"),
    [
        ("", (0.0, 3.3, 3.5), (20.0, 25.0, 40.0)),
        ('reset_pull_up = "40 kohm ± 20 %"', RAIL, (32e3, 40e3, 48e3)),
        ('reset_pull_up = "none"', (0.0, 0.0, 0.0), (20.0, 25.0, 40.0)),
    ],
)
def test_a_pin_in_reset(pin: str, volts: tuple[float, ...], behind: tuple[float, ...]) -> None:
    """It may do anything where the file does not say; it is pulled up to the supply; or it does nothing."""
    for one in (situation("reset"), situation("disarmed", woken="reset")):
        found = healthy(circuit(pin), one)
        assert ends(found, "line.pin voltage") == near(*volts)
        assert ends(found, "line.pin driver") == near(*behind)
    dead = healthy(circuit(pin), Situation(phase="reset", controller="dead"))
    assert ends(dead, "line.pin voltage") == (0.0, 0.0, 0.0)


def test_a_pin_that_is_commanded() -> None:
    """The commanded one is at the supply, the other one at ground, both behind the pin's output resistance."""
    found = healthy(circuit(channels=2), situation("firing", commanded=frozenset({"line 2"})))
    assert ends(found, "line 2.pin voltage") == near(*RAIL) and ends(found, "line.pin voltage") == (0.0, 0.0, 0.0)
    assert ends(found, "line.pin driver") == ends(found, "line 2.pin driver") == near(20.0, 25.0, 40.0)
    assert found.states == {"line 2.mosfet": True, "line 2.mosfet off": False}


def test_a_bridge_that_is_less_when_hot() -> None:
    """From -0.1 % a kelvin over 300 K, 0.8 ohm may become 0.56 ohm; its highest is the cold one's."""
    negative = 'bridge_resistance = "0.8 ohm .. 1.0 ohm .. 1.3 ohm"\ntemperature_coefficient = "-0.001 / K"\n'
    negative += 'function_temperature = "320 degC"\nreference_temperature = "20 degC"'
    one = parse_circuit(text().replace('bridge_resistance = "0.8 ohm .. 1.0 ohm .. 1.3 ohm"', negative), "hot.toml")
    assert ends(healthy(one, situation("armed")), "line.igniter 1.1") == near(0.56, 1.0, 1.3)


def test_a_pin_that_pulls_up_may_be_low() -> None:
    """Its path is then its output resistance, at any time 20 to 40 ohm, beside a clamp of 10 ohm from 1 mV on."""
    found = healthy(circuit(second='second = { drain_pull_up = "100 kohm" }'), situation("armed"))
    assert ends(found, "line.pull-up clamp voltage")[0] == 1e-3
    assert ends(found, "line.pull-up clamp resistance") == near(10.0, 10.0, 40.0)


def test_loads_are_sure_while_firing_alone() -> None:
    """They load the battery then at least as given; while nobody commands they may also be off."""
    load = '[[load]]\nname = "radio"\ncurrent = "80 mA .. 100 mA .. 120 mA"\n[controller]'
    one = parse_circuit(text().replace("[controller]", load, 1), "load.toml")
    fired = healthy(one, situation("firing", commanded=frozenset({"line"})))
    name = next(key for key in fired.box if key.startswith("load"))
    assert ends(fired, name) == near(0.08, 0.1, 0.12)
    assert ends(healthy(one, situation("armed")), name) == near(0.0, 0.1, 0.12)
