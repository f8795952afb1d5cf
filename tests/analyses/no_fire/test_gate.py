"""What holds the gate in each phase, by hand, at every corner; and what the MOSFET then passes."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import pytest

from ignition.analyses.no_fire.gate import ControllerState, controller_rail, driven_gate_voltage, gate_in_phase
from ignition.analyses.verdict import check
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.toleranced import Toleranced
from tests.circuit.edits import CUTTER, DEMO, edited
from tests.circuit.sound import SOUND

Published = Callable[[str], dict[str, Any]]

PULL_UP = (
    'output_resistance = "0 ohm"',
    'output_resistance = "0 ohm"\nreset_pull_up = "30 kohm .. 45 kohm .. 60 kohm"',
)


def cutter(*swaps: tuple[str, str]) -> Circuit:
    """The cutter with edits."""
    return parse_circuit(edited(CUTTER, *swaps))


def findings(circuit: Circuit, rule: str) -> dict[str | None, str]:
    """Verdict of a rule by phase."""
    return {f.phase: f.verdict for f in check(circuit).findings if f.rule == rule}


def test_reset_voltage_is_the_divider_at_its_corners() -> None:
    """Vdd Rpd / (Rpu + Rs + Rpd) with leakage over the parallel resistance, low and high over all corners."""
    circuit = cutter(
        PULL_UP,
        ('supply = "3.0 V"', 'supply = "3.0 V ± 2 %"'),
        ('leakage = "0 A"\n\n[controller.adc]', 'leakage = "1 uA"\n\n[controller.adc]'),
        ('pull_down = "10 kohm"', 'pull_down = "10 kohm ± 5 %"'),
    )
    leak = 1e-6 + 100e-9  # pin, and the assumed gate leakage
    every = [
        v * d / (u + 100.0 + d) + i * (u + 100.0) * d / (u + 100.0 + d)
        for v, u, d, i in itertools.product((2.94, 3.06), (30e3, 60e3), (9.5e3, 10.5e3), (-leak, leak))
    ]
    found = gate_in_phase(circuit, circuit.channels[0], "reset").gate_voltage
    assert (found.low, found.high) == (pytest.approx(min(every), rel=1e-12), pytest.approx(max(every), rel=1e-12))


def test_a_pin_driven_low_leaves_only_leakage() -> None:
    """Armed: leakage over output plus series resistance parallel to the pull-down."""
    circuit = cutter(('leakage = "0 A"\n\n[controller.adc]', 'leakage = "1 uA"\n\n[controller.adc]'))
    found = gate_in_phase(circuit, circuit.channels[0], "armed").gate_voltage
    assert found.high == pytest.approx(1.1e-6 * 100.0 * 10e3 / 10.1e3, rel=1e-12) and found.low == -found.high


def test_drive_divides_by_series_and_pull_down() -> None:
    """Driven high: 3.0 V x 10 k / 10.1 k, less leakage."""
    circuit = cutter()
    found = driven_gate_voltage(circuit, circuit.channels[0], Toleranced.exact(3.0, "V"))
    assert found.nominal == pytest.approx(3.0 * 10e3 / 10.1e3, rel=1e-12)


@pytest.mark.parametrize("pull_up", [True, False])
def test_no_pull_down_is_the_whole_rail(pull_up: bool) -> None:
    """Without a pull-down the gate in reset may stand at the rail, pulled up or floating: FAIL, whatever the threshold."""
    circuit = cutter((', pull_down = "10 kohm"', ""), *([PULL_UP] if pull_up else []))
    assert gate_in_phase(circuit, circuit.channels[0], "reset").gate_voltage.high == pytest.approx(3.0, rel=1e-5)
    assert findings(circuit, "gate-held-off")["reset"] == "FAIL"
    assert findings(circuit, "below-no-fire")["reset"] == "FAIL"


def test_a_dead_controller_without_pull_down_holds_nothing() -> None:
    """Powered after the arm switch and without a pull-down nothing holds the gate while disarmed: no PASS at 0 V."""
    circuit = cutter((', pull_down = "10 kohm"', ""), ("before arm switch", "after arm switch"))
    assert gate_in_phase(circuit, circuit.channels[0], "disarmed").gate_voltage.high == pytest.approx(3.0)
    assert findings(circuit, "gate-held-off")["disarmed"] == "FAIL"


def test_a_dead_controller_with_pull_down_is_held() -> None:
    """Powered after the arm switch: while disarmed the rail is zero and only leakage over the pull-down is left."""
    circuit = cutter(("before arm switch", "after arm switch"))
    assert controller_rail(circuit, "disarmed").high == 0.0
    assert gate_in_phase(circuit, circuit.channels[0], "disarmed").gate_voltage.high == pytest.approx(100e-9 * 10e3)


@pytest.mark.parametrize(
    ("ambient", "lowest"),
    [
        ("10 degC .. 60 degC", 0.8 - 6e-3 * 35.0),  # hot: the steepest drift takes most away
        ("-20 degC .. 5 degC", 0.8 + 2e-3 * 20.0),  # cold all along: the flattest drift adds least
    ],
)
def test_lowest_threshold_takes_the_worse_drift(ambient: str, lowest: float) -> None:
    """Which end of the drift's range is the worse one depends on the side of 25 degC."""
    circuit = cutter(('temperature = "20 degC"', f'temperature = "{ambient}"'))
    assert circuit.mosfets["low_side"].threshold_drift.low == -6e-3  # the assumed range
    found = gate_in_phase(circuit, circuit.channels[0], "reset").lowest_threshold
    assert found == pytest.approx(lowest, rel=1e-12)


