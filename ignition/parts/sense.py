"""The sense chain from the drain to the converter: divider, filter and sampling."""

from __future__ import annotations

import numpy as np

from ignition.errors import InputError
from ignition.parts._require import at_least_zero, positive, real
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "charge_sharing_error",
    "filter_time_constant",
    "largest_settling_error",
    "settling_error",
    "settling_time",
    "thevenin_resistance",
]


def thevenin_resistance(upper: ArrayLike, lower: ArrayLike) -> FloatArray:
    """Return the resistance that the converter sees at the tap of the sense divider [ohm].

    R = upper lower / (upper + lower), for a drain held by a source without resistance.

    Raises InputError if both resistors are zero or both infinite, or one is negative.

    Parameters
    ----------
    upper, lower : Resistors from drain to tap and from tap to ground [ohm], 0 or more, one may be infinite, broadcast

    Examples
    --------
    >>> round(float(thevenin_resistance(100e3, 33e3)), 3)
    24812.03
    """
    top = at_least_zero("upper resistor", upper, "ohm", infinite=True)
    bottom = at_least_zero("lower resistor", lower, "ohm", infinite=True)
    if ((top == 0.0) & (bottom == 0.0)).any() or (np.isinf(top) & np.isinf(bottom)).any():
        raise InputError(
            "sense divider has no defined tap voltage: received both resistors shorted (drain tied to ground) or both "
            "open (tap floating); write at most one of them as 0 or infinite"
        )
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(np.isinf(top), bottom, top / (1.0 + top / bottom)))


def filter_time_constant(upper: ArrayLike, lower: ArrayLike, capacitance: ArrayLike) -> FloatArray:
    """Return the time constant of the divider with a capacitor from tap to ground [s].

    Raises InputError if both resistors are zero or both infinite, or a value is outside its range.

    Parameters
    ----------
    upper, lower : Resistors from drain to tap and from tap to ground [ohm], 0 or more, one may be infinite, broadcast
    capacitance : Filter capacitance [F], 0 or more, broadcasts

    Examples
    --------
    >>> round(float(filter_time_constant(100e3, 100e3, 100e-9)), 9)
    0.005
    """
    return np.asarray(thevenin_resistance(upper, lower) * at_least_zero("filter capacitance", capacitance, "F"))


def charge_sharing_error(
    tap_voltage_step: ArrayLike, sample_capacitance: ArrayLike, filter_capacitance: ArrayLike
) -> FloatArray:
    """Return the error just after the sample capacitor is connected to the filter capacitor.

    Conservation of charge: error = step C_sample / (C_sample + C_filter). The divider then restores it with the
    filter's time constant; `settling_error` gives the remainder.

    Raises InputError if a capacitance is negative or a value is not finite.

    Parameters
    ----------
    tap_voltage_step : Tap voltage less the voltage left on the sample capacitor [V]; 1 gives the error as a fraction.
        Broadcasts
    sample_capacitance : Sample capacitance [F], 0 or more, broadcasts
    filter_capacitance : Filter capacitance [F], 0 or more, broadcasts

    Returns
    -------
    Tap voltage before less the shared voltage [V]; the whole step without a filter capacitor, 0 without a sample
        capacitor

    Examples
    --------
    >>> round(float(charge_sharing_error(3.0, 10e-12, 100e-9)) * 1e6, 3)
    299.97
    """
    sample = at_least_zero("sample capacitance", sample_capacitance, "F")
    both = sample + at_least_zero("filter capacitance", filter_capacitance, "F")
    share = np.where(sample > 0.0, sample / np.where(both > 0.0, both, 1.0), 0.0)
    return np.asarray(real("tap voltage step", tap_voltage_step, "V") * share)


def settling_error(
    time: ArrayLike,
    source_resistance: ArrayLike,
    converter_resistance: ArrayLike,
    sample_capacitance: ArrayLike,
    filter_capacitance: ArrayLike = 0.0,
) -> FloatArray:
    """Return the share of the sample capacitor's step that is missing after the acquisition time.

    Without a capacitor at the pin: exp(-t / ((R_source + R_converter) C_sample)). With one: the exact two-pole answer
    of both capacitors, whose slow pole restores the charge shared at the start.

    Parameters
    ----------
    time : Acquisition time [s], 0 or more, broadcasts
    source_resistance : Resistance of the tap [ohm], 0 or more, broadcasts
    converter_resistance : Resistance between pin and sample capacitor [ohm], 0 or more, broadcasts
    sample_capacitance : Sample capacitance [F], above 0, broadcasts
    filter_capacitance : Capacitance at the pin [F], 0 or more, settled at the tap voltage before the sample, broadcasts

    Returns
    -------
    Remaining share of the step [1], 0 to 1

    Examples
    --------
    >>> round(float(settling_error(1e-6, 90e3, 10e3, 10e-12)), 6)
    0.367879
    """
    seconds = at_least_zero("time", time, "s")
    source = at_least_zero("source resistance", source_resistance, "ohm")
    inner = at_least_zero("converter resistance", converter_resistance, "ohm")
    sample = positive("sample capacitance", sample_capacitance, "F")
    pin = at_least_zero("filter capacitance", filter_capacitance, "F")
    alone = (pin == 0.0) | (source == 0.0)
    direct = ~alone & (inner == 0.0)
    single = _decay(seconds, (source + inner) * sample)
    shared = sample / (sample + pin) * _decay(seconds, source * (sample + pin))
    two_pole = _two_pole(
        seconds,
        np.where(source > 0.0, source, 1.0),
        np.where(inner > 0.0, inner, 1.0),
        sample,
        np.where(pin > 0.0, pin, 1.0),
    )
    return np.asarray(np.where(alone, single, np.where(direct, shared, two_pole)))


