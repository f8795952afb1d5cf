"""Battery: published tables, laws of the resistance, defaults, refusals."""

from __future__ import annotations

import dataclasses
import math
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from ignition.errors import InputError
from ignition.parts import battery as b

Published = Callable[[str], dict[str, Any]]


def chen_cell(entry: dict[str, Any]) -> Callable[[float], float]:
    """Cell voltage against graphite stoichiometry, lithium conserved; functions of the published parameter set."""
    held = entry["negative_maximum"] * entry["negative_thickness"] * entry["negative_fraction"]
    ratio = held / (entry["positive_maximum"] * entry["positive_thickness"] * entry["positive_fraction"])
    x1 = entry["negative_concentration"] / entry["negative_maximum"]
    y1 = entry["positive_concentration"] / entry["positive_maximum"]

    def voltage(x: float) -> float:
        y = y1 + (x1 - x) * ratio
        negative = 1.9793 * math.exp(-39.3631 * x) + 0.2482 - 0.0909 * math.tanh(29.8538 * (x - 0.1234))
        negative -= 0.04478 * math.tanh(14.9159 * (x - 0.2769)) + 0.0205 * math.tanh(30.4444 * (x - 0.6103))
        positive = -0.8090 * y + 4.4875 - 0.0428 * math.tanh(18.5138 * (y - 0.5542))
        positive -= 17.7326 * math.tanh(15.7890 * (y - 0.3117)) - 17.5842 * math.tanh(15.9308 * (y - 0.3120))
        return float(positive - negative)

    return voltage


def test_names() -> None:
    """The six names are those of the data file, in its order; aliases and capitals lead to the same entry."""
    assert tuple(b.chemistry(name).name for name in b.CHEMISTRIES) == b.CHEMISTRIES
    held = {entry.name for entry in b._table().values()}
    assert held == set(b.CHEMISTRIES)
    assert b.chemistry("LiFePO4") is b.chemistry(" Lithium-Iron-Phosphate ") is b.chemistry(b.chemistry("LiFePO4"))


@pytest.mark.parametrize(
    ("name", "offer"),
    [("lithium-polymr", "lithium-polymer"), ("nimhh", "nickel-metal-hydride"), ("lead acid", "lead-acid")],
)
def test_unknown_name_offers_the_nearest(name: str, offer: str) -> None:
    """A misspelt name is refused with the list and the nearest."""
    with pytest.raises(InputError, match=rf"one of lithium-polymer, .* received '{name}'; write \"{offer}\""):
        b.open_circuit_voltage(name, 0.5)


@pytest.mark.parametrize("name", ["", "xxxxxxxx", 7])
def test_unknown_name_without_a_neighbour(name: Any) -> None:
    """A name like none of them is refused with the list alone."""
    with pytest.raises(InputError, match=r"write one of these"):
        b.chemistry(name)


@pytest.mark.parametrize("name", b.CHEMISTRIES)
def test_tables_are_sound(name: str) -> None:
    """Charge from 0 to 1 and voltage rise; bounds enclose the full cell; every source names its status; frozen."""
    entry = b.chemistry(name)
    assert entry.state_of_charge[0] == 0.0 and entry.state_of_charge[-1] == 1.0
    assert len(entry.state_of_charge) == len(entry.cell_voltage)
    assert np.all(np.diff(entry.state_of_charge) > 0.0) and np.all(np.diff(entry.cell_voltage) > 0.0)
    assert entry.highest_voltage >= entry.cell_voltage[-1] > entry.lowest_voltage > 0.0
    assert any(word in entry.source for word in ("published", "computed", "from memory"))
    assert (entry.activation_energy is None) == bool(entry.reading_temperature)
    with pytest.raises(dataclasses.FrozenInstanceError):
        entry.name = "x"  # type: ignore[misc]


def test_tables_from_memory_say_so() -> None:
    """Only the two tables with a printed source go without the words."""
    printed = {name for name in b.CHEMISTRIES if "from memory" not in b.chemistry(name).source}
    assert printed == {"lithium-ion", "lead-acid"}


def test_full_cells() -> None:
    """A full lithium-polymer cell has 4.20 V, a fresh alkaline cell 1.6 V (project choice, from memory)."""
    assert float(b.open_circuit_voltage("lithium-polymer", 1.0)) == 4.20
    assert float(b.open_circuit_voltage("alkaline", 1.0)) == 1.6


def test_lead_acid_table(published: Published) -> None:
    """Six cells give the published 12 V table."""
    entry = published("battery.lead_acid")
    volts = 6.0 * b.open_circuit_voltage("lead-acid", entry["state_of_charge"])
    np.testing.assert_allclose(volts, entry["value"], rtol=0.0, atol=entry["abs_tol"], err_msg=entry["source"])