def test_a_hot_day_turns_a_pass_into_a_fail() -> None:
    """0.598 V in reset is below the threshold at 25 degC and above it at 70 degC."""
    swaps = (PULL_UP, ("30 kohm .. 45 kohm .. 60 kohm", "40 kohm"), ("0.8 V .. 1.2 V", "0.7 V .. 1.2 V"))
    cool, hot = cutter(*swaps), cutter(*swaps, ('temperature = "20 degC"', 'temperature = "20 degC .. 70 degC"'))
    assert findings(cool, "gate-held-off")["reset"] == "PASS"
    assert findings(hot, "gate-held-off")["reset"] == "UNKNOWN"  # by the assumed drift: 2 mV/K would do
    drift = ("on_resistance_hot_factor", 'threshold_drift = "-6 mV/K"\non_resistance_hot_factor')
    assert findings(cutter(*swaps, drift, ('"20 degC"', '"20 degC .. 70 degC"')), "gate-held-off")["reset"] == "FAIL"


@pytest.mark.parametrize("pull_down", ["", 'reset_pull_down = "40 kohm"'], ids=["none given", "given"])
def test_a_pin_in_reset_of_which_nothing_is_known(pull_down: str) -> None:
    """Left out, the pull-up may be a driver that is high, whatever pulls the pin down beside it: UNKNOWN, by that key."""
    one = parse_circuit(edited(SOUND, ('reset_pull_up = "none"', pull_down)), "reset.toml")
    found = [f for f in check(one).findings if f.rule == "below-no-fire" and f.phase == "reset"]
    assert [f.verdict for f in found] == ["UNKNOWN"] and found[0].value is not None
    assert found[0].value > 5.0 and found[0].keys == ("controller.pin.reset_pull_up",)
    assert "controller.pin.reset_pull_up" in [assumption.key for assumption in one.assumptions]
    held = parse_circuit(edited(SOUND, ('reset_pull_up = "none"', f'reset_pull_up = "none"\n{pull_down}')), "held.toml")
    found = [f for f in check(held).findings if f.rule == "below-no-fire" and f.phase == "reset"]
    assert [f.verdict for f in found] == ["PASS"]


def test_conduction_above_threshold_by_hand() -> None:
    """The current bound is the square law with K from the lowest row, and 1 mA at threshold; nothing else leaks here."""
    circuit = cutter(PULL_UP, ('pull_down = "10 kohm"', 'pull_down = "30 kohm"'), ("20 degC", "25 degC"))
    state = gate_in_phase(circuit, circuit.channels[0], "reset")
    gain = 1.0 / (0.015 * (2.5 - 1.2))
    expected = 0.5 * gain * (state.gate_voltage.high - 0.8) ** 2 + 1e-3
    assert state.gate_voltage.high > 0.8 and state.off_current.high == pytest.approx(expected, rel=1e-9)


