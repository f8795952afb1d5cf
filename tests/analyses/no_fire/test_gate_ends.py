"""Gate, rail and off current of a circuit of which every value has three ends: all three results by hand."""

from __future__ import annotations

import itertools
import math

import pytest

from ignition.analyses.no_fire.gate import (
    controller_rail,
    controller_states,
    driven_gate_voltage,
    gate_in_phase,
    phase_box,
)
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.toleranced import Toleranced
from tests.circuit.edits import edited
from tests.findings.ends import WIDE

LOADS = (
    "[controller]",
    '[[load]]\nname = "radio"\ncurrent = "0.1 A .. 0.2 A .. 0.4 A"\n\n[controller]',
)
BUS = (
    "sense = {",
    'second = { bus_divider = { upper = "50 kohm .. 51 kohm .. 52 kohm", lower = "20 kohm" } }\nsense = {',
)
SAGGING = (
    ('temperature = "-10 degC .. 20 degC .. 40 degC"', 'temperature = "20 degC"'),  # the resistances as they are given
    ("8.0 V .. 8.2 V .. 8.4 V", "3.0 V .. 3.2 V .. 3.4 V"),
    ("40 mohm .. 60 mohm .. 100 mohm", "0.4 ohm .. 0.5 ohm .. 0.7 ohm"),
)
TIED, LOOSE = (
    ("9.5 kohm .. 10 kohm .. 10.5 kohm", "95 kohm .. 100 kohm .. 105 kohm"),
    (
        ', pull_down = "9.5 kohm .. 10 kohm .. 10.5 kohm"',
        "",
    ),
)


def circuit(*swaps: tuple[str, str]) -> Circuit:
    """The wide circuit with edits."""
    return parse_circuit(edited(WIDE, *swaps))


def ends(value: Toleranced) -> tuple[float, float, float]:
    """All three."""
    return value.low, value.nominal, value.high


@pytest.mark.parametrize("where", ["before", "after"])
def test_a_rail_that_sags(where: str) -> None:
    """Battery less what controller, radio and dividers draw over its resistance, and after the arm switch the feed's.

    The feed: 5 and 6 mohm of fuse, 10 and 12 mohm of key, 20 and 50 mohm of switch. A divider draws at most 3.4 V over
    its upper resistor, down to 99 kohm and 50 kohm, and each input of the converter 0.1 uA; the MOSFET leaks, and 1.1 uA
    of leakage over some 140 ohm leave its gate far below the threshold.
    """
    found = controller_rail(circuit(*SAGGING, LOADS, BUS, ("before arm switch", f"{where} arm switch")), "armed")
    feed = (0.0, 0.0) if where == "before" else (5e-3 + 10e-3 + 20e-3, 6e-3 + 12e-3 + 50e-3)
    dividers = 3.4 / 99e3 + 3.4 / 50e3 + 2 * 0.1e-6 + 1e-6
    nominal = 3.2 - (20e-3 + 0.2) * (0.5 + feed[0]) - 0.3
    low = 3.0 - (30e-3 + 0.4 + dividers) * (0.7 + feed[1]) - 0.4
    assert ends(found) == pytest.approx((low, nominal, 3.4 - 0.2), rel=1e-9)


def test_a_rail_that_holds() -> None:
    """8 V are enough: the regulator's own ends. A rail of a given terminal voltage follows that."""
    assert ends(controller_rail(circuit(), "armed")) == (3.2, 3.3, 3.4)
    terminal = Toleranced(low=3.0, nominal=3.2, high=3.3, unit="V")
    assert ends(controller_rail(circuit(), "firing", terminal)) == pytest.approx((2.6, 2.9, 3.1))


def test_a_rail_of_a_dead_controller_and_an_empty_battery() -> None:
    """0 V while disarmed and supplied after the switch, and never less than 0 V."""
    after = ("before arm switch", "after arm switch")
    assert ends(controller_rail(circuit(after), "disarmed")) == (0.0, 0.0, 0.0)
    assert controller_rail(circuit(), "disarmed").high == 3.4
    assert controller_rail(circuit(after), "reset").high == 3.4
    empty = ("8.0 V .. 8.2 V .. 8.4 V", "0.01 V .. 0.1 V .. 3.4 V")
    heavy = (LOADS[0], LOADS[1].replace("0.1 A .. 0.2 A .. 0.4 A", "3 A .. 4 A .. 5 A"))
    found = controller_rail(circuit(empty, heavy, SAGGING[0], ("0.2 V .. 0.3 V .. 0.4 V", "0 V")), "armed")
    assert (found.low, found.nominal) == (0.0, 0.0)


@pytest.mark.parametrize("tied", [TIED, LOOSE], ids=["pull-down", "none"])
def test_a_driven_gate(tied: tuple[str, str]) -> None:
    """The rail over output, series and pull-down resistance, leakage over them in parallel: all corners, and nominal."""
    down = (95e3, 100e3, 105e3) if tied is TIED else (math.inf,) * 3
    leak = 1.1e-6  # of pin and gate, either way
    found = driven_gate_voltage(
        circuit(tied), circuit(tied).channels[0], Toleranced(low=3.0, nominal=3.3, high=3.5, unit="V")
    )

    def law(rail: float, output: float, series: float, lower: float, current: float) -> float:
        share = 1.0 if math.isinf(lower) else lower / (lower + output + series)
        return (rail + current * (output + series)) * share

    corners = [law(*row) for row in itertools.product((3.0, 3.5), (20.0, 40.0), (95.0, 105.0), down, (-leak, leak))]
    middle = law(3.3, 30.0, 100.0, down[1], 0.0)
    assert ends(found) == pytest.approx((min(corners), middle, max(corners)), rel=1e-12)


