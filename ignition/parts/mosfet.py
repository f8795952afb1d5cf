"""The low-side N-channel MOSFET as data sheets describe it: on, off, and partly on.

Temperatures are junction temperatures in degC. Only the channel is modelled, not the body diode.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from ignition.errors import InputError
from ignition.parts._require import at_least_zero, positive, real
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "breakdown_at",
    "channel_current",
    "gain",
    "leakage",
    "on_resistance_row",
    "saturation_current",
    "slope_factor",
    "slope_voltage",
    "subthreshold_current",
    "temperature_factor",
    "threshold_at",
]

REFERENCE_TEMPERATURE = 25.0
"""Junction temperature of data-sheet rows [degC]."""

LEAST_TEMPERATURE_FACTOR = 0.5
"""Floor of the factor of the on-resistance in the cold [1]."""

_BREAKDOWN_DRIFT = 1e-3
"""Share of the breakdown voltage that a kelvin of cold takes [1/K]: common practice, 0.06 to 0.1 % a kelvin."""

_KELVIN = 273.15
_THERMAL_VOLTAGE_PER_KELVIN = 1.380649e-23 / 1.602176634e-19  # k/q [V/K], exact by definition of the SI


def breakdown_at(temperature: ArrayLike, breakdown_25: ArrayLike) -> FloatArray:
    """Return the least breakdown voltage at a temperature: it falls in the cold, and a rise in the heat is not counted.

    V(T) = V(25) (1 - 0.001 (25 - T)) below 25 degC.

    Source: common practice in power-MOSFET data sheets (from memory), the steepest of the usual slopes.

    Parameters
    ----------
    temperature : Junction temperature [degC], broadcasts
    breakdown_25 : Breakdown voltage of the data sheet, at 25 degC [V], broadcasts

    Returns
    -------
    Breakdown voltage [V]

    Examples
    --------
    >>> round(float(breakdown_at(-15.0, 30.0)), 9), float(breakdown_at(60.0, 30.0))
    (28.8, 30.0)
    """
    colder = np.maximum(REFERENCE_TEMPERATURE - real("temperature", temperature, "degC"), 0.0)
    return np.asarray(positive("breakdown", breakdown_25, "V") * np.maximum(1.0 - _BREAKDOWN_DRIFT * colder, 0.0))


def on_resistance_row(gate_voltage: ArrayLike, rows_gate_voltages: ArrayLike) -> npt.NDArray[np.int64]:
    """Return which row of on-resistance holds at a gate voltage: the highest row at or below it.

    Raises InputError if there is no row, the rows do not ascend, or a value is not finite.

    Parameters
    ----------
    gate_voltage : Gate-source voltage really present [V], any shape
    rows_gate_voltages : Gate voltages of the data-sheet rows [V], ascending, (n,)

    Returns
    -------
    Index of the row, shape of `gate_voltage`; -1 below the lowest row, where the data sheet promises nothing

    Examples
    --------
    >>> on_resistance_row([2.4, 2.5, 4.4, 5.0], [2.5, 4.5]).tolist()
    [-1, 0, 0, 1]
    """
    rows = real("row gate voltages", rows_gate_voltages, "V")
    if rows.ndim != 1 or rows.size == 0 or not (np.diff(rows) > 0.0).all():
        raise InputError(
            f"gate voltages of the on-resistance rows must ascend, at least one: received {rows.tolist()}; write each "
            f"row once, lowest gate voltage first"
        )
    volts = real("gate voltage", gate_voltage, "V")
    return np.asarray(np.searchsorted(rows, volts, side="right"), dtype=np.int64) - np.int64(1)


def _hot_span(max_junction: ArrayLike) -> FloatArray:
    """Temperature from 25 degC to the highest junction temperature [K]."""
    hottest = real("max junction", max_junction, "degC")
    if not (hottest > REFERENCE_TEMPERATURE).all():
        raise InputError(
            f"max junction must be above {REFERENCE_TEMPERATURE:g} degC: received {float(hottest.min()):g} degC; write "
            f"the highest junction temperature of the data sheet, such as 150 degC"
        )
    return np.asarray(hottest - REFERENCE_TEMPERATURE)


def temperature_factor(temperature: ArrayLike, hot_factor: ArrayLike, max_junction: ArrayLike) -> FloatArray:
    """Return the on-resistance at a junction temperature over that at 25 degC [1].

    Linear through 1 at 25 degC and `hot_factor` at `max_junction`, continued on both sides.

    Parameters
    ----------
    temperature : Junction temperature [degC], broadcasts
    hot_factor : On-resistance at `max_junction` over that at 25 degC [1], above 0, broadcasts
    max_junction : Highest junction temperature [degC], above 25, broadcasts

    Examples
    --------
    >>> [round(float(f), 6) for f in temperature_factor([-40.0, 25.0, 150.0], 1.6, 150.0)]
    [0.688, 1.0, 1.6]
    """
    rise = (real("temperature", temperature, "degC") - REFERENCE_TEMPERATURE) / _hot_span(max_junction)
    return np.asarray(
        np.maximum(1.0 + (positive("hot factor", hot_factor, "1") - 1.0) * rise, LEAST_TEMPERATURE_FACTOR)
    )


def leakage(temperature: ArrayLike, cool: ArrayLike, hot: ArrayLike, max_junction: ArrayLike) -> FloatArray:
    """Return the drain leakage of the MOSFET when it is off [A].

    Straight in ln(current) between the two points and beyond `max_junction`; `cool` below 25 degC. From a `cool` of
    zero it is straight in the current, which between the points lies above any exponential through the same end.

    Raises InputError if `hot` is below `cool`, or a value is not finite or outside its range.

    Parameters
    ----------
    temperature : Junction temperature [degC], broadcasts
    cool : Leakage at 25 degC [A], 0 or more, broadcasts
    hot : Leakage at `max_junction` [A], `cool` or more, broadcasts
    max_junction : Highest junction temperature [degC], above 25, broadcasts

    Examples
    --------
    >>> [round(float(i) * 1e6, 6) for i in leakage([0.0, 25.0, 87.5, 150.0], 1e-6, 100e-6, 150.0)]
    [1.0, 1.0, 10.0, 100.0]
    """
    low = at_least_zero("leakage at 25 degC", cool, "A")
    high = at_least_zero("hot leakage", hot, "A")
    if not (high >= low).all():
        raise InputError(
            f"hot leakage must not be below the leakage at 25 degC: received {float(np.min(high)):g} A against "
            f"{float(np.max(low)):g} A; check that the two were not exchanged"
        )
    rise = np.maximum(real("temperature", temperature, "degC") - REFERENCE_TEMPERATURE, 0.0) / _hot_span(max_junction)
    ratio = np.where(low > 0.0, high, 1.0) / np.where(low > 0.0, low, 1.0)
    return np.asarray(np.where(low > 0.0, low * np.power(ratio, rise), high * rise))


def threshold_at(temperature: ArrayLike, threshold_25: ArrayLike, drift: ArrayLike) -> FloatArray:
    """Return the gate threshold voltage at a junction temperature.

    Raises InputError if the drift is above 0 or a value is not finite.

    Parameters
    ----------
    temperature : Junction temperature [degC], broadcasts
    threshold_25 : Gate threshold at 25 degC [V], broadcasts
    drift : Change with temperature [V/K], 0 or less, broadcasts

    Returns
    -------
    Gate threshold [V]; it may come out negative (conducting with no gate voltage), and is not held at zero

    Examples
    --------
    >>> round(float(threshold_at(85.0, 1.1, -4e-3)), 6)
    0.86
    """
    slope = real("threshold drift", drift, "V/K")
    if not (slope <= 0.0).all():
        raise InputError(
            f"threshold drift must be 0 or negative (the threshold falls as the junction warms): received "
            f"{float(slope.max()):g} V/K; write for example -4e-3 V/K"
        )
    return np.asarray(
        real("threshold", threshold_25, "V")
        + slope * (real("temperature", temperature, "degC") - REFERENCE_TEMPERATURE)
    )


def gain(on_resistance: ArrayLike, gate_voltage: ArrayLike, threshold: ArrayLike) -> FloatArray:
    """Return the gain of the square law from one row of on-resistance [A/V^2].

    K = 1 / (Rds (Vgs - Vth)). The lowest resistance gives the largest gain.

    Raises InputError if the gate voltage does not exceed the threshold, or a value is outside its range.

    Parameters
    ----------
    on_resistance : On-resistance of the row [ohm], above 0, broadcasts
    gate_voltage : Gate voltage of the row [V], above the threshold, broadcasts
    threshold : Gate threshold [V], broadcasts

    Examples
    --------
    >>> round(float(gain(14e-3, 2.5, 1.5)), 4)
    71.4286
    """
    overdrive = real("gate voltage", gate_voltage, "V") - real("threshold", threshold, "V")
    if not (overdrive > 0.0).all():
        raise InputError(
            f"gate voltage of the on-resistance row must exceed the gate threshold: received a difference of "
            f"{float(overdrive.min()):g} V; check the row against the threshold"
        )
    return np.asarray(1.0 / (positive("on-resistance", on_resistance, "ohm") * overdrive))


def saturation_current(gate_voltage: ArrayLike, threshold: ArrayLike, gain: ArrayLike) -> FloatArray:
    """Return the channel current that the gate voltage allows at a high drain voltage.

    I = K / 2 (Vgs - Vth)^2.

    Parameters
    ----------
    gate_voltage : Gate-source voltage [V], broadcasts
    threshold : Gate threshold [V], broadcasts
    gain : Gain K [A/V^2], above 0, broadcasts

    Returns
    -------
    Saturation current [A]; 0 at and below the threshold, where `subthreshold_current` remains

    Examples
    --------
    >>> round(float(saturation_current(1.6, 1.5, 70.0)), 6)
    0.35
    """
    overdrive = np.maximum(real("gate voltage", gate_voltage, "V") - real("threshold", threshold, "V"), 0.0)
    return np.asarray(0.5 * positive("gain", gain, "A/V^2") * np.square(overdrive))


def slope_factor(slope: ArrayLike) -> FloatArray:
    """Return the sub-threshold slope factor of a slope stated at 25 degC [1].

    n = S / (ln 10 k T / q).

    Held at 1, the physical limit.

    Parameters
    ----------
    slope : Gate voltage for a tenfold drain current [V], broadcasts

    Examples
    --------
    >>> round(float(slope_factor(0.13355)), 3)
    2.257
    """
    least = math.log(10.0) * _THERMAL_VOLTAGE_PER_KELVIN * (REFERENCE_TEMPERATURE + _KELVIN)
    return np.maximum(positive("sub-threshold slope", slope, "V") / least, 1.0)


def slope_voltage(slope_factor: ArrayLike, temperature: ArrayLike) -> FloatArray:
    """Return the gate voltage by which the current below the threshold falls to 1/e [V]: n k T / q.

    Raises InputError if the slope factor is below 1, or the temperature is not above absolute zero.

    Parameters
    ----------
    slope_factor : Sub-threshold slope factor n [1], 1 or more, broadcasts
    temperature : Junction temperature [degC], above absolute zero, broadcasts

    Examples
    --------
    A power MOSFET measured 58 mV at n = 2.24 (published; 300 K):

    >>> round(float(slope_voltage(2.24, 26.85)), 4)
    0.0579
    """
    kelvin = positive("absolute temperature", real("temperature", temperature, "degC") + _KELVIN, "K")
    factor = real("slope factor", slope_factor, "1")
    if not (factor >= 1.0).all():
        raise InputError(
            f"slope factor must be 1 or more (1 is the physical limit): received {float(factor.min()):g}; write "
            f"for example 1.5"
        )
    return np.asarray(factor * _THERMAL_VOLTAGE_PER_KELVIN * kelvin)


def subthreshold_current(
    gate_voltage: ArrayLike,
    threshold: ArrayLike,
    temperature: ArrayLike,
    slope_factor: ArrayLike = 1.5,
    current_at_threshold: ArrayLike = 250e-6,
) -> FloatArray:
    """Return the channel current below the gate threshold.

    I = I_th exp(min(Vgs - Vth, 0) / (n k T / q)), for a drain a few kT/q above the source.

    Parameters
    ----------
    gate_voltage : Gate-source voltage [V], broadcasts
    threshold : Gate threshold [V], broadcasts
    temperature : Junction temperature [degC], above absolute zero, broadcasts
    slope_factor : Sub-threshold slope factor n [1], 1 or more, broadcasts
    current_at_threshold : Drain current by which the data sheet defines the threshold [A], above 0, broadcasts

    Returns
    -------
    Current [A]; `current_at_threshold` at and above the threshold, to be added to the square law

    Examples
    --------
    >>> round(float(subthreshold_current(1.0, 1.1, 25.0)) * 1e6, 3)
    18.666
    """
    falls = slope_voltage(slope_factor, temperature)
    below = np.minimum(real("gate voltage", gate_voltage, "V") - real("threshold", threshold, "V"), 0.0)
    carried = positive("current at threshold", current_at_threshold, "A")
    return np.asarray(carried * np.exp(below / falls))


def channel_current(
    gate_voltage: ArrayLike, drain_voltage: ArrayLike, threshold: ArrayLike, gain: ArrayLike
) -> FloatArray:
    """Return the channel current by the square law, in the triode and the saturated region [A].

    With overdrive v = Vgs - Vth: I = K (v - V / 2) V with V = min(Vds, v); continuous with its slope at Vds = v.

    Raises InputError if the drain voltage is negative, or a value is outside its range.

    Parameters
    ----------
    gate_voltage : Gate-source voltage [V], broadcasts
    drain_voltage : Drain-source voltage [V], 0 or more, broadcasts
    threshold : Gate threshold [V], broadcasts
    gain : Gain K [A/V^2], above 0, broadcasts

    Examples
    --------
    >>> round(float(channel_current(2.5, 0.01, 1.5, 70.0)), 6)
    0.6965
    >>> round(float(channel_current(1.6, 7.6, 1.5, 70.0)), 6)
    0.35
    """
    overdrive = np.maximum(real("gate voltage", gate_voltage, "V") - real("threshold", threshold, "V"), 0.0)
    across = np.minimum(at_least_zero("drain voltage", drain_voltage, "V"), overdrive)
    return np.asarray(positive("gain", gain, "A/V^2") * (overdrive - 0.5 * across) * across)
