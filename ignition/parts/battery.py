"""Battery: open-circuit voltage by chemistry, internal resistance by temperature, by readings, by default."""

from __future__ import annotations

import functools
import importlib.resources
import tomllib
from dataclasses import dataclass
from typing import Any

import numpy as np

from ignition.errors import InputError, nearest
from ignition.parts._require import bounded
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "CHEMISTRIES",
    "CellResistance",
    "Chemistry",
    "chemistry",
    "default_cell_resistance",
    "open_circuit_voltage",
    "resistance_factor",
    "resistance_from_readings",
]

CHEMISTRIES = (
    "lithium-polymer",
    "lithium-ion",
    "lithium-iron-phosphate",
    "lead-acid",
    "alkaline",
    "nickel-metal-hydride",
)
"""Names of the known chemistries."""

_GAS_CONSTANT = 8.31446261815324
_KELVIN = 273.15
_REFERENCE = 25.0 + _KELVIN


@dataclass(frozen=True, slots=True, kw_only=True)
class CellResistance:
    """Default resistance of one cell at 25 degC, for a battery nobody measured.

    Attributes
    ----------
    capacity : Least capacity of one cell for which the row holds [C]
    low, nominal, high : Resistance [ohm]: low for "could it fire by accident", high for "will it fire"
    """

    capacity: float
    low: float
    nominal: float
    high: float
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chemistry:
    """What is known of the cells of one chemistry; voltages are per cell.

    Attributes
    ----------
    name : One of `CHEMISTRIES`
    aliases : Other spellings that :func:`chemistry` takes
    state_of_charge, cell_voltage : Rested open-circuit table [1], [V]
    source : Source of that table and its status; "from memory" where nothing was read
    table_above, table_below : How far another make, or a cold or hot cell, may lie above and below the table [V]
    highest_voltage, lowest_voltage : Just off the charger or new, which is above the rested table, and empty [V]
    temperature_low, temperature_high : Range in which the resistance law is offered [degC]
    activation_energy : Of the resistance [J/mol]; None where readings are held
    reading_temperature, reading_resistance : Readings of the resistance [degC], [ohm]; empty where an activation energy
        is held
    temperature_basis : Source of the resistance law and its status
    growth : Least and greatest activation energy that the bounds of the resistance cover [J/mol]
    """

    name: str
    aliases: tuple[str, ...]
    state_of_charge: tuple[float, ...]
    cell_voltage: tuple[float, ...]
    source: str
    table_above: float
    table_below: float
    table_basis: str
    highest_voltage: float
    lowest_voltage: float
    voltage_basis: str
    temperature_low: float
    temperature_high: float
    activation_energy: float | None
    reading_temperature: tuple[float, ...]
    reading_resistance: tuple[float, ...]
    temperature_basis: str
    growth: tuple[float, float]
    growth_basis: str
    cell_resistance: tuple[CellResistance, ...]


def _from_row(row: dict[str, Any]) -> Chemistry:
    """One entry of the data file as a value."""
    readings = row.get("readings", {"temperature": (), "resistance": ()})
    same = [
        *("name", "source", "table_above", "table_below", "table_basis"),
        *("highest_voltage", "lowest_voltage", "voltage_basis", "temperature_basis", "growth_basis"),
    ]
    return Chemistry(
        **{key: row[key] for key in same},
        aliases=tuple(row["aliases"]),
        state_of_charge=tuple(row["state_of_charge"]),
        cell_voltage=tuple(volts / row["cells"] for volts in row["voltage"]),
        temperature_low=row["temperature"][0],
        temperature_high=row["temperature"][1],
        activation_energy=row.get("activation_energy"),
        reading_temperature=tuple(readings["temperature"]),
        reading_resistance=tuple(readings["resistance"]),
        growth=tuple(row["growth"]),
        cell_resistance=tuple(CellResistance(**default) for default in row["cell_resistance"]),
    )


@functools.cache
def _table() -> dict[str, Chemistry]:
    """Every chemistry by lower-case name and alias; the data file is read on the first call."""
    text = (importlib.resources.files("ignition") / "data" / "chemistry.toml").read_text(encoding="utf-8")
    table: dict[str, Chemistry] = {}
    for row in tomllib.loads(text)["chemistry"]:
        entry = _from_row(row)
        table |= {spelling.lower(): entry for spelling in (entry.name, *entry.aliases)}
    return table


def chemistry(name: str | Chemistry) -> Chemistry:
    """Look up a chemistry by its name.

    Read once from the data file of the package.

    Raises InputError if the name is not known; the message lists the known ones and the nearest.

    Source: The `source`, `voltage_basis` and `temperature_basis` of the entry.

    Parameters
    ----------
    name : One of `CHEMISTRIES` or another spelling ("LiFePO4", "LiPo", "Li-ion", "NiMH"), capitals or not; a Chemistry
        is handed back

    Returns
    -------
    Its tables and defaults, each with its source

    Examples
    --------
    >>> chemistry("LiFePO4").name
    'lithium-iron-phosphate'
    """
    if isinstance(name, Chemistry):
        return name
    table = _table()
    spelling = name.strip().lower() if isinstance(name, str) else ""
    if spelling not in table:
        close = nearest(spelling, table)
        offer = "write one of these" if close is None else f'write "{table[close].name}"'
        raise InputError(f"a chemistry must be one of {', '.join(CHEMISTRIES)}, received {name!r}; {offer}")
    return table[spelling]


