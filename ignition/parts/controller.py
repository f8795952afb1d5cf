"""The controller: converter, pins at a MOSFET gate, supply and clamp diodes."""

from __future__ import annotations

import numpy as np

from ignition.errors import InputError
from ignition.parts._require import at_least_zero, positive, real
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "acquisition_time",
    "adc_code",
    "clamp_current",
    "floating_gate_voltage",
    "gate_voltage",
    "hold_up_time",
    "regulated_supply",
    "settling",
]

MOST_BITS = 32
"""Largest resolution that a converter is given [bit]."""


def _codes(bits: ArrayLike) -> FloatArray:
    """Number of codes of a converter."""
    count = real("bits", bits, "bit")
    if not ((count >= 1.0) & (count <= MOST_BITS) & (count == np.floor(count))).all():
        raise InputError(
            f"bits must be a whole number from 1 to {MOST_BITS}: received {bits!r}; write the resolution, such as 12"
        )
    return np.asarray(np.exp2(count))


def adc_code(voltage: ArrayLike, reference: ArrayLike, bits: ArrayLike) -> FloatArray:
    """Return the code of an ideal converter before rounding.

    Parameters
    ----------
    voltage : Voltage at the pin [V], broadcasts
    reference : Reference voltage [V], above 0, broadcasts
    bits : Resolution [bit], whole number from 1 to 32, broadcasts

    Returns
    -------
    Real-valued code [LSB], held between 0 and 2^bits - 1

    Examples
    --------
    >>> float(adc_code(1.65, 3.3, 12)), float(adc_code(5.0, 3.3, 12))
    (2048.0, 4095.0)
    """
    codes = _codes(bits)
    raw = codes * real("voltage", voltage, "V") / positive("reference", reference, "V")
    return np.asarray(np.clip(raw, 0.0, codes - 1.0))


def acquisition_time(
    bits: ArrayLike, error_lsb: ArrayLike, source_resistance: ArrayLike, sample_capacitance: ArrayLike
) -> FloatArray:
    """Return the time in which a full-scale step settles on the sample capacitor.

    t = ln(2^bits / error) R C.

    Source: C8051T620/320 manual, equation 8.1, n.d.

    Parameters
    ----------
    bits : Resolution [bit], whole number from 1 to 32, broadcasts
    error_lsb : Error that may remain [LSB], above 0, broadcasts
    source_resistance : All resistance between source and sample capacitor [ohm], 0 or more, broadcasts
    sample_capacitance : Sample capacitance [F], 0 or more, broadcasts

    Returns
    -------
    Acquisition time [s]; 0 where the whole step may remain

    Examples
    --------
    >>> round(float(acquisition_time(12, 0.125, 100e3, 10e-12)) * 1e6, 4)
    10.3972
    """
    ratio = _codes(bits) / positive("error", error_lsb, "LSB")
    return settling(np.maximum(ratio, 1.0), source_resistance, sample_capacitance)


def settling(ratio: ArrayLike, resistance: ArrayLike, capacitance: ArrayLike, fixed: ArrayLike = 0.0) -> FloatArray:
    """Return the time in which a step falls to one part in `ratio`, plus a fixed delay [s].

    t = ln(ratio) R C + fixed.

    Parameters
    ----------
    ratio : Step over the error that may remain [1], 1 or more, broadcasts. Data sheets of 10-bit converters write 2047,
        one less than 2^11
    resistance : All resistance in the path [ohm], 0 or more, broadcasts
    capacitance : Capacitance that is charged [F], 0 or more, broadcasts
    fixed : Delay of amplifier and temperature to be added [s], 0 or more, broadcasts

    Examples
    --------
    >>> round(float(settling(2047, 10.5e3, 120e-12)) * 1e6, 4)
    9.6064
    """
    parts = positive("ratio", ratio, "1")
    if not (parts >= 1.0).all():
        raise InputError(
            f"ratio must be 1 or more: received {float(parts.min()):g}; write the step divided by the error that "
            f"may remain"
        )
    path = at_least_zero("resistance", resistance, "ohm") * at_least_zero("capacitance", capacitance, "F")
    return np.asarray(np.log(parts) * path + at_least_zero("fixed delay", fixed, "s"))


