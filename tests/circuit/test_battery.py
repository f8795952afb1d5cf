"""The battery's table made complete: temperature of a resistance, cells, voltage, assumptions, wrong inputs."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pydantic import ValidationError

from ignition.circuit.assumptions import Ledger
from ignition.circuit.battery import complete_battery
from ignition.circuit.feed_description import Battery
from ignition.circuit.model import Assumption, BatteryModel
from ignition.errors import InputError
from ignition.toleranced import Toleranced, parse_toleranced

FIELD = "-10 degC .. 20 degC .. 50 degC"
PACK = {
    "open_circuit_voltage": "7 V .. 7.4 V .. 8.4 V",
    "resistance": "40 mohm .. 60 mohm .. 100 mohm",
    "polarisation": "none",
}
READ = {"readings": {"open": "8.0 V", "loaded": "7.5 V", "load": "3 ohm"}}
CELLS = {"chemistry": "lithium-ion", "cells_in_series": 3, "cell_resistance": "20 mohm .. 30 mohm .. 50 mohm"}


def completed(table: dict[str, Any], ambient: str = FIELD) -> tuple[BatteryModel, dict[tuple[str, str], Assumption]]:
    """The battery, and its assumptions by key and direction."""
    ledger = Ledger(judged=True)
    made = complete_battery(Battery.model_validate(table), parse_toleranced(ambient, "degC"), ledger)
    return made, {(a.key, a.direction): a for a in ledger.assumptions}


def factor(energy: float, temperature: float, reference: float) -> float:
    """exp(E/R (1/T - 1/Tref)), by hand."""
    return math.exp(energy / 8.31446261815324 * (1 / (temperature + 273.15) - 1 / (reference + 273.15)))


def bounds(value: Toleranced) -> list[float]:
    """Low, nominal, high."""
    return [value.low, value.nominal, value.high]


@pytest.mark.parametrize("chemistry", [{}, {"chemistry": "lithium-ion"}, {"chemistry": "lead-acid"}])
def test_pack_resistance_may_be_stated_anywhere(chemistry: dict[str, str]) -> None:
    """Without its temperature it may have been stated at either end, for the other one; nominal as it stands."""
    made, said = completed(PACK | chemistry)
    expected = [0.040 * factor(31e3, 50.0, -10.0), 0.060, 0.100 * factor(31e3, -10.0, 50.0)]
    assert bounds(made.resistance) == pytest.approx(expected, rel=1e-12)
    for direction in ("safe", "fire"):
        told = said["battery.resistance_temperature", direction]
        assert told.value == "any of -10 to 50 degC; over the ambient range 0.072 to 13.9 times as much"
        assert ("unknown chemistry" in told.basis) is (not chemistry)


def test_pack_resistance_scales_from_its_temperature() -> None:
    """With its temperature it is scaled from there, and nothing is assumed; nominal by the law of the chemistry."""
    made, said = completed(PACK | {"chemistry": "alkaline", "resistance_temperature": "25 degC"})
    nominal = 0.060 * (0.15 / 0.1) ** ((1 / 293.15 - 1 / 298.15) / (1 / 293.15 - 1 / 313.15))
    expected = [0.040 * factor(25.5e3, 50.0, 25.0), nominal, 0.100 * factor(25.5e3, -10.0, 25.0)]
    assert bounds(made.resistance) == pytest.approx(expected, rel=1e-12)
    assert set(said) == {("battery.protection", "fire")}


def test_room_temperature_is_always_plausible() -> None:
    """On a day of -10 to 0 degC the resistance may have been measured at 20 degC, indoors."""
    made, said = completed(PACK | {"chemistry": "alkaline"}, "-10 degC .. 0 degC")
    assert made.resistance.high == pytest.approx(0.100 * factor(25.5e3, -10.0, 20.0), rel=1e-12)
    assert said["battery.resistance_temperature", "fire"].value.startswith("any of -10 to 20 degC")


def test_a_temperature_with_tolerance_widens() -> None:
    """A resistance read somewhere between 15 and 25 degC holds both."""
    made, _ = completed(PACK | {"chemistry": "lithium-ion", "resistance_temperature": "20 degC ± 5 K"})
    assert made.resistance.low == pytest.approx(0.040 * factor(31e3, 50.0, 15.0), rel=1e-12)
    assert made.resistance.high == pytest.approx(0.100 * factor(31e3, -10.0, 25.0), rel=1e-12)


@pytest.mark.parametrize(
    ("table", "ambient"),
    [
        (PACK | {"resistance_temperature": "20 degC", "chemistry": "alkaline"}, "20 degC"),
        (PACK | {"resistance_temperature": "ambient"}, FIELD),
    ],
)
def test_nothing_changes_at_the_stated_temperature(table: dict[str, str], ambient: str) -> None:
    """One exact ambient that is the temperature stated, or a statement for the whole range: as it is written, exactly."""
    made, said = completed(table, ambient)
    assert bounds(made.resistance) == [0.040, 0.060, 0.100] and made.resistance.unit == "ohm"
    assert ("battery.resistance_temperature", "fire") not in said


def test_one_exact_ambient_elsewhere_scales() -> None:
    """An exact ambient of -10 degC with a resistance of 20 degC is scaled, low and high each the careful way."""
    made, _ = completed(PACK | {"chemistry": "lithium-ion", "resistance_temperature": "20 degC"}, "-10 degC")
    assert made.resistance.low == pytest.approx(0.040 * factor(-9e3, -10.0, 20.0), rel=1e-12)
    assert made.resistance.high == pytest.approx(0.100 * factor(31e3, -10.0, 20.0), rel=1e-12)


def test_readings_have_their_temperature() -> None:
    """R = load (open/loaded - 1) = 0.2 ohm at the temperature of the readings, else at the worse end, which is said."""
    given = {"readings": READ["readings"] | {"temperature": "5 degC"}, "chemistry": "lithium-ion"}
    made, said = completed(given)
    assert made.resistance.high == pytest.approx(0.2 * factor(31e3, -10.0, 5.0), rel=1e-12)
    assert made.resistance.low == pytest.approx(0.2 * factor(31e3, 50.0, 5.0), rel=1e-12)
    assert set(said) == {(f"battery.{key}", "fire") for key in ("readings", "polarisation", "protection")}
    made, said = completed(READ)
    assert bounds(made.resistance) == pytest.approx(
        [0.2 * factor(31e3, 50.0, -10.0), 0.2, 0.2 * factor(31e3, -10.0, 50.0)], rel=1e-12
    )
    assert {("battery.readings.temperature", "safe"), ("battery.readings.temperature", "fire")} <= set(said)


def test_readings_bound_the_resistance() -> None:
    """It rises with the open reading and the load, and falls with the loaded reading; the corners are by hand."""
    readings = {
        "open": "7.9 V .. 8.0 V .. 8.2 V",
        "loaded": "7.2 V .. 7.5 V .. 7.6 V",
        "load": "2.9 ohm .. 3 ohm .. 3.2 ohm",
    }
    made, said = completed({"readings": readings | {"temperature": "20 degC"}}, "20 degC")
    expected = [2.9 * (7.9 / 7.6 - 1), 3.0 * (8.0 / 7.5 - 1), 3.2 * (8.2 / 7.2 - 1)]
    assert bounds(made.resistance) == pytest.approx(expected, rel=1e-12) and ("battery.readings", "fire") not in said
    for exact in ({"open": "8 V"}, {"loaded": "7.5 V"}):  # one of two readings has its meter's error
        assert ("battery.readings", "fire") not in completed({"readings": readings | exact})[1]


@pytest.mark.parametrize(
    ("capacity", "cell"),
    [
        ({}, (0.0, 0.15, 0.30)),
        ({"capacity": "0.4 Ah .. 0.5 Ah .. 0.6 Ah"}, (0.0, 0.05, 0.15)),
        ({"capacity": "0.4 Ah .. 0.49 Ah .. 0.6 Ah"}, (0.0, 0.15, 0.30)),
    ],
)
def test_cells_that_nobody_measured(capacity: dict[str, str], cell: tuple[float, float, float]) -> None:
    """The default of a lithium-ion cell by its nominal capacity, 0 to the highest of the range, and that is said."""
    table = {"chemistry": "lithium-ion", "cells_in_series": 2, "cells_in_parallel": 1} | capacity
    made, said = completed(table, "25 degC")
    assert bounds(made.resistance) == pytest.approx([2 * ohms for ohms in cell], rel=1e-12)
    assert "per cell at 25 degC" in said["battery.cell_resistance", "fire"].value


def test_cells_are_stated_at_a_temperature() -> None:
    """Three in series, two in parallel: 1.5 times a cell's resistance, from where it is stated."""
    made, said = completed(CELLS | {"cells_in_parallel": 2, "resistance_temperature": "25 degC"})
    assert made.resistance.high == pytest.approx(1.5 * 0.050 * factor(31e3, -10.0, 25.0), rel=1e-12)
    assert made.resistance.nominal == pytest.approx(1.5 * 0.030 * factor(20e3, 20.0, 25.0), rel=1e-12)
    assert ("battery.resistance_temperature", "fire") not in said
    moved, _ = completed(CELLS | {"cells_in_parallel": 2, "resistance_temperature": "10 degC"})
    assert moved.resistance.high == pytest.approx(1.5 * 0.050 * factor(31e3, -10.0, 10.0), rel=1e-12)


