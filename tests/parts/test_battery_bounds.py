"""Bounds of a battery against published cells of other makes: voltage over charge, resistance over temperature."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ignition.errors import InputError
from ignition.parts.battery import CHEMISTRIES, chemistry, open_circuit_voltage, resistance_factor
from ignition.parts.battery_bounds import resistance_growth, voltage_range
from ignition.toleranced import Toleranced
from tests.conftest import load_published

Published = Callable[[str], dict[str, Any]]

VOLTAGES, RESISTANCES = sorted(load_published()["cell_voltage"]), sorted(load_published()["cell_resistance"])


def share(value: float) -> Toleranced:
    """One exact state of charge."""
    return Toleranced.exact(value)


def at(low: float, nominal: float | None = None, high: float | None = None) -> Toleranced:
    """A range of temperature, or one."""
    return Toleranced(
        low=low, nominal=low if nominal is None else nominal, high=low if high is None else high, unit="degC"
    )


@pytest.mark.parametrize("name", VOLTAGES)
def test_cells_of_other_makes_lie_inside(name: str, published: Published) -> None:
    """Every published reading lies in the range at its own state of charge, and between readings too."""
    entry = published(f"cell_voltage.{name}")
    order = np.argsort(entry["state_of_charge"], kind="stable")
    charges, volts = (np.array(entry[k])[order] for k in ("state_of_charge", "value"))
    dense = np.union1d(charges, np.linspace(charges[0], charges[-1], 41))
    points = [*zip(charges, volts, strict=True), *zip(dense, np.interp(dense, charges, volts), strict=True)]
    for kind, (charge, value) in itertools.product(entry["chemistry"], points):
        found = voltage_range(kind, share(float(charge)))
        assert found.low <= value <= found.high, f"{kind} at {charge:.3f}: {entry['source']}"


@pytest.mark.parametrize("kind", CHEMISTRIES)
def test_a_range_of_charge_holds_every_charge_in_it(kind: str) -> None:
    """Bounds of a range hold those of each charge in it; nominal is the rested table."""
    whole = voltage_range(kind, Toleranced(low=0.3, nominal=0.7, high=0.9))
    assert whole.nominal == float(open_circuit_voltage(kind, 0.7))
    for charge in np.linspace(0.3, 0.9, 13):
        part = voltage_range(kind, share(float(charge)))
        assert whole.low <= part.low and part.high <= whole.high


@pytest.mark.parametrize("kind", CHEMISTRIES)
def test_full_and_empty(kind: str) -> None:
    """Full is just off the charger, just below full is not; empty is the lowest."""
    entry = chemistry(kind)
    full, nearly = voltage_range(kind, share(1.0)), voltage_range(kind, share(0.95))
    assert full.high == entry.highest_voltage > full.nominal
    assert nearly.high == min(nearly.nominal + entry.table_above, entry.highest_voltage)
    assert voltage_range(kind, share(0.05)).low == entry.lowest_voltage
    assert voltage_range(kind, Toleranced(low=0.05, nominal=0.5, high=0.9)).low == entry.lowest_voltage
    fifth = float(open_circuit_voltage(kind, 0.2)) + entry.table_above
    assert voltage_range(kind, share(0.1)).high == voltage_range(kind, share(0.2)).high == pytest.approx(fifth)
    assert voltage_range(kind, share(0.1)).low == pytest.approx(
        float(open_circuit_voltage(kind, 0.1)) - entry.table_below
    )


@pytest.mark.parametrize(
    ("kind", "cells", "value"), [("lithium-polymer", 2, 8.5), ("lithium-ion", 1, 4.25), ("lead-acid", 6, 15.5)]
)
def test_just_off_the_charger(kind: str, cells: int, value: float) -> None:
    """4.20 V and a charger's 50 mV; 15.5 V after an equalising charge."""
    assert voltage_range(kind, share(1.0)).times(cells).high == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("name", RESISTANCES)
def test_published_resistances_lie_inside(name: str, published: Published) -> None:
    """Between every two published temperatures, either way, the ratio of the readings lies in the range."""
    entry = published(f"cell_resistance.{name}")
    for kind, row in itertools.product(entry["chemistry"], entry["value"]):
        readings = list(zip(entry["temperature"], row, strict=True))
        for (warm, known), (place, value) in itertools.permutations(readings, 2):
            for found in (resistance_growth(kind, at(place), at(warm)), resistance_growth(None, at(place), at(warm))):
                assert found.low <= value / known <= found.high, f"{kind}, {warm} to {place}: {entry['source']}"


@pytest.mark.parametrize("kind", [*CHEMISTRIES, None])
def test_no_change_of_temperature_changes_nothing(kind: str | None) -> None:
    """At the temperature of the statement the factor is exactly one, low and high."""
    for temperature in (-10.0, 23.0, 25.0):
        assert resistance_growth(kind, at(temperature), at(temperature)) == Toleranced.exact(1.0)