def open_circuit_voltage(name: str | Chemistry, state_of_charge: ArrayLike) -> FloatArray:
    """Give the rested open-circuit voltage of one cell.

    Straight lines between the rows of the table. Makes differ, and a cell just off the charger shows more; for bounds
    see :func:`ignition.parts.battery_bounds.voltage_range`.

    Raises InputError if the chemistry is unknown or a state of charge is outside 0 to 1.

    Source: ``chemistry(name).source``.

    Parameters
    ----------
    name : As for :func:`chemistry`
    state_of_charge : 0 (empty) to 1 (full) [1], any shape

    Returns
    -------
    Voltage per cell [V], the shape of `state_of_charge`

    Examples
    --------
    >>> round(6 * float(open_circuit_voltage("lead-acid", 0.5)), 6)
    12.24
    """
    entry = chemistry(name)
    charge = bounded("state_of_charge", state_of_charge, "1", least=0.0, most=1.0)
    return np.asarray(np.interp(charge, entry.state_of_charge, entry.cell_voltage))


def resistance_factor(name: str | Chemistry, temperature: ArrayLike) -> FloatArray:
    """Give the internal resistance of a cell relative to its resistance at 25 degC [1].

    ``exp(Ea/R (1/T - 1/298.15))``, T in kelvin; where readings are held, ln R is straight in 1/T between them and
    keeps the last slope beyond. For most chemistries the activation energy is an example value: see
    `temperature_basis`.

    Raises InputError if the chemistry is unknown or a temperature is outside its range.

    Source: ``chemistry(name).temperature_basis``.

    Parameters
    ----------
    name : As for :func:`chemistry`
    temperature : Temperature of the cell [degC], any shape; within the range of the chemistry

    Examples
    --------
    >>> round(float(resistance_factor("lithium-polymer", -5.0)), 3)
    2.466
    """
    entry = chemistry(name)
    degrees = bounded(
        f"temperature of a {entry.name} cell",
        temperature,
        "degC",
        least=entry.temperature_low,
        most=entry.temperature_high,
    )
    inverse = 1.0 / (degrees + _KELVIN)
    if entry.activation_energy is not None:
        return np.asarray(np.exp(entry.activation_energy / _GAS_CONSTANT * (inverse - 1.0 / _REFERENCE)))
    return np.asarray(np.exp(_log_reading(entry, inverse) - _log_reading(entry, np.asarray(1.0 / _REFERENCE))))


def _log_reading(entry: Chemistry, inverse: FloatArray) -> FloatArray:
    """Natural logarithm of the read resistance, straight in 1/T, last slopes kept beyond the readings."""
    held = 1.0 / (np.array(entry.reading_temperature[::-1]) + _KELVIN)
    logarithm = np.log(np.array(entry.reading_resistance[::-1]))
    segment = np.clip(np.searchsorted(held, inverse) - 1, 0, len(held) - 2)
    slope = np.diff(logarithm) / np.diff(held)
    return np.asarray(logarithm[segment] + slope[segment] * (inverse - held[segment]))


def default_cell_resistance(name: str | Chemistry, capacity: float | None = None) -> CellResistance:
    """Give the default resistance of one cell at 25 degC, for a battery nobody measured.

    A default is an assumption: print its basis with every result that rests on it, and measure instead.

    Raises InputError if the chemistry is unknown, or the capacity is not positive or is below every row.

    Source: The `basis` of the row.

    Parameters
    ----------
    name : As for :func:`chemistry`
    capacity : Capacity of one cell [C], 3600 C being 1 Ah; left out, the smallest battery of the list is taken

    Returns
    -------
    Low (always 0), nominal and high [ohm] with their basis

    Examples
    --------
    >>> default_cell_resistance("lithium-polymer", 18000.0).high
    0.005
    """
    entry = chemistry(name)
    if capacity is None:
        return entry.cell_resistance[-1]
    coulombs = float(bounded("capacity", capacity, "C", above=0.0))
    for row in entry.cell_resistance:
        if coulombs >= row.capacity:
            return row
    smallest = entry.cell_resistance[-1].capacity
    raise InputError(
        f"no default resistance is held for a {entry.name} cell below {smallest:g} C, received {coulombs:g} C; "
        "give the resistance, or an open and a loaded reading"
    )


def resistance_from_readings(open: ArrayLike, loaded: ArrayLike, load: ArrayLike) -> FloatArray:
    """Give a battery's internal resistance from two voltmeter readings, open and under a known resistor.

    ``R = load (open/loaded - 1)``. It rises with open and load and falls with loaded, so the extremes of a tolerance
    box stand at its corners. Valid at the current and the duration of the reading; a longer pulse sags more.

    Raises InputError if a reading or the load is not positive and finite, or a loaded reading exceeds the open one.

    Source: Voltage divider, hand algebra.

    Parameters
    ----------
    open : Voltage without load [V], any shape, broadcasts
    loaded : Voltage with the load connected [V], any shape, broadcasts
    load : Resistance of the load [ohm], any shape, broadcasts

    Returns
    -------
    Internal resistance, leads up to the voltmeter included [ohm]

    Examples
    --------
    >>> round(float(resistance_from_readings(8.02, 7.61, 3.3)), 4)
    0.1778
    """
    idle = bounded("open", open, "V", above=0.0)
    under = bounded("loaded", loaded, "V", above=0.0)
    resistor = bounded("load", load, "ohm", above=0.0)
    if np.any(under > idle):
        idle, under = np.broadcast_arrays(idle, under)
        first = int(np.argmax((under > idle).ravel()))
        raise InputError(
            "a loaded reading must not exceed the open one, "
            f"received {under.ravel()[first]:g} V loaded and {idle.ravel()[first]:g} V open; "
            "check the two readings for exchange and repeat them with the same meter"
        )
    return np.asarray(resistor * (idle / under - 1.0))