def test_conduction_below_threshold_by_hand() -> None:
    """Below the threshold, where 1 mA flows at most, it falls tenfold for each 150 mV at most."""
    circuit = cutter(PULL_UP, ("20 degC", "25 degC"))
    state = gate_in_phase(circuit, circuit.channels[0], "reset")
    assert state.gate_voltage.high < 0.8
    assert state.off_current.high == pytest.approx(1e-3 * 10.0 ** ((state.gate_voltage.high - 0.8) / 0.150), rel=1e-9)


def test_hot_leakage_is_in_the_off_current() -> None:
    """The leakage at the hottest ambient counts: 500 nA at 25 degC to 80 uA at 150 degC, at 35 degC."""
    circuit = parse_circuit(DEMO)
    state = gate_in_phase(circuit, circuit.channels[0], "armed")
    assert state.off_current.high == pytest.approx(500e-9 * 160.0 ** (10.0 / 125.0), rel=1e-3)


def test_rail_sags_with_the_other_loads() -> None:
    """The rail's low bound is battery less loads over resistance, less dropout; after the arm switch also the feed's."""
    swaps = (
        ('supply = "3.0 V"', 'supply = "5.9 V"\ncurrent = "0.5 A .. 1 A .. 2 A"\ndropout = "0.2 V .. 0.3 V .. 0.4 V"'),
    )
    before = controller_rail(cutter(*swaps), "reset")
    sensed = 6.8 / 99e3 + 1e-6  # what the divider and the converter may draw beside the loads; the MOSFET none here
    assert before.low == pytest.approx(6.0 - (2.0 + sensed) * 0.150 - 0.4, rel=1e-7) and before.high == 5.9
    after = controller_rail(cutter(*swaps, ("before arm switch", "after arm switch")), "reset")
    assert after.low == pytest.approx(6.0 - (2.0 + sensed) * 0.190 - 0.4, rel=1e-7)


@pytest.mark.parametrize("which", range(6))
def test_published_pull_ups_in_reset(which: int, published: Published) -> None:
    """VDD R_pd / (R_pd + R_pu) with the least pull-up of six controllers and a pull-down of 10 kohm."""
    table = published("hold_off.reset_pull_up")
    volts, pull_up = table["supply"][which], table["pull_up"][which]
    found = in_phase("reset", supply=volts, pull_up=f"{pull_up} ohm", pull_down=f"{table['pull_down']} ohm")
    assert found.high == pytest.approx(table["value"][which], abs=table["abs_tol"])


@pytest.mark.parametrize("which", range(2))
def test_published_gate_leakage(which: int, published: Published) -> None:
    """10 uA over 100 kohm is the whole threshold of 1 V: a gate with a protection diode is not held by it."""
    table = published("hold_off.gate_leakage")
    leakage = f"{table['leakage'][which]} A"
    found = in_phase("armed", supply=0.0, leakage=leakage, pull_down=f"{table['pull_down']} ohm", controller="dead")
    assert found.high == pytest.approx(table["value"][which], abs=1e-6)


def in_phase(
    phase: str,
    *,
    supply: float,
    pull_up: str = "none",
    pull_down: str,
    leakage: str = "0 A",
    controller: ControllerState = "alive",
) -> Toleranced:
    """Gate voltage of the sound circuit with exact values of its own, nothing else leaking."""
    one = parse_circuit(
        edited(
            SOUND,
            ('supply = "3.3 V"', f'supply = "{supply or 3.3} V"'),
            ('leakage = "1 uA"\nreset_pull_up = "none"', f'leakage = "0 A"\nreset_pull_up = "{pull_up}"'),
            ('gate_leakage = "100 nA"', f'gate_leakage = "{leakage}"'),
            ('series = "100 ohm", pull_down = "10 kohm"', f'series = "0 ohm", pull_down = "{pull_down}"'),
        )
    )
    return gate_in_phase(one, one.channels[0], phase, controller).gate_voltage
