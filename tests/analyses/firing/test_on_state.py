"""On-resistance between the points of a data sheet: rows by gate voltage, temperature both ways, heating while on."""

from __future__ import annotations

import math

import pytest

from ignition.analyses.firing.on_state import OnState, heating, on_states
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from tests.circuit.edits import OPENS, edited

ROWS = 'on_resistance = [{ gate = "2.5 V", resistance = "15 mohm .. 20 mohm .. 30 mohm" }]'
THREE = """on_resistance = [
  { gate = "2.0 V", resistance = "30 mohm .. 40 mohm .. 60 mohm" },
  { gate = "2.9 V", resistance = "18 mohm .. 22 mohm .. 26 mohm" },
  { gate = "4.5 V", resistance = "9 mohm .. 10 mohm .. 12 mohm" },
]"""

AT_ONCE = 'input_capacitance = "1 pF"\ngate_drain_charge = "1 fC"'
"""A gate that charges in 0.3 ns."""


def circuit(*swaps: tuple[str, str]) -> Circuit:
    """The cutter with its MOSFET's rows and more changed."""
    return parse_circuit(edited(OPENS, *swaps))


def state(*swaps: tuple[str, str]) -> OnState:
    """On-state of the cutter's channel."""
    return on_states(circuit(*swaps), frozenset({"cutter"}))[0]["cutter"]


def bounds(found: OnState) -> list[float]:
    """Low, nominal and high on-resistance [ohm]."""
    return [found.on_resistance.low, found.on_resistance.nominal, found.on_resistance.high]


@pytest.mark.parametrize(
    ("supply", "low", "nominal", "high"),
    [
        ("2.0 V", 0.030, 0.040, 0.060),  # at a row: that row alone
        ("2.5 V", 0.018, 0.040, 0.060),  # between two rows: not below the one above, not above the one below
        ("2.9 V", 0.018, 0.022, 0.026),
        ("3.0 V", 0.009, 0.022, 0.026),
        ("2.5 V .. 2.95 V .. 3.4 V", 0.009, 0.022, 0.060),
        ("4.5 V", 0.009, 0.010, 0.012),
        ("5.0 V", 0.009, 0.010, 0.012),  # above the highest row: no lower than it says
    ],
)
def test_rows_bound_the_resistance_from_both_sides(supply: str, low: float, nominal: float, high: float) -> None:
    """A gate voltage between two rows has an on-resistance between theirs; the extremes over all gate voltages count."""
    made = circuit(
        (ROWS, THREE),
        ('supply = "3.0 V"', f'supply = "{supply}"\ndropout = "0 V"'),
        ('series = "100 ohm"', 'series = "0 ohm"'),
    )
    found = on_states(made, frozenset({"cutter"}))[0]["cutter"]
    assert found.gate_voltage.high == pytest.approx(made.controller.supply.high, rel=1e-12)
    assert bounds(found) == pytest.approx([low, nominal, high], rel=1e-12)


def test_a_row_at_the_gate_voltage_itself_is_assumed_for_more() -> None:
    """Only where the supply exceeds the highest row is it said that no lower resistance is assumed."""
    for supply, said in (("2.5 V", False), ("2.6 V", True)):
        made = circuit(('supply = "3.0 V"', f'supply = "{supply}"'))
        told = [a for a in made.assumptions if a.key == "mosfet.low_side.on_resistance"]
        assert bool(told) is said and all(a.direction == "fire" and "2.5 V" in a.value for a in told)


@pytest.mark.parametrize(
    ("ambient", "low", "high"),
    [
        ("25 degC", 1.0, 1.8),
        ("-20 degC", 1.0 - 0.8 * 45 / 125, 1.8),
        ("60 degC", 1.0, 1.8),  # the straight line lies above the curve between 25 and 150 degC
        ("-20 degC .. 25 degC .. 60 degC", 1.0 - 0.8 * 45 / 125, 1.8),
    ],
)
def test_temperature_without_a_thermal_network(ambient: str, low: float, high: float) -> None:
    """Low by the straight line in the cold, never above 25 degC's; high at the highest junction where heating is unknown."""
    found = state(
        ("on_resistance_hot_factor = 1.0", "on_resistance_hot_factor = 1.8"),
        ('temperature = "20 degC"', f'temperature = "{ambient}"'),
        ('resistance_temperature = "20 degC"', 'resistance_temperature = "ambient"'),
    )
    assert [found.on_resistance.low, found.on_resistance.high] == pytest.approx([0.015 * low, 0.030 * high], rel=1e-12)