def test_lead_acid_table_against_the_electrode_polynomials(published: Published) -> None:
    """The table's ends lie within 0.05 V of the electrode polynomials at their gravities, 1.120 and 1.265."""
    entry = published("battery.lead_acid_bode")

    def volts(molality: float) -> float:
        powers = math.log10(molality) ** np.arange(5)
        return float(6.0 * (powers @ entry["positive"] - powers @ entry["negative"]))

    for molality, value in zip(entry["molality"], entry["value"], strict=True):
        assert volts(molality) == pytest.approx(value, abs=entry["abs_tol"]), entry["source"]
    # acid by weight at the two gravities from memory (density table of sulphuric acid): a second look, not the proof
    for charge, acid in ((0.0, 0.174), (1.0, 0.356)):
        molality = acid / (1.0 - acid) / 0.09808
        assert 6.0 * float(b.open_circuit_voltage("lead-acid", charge)) == pytest.approx(volts(molality), abs=0.05)


def test_lithium_ion_table(published: Published) -> None:
    """Each row of the table is the published cell at that charge, and the straight lines stay within 0.011 V of it."""
    entry = published("battery.chen")
    cell = chen_cell(entry)
    at = entry["negative_concentration"] / entry["negative_maximum"]
    assert cell(at) == pytest.approx(entry["value"], abs=entry["abs_tol"]), entry["source"]
    low, high = entry["limits"]
    empty, full = brentq(lambda x: cell(x) - low, 0.001, 0.2), brentq(lambda x: cell(x) - high, 0.85, 1.0)
    assert (empty, full) == pytest.approx((0.02635, 0.91062), abs=5e-6)
    held = b.chemistry("lithium-ion")
    rows = [cell(empty + s * (full - empty)) for s in held.state_of_charge]
    np.testing.assert_allclose(held.cell_voltage, rows, rtol=0.0, atol=6e-5, err_msg=entry["source"])
    fine = np.linspace(0.0, 1.0, 501)
    exact = [cell(empty + s * (full - empty)) for s in fine]
    np.testing.assert_allclose(b.open_circuit_voltage("lithium-ion", fine), exact, rtol=0.0, atol=0.011)


def test_open_circuit_voltage_of_a_given_table(published: Published) -> None:
    """A chemistry with the published table of another cell gives that cell's voltage at half charge."""
    entry = published("battery.equivalent_circuit")
    cell = dataclasses.replace(
        b.chemistry("lithium-ion"),
        state_of_charge=tuple(entry["state_of_charge"]),
        cell_voltage=tuple(entry["full"] * ratio for ratio in entry["ratio"]),
    )
    got = float(b.open_circuit_voltage(cell, 0.5))
    assert got == pytest.approx(entry["value"], abs=entry["abs_tol"]), entry["source"]


@pytest.mark.parametrize("charge", [-1e-9, 1.0 + 1e-9, 50.0, math.nan, "full"])
def test_state_of_charge_refused(charge: Any) -> None:
    """A state of charge outside 0 to 1 (percent, for one) is refused."""
    with pytest.raises(InputError, match=r"state_of_charge must be"):
        b.open_circuit_voltage("alkaline", charge)


def test_open_circuit_voltage_broadcasts() -> None:
    """A batch equals the loop of scalars; the middle of two rows is their mean; an empty batch stays empty."""
    charge = np.array([[0.0, 0.3], [0.625, 1.0]])
    batch = b.open_circuit_voltage("lead-acid", charge)
    loop = [float(b.open_circuit_voltage("lead-acid", c)) for c in charge.ravel()]
    np.testing.assert_array_equal(batch.ravel(), loop)
    assert 6.0 * batch[1, 0] == pytest.approx((12.24 + 12.45) / 2.0, abs=1e-9)
    assert b.open_circuit_voltage("lead-acid", []).shape == (0,)


@pytest.mark.parametrize("name", b.CHEMISTRIES)
def test_resistance_factor(name: str) -> None:
    """One at 25 degC, falling over the whole range, refused outside it, batch equal to scalars."""
    entry = b.chemistry(name)
    assert float(b.resistance_factor(name, 25.0)) == pytest.approx(1.0, rel=1e-14)
    degrees = np.linspace(entry.temperature_low, entry.temperature_high, 81)
    factor = b.resistance_factor(name, degrees)
    assert np.all(np.diff(factor) < 0.0)
    np.testing.assert_allclose(factor, [float(b.resistance_factor(name, t)) for t in degrees], rtol=1e-14)
    for outside in (entry.temperature_low - 0.1, entry.temperature_high + 0.1, math.nan):
        with pytest.raises(InputError, match=rf"temperature of a {name} cell must be"):
            b.resistance_factor(name, outside)