def gate_voltage(
    supply: ArrayLike,
    output_resistance: ArrayLike,
    series_resistance: ArrayLike,
    pull_down: ArrayLike,
    leakage: ArrayLike = 0.0,
) -> FloatArray:
    """Return the gate voltage while the pin is driven; a supply of 0 V stands for a pin driven low [V].

    Superposition with R = output + series: V = supply pull_down / (R + pull_down) + leakage (R parallel pull_down).

    Raises InputError if a value is outside its range, or series and pull-down are both infinite (the gate floats).

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
) -> FloatArray:
    """Return the gate voltage while the pin is not driven.

    Superposition as in `gate_voltage` with R = pull-up + series. A pin's leakage counted at the gate is an upper bound
    of the same leakage at the pin.

    Parameters
    ----------
    supply : Supply of the controller [V], 0 or more, broadcasts
    reset_pull_up : Pull-up of the pin in reset [ohm], 0 or more; infinite where it floats, broadcasts
    series_resistance : Resistance between pin and gate [ohm], 0 or more, may be infinite, broadcasts
    pull_down : Resistance from gate to ground [ohm], 0 or more; infinite where there is none, broadcasts
    leakage : Current pushed into the gate node [A]; negative where it draws, broadcasts

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
    path = at_least_zero("reset pull-up", reset_pull_up, "ohm", infinite=True) + at_least_zero(
        "series resistance", series_resistance, "ohm", infinite=True
    )
    down = at_least_zero("pull-down", pull_down, "ohm", infinite=True)
    current = real("leakage", leakage, "A")
    nothing = np.isinf(path) & np.isinf(down)
    driven = _superposed(volts, path, np.where(nothing, 1.0, down), current)
    held = np.clip(driven, 0.0, volts)
    loose = np.where(current < 0.0, 0.0, volts)
    return np.asarray(np.where(nothing, loose, np.where(np.isinf(down), held, driven)))


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


def clamp_current(
    pin_voltage_open: ArrayLike,
    source_resistance: ArrayLike,
    rail: ArrayLike,
    drop: ArrayLike,
    clamp_resistance: ArrayLike,
) -> FloatArray:
    """Return the current that a pin's upper clamp diode passes into the rail.

    I = max(0, V_open - rail - drop) / (R_source + R_clamp). The rail is taken as stiff; a lower drop is the worse one.

    Parameters
    ----------
    pin_voltage_open : Voltage that the source would bring to the pin without the clamp [V], broadcasts
    source_resistance : Resistance of that source [ohm], 0 or more, broadcasts
    rail : Voltage of the controller's rail [V]; 0 for a dead controller, broadcasts
    drop : Forward voltage of the clamp [V], 0 or more, broadcasts
    clamp_resistance : Resistance of the clamp [ohm], 0 or more, broadcasts

    Returns
    -------
    Clamp current [A]; 0 where the clamp does not conduct, infinite where nothing limits it

    Examples
    --------
    >>> round(float(clamp_current(12.6, 100e3, 3.3, 0.5, 0.0)) * 1e6, 3)
    88.0
    """
    excess = np.maximum(
        real("pin voltage", pin_voltage_open, "V") - real("rail", rail, "V") - at_least_zero("drop", drop, "V"), 0.0
    )
    path = at_least_zero("source resistance", source_resistance, "ohm") + at_least_zero(
        "clamp resistance", clamp_resistance, "ohm"
    )
    unlimited = np.where(excess > 0.0, np.inf, 0.0)
    return np.asarray(np.where(path > 0.0, excess / np.where(path > 0.0, path, 1.0), unlimited))