def test_growth_by_hand() -> None:
    """exp(E/R (1/T - 1/Tref)) with -9 and 31 kJ/mol at both ends: the cold is worst for high, the heat for low."""
    found = resistance_growth("lithium-ion", at(-10.0, 20.0, 50.0), at(20.0))
    cold, hot = (1 / (t + 273.15) - 1 / 293.15 for t in (-10.0, 50.0))
    assert found.low == pytest.approx(math.exp(31e3 / 8.31446261815324 * hot), rel=1e-12)
    assert found.high == pytest.approx(math.exp(31e3 / 8.31446261815324 * cold), rel=1e-12)
    assert found.nominal == 1.0
    warm = resistance_growth("lithium-ion", at(20.0, 20.0, 50.0), at(20.0))
    assert warm.high == pytest.approx(math.exp(-9e3 / 8.31446261815324 * hot), rel=1e-12), "the heat may be worst"


@pytest.mark.parametrize("kind", CHEMISTRIES)
def test_nominal_is_the_law(kind: str) -> None:
    """Nominal is the ratio of the resistance law at the nominal temperatures."""
    found = resistance_growth(kind, at(-20.0, 5.0, 40.0), at(20.0, 23.0, 26.0))
    law = float(resistance_factor(kind, 5.0) / resistance_factor(kind, 23.0))
    assert found.nominal == pytest.approx(law, rel=1e-14) and found.low < found.nominal < found.high


def test_a_range_of_the_reference_widens() -> None:
    """A reading taken somewhere between two temperatures holds the factors of both ends."""
    whole = resistance_growth("alkaline", at(-5.0, 5.0, 15.0), at(10.0, 20.0, 30.0))
    for place, known in itertools.product((-5.0, 5.0, 15.0), (10.0, 20.0, 30.0)):
        part = resistance_growth("alkaline", at(place), at(known))
        assert whole.low <= part.low and part.high <= whole.high


def test_an_unknown_chemistry_takes_each_end_from_the_worst() -> None:
    """The range without a chemistry is the hull of the ranges of all that hold there."""
    place, known = at(-20.0, 5.0, 45.0), at(20.0)
    each = [resistance_growth(kind, place, known) for kind in CHEMISTRIES]
    found = resistance_growth(None, place, known)
    assert (found.low, found.high) == (min(e.low for e in each), max(e.high for e in each))
    hot = at(70.0)  # beyond what lead-acid, alkaline and NiMH cells hold
    assert resistance_growth(None, hot, known) == resistance_growth("lithium-ion", hot, known)


COLD, MILD, HOT = at(-41.0, 0.0, 20.0), at(-40.0, 20.0, 60.0), at(20.0, 30.0, 61.0)


@pytest.mark.parametrize(("place", "known"), [(COLD, MILD), (MILD, COLD), (HOT, MILD), (MILD, HOT)])
def test_each_end_of_both_ranges_must_be_held(place: Toleranced, known: Toleranced) -> None:
    """Any end outside the range of the chemistry is refused; the ends of the range itself are not."""
    assert resistance_growth("lead-acid", MILD, MILD).high > 1.0
    with pytest.raises(InputError, match="temperature of a lead-acid cell must be"):
        resistance_growth("lead-acid", place, known)
    held = [kind for kind in CHEMISTRIES if chemistry(kind).temperature_high == 85.0]
    if COLD in (place, known):
        with pytest.raises(
            InputError, match="must lie within -40 to 85 degC to scale its resistance, received -41 to 60"
        ):
            resistance_growth(None, place, known)
    else:
        each = [resistance_growth(kind, place, known) for kind in held]
        assert resistance_growth(None, place, known).high == max(e.high for e in each)


def test_an_unknown_chemistry_at_the_ends_of_all_ranges() -> None:
    """At 60 degC all chemistries count, at 85 those that hold there, beyond it none."""
    room = at(20.0)
    for hottest in (60.0, 85.0):
        held = [kind for kind in CHEMISTRIES if chemistry(kind).temperature_high >= hottest]
        each = [resistance_growth(kind, at(hottest), room) for kind in held]
        found = resistance_growth(None, at(hottest), room)
        assert (found.low, found.high) == (min(e.low for e in each), max(e.high for e in each))
    with pytest.raises(InputError, match="must lie within -40 to 85 degC"):
        resistance_growth(None, at(20.0, 20.0, 85.1), room)


def test_refusals() -> None:
    """A temperature outside the range names the way out where the chemistry is not known."""
    with pytest.raises(InputError, match='write resistance_temperature = "ambient"'):
        resistance_growth(None, at(-41.0), at(20.0))
    with pytest.raises(InputError, match="temperature of a lead-acid cell must be"):
        resistance_growth("lead-acid", at(20.0, 20.0, 61.0), at(20.0))
    with pytest.raises(InputError, match="state_of_charge"):
        voltage_range("alkaline", Toleranced(low=0.5, nominal=0.8, high=1.1))