def test_resistance_factor_arrhenius(published: Published) -> None:
    """The published activation energy, by hand at -20 degC: exp(20000/8.314463 (1/253.15 - 1/298.15)) = 4.194."""
    entry = published("battery.activation_energy")
    assert b.chemistry("lithium-polymer").activation_energy == entry["value"], entry["source"]
    by_hand = math.exp(entry["value"] / 8.314463 * (45.0 / (253.15 * 298.15)))
    assert float(b.resistance_factor("lithium-polymer", -20.0)) == pytest.approx(by_hand, rel=1e-6)
    assert by_hand == pytest.approx(4.194, abs=5e-3)


def test_resistance_factor_alkaline(published: Published) -> None:
    """The ratios of the published readings are met; nine from 40 to -40 degC."""
    entry = published("battery.alkaline_temperature")
    factor = b.resistance_factor("alkaline", entry["temperature"])
    ratio = np.array(entry["value"]) / entry["value"][1]
    np.testing.assert_allclose(factor / factor[1], ratio, rtol=entry["rel_tol"], err_msg=entry["source"])
    assert float(factor[0] / factor[2]) == pytest.approx(9.0, rel=1e-12)


def test_default_resistance() -> None:
    """Low is zero, high the firing default; a larger cell has the smaller default; unknown size takes the worst."""
    for name in b.CHEMISTRIES:
        rows = b.chemistry(name).cell_resistance
        assert all(row.low == 0.0 < row.nominal < row.high and row.basis for row in rows)
        assert [row.capacity for row in rows] == sorted((row.capacity for row in rows), reverse=True)
        assert [row.high for row in rows] == sorted(row.high for row in rows)
        assert b.default_cell_resistance(name) is rows[-1]
        assert b.default_cell_resistance(name, rows[0].capacity) is rows[0]
    assert b.default_cell_resistance("lithium-polymer", 5 * 3600.0).high == 5e-3
    assert b.default_cell_resistance("lithium-ion", 2.5 * 3600.0).high == 0.15
    assert b.default_cell_resistance("alkaline", 2.5 * 3600.0).high == 0.25
    assert 6.0 * b.default_cell_resistance("alkaline").high == 3.0
    assert 6.0 * b.default_cell_resistance("lead-acid", 7 * 3600.0).high == pytest.approx(0.05, rel=1e-12)


def test_default_resistance_refused() -> None:
    """Below every row nothing is guessed, and a capacity of zero is refused."""
    with pytest.raises(InputError, match=r"no default resistance is held for a lead-acid cell below 3600 C"):
        b.default_cell_resistance("lead-acid", 1800.0)
    with pytest.raises(InputError, match=r"capacity must be a finite number above 0 C"):
        b.default_cell_resistance("alkaline", 0.0)


def test_resistance_from_readings() -> None:
    """Put back into the circuit it gives the loaded reading; equal readings give zero; batch as scalars."""
    ohms = float(b.resistance_from_readings(8.02, 7.61, 3.3))
    assert 8.02 * 3.3 / (3.3 + ohms) == pytest.approx(7.61, rel=1e-14)
    assert float(b.resistance_from_readings(8.0, 8.0, 3.3)) == 0.0
    batch = b.resistance_from_readings([8.0, 9.0], [[7.0], [6.0]], 3.3)
    loop = [[float(b.resistance_from_readings(o, u, 3.3)) for o in (8.0, 9.0)] for u in (7.0, 6.0)]
    np.testing.assert_array_equal(batch, loop)


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        ((7.0, 8.0, 3.3), "loaded reading must not exceed the open one, received 8 V loaded and 7 V open"),
        (([9.0, 7.0], 8.0, 3.3), "received 8 V loaded and 7 V open"),
        ((0.0, 0.0, 3.3), "open must be a finite number above 0 V"),
        ((8.0, 0.0, 3.3), "loaded must be a finite number above 0 V"),
        ((8.0, 7.0, 0.0), "load must be a finite number above 0 ohm"),
    ],
)
def test_readings_refused(readings: tuple[Any, Any, Any], says: str) -> None:
    """Exchanged readings and readings of zero are refused."""
    with pytest.raises(InputError, match=says):
        b.resistance_from_readings(*readings)


def test_import_reads_no_data() -> None:
    """Importing the module reads no data file and loads neither scipy nor eseries."""
    code = (
        "import sys; from ignition.parts import battery, preferred; "
        "assert battery._table.cache_info().currsize == 0; "
        "assert not {'scipy', 'eseries'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