@pytest.mark.parametrize("pulled", ["80 kohm .. 100 kohm .. 120 kohm", "none", ""], ids=["up", "floating", "unknown"])
def test_a_gate_in_reset(pulled: str) -> None:
    """Pulled up; floating on its pull-down; or driven high where nothing is known of the pin, and floating at best."""
    pull_up = 'reset_pull_up = "80 kohm .. 100 kohm .. 120 kohm"'
    one = circuit(TIED, (pull_up, f'reset_pull_up = "{pulled}"' if pulled else ""))
    found = gate_in_phase(one, one.channels[0], "reset").gate_voltage
    down, leak = (95e3, 105e3), 1.1e-6

    def law(rail: float, up: float, series: float, lower: float, current: float) -> float:
        return (rail / (up + series) + current) / (1.0 / (up + series) + 1.0 / lower)

    ups = {"none": (math.inf,), "": (math.inf,)}.get(pulled, (80e3, 120e3))
    # above the threshold of 0.925 V the MOSFET may be its 10 mohm, cold: 8 V, over battery and the rest of the loop
    sagged = 3.2
    if pulled:
        cold = 10e-3 * (1.0 - 0.6 * 35.0 / 125.0)
        rest = 4e-3 + 9e-3 + 10e-3 + one.channels[0].lead.resistance.low + cold
        behind = one.battery.resistance.high
        sagged = (8.0 - 30e-3 * behind) * rest / (rest + behind) - 0.4
    corners = [law(*row) for row in itertools.product((sagged, 3.4), ups, (95.0, 105.0), down, (-leak, leak))]
    if pulled == "":
        corners += [law(3.4, 20.0, 95.0, lower, leak) for lower in down]
    assert found.low == pytest.approx(min(corners), rel=3e-4)  # a body diode's microamperes lift the drain a little
    assert found.high == pytest.approx(max(corners), rel=1e-9)


def test_leakage_may_lift_a_gate_above_what_the_pin_would_drive() -> None:
    """1.1 uA over 10.5 Mohm would be 11.55 V, the pin floating; its diode holds it at 3.4 V + 0.7 V, driven high it is 3.4 V."""
    one = circuit(
        (TIED[0], "9.5 Mohm .. 10 Mohm .. 10.5 Mohm"), ('reset_pull_up = "80 kohm .. 100 kohm .. 120 kohm"', "")
    )
    assert gate_in_phase(one, one.channels[0], "reset").gate_voltage.high == pytest.approx(4.1 + 1e-6 * 135.0, abs=1e-4)


@pytest.mark.parametrize(("powered", "disarmed"), [("before", ("alive", "dead")), ("after", ("dead",))])
def test_what_a_controller_can_be(powered: str, disarmed: tuple[str, ...]) -> None:
    """Dead in every phase, for want of supply; alive in all but those in which nothing feeds it."""
    one = circuit(("before arm switch", f"{powered} arm switch"))
    assert controller_states(one, "disarmed") == disarmed
    for phase in ("reset", "armed", "firing"):
        assert controller_states(one, phase) == ("alive", "dead")


def test_a_gate_below_the_threshold_in_reset_keeps_its_rail() -> None:
    """Held below the lowest threshold nothing sags the rail: the low bound counts the lowest rail, not none."""
    one = circuit()
    found = gate_in_phase(one, one.channels[0], "reset").gate_voltage
    leak = 1.1e-6
    least = (3.2 / (120e3 + 105.0) - leak) / (1.0 / (120e3 + 105.0) + 1.0 / 9.5e3)
    middle = (3.3 / (100e3 + 100.0)) / (1.0 / (100e3 + 100.0) + 1.0 / 10e3)
    assert (found.low, found.nominal) == pytest.approx((least, middle), rel=1e-6)


def test_a_gate_just_at_the_threshold_sags_the_rail() -> None:
    """At its lowest threshold 1 mA and more flow, over at most 0.1 + 0.068 ohm: the battery holds the rail all the same.

    A line that is a short and a MOSFET that takes 8 V to 5 V or less, over 0.17 ohm at least 18 A, would sag it.
    """
    plain = circuit()
    high = gate_in_phase(plain, plain.channels[0], "reset").gate_voltage.high
    hot = 5e-3 * 15.0  # what the steepest drift takes away at 40 degC
    plain_low = gate_in_phase(plain, plain.channels[0], "reset").gate_voltage.low
    for lowest in (high, high * (1.0 + 1e-9)):
        one = circuit(("1.0 V .. 1.5 V .. 2.0 V", f"{lowest + hot!r} V .. 1.5 V .. 2.0 V"))
        found = gate_in_phase(one, one.channels[0], "reset")
        assert found.lowest_threshold == pytest.approx(lowest, rel=1e-12)
        assert found.gate_voltage.low == pytest.approx(plain_low, rel=1e-9)


def test_loads_may_be_off_while_nothing_fires() -> None:
    """A load draws between nothing and its most while quiet, and what it draws while firing."""
    one = circuit(LOADS)
    assert ends(phase_box(one, "armed")["load.radio"])[0] == 0.0
    assert ends(phase_box(one, "firing")["load.radio"])[0] == 0.1
    # the pin's clamp leads to the rail, or to 0 V where the controller is dead: 0.3 V to 0.7 V above it
    assert ends(phase_box(one, "armed")["line.clamp voltage"]) == pytest.approx((3.5, 3.8, 4.1))
    assert ends(phase_box(one, "armed", controller="dead")["line.clamp voltage"]) == pytest.approx((0.3, 0.5, 0.7))