@pytest.mark.parametrize(
    "table",
    [
        {"open_circuit_voltage": "9 V", "cell_resistance": "30 mohm", "cells_in_series": 6, "cells_in_parallel": 1},
        CELLS | {"cells_in_parallel": 1, "cell_resistance": "60 mohm"},
    ],
)
def test_a_cell_resistance_without_temperature_is_taken_as_a_packs_is(table: dict[str, Any]) -> None:
    """0.18 ohm of six or three cells, stated anywhere, for the other end; of a known chemistry too, and that is said."""
    made, said = completed(table)
    assert made.resistance.high == pytest.approx(0.180 * factor(31e3, -10.0, 50.0), rel=1e-12)
    assert ("battery.resistance_temperature", "fire") in said


def test_parallel_cells_left_out() -> None:
    """One in parallel for firing, any number for an accident: resistance down to zero, said both ways."""
    made, said = completed(CELLS)
    one, _ = completed(CELLS | {"cells_in_parallel": 1})
    assert bounds(made.resistance) == [0.0, one.resistance.nominal, one.resistance.high]
    assert said["battery.cells_in_parallel", "fire"].value == "one"
    assert "down to 0 ohm" in said["battery.cells_in_parallel", "safe"].value
    assert ("battery.cells_in_parallel", "fire") not in completed(PACK)[1], "no cells are counted for a pack"