def test_the_cold_does_not_lower_the_high_bound() -> None:
    """A switch that stays cold has no more than its value at 25 degC, not the straight line's less."""
    found = state(
        ("on_resistance_hot_factor = 1.0", "on_resistance_hot_factor = 1.8"),
        ('temperature = "20 degC"', 'temperature = "-20 degC"'),
        ('resistance_temperature = "20 degC"', 'resistance_temperature = "ambient"'),
        (
            'max_junction = "150 degC"',
            f'max_junction = "150 degC"\n{AT_ONCE}\nthermal = [{{ resistance = "0.001 K/W", time_constant = "1 s" }}]',
        ),
    )
    assert found.on_resistance.high == pytest.approx(0.030, rel=1e-12)


THERMAL = f'max_junction = "150 degC"\n{AT_ONCE}\nthermal = [{{ resistance = "20 K/W .. 30 K/W .. 40 K/W", time_constant = "0.5 s .. 1 s .. 2 s" }}]'


def test_heating_takes_the_end_that_heats_most() -> None:
    """Rise by a single stage: P R (1 - exp(-t/tau)), a large resistance and a short time constant high."""
    mosfet = circuit(('max_junction = "150 degC"', THERMAL)).mosfets["low_side"]
    for case, ohms, tau in (("low", 20.0, 2.0), ("nominal", 30.0, 1.0), ("high", 40.0, 0.5)):
        by_hand = 5.0**2 * 0.02 * ohms * -math.expm1(-0.7 / tau)
        assert heating(mosfet, 5.0, 0.02, 0.7, case) == pytest.approx(by_hand, rel=1e-12)  # type: ignore[arg-type]


@pytest.mark.parametrize("spent", ["open", "short"])
def test_heating_while_on_by_hand(spent: str) -> None:
    """R = R25 (1 + 0.8 (T - 25)/125) with T = Ta + I^2 R Z at the highest current, spent bridges included."""
    swaps = (
        ("on_resistance_hot_factor = 1.0", "on_resistance_hot_factor = 1.8"),
        ('max_junction = "150 degC"', THERMAL),
        ('temperature = "20 degC"', 'temperature = "35 degC"'),
        ('spent = "open"', f'spent = "{spent}"'),
        ('wire = "AWG 22", distance = "1.5 m"', 'resistance = "1 ohm"'),
        ('resistance_temperature = "20 degC"', 'resistance_temperature = "ambient"'),
    )
    rest = 0.050 + 0.010 + 1.0 + 0.020 + 0.015 + (1.2 if spent == "open" else 1e-6)
    impedance = 40.0 * -math.expm1(-2.0 / 0.5)
    power_per_ohm = (6.8 / rest) ** 2
    # R = r (1 + k (Ta - 25 + p R Z)), solved for R
    k, r = 0.8 / 125, 0.030
    expected = r * (1 + k * 10.0) / (1 - r * k * power_per_ohm * impedance)
    assert state(*swaps).on_resistance.high == pytest.approx(expected, rel=1e-4)


def test_channels_that_share_a_battery_heat_each_by_its_own_current() -> None:
    """A second channel sags the battery; the first's junction is still heated by what it carries while the second is off."""
    one = edited(
        OPENS,
        ("on_resistance_hot_factor = 1.0", "on_resistance_hot_factor = 1.8"),
        ('max_junction = "150 degC"', THERMAL),
        ("50 mohm .. 80 mohm .. 150 mohm", "500 mohm .. 500 mohm .. 500 mohm"),
    )
    two = one + "\n" + one[one.index("[[channel]]") :].replace('name = "cutter"', 'name = "second"', 1)
    alone = on_states(parse_circuit(one), frozenset({"cutter"}))[0]["cutter"]
    together = on_states(parse_circuit(two), frozenset({"cutter", "second"}))[0]["cutter"]
    assert together.on_resistance.high == pytest.approx(alone.on_resistance.high, rel=1e-6)
