"""Capacitor bank as the source of a firing: energy held and delivered, bridge heating, recharging."""

from __future__ import annotations

import numpy as np

from ignition.parts._require import bounded
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "bridge_peak_time",
    "bridge_thermal_rise",
    "discharge_energy",
    "recharge_time",
    "stored_energy",
]


def stored_energy(capacitance: ArrayLike, voltage: ArrayLike) -> FloatArray:
    """Give the energy that a charged capacitor holds [J].

    ``E = C V^2 / 2``.

    Source: Textbook (from memory).

    Parameters
    ----------
    capacitance : Capacitance [F], any shape, broadcasts
    voltage : Voltage across it [V], any shape, broadcasts

    Examples
    --------
    >>> round(float(stored_energy(1000e-6, 12.0)), 6)
    0.072
    """
    volts = bounded("voltage", voltage, "V")
    return np.asarray(0.5 * bounded("capacitance", capacitance, "F", above=0.0) * volts**2)


def _decay(
    capacitance: ArrayLike, resistance: ArrayLike, series_resistance: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Checked capacitance, load and loop resistance, and the time constant of the discharge current."""
    farads = bounded("capacitance", capacitance, "F", above=0.0)
    load = bounded("resistance", resistance, "ohm", above=0.0)
    loop = load + bounded("series_resistance", series_resistance, "ohm", least=0.0)
    return farads, load, np.asarray(loop), np.asarray(loop * farads)


def discharge_energy(
    capacitance: ArrayLike,
    voltage: ArrayLike,
    resistance: ArrayLike,
    series_resistance: ArrayLike,
    time: ArrayLike = np.inf,
) -> FloatArray:
    """Give the energy that a discharging capacitor has put into a resistance up to a time [J].

    ``E = C V^2/2 * R/(R + Rs) * (1 - exp(-2 t/((R + Rs) C)))``; constant resistances, no inductance.

    Source: Textbook (from memory); checked in the tests against numerical integration.

    Parameters
    ----------
    capacitance : Capacitance [F], any shape, broadcasts
    voltage : Voltage at time zero [V], any shape, broadcasts
    resistance : Load that receives the energy [ohm], any shape, broadcasts
    series_resistance : Everything else in the loop [ohm], any shape, broadcasts
    time : Time since the loop was closed [s], any shape, broadcasts; default: the whole discharge

    Examples
    --------
    >>> round(float(discharge_energy(1000e-6, 12.0, 1.5, 0.2)), 6)
    0.063529
    """
    farads, load, loop, tau = _decay(capacitance, resistance, series_resistance)
    elapsed = bounded("time", time, "s", least=0.0, endless=True)
    return np.asarray(stored_energy(farads, voltage) * (load / loop) * -np.expm1(-2.0 * elapsed / tau))


def _rates(tau: FloatArray, time_constant: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """The slower of the two rates (heating 2/tau, cooling 1/time_constant) and their distance [1/s]."""
    heating = 2.0 / tau
    cooling = 1.0 / bounded("time_constant", time_constant, "s", above=0.0)
    return np.minimum(heating, cooling), np.abs(heating - cooling)


def bridge_thermal_rise(
    capacitance: ArrayLike,
    voltage: ArrayLike,
    resistance: ArrayLike,
    series_resistance: ArrayLike,
    heat_capacity: ArrayLike,
    time_constant: ArrayLike,
    time: ArrayLike,
) -> FloatArray:
    """Give the temperature rise of a bridge at a time after a capacitor is discharged into it [K].

    ``(P0/Cth)/(a - b) * (exp(-b t) - exp(-a t))`` with ``P0 = (V/(R + Rs))^2 R``, ``a = 2/((R + Rs) C)``, ``b =
    1/time_constant``; computed in a form that keeps its digits where a and b meet (limit ``P0/Cth * t exp(-a t)``).
    The bridge resistance does not change with temperature here.

    Source: Lumped bridge (from memory, algebra checked against numerical integration in the tests).

    Parameters
    ----------
    capacitance : Capacitance [F], any shape, broadcasts
    voltage : Voltage at time zero [V], any shape, broadcasts
    resistance : Bridge resistance, constant [ohm], any shape, broadcasts
    series_resistance : Everything else in the loop [ohm], any shape, broadcasts
    heat_capacity : Heat capacity of the bridge [J/K], any shape, broadcasts
    time_constant : Thermal time constant of the bridge [s], any shape, broadcasts
    time : Time since the loop was closed [s], any shape, broadcasts; may be infinite

    Examples
    --------
    >>> round(float(bridge_thermal_rise(1000e-6, 5.0, 1.05, 0.25, 4e-6, 5e-3, 1.524303e-3)), 2)
    1860.79
    """
    _, load, loop, tau = _decay(capacitance, resistance, series_resistance)
    slow, apart = _rates(tau, time_constant)
    heat = bounded("heat_capacity", heat_capacity, "J/K", above=0.0)
    elapsed = bounded("time", time, "s", least=0.0, endless=True)
    start = (bounded("voltage", voltage, "V") / loop) ** 2 * load / heat
    ended = np.isinf(elapsed)
    finite = np.where(ended, 0.0, elapsed)
    gap = apart * finite
    shape = np.where(gap > 0.0, -np.expm1(-gap) / np.where(gap > 0.0, gap, 1.0), 1.0)
    return np.where(ended, 0.0, start * finite * np.exp(-slow * finite) * shape)


def bridge_peak_time(
    capacitance: ArrayLike, resistance: ArrayLike, series_resistance: ArrayLike, time_constant: ArrayLike
) -> FloatArray:
    """Give the time at which a bridge heated by a capacitor discharge is hottest.

    ``ln(a/b)/(a - b)`` with the rates of :func:`bridge_thermal_rise`; ``1/a`` where they are equal.

    Source: As :func:`bridge_thermal_rise`.

    Parameters
    ----------
    capacitance : Capacitance [F], any shape, broadcasts
    resistance : Bridge resistance, constant [ohm], any shape, broadcasts
    series_resistance : Everything else in the loop [ohm], any shape, broadcasts
    time_constant : Thermal time constant of the bridge [s], any shape, broadcasts

    Returns
    -------
    Time since the loop was closed [s]

    Examples
    --------
    >>> round(1e3 * float(bridge_peak_time(1000e-6, 1.05, 0.25, 5e-3)), 4)
    1.5243
    """
    _, _, _, tau = _decay(capacitance, resistance, series_resistance)
    slow, apart = _rates(tau, time_constant)
    ratio = apart / slow
    return np.where(ratio > 0.0, np.log1p(ratio) / np.where(ratio > 0.0, ratio, 1.0), 1.0) / slow


def recharge_time(
    capacitance: ArrayLike, resistance: ArrayLike, start: ArrayLike, target: ArrayLike, supply: ArrayLike
) -> FloatArray:
    """Give the time to charge a capacitor through a resistance from one voltage to a higher one.

    ``t = R C ln((supply - start)/(supply - target))``; leakage of the capacitor is left out, which makes the time too
    short.

    Source: Textbook (from memory).

    Parameters
    ----------
    capacitance : Capacitance [F], any shape, broadcasts
    resistance : Charging resistance, the source's own included [ohm], any shape, broadcasts
    start : Voltage at time zero [V], any shape, broadcasts
    target : Voltage to be reached [V], any shape, broadcasts
    supply : Open-circuit voltage of the supply [V], any shape, broadcasts

    Returns
    -------
    Time [s]; zero where the target is already reached, infinite where the supply does not exceed the target

    Examples
    --------
    >>> round(float(recharge_time(1000e-6, 100.0, 0.0, 9.0, 12.0)), 6)
    0.138629
    """
    tau = bounded("resistance", resistance, "ohm", above=0.0) * bounded("capacitance", capacitance, "F", above=0.0)
    first, last, source = np.broadcast_arrays(
        bounded("start", start, "V", least=0.0),
        bounded("target", target, "V", least=0.0),
        bounded("supply", supply, "V", least=0.0),
    )
    reached = last <= first
    within = ~reached & (source > last)
    ratio = np.where(within, source - first, 1.0) / np.where(within, source - last, 1.0)
    return np.where(reached, 0.0, np.where(within, tau * np.log(ratio), np.inf))