def test_parallel_cells_raise_the_capacity() -> None:
    """Capacity is of one cell of those in parallel; one where they are left out."""
    for extra, coulombs in (({}, 3600.0), ({"cells_in_parallel": 3}, 10800.0)):
        capacity = completed(CELLS | {"capacity": "1 Ah"} | extra)[0].capacity
        assert capacity is not None and capacity.nominal == pytest.approx(coulombs)


def test_the_slow_drop_follows_the_resistance() -> None:
    """The polarisation resistance is scaled as the resistance is."""
    slow = {"polarisation": {"resistance": "20 mohm", "time_constant": "1 s"}}
    made = completed(PACK | slow | {"resistance_temperature": "20 degC"})[0]
    assert made.polarisation_resistance is not None
    assert made.polarisation_resistance.high == pytest.approx(0.020 * factor(31e3, -10.0, 20.0), rel=1e-12)
    assert made.slow_resistance == made.polarisation_resistance.high
    still = completed(PACK | slow | {"resistance_temperature": "ambient"})[0].polarisation_resistance
    assert still is not None and bounds(still) == [0.020] * 3


def test_a_slow_drop_that_is_not_given_is_as_much_again() -> None:
    """Left out it is up to the highest resistance, and that is said; 'none' is taken at its word."""
    ambient = {"resistance_temperature": "ambient"}
    left_out, said = completed({k: v for k, v in (PACK | ambient).items() if k != "polarisation"})
    assert left_out.slow_resistance == left_out.resistance.high == 0.100
    assert left_out.polarisation_resistance is None and ("battery.polarisation", "fire") in said
    room = parse_toleranced("20 degC", "degC")
    shown = complete_battery(Battery.model_validate(PACK | {"polarisation": None}), room, Ledger())
    assert shown.slow_resistance == 0.0, "the numbers that no verdict rests on"
    none, said = completed(PACK | ambient)
    assert none.slow_resistance == 0.0 and ("battery.polarisation", "fire") not in said


