"""The controller: converter, pins at a MOSFET gate, supply and clamp diodes."""

from __future__ import annotations

import math

import numpy as np

from ignition.errors import InputError
from ignition.parts._require import at_least_zero, positive, real
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "floating_gate_voltage",
    "gate_voltage",
    "hold_up_time",
    "regulated_supply",
]


def gate_voltage(
    supply: ArrayLike,
    output_resistance: ArrayLike,
    series_resistance: ArrayLike,
    pull_down: ArrayLike,
    leakage: ArrayLike = 0.0,
) -> FloatArray:
    """Return the gate voltage while the pin is driven; a supply of 0 V stands for a pin driven low [V].

    Superposition with R = output + series: V = supply pull_down / (R + pull_down) + leakage (R parallel pull_down).

    Parameters
    ----------
    supply : Voltage behind the driven pin [V], 0 or more, broadcasts
    output_resistance : Resistance of the pin's driver [ohm], 0 or more, broadcasts
    series_resistance : Resistance between pin and gate [ohm], 0 or more, may be infinite, broadcasts
    pull_down : Resistance from gate to ground [ohm], 0 or more, may be infinite, broadcasts
    leakage : Current pushed into the gate node [A]; negative where it draws, broadcasts

    Examples
    --------
    >>> round(float(gate_voltage(3.3, 0.0, 100.0, 10e3)), 6)
    3.267327
    """
    path = at_least_zero("output resistance", output_resistance, "ohm") + at_least_zero(
        "series resistance", series_resistance, "ohm", infinite=True
    )
    down = at_least_zero("pull-down", pull_down, "ohm", infinite=True)
    if (np.isinf(path) & np.isinf(down)).any():
        raise InputError(
            "gate voltage is not defined without any path: received an infinite series resistance and an infinite "
            "pull-down; use floating_gate_voltage, which takes the worst case"
        )
    return _superposed(at_least_zero("supply", supply, "V"), path, down, real("leakage", leakage, "A"))


