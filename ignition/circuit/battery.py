"""From the battery's table to its voltage and resistance over the ambient range."""

from __future__ import annotations

from dataclasses import replace

from ignition.circuit.assumptions import Ledger
from ignition.circuit.feed_description import Battery, Polarisation, Readings
from ignition.circuit.model import BatteryModel
from ignition.errors import InputError
from ignition.parts.battery import chemistry, default_cell_resistance, resistance_from_readings
from ignition.parts.battery_bounds import resistance_growth, voltage_range
from ignition.toleranced import Toleranced

__all__ = ["complete_battery"]

_WITHOUT_PROTECTION = ("lead-acid", "alkaline", "nickel-metal-hydride")
"""Chemistries whose batteries usually have no circuit that disconnects them."""


_ROOM = Toleranced.exact(20.0, "degC")
"""Temperature for which a resistance is stated, where it was not measured in the field."""

_CELL_SHEET = Toleranced.exact(25.0, "degC")
"""Temperature for which the table states the resistance of a cell of known chemistry."""


def complete_battery(given: Battery, ambient: Toleranced, ledger: Ledger) -> BatteryModel:
    """Turn a battery table into open-circuit voltage and resistance with bounds over the ambient range.

    A resistance is scaled from the temperature for which it is stated to the ambient range; the slow part of the drop
    follows it.

    Raises InputError if the resistance is unknown, or a temperature is outside the range of the chemistry.

    Parameters
    ----------
    ambient : Temperature [degC]

    Examples
    --------
    >>> given = Battery.model_validate({"open_circuit_voltage": "6 V", "resistance": "80 mohm"})
    >>> cold = Toleranced(low=0.0, nominal=20.0, high=20.0, unit="degC")
    >>> found = complete_battery(given, cold, Ledger()).resistance
    >>> found.nominal, round(found.high, 3)
    (0.08, 0.203)
    """
    at_reference = _stated_resistance(given, ledger)
    growth = _growth(given, ambient, ledger)
    resistance, bank = at_reference.times(growth), given.capacitor_bank
    slow = given.polarisation if isinstance(given.polarisation, Polarisation) else None
    polarisation = slow.resistance.times(growth) if slow else None
    protection = None if given.protection == "none" else given.protection
    return BatteryModel(
        voltage=_voltage(given, ledger),
        resistance=resistance,
        capacity=None if given.capacity is None else given.capacity.times(given.cells_in_parallel or 1),
        polarisation_resistance=polarisation,
        slow_resistance=_slow(given, resistance, polarisation, ledger),
        polarisation_time=slow.time_constant if slow else None,
        trip_current=protection.trip_current if protection else None,
        trip_delay=protection.delay if protection else None,
        protection_known=_protection_known(given, ledger),
        bank_capacitance=bank.capacitance if bank else None,
        bank_resistance=bank.series_resistance if bank else None,
        recharge_resistance=bank.recharge_resistance if bank else None,
    )


def _slow(given: Battery, fast: Toleranced, slow: Toleranced | None, ledger: Ledger) -> float:
    """Highest resistance by which the voltage sinks slowly, given or assumed as a share of the fast one [ohm]."""
    if given.polarisation is None:
        return fast.high * ledger.take(None, "battery.polarisation", "polarisation", "1").high
    return 0.0 if slow is None else slow.high


def _protection_known(given: Battery, ledger: Ledger) -> bool:
    """Whether the file, or the chemistry, tells if a protection circuit may disconnect the battery."""
    if given.protection is not None:
        return True
    bare = given.chemistry in _WITHOUT_PROTECTION
    ledger.note("battery.protection", "protection_usual" if bare else "protection")
    return bare


def _voltage(given: Battery, ledger: Ledger) -> Toleranced:
    if given.readings is not None:
        if given.readings.open.is_exact and given.readings.loaded.is_exact:
            ledger.note("battery.readings", "readings")
        return given.readings.open
    if given.open_circuit_voltage is not None:
        return given.open_circuit_voltage
    assert given.chemistry is not None and given.cells_in_series is not None
    cell = chemistry(given.chemistry)
    charge = ledger.take(given.state_of_charge, "battery.state_of_charge", "state_of_charge", "1")
    found = voltage_range(cell, charge)
    when = "just off the charger or new" if charge.high >= 1.0 else "rested since it was charged"
    told = f"up to {found.high:.4g} V a cell, {when}"
    ledger.note("battery.open_circuit_voltage", "cell_voltage", value=told, basis=cell.voltage_basis)
    return found.times(given.cells_in_series)


def _stated_resistance(given: Battery, ledger: Ledger) -> Toleranced:
    """Resistance of the whole battery at the temperature for which it is stated."""
    if given.readings is not None:
        return _from_readings(given.readings)
    if given.resistance is not None:
        return given.resistance
    of_cell = given.cell_resistance
    if of_cell is None:
        if given.chemistry is None:
            raise InputError(
                "the internal resistance is unknown: give resistance, or chemistry with its cells, or readings"
            )
        row = default_cell_resistance(given.chemistry, None if given.capacity is None else given.capacity.nominal)
        of_cell = Toleranced(low=row.low, nominal=row.nominal, high=row.high, unit="ohm")
        told = f"{of_cell} per cell at 25 degC"
        ledger.note("battery.cell_resistance", "battery_resistance", value=told, basis=row.basis)
    assert given.cells_in_series is not None
    string = of_cell.times(given.cells_in_series)
    if given.cells_in_parallel is not None:
        return string.times(1.0 / given.cells_in_parallel)
    least = ledger.choose("battery.cells_in_parallel", "cells_in_parallel", worst=0.0, best=string.low)
    return replace(string, low=least)


def _from_readings(readings: Readings) -> Toleranced:
    low, nominal, high = (
        float(resistance_from_readings(idle, loaded, load))
        for idle, loaded, load in (
            (readings.open.low, readings.loaded.high, readings.load.low),
            (readings.open.nominal, readings.loaded.nominal, readings.load.nominal),
            (readings.open.high, readings.loaded.low, readings.load.high),
        )
    )
    return Toleranced(low=low, nominal=nominal, high=high, unit="ohm")


def _growth(given: Battery, ambient: Toleranced, ledger: Ledger) -> Toleranced:
    """Resistance over the ambient range over that at the temperature for which it is stated."""
    key, stated = "battery.resistance_temperature", given.resistance_temperature
    if given.readings is not None:
        key, stated = "battery.readings.temperature", given.readings.temperature
    elif given.resistance is None and given.cell_resistance is None:
        stated = _CELL_SHEET
    one = Toleranced.exact(1.0)
    if stated == "ambient":
        return one
    if isinstance(stated, Toleranced):
        return resistance_growth(given.chemistry, ambient, stated)
    anywhere = Toleranced.hull(ambient, _ROOM)
    growth = resistance_growth(given.chemistry, ambient, anywhere)
    chosen = ledger.choose(key, "resistance_temperature", worst=growth, best=one)
    told = (
        f"any of {anywhere.low:g} to {anywhere.high:g} degC; over the ambient range {growth.low:.3g} to "
        f"{growth.high:.3g} times as much"
    )
    whose = given.chemistry or "a battery of unknown chemistry, the worst of all at each end"
    ledger.note(key, "resistance_temperature", value=told, basis=f"ambient or room; scaled as for {whose}")
    return chosen
