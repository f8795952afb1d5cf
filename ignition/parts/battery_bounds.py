"""Bounds of a battery: voltage over makes and charge, resistance over temperature, where nobody measured it there."""

from __future__ import annotations

import math

from ignition.errors import InputError
from ignition.parts.battery import CHEMISTRIES, Chemistry, chemistry, open_circuit_voltage, resistance_factor
from ignition.toleranced import Toleranced

__all__ = ["resistance_growth", "voltage_range"]

_GAS_CONSTANT = 8.31446261815324
_KELVIN = 273.15
_STEEP = 0.2
"""State of charge below which the tables are steep and makes differ most."""
_EMPTY = 0.1
"""State of charge below which a cell may be as low as an empty one."""


def voltage_range(name: str | Chemistry, charge: Toleranced) -> Toleranced:
    """Give the open-circuit voltage of one cell with bounds over makes, temperature and a range of charge [V].

    Nominal is the rested table. A full cell is taken just off the charger. Below full charge the cell has rested: high
    is the table, at a fifth of the charge or more, plus `table_above`, never more than just off the charger; low is the
    table less `table_below`, and that of an empty cell below a tenth.

    Raises InputError if the chemistry is unknown or a state of charge is outside 0 to 1.

    Source: ``chemistry(name).table_basis`` and ``voltage_basis``.

    Parameters
    ----------
    name : As for :func:`ignition.parts.battery.chemistry`
    charge : State of charge [1]

    Examples
    --------
    >>> voltage_range("lead-acid", Toleranced(low=0.5, nominal=0.5, high=1.0)).times(6.0).high
    15.5
    """
    entry = chemistry(name)
    low, nominal, high = (
        float(open_circuit_voltage(entry, share)) for share in (charge.low, charge.nominal, max(charge.high, _STEEP))
    )
    full = charge.high >= 1.0
    return Toleranced(
        low=low - entry.table_below if charge.low >= _EMPTY else entry.lowest_voltage,
        nominal=nominal,
        high=entry.highest_voltage if full else min(high + entry.table_above, entry.highest_voltage),
        unit="V",
    )


def resistance_growth(name: str | Chemistry | None, temperature: Toleranced, reference: Toleranced) -> Toleranced:
    """Give the resistance of a battery over a range of temperatures over that at a reference temperature [1].

    ``exp(E/R (1/T - 1/Tref))`` with every activation energy E of the chemistry's `growth`, at both ends of both ranges:
    cold is not always worst. Nominal is the law of :func:`ignition.parts.battery.resistance_factor`. Where the
    chemistry is not known, each end is that of the chemistry where it lies farthest.

    Source: ``chemistry(name).growth_basis``.

    Parameters
    ----------
    name : As for :func:`ignition.parts.battery.chemistry`; None where it is not known
    temperature, reference : Temperatures of the battery, and of the stated resistance [degC]

    Examples
    --------
    >>> room = Toleranced.exact(20.0, "degC")
    >>> cold = resistance_growth("alkaline", Toleranced.exact(-20.0, "degC"), room)
    >>> round(cold.low, 2), round(cold.nominal, 2), round(cold.high, 2)
    (1.68, 3.0, 5.22)
    >>> resistance_growth(None, room, room).is_exact
    True
    """
    if name is None:
        return _of_any(temperature, reference)
    entry = chemistry(name)
    nominal = float(resistance_factor(entry, temperature.nominal) / resistance_factor(entry, reference.nominal))
    for end in (temperature.low, temperature.high, reference.low, reference.high):
        resistance_factor(entry, end)  # refuses what is outside the range of the law
    spans = (
        1.0 / (temperature.low + _KELVIN) - 1.0 / (reference.high + _KELVIN),
        1.0 / (temperature.high + _KELVIN) - 1.0 / (reference.low + _KELVIN),
    )
    corners = [math.exp(energy / _GAS_CONSTANT * span) for energy in entry.growth for span in spans]
    return Toleranced(low=min(corners), nominal=nominal, high=max(corners))


def _of_any(temperature: Toleranced, reference: Toleranced) -> Toleranced:
    lowest, highest = min(temperature.low, reference.low), max(temperature.high, reference.high)
    entries = [chemistry(name) for name in CHEMISTRIES]
    held = [e for e in entries if e.temperature_low <= lowest and highest <= e.temperature_high]
    if not held:
        coldest, hottest = min(e.temperature_low for e in entries), max(e.temperature_high for e in entries)
        raise InputError(
            f"the temperature of a battery must lie within {coldest:g} to {hottest:g} degC to scale its resistance, "
            f"received {lowest:g} to {highest:g} degC; "
            'write resistance_temperature = "ambient" where the resistance given holds over the whole range'
        )
    return Toleranced.hull(*(resistance_growth(entry, temperature, reference) for entry in held))