def _superposed(supply: FloatArray, path: FloatArray, down: FloatArray, leakage: FloatArray) -> FloatArray:
    """Node between a source behind `path` and ground behind `down`, with a current pushed in."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(down == 0.0, 0.0, 1.0 / (1.0 + path / down))
        parallel = np.where(np.isinf(path), down, path * share)
        # 0 A through an open path is 0 V, not 0 times infinity
        raised = np.where(leakage == 0.0, 0.0, leakage * parallel)
    return np.asarray(supply * share + raised)


def floating_gate_voltage(
    supply: ArrayLike,
    reset_pull_up: ArrayLike,
    series_resistance: ArrayLike,
    pull_down: ArrayLike,
    leakage: ArrayLike = 0.0,
    *,
    reset_pull_down: ArrayLike = math.inf,
    clamp_voltage: ArrayLike = math.inf,
    clamp_resistance: ArrayLike = 0.0,
) -> FloatArray:
    """Return the gate voltage while the pin is not driven.

    Superposition as in `gate_voltage`, with pull-up and pull-down of the pin as one source behind the series resistor.
    A pin's leakage counted at the gate is an upper bound of the same leakage at the pin. The pin's protection diode
    draws from it what comes above its clamp voltage: it is a further source there, which can only lower the gate.

    Parameters
    ----------
    supply : Supply of the controller [V], 0 or more, broadcasts
    reset_pull_up : Pull-up of the pin in reset [ohm], 0 or more; infinite where it floats, broadcasts
    series_resistance : Resistance between pin and gate [ohm], 0 or more, may be infinite, broadcasts
    pull_down : Resistance from gate to ground [ohm], 0 or more; infinite where there is none, broadcasts
    leakage : Current pushed into the gate node [A]; negative where it draws, broadcasts
    reset_pull_down : Pull-down of the pin in reset [ohm], above 0; infinite where there is none, broadcasts
    clamp_voltage : Pin voltage above which its diode conducts [V], above the supply; infinite without one, broadcasts
    clamp_resistance : Resistance of that diode [ohm], 0 or more, broadcasts

    Returns
    -------
    Gate voltage [V]. Without a pull-down it is held between 0 and the supply, and a gate that nothing at all drives is
        taken at the supply, the worst case

    Examples
    --------
    >>> round(float(floating_gate_voltage(3.3, 45e3, 100.0, 10e3)), 6)
    0.598911
    >>> round(float(floating_gate_voltage(3.3, float("inf"), 100.0, 10e3, 1e-6)), 6)
    0.01
    """
    volts = at_least_zero("supply", supply, "V")
    up = at_least_zero("reset pull-up", reset_pull_up, "ohm", infinite=True)
    low = positive("reset pull-down", reset_pull_down, "ohm", infinite=True)
    series = at_least_zero("series resistance", series_resistance, "ohm", infinite=True)
    down = at_least_zero("pull-down", pull_down, "ohm", infinite=True)
    current = real("leakage", leakage, "A")
    behind, held_at = _beside(up, volts, low, 0.0)
    nothing = np.isinf(behind + series) & np.isinf(down)
    driven = _superposed(held_at, behind + series, np.where(nothing, 1.0, down), current)
    limit = at_least_zero("clamp voltage", clamp_voltage, "V", infinite=True)
    clamped = np.isfinite(limit) & np.isfinite(series)
    drawn, drawn_at = _beside(behind, held_at, at_least_zero("clamp resistance", clamp_resistance, "ohm"), limit)
    lowered = _superposed(np.where(clamped, drawn_at, 0.0), np.where(clamped, drawn, 0.0) + series, down, current)
    driven = np.where(clamped, np.minimum(driven, lowered), driven)
    held = np.clip(driven, 0.0, volts)
    loose = np.where(current < 0.0, 0.0, volts)
    return np.asarray(np.where(nothing, loose, np.where(np.isinf(down) & np.isinf(low), held, driven)))


def _beside(
    first: FloatArray, first_voltage: ArrayLike, second: FloatArray, second_voltage: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Two sources at one node as one: resistance and voltage; one of no resistance holds it, an open one counts not."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(first == 0.0, 1.0, np.where(np.isinf(first), 0.0, 1.0 / (1.0 + first / second)))
        share = np.where(np.isinf(second), 1.0, share)
        resistance = np.where(np.isinf(second), first, np.where(np.isinf(first), second, first * share))
        voltage = np.where(
            share == 1.0, first_voltage, share * first_voltage + (1.0 - share) * np.asarray(second_voltage)
        )
        voltage = np.where(share == 0.0, second_voltage, voltage)
    return np.asarray(resistance), np.asarray(voltage)


def regulated_supply(battery_voltage: ArrayLike, set_point: ArrayLike, dropout: ArrayLike) -> FloatArray:
    """Return the output of a linear regulator on a battery that may sag.

    Parameters
    ----------
    battery_voltage : Voltage at the regulator's input [V], broadcasts
    set_point : Regulated voltage [V], 0 or more, broadcasts
    dropout : Least voltage across the regulator [V], 0 or more, broadcasts

    Returns
    -------
    Supply of the controller [V], never below 0

    Examples
    --------
    >>> [round(float(v), 6) for v in regulated_supply([7.6, 3.2, 0.1], 3.3, 0.25)]
    [3.3, 2.95, 0.0]
    """
    left = real("battery voltage", battery_voltage, "V") - at_least_zero("dropout", dropout, "V")
    return np.asarray(np.maximum(np.minimum(at_least_zero("set point", set_point, "V"), left), 0.0))


def hold_up_time(
    capacitance: ArrayLike, current: ArrayLike, start_voltage: ArrayLike, end_voltage: ArrayLike
) -> FloatArray:
    """Return how long a capacitor alone keeps a constant current supplied.

    t = C (V_start - V_end) / I.

    Parameters
    ----------
    capacitance : Hold-up capacitance [F], 0 or more, broadcasts
    current : Constant current drawn [A], 0 or more, broadcasts
    start_voltage, end_voltage : Voltage at the start and lowest voltage that will do [V], broadcast

    Returns
    -------
    Hold-up time [s]; 0 where the start is not above the end or there is no capacitor, else infinite at 0 A

    Examples
    --------
    >>> round(float(hold_up_time(220e-6, 90e-3, 3.3, 2.95)) * 1e6, 3)
    855.556
    """
    drop = np.maximum(real("start voltage", start_voltage, "V") - real("end voltage", end_voltage, "V"), 0.0)
    charge = at_least_zero("capacitance", capacitance, "F") * drop
    drawn = at_least_zero("current", current, "A")
    lasting = np.where(charge > 0.0, np.inf, 0.0)
    return np.asarray(np.where(drawn > 0.0, charge / np.where(drawn > 0.0, drawn, 1.0), lasting))