def largest_settling_error(
    time: ArrayLike,
    source_resistance: ArrayLike,
    converter_resistance: ArrayLike,
    sample_capacitance: ArrayLike,
    smallest_filter: ArrayLike = 0.0,
    largest_filter: ArrayLike = 0.0,
) -> FloatArray:
    """Bound the share of the step that is missing, whatever the capacitance at the pin between two limits.

    A small filter falls further when it shares its charge, a large one recovers more slowly, so that neither limit need
    be the worst: the bound falls as the smallest and recovers as the largest. What both capacitors lack is then never
    less than with any filter between the limits.

    Raises InputError if the limits do not ascend, or only the smallest is 0.

    Parameters
    ----------
    time : Acquisition time [s], 0 or more, broadcasts
    source_resistance : Resistance of the tap [ohm], 0 or more, broadcasts
    converter_resistance : Resistance between pin and sample capacitor [ohm], 0 or more, broadcasts
    sample_capacitance : Sample capacitance [F], above 0, broadcasts
    smallest_filter, largest_filter : Limits of the capacitance at the pin [F], both 0 or both above 0, broadcast

    Returns
    -------
    Bound of the remaining share of the step [1], 0 to 1; without a filter the share itself

    Examples
    --------
    >>> round(float(largest_settling_error(4e-6, 40e3, 0.0, 10e-12, 20e-12, 50e-12)), 4)
    0.0879
    """
    small = at_least_zero("smallest filter", smallest_filter, "F")
    large = at_least_zero("largest filter", largest_filter, "F")
    if ((small > large) | ((small == 0.0) & (large > 0.0))).any():
        raise InputError(
            f"limits of a filter must ascend and be both 0 or both above 0: received {smallest_filter!r} and "
            f"{largest_filter!r}; write 0 and 0 where there is no filter"
        )
    slower = large / np.where(small > 0.0, small, 1.0) + (small == 0.0)
    source = at_least_zero("source resistance", source_resistance, "ohm") * slower
    return settling_error(time, source, converter_resistance, sample_capacitance, small)


def _decay(time: FloatArray, constant: FloatArray) -> FloatArray:
    """exp(-t / tau), at tau = 0 its limit: 1 at time 0 and 0 after it."""
    usual = np.exp(-time / np.where(constant > 0.0, constant, 1.0))
    return np.asarray(np.where(constant > 0.0, usual, np.where(time > 0.0, 0.0, 1.0)))


def _two_pole(
    time: FloatArray, source: FloatArray, inner: FloatArray, sample: FloatArray, pin: FloatArray
) -> FloatArray:
    """Missing share on the sample capacitor, the pin capacitor starting at the tap voltage.

    With fill = 1/(R_c C_s), couple = 1/(R_c C_p), feed = 1/(R_s C_p) the poles solve p^2 - (fill + couple + feed) p +
    fill feed = 0, and (p2 - fill)(fill - p1) = fill couple keeps the small one of the two weights exact.
    """
    fill, couple, feed = 1.0 / (inner * sample), 1.0 / (inner * pin), 1.0 / (source * pin)
    total = fill + couple + feed
    gap = np.sqrt(np.square(fill - feed) + couple * (couple + 2.0 * (fill + feed)))
    fast = 0.5 * (total + gap)
    slow = fill * feed / fast
    offset = 0.5 * (total - 2.0 * fill)
    large = np.abs(offset) + 0.5 * gap
    small = fill * couple / large
    slow_weight = np.where(offset >= 0.0, large, small) / gap
    fast_weight = np.where(offset >= 0.0, small, large) / gap
    return np.asarray(slow_weight * np.exp(-slow * time) + fast_weight * np.exp(-fast * time))


def settling_time(error_fraction: ArrayLike, time_constant: ArrayLike) -> FloatArray:
    """Return the time in which an exponential settles to a share of its step.

    t = tau ln(1 / error).

    Raises InputError if the share is not above 0 or the time constant is negative.

    Parameters
    ----------
    error_fraction : Share of the step that may remain [1], above 0, broadcasts
    time_constant : Time constant [s], 0 or more, broadcasts

    Returns
    -------
    Settling time [s]; 0 where the whole step may remain

    Examples
    --------
    >>> round(float(settling_time(0.01, 1e-3)), 6)
    0.004605
    """
    constant = at_least_zero("time constant", time_constant, "s")
    return np.asarray(constant * np.maximum(-np.log(positive("error fraction", error_fraction, "1")), 0.0))