@pytest.mark.parametrize(
    ("charge", "high", "word"),
    [
        ("40 % .. 70 % .. 100 %", 3 * 4.25, "just off the charger"),
        ("40 % .. 70 % .. 80 %", 3 * (4.0421 + 0.13), "rested"),
    ],
)
def test_voltage_of_cells(charge: str, high: float, word: str) -> None:
    """A full battery is just off its charger, one that is not has rested; the assumption says which, and its basis."""
    made, said = completed(CELLS | {"state_of_charge": charge})
    # Chen et al. at 40 and 70 % charge; 0.10 V below for other makes
    assert bounds(made.voltage) == pytest.approx([3 * (3.667 - 0.10), 3 * 3.9479, high], rel=1e-12)
    told = said["battery.open_circuit_voltage", "safe"]
    assert word in told.value and "4.20 V, charger +-0.05 V" in told.basis


def test_a_given_voltage_is_what_it_says() -> None:
    """No chemistry touches an open-circuit voltage or a reading."""
    assert bounds(completed(PACK | {"chemistry": "lithium-ion"})[0].voltage) == [7.0, 7.4, 8.4]
    assert bounds(completed(READ | {"chemistry": "lead-acid"})[0].voltage) == [8.0] * 3


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ({"chemistry": "lithium-ion"}, "chemistry gives the voltage of one cell: give cells_in_series"),
        (
            {"chemistry": "lithium-ion", "open_circuit_voltage": "7.4 V"},
            "chemistry gives the resistance of one cell: give cells_in_series",
        ),
        (
            {"open_circuit_voltage": "7.4 V", "cell_resistance": "30 mohm"},
            "cell_resistance is that of one cell: give cells_in_series",
        ),
        (PACK | {"resistance_temperature": "room"}, "is 'ambient' or a temperature such as '20 degC'; received 'room'"),
        (PACK | {"resistance_temperature": "20"}, "has no unit"),
        (PACK | {"resistance_temperature": 20}, "a bare number has no unit"),
        (PACK | {"resistance_temperature": "-300 degC"}, "must be above -273"),
        (READ | {"resistance_temperature": "20 degC"}, "temperature of readings as readings = "),
        (
            {"chemistry": "lithium-ion", "cells_in_series": 2, "resistance_temperature": "20 degC"},
            "resistance_temperature belongs to resistance or cell_resistance",
        ),
        ({"readings": READ["readings"] | {"temperature": "5 V"}}, "is no unit of temperature"),
        (CELLS | {"cells_in_parallel": 0}, "greater than or equal to 1"),
    ],
)
def test_wrong_tables(table: dict[str, Any], says: str) -> None:
    """What contradicts itself, or counts no cells, is refused with what to write."""
    with pytest.raises(ValidationError) as caught:
        Battery.model_validate(table)
    assert says in str(caught.value)


@pytest.mark.parametrize(
    "table",
    [PACK, PACK | {"chemistry": "lithium-ion"}, READ, READ | {"chemistry": "alkaline"}],
)
def test_cells_need_not_be_counted(table: dict[str, Any]) -> None:
    """Where voltage and resistance are given, no cells are asked for."""
    assert completed(table)[0].resistance.high > 0.0


@pytest.mark.parametrize(
    ("table", "ambient", "says"),
    [
        ({"open_circuit_voltage": "7.4 V"}, FIELD, "the internal resistance is unknown"),
        (PACK, "-50 degC .. 20 degC", 'write resistance_temperature = "ambient"'),
        (PACK | {"chemistry": "lead-acid"}, "20 degC .. 70 degC", "temperature of a lead-acid cell must be"),
        (
            PACK | {"chemistry": "alkaline", "resistance_temperature": "65 degC"},
            FIELD,
            "temperature of a alkaline cell",
        ),
    ],
)
def test_what_cannot_be_completed(table: dict[str, Any], ambient: str, says: str) -> None:
    """An unknown resistance, and a temperature for which no law is held."""
    with pytest.raises(InputError, match=says):
        completed(table, ambient)


def test_eased_assumptions_take_their_best_value() -> None:
    """For a what-if a missing temperature scales nothing, and a missing number of parallel cells is one."""
    ambient = parse_toleranced(FIELD, "degC")
    ledger = Ledger(lambda key: "safe")
    assert bounds(complete_battery(Battery.model_validate(PACK), ambient, ledger).resistance) == [0.040, 0.060, 0.100]
    given = CELLS | {"cells_in_parallel": 1, "resistance_temperature": "ambient"}
    one = complete_battery(Battery.model_validate(given), ambient, Ledger()).resistance
    assert complete_battery(Battery.model_validate(CELLS), ambient, ledger).resistance == one
