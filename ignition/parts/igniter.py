"""Heating of an igniter's bridge by current: one thermal mass, one loss path, one function temperature.

The bridge equation ``C dtheta/dt = I^2 R0 (1 + alpha theta) - gamma theta`` is written with the thermal fraction
``x = theta / theta_f`` (1 = the bridge functions), the steady threshold current ``I0`` (the current that just
reaches x = 1 when held for ever), ``tau = C / gamma`` and the growth ``a = alpha theta_f = R(T_f) / R(T) - 1`` of the
resistance R0 = R(T) from the ambient temperature T to the function temperature T_f::

    tau dx/dt = (I / I0)^2 (1 + a x) / (1 + a) - x

With the threshold given, more growth means slower heating at every x below 1, as does a longer tau or a higher I0.
Between two changes of current this is linear, so every function here is a closed form.
"""

from __future__ import annotations

import numpy as np

from ignition.errors import InputError
from ignition.parts._require import at_least_zero, positive, real
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "adiabatic_energy",
    "function_time",
    "resistance_growth",
    "resistance_ratio",
    "shifted_threshold",
    "steady_thermal_fraction",
    "sustained",
    "thermal_fraction",
    "time_constant_from_energy",
]


def _growth(value: ArrayLike) -> FloatArray:
    growth = real("growth", value, "1")
    if not (growth > -1.0).all():
        raise InputError(
            f"growth must be above -1 (the bridge keeps a positive resistance up to the function temperature): "
            f"received {float(growth.min()):g}; write temperature coefficient times function temperature rise"
        )
    return growth


def _rates(current: FloatArray, threshold: FloatArray, growth: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Heating rate k and loss rate g of tau dx/dt = k - g x; a zero threshold is taken as 1 (the caller masks it)."""
    square = np.square(current / np.where(threshold == 0.0, 1.0, threshold))
    return square / (1.0 + growth), 1.0 - square * (growth / (1.0 + growth))


def _risen(loss: FloatArray, elapsed: FloatArray) -> FloatArray:
    """(1 - exp(-g z)) / g, by its series where g z vanishes; elapsed time z in time constants."""
    exponent = np.where(loss == 0.0, 0.0, loss * elapsed)
    exact = -np.expm1(-exponent) / np.where(loss == 0.0, 1.0, loss)
    return np.where(np.abs(exponent) < 1e-9, elapsed * (1.0 - 0.5 * exponent), exact)


def steady_thermal_fraction(current: ArrayLike, threshold: ArrayLike, growth: ArrayLike = 0.0) -> FloatArray:
    """Return the thermal fraction that a current reaches when it is held for ever.

    x = u / (1 + a - u a) with u = (I / I0)^2; runaway for u a >= 1 + a. At a = 0, x = u.

    Parameters
    ----------
    current : Bridge current [A], either sign, any shape, broadcasts
    threshold : Steady threshold current [A], 0 or more, any shape, broadcasts. Zero: the surroundings alone function it
    growth : Relative growth of the bridge resistance up to the function temperature [1], above -1, broadcasts

    Returns
    -------
    Thermal fraction [1]; infinite where the heating runs away and where `threshold` is zero

    Examples
    --------
    >>> round(float(steady_thermal_fraction(0.1, 0.4)), 6)
    0.0625
    """
    amperes = real("current", current, "A")
    limit = at_least_zero("threshold", threshold, "A")
    heat, loss = _rates(amperes, limit, _growth(growth))
    steady = np.where(loss > 0.0, heat / np.where(loss > 0.0, loss, 1.0), np.inf)
    return np.asarray(np.where(limit == 0.0, np.inf, steady))


def thermal_fraction(
    current: ArrayLike,
    threshold: ArrayLike,
    time_constant: ArrayLike,
    time: ArrayLike,
    start: ArrayLike = 0.0,
    growth: ArrayLike = 0.0,
) -> FloatArray:
    """Return the thermal fraction after a constant current has flowed for a time.

    x(t) = x(0) exp(-z) + k (1 - exp(-z)) / g with u = (I / I0)^2, k = u / (1 + a), g = 1 - u a / (1 + a) and
    z = g t / tau.

    Parameters
    ----------
    current : Bridge current [A], either sign, any shape, broadcasts
    threshold : Steady threshold current [A], 0 or more, any shape, broadcasts
    time_constant : Thermal time constant C / gamma [s], above 0, any shape, broadcasts
    time : Time since the current began [s], 0 or more, may be infinite, any shape, broadcasts
    start : Thermal fraction at time 0 [1], 0 or more, any shape, broadcasts
    growth : Relative growth of the bridge resistance up to the function temperature [1], above -1, broadcasts

    Returns
    -------
    Thermal fraction [1]; infinite where `threshold` is zero. Values above 1 continue the law past function

    Examples
    --------
    >>> round(float(thermal_fraction(2.0, 1.0, 10e-3, 2.87682072e-3)), 6)
    1.0
    """
    amperes = real("current", current, "A")
    limit = at_least_zero("threshold", threshold, "A")
    elapsed = at_least_zero("time", time, "s", infinite=True) / positive("time constant", time_constant, "s")
    begin = at_least_zero("start", start, "1")
    heat, loss = _rates(amperes, limit, _growth(growth))
    with np.errstate(over="ignore", invalid="ignore"):
        carried = np.where(begin == 0.0, 0.0, begin * np.exp(-np.where(loss == 0.0, 0.0, loss * elapsed)))
        fraction = carried + heat * _risen(loss, elapsed)
    return np.asarray(np.where(limit == 0.0, np.inf, fraction))


def function_time(
    current: ArrayLike,
    threshold: ArrayLike,
    time_constant: ArrayLike,
    start: ArrayLike = 0.0,
    growth: ArrayLike = 0.0,
) -> FloatArray:
    """Return the time until a constant current makes the bridge function.

    t = (tau / g) ln(1 + g (1 - x(0)) / (u - 1)) with u = (I / I0)^2 and g = 1 - u a / (1 + a); at a = 0 and x(0) = 0
    it is -tau ln(1 - (I0 / I)^2). u - 1 is taken as (I - I0)(I + I0) / I0^2, exact just above the threshold.

    Source: The cold and hot curves of a thermal overload relay (IEC 60255-8, 60255-149) are this law at a = 0.

    Parameters
    ----------
    current : Bridge current [A], either sign, any shape, broadcasts
    threshold : Steady threshold current [A], 0 or more, any shape, broadcasts. Zero: the surroundings alone function it
    time_constant : Thermal time constant C / gamma [s], above 0, any shape, broadcasts
    start : Thermal fraction at time 0 [1], 0 or more, any shape, broadcasts
    growth : Relative growth of the bridge resistance up to the function temperature [1], above -1, broadcasts

    Returns
    -------
    Function time [s]; infinite where the current does not exceed the threshold, zero where `start` is 1 or more or
        `threshold` is zero

    Examples
    --------
    >>> round(float(function_time(2.0, 1.0, 1.0)), 6)
    0.287682
    """
    amperes = np.abs(real("current", current, "A"))
    limit = at_least_zero("threshold", threshold, "A")
    constant = positive("time constant", time_constant, "s")
    missing = 1.0 - at_least_zero("start", start, "1")
    _, loss = _rates(amperes, limit, _growth(growth))
    scale = np.where(limit == 0.0, 1.0, limit)
    excess = np.where(amperes > limit, ((amperes - limit) / scale) * ((amperes + limit) / scale), 1.0)
    argument = np.where(missing > 0.0, loss * missing / excess, 0.0)
    shape = np.where(argument == 0.0, 1.0, np.log1p(argument) / np.where(argument == 0.0, 1.0, argument))
    time = np.where(amperes > limit, constant * (missing / excess) * shape, np.inf)
    return np.asarray(np.where((missing <= 0.0) | (limit == 0.0), 0.0, time))


def adiabatic_energy(
    threshold: ArrayLike, resistance: ArrayLike, time_constant: ArrayLike, growth: ArrayLike = 0.0
) -> FloatArray:
    """Return the energy that functions the bridge when it arrives too fast for any to be lost [J].

    E0 = C theta_f = I0^2 R0 (1 + a) tau = I0^2 R(T_f) tau: threshold, cold resistance R0 and growth all belong to the
    one ambient temperature for which the energy is stated.

    Parameters
    ----------
    threshold : Steady threshold current [A], 0 or more, any shape, broadcasts
    resistance : Cold bridge resistance [ohm], above 0, any shape, broadcasts
    time_constant : Thermal time constant [s], above 0, any shape, broadcasts
    growth : Relative growth of the bridge resistance up to the function temperature [1], above -1, broadcasts

    Examples
    --------
    >>> round(float(adiabatic_energy(0.4, 1.0, 10e-3)), 9)
    0.0016
    """
    power = np.square(at_least_zero("threshold", threshold, "A")) * positive("resistance", resistance, "ohm")
    return np.asarray(power * (1.0 + _growth(growth)) * positive("time constant", time_constant, "s"))


def time_constant_from_energy(
    energy: ArrayLike, threshold: ArrayLike, resistance: ArrayLike, growth: ArrayLike = 0.0
) -> FloatArray:
    """Return the thermal time constant that goes with an adiabatic energy [s].

    tau = E0 / (I0^2 R0 (1 + a)).

    Parameters
    ----------
    energy : Adiabatic energy [J], above 0, any shape, broadcasts
    threshold : Steady threshold current [A], above 0, any shape, broadcasts
    resistance : Cold bridge resistance [ohm], above 0, any shape, broadcasts
    growth : Relative growth of the bridge resistance up to the function temperature [1], above -1, broadcasts

    Examples
    --------
    >>> round(float(time_constant_from_energy(1.6e-3, 0.4, 1.0)), 9)
    0.01
    """
    power = np.square(positive("threshold", threshold, "A")) * positive("resistance", resistance, "ohm")
    return np.asarray(positive("energy", energy, "J") / (power * (1.0 + _growth(growth))))


def sustained(current: ArrayLike, duration: ArrayLike, time_constant: ArrayLike, growth: ArrayLike = 0.0) -> FloatArray:
    """Return the steady threshold of a bridge that just functions at a current held for a finite duration.

    At a = 0: I0 = I sqrt(1 - exp(-t / tau)). Otherwise u = (I / I0)^2 is found by bisection of x(t) = 1 between
    1 / q and (1 + a) / q, q = 1 - exp(-t / tau), which bound it because the power on the way stays between
    u / (1 + a) and u.

    Parameters
    ----------
    current : Stated current [A], 0 or more, any shape, broadcasts
    duration : Duration of that current [s], above 0, may be infinite, any shape, broadcasts
    time_constant : Thermal time constant [s], above 0, any shape, broadcasts
    growth : Relative growth of the bridge resistance up to the function temperature [1], above -1, broadcasts

    Returns
    -------
    The current taken to infinite duration [A], never above `current`

    Examples
    --------
    >>> round(float(sustained(0.9, 50e-3, 12e-3)), 6)
    0.892996
    """
    amperes = at_least_zero("current", current, "A")
    elapsed = positive("duration", duration, "s", infinite=True) / positive("time constant", time_constant, "s")
    rise = -np.expm1(-elapsed)
    grown = _growth(growth)
    if not grown.any():
        return np.asarray(amperes * np.sqrt(rise))
    low = np.minimum(1.0, 1.0 + grown) / rise
    high = np.maximum(1.0, 1.0 + grown) / rise
    share = grown / (1.0 + grown)
    with np.errstate(over="ignore", invalid="ignore"):
        for _ in range(60):
            middle = 0.5 * (low + high)
            functions = middle / (1.0 + grown) * _risen(1.0 - middle * share, elapsed) >= 1.0
            low, high = np.where(functions, low, middle), np.where(functions, middle, high)
    return np.asarray(amperes / np.sqrt(np.maximum(0.5 * (low + high), 1.0)))


def resistance_ratio(temperature: ArrayLike, coefficient: ArrayLike, reference_temperature: ArrayLike) -> FloatArray:
    """Return the bridge resistance at a temperature over that at the reference temperature [1].

    R(T) / R(T0) = 1 + alpha (T - T0).

    Parameters
    ----------
    temperature : Bridge temperature [degC], any shape, broadcasts
    coefficient : Temperature coefficient alpha [1/K], either sign, any shape, broadcasts
    reference_temperature : Temperature at which resistance and coefficient are stated [degC], any shape, broadcasts

    Examples
    --------
    >>> round(float(resistance_ratio(300.0, 1e-3, 20.0)), 9)
    1.28
    """
    alpha = real("temperature coefficient", coefficient, "1/K")
    rise = real("temperature", temperature, "degC") - real("reference temperature", reference_temperature, "degC")
    ratio = np.asarray(1.0 + alpha * rise)
    if not (ratio > 0.0).all():
        raise InputError(
            f"temperature coefficient brings the bridge to zero ohm: received {float(np.min(alpha)):g} / K at "
            f"{float(np.max(temperature)):g} degC; correct the coefficient, or the temperatures"
        )
    return ratio


def resistance_growth(
    function_temperature: ArrayLike,
    temperature: ArrayLike,
    coefficient: ArrayLike,
    reference_temperature: ArrayLike,
) -> FloatArray:
    """Return the relative growth of the bridge resistance from the ambient to the function temperature [1].

    a = R(T_f) / R(T) - 1: what the other laws here call `growth`. It is monotone in each of its arguments.

    Parameters
    ----------
    function_temperature : Temperature at which the bridge functions [degC], any shape, broadcasts
    temperature : Ambient temperature [degC], any shape, broadcasts
    coefficient : Temperature coefficient alpha [1/K], either sign, any shape, broadcasts
    reference_temperature : Temperature at which resistance and coefficient are stated [degC], any shape, broadcasts

    Examples
    --------
    >>> round(float(resistance_growth(270.0, -30.0, 1e-3, 20.0)), 9)
    0.315789474
    """
    hot = resistance_ratio(function_temperature, coefficient, reference_temperature)
    return np.asarray(hot / resistance_ratio(temperature, coefficient, reference_temperature) - 1.0)


def shifted_threshold(
    threshold: ArrayLike, temperature: ArrayLike, reference_temperature: ArrayLike, function_temperature: ArrayLike
) -> FloatArray:
    """Return the steady threshold at another ambient temperature.

    I0(T) = I0(T0) sqrt((T_f - T) / (T_f - T0)). It holds with a resistance that grows with temperature too: the bridge
    has the same resistance at the function temperature from whatever ambient it comes.

    Raises InputError if an argument is not finite, or the function temperature does not exceed the reference.

    Parameters
    ----------
    threshold : Steady threshold at the reference temperature [A], 0 or more, any shape, broadcasts
    temperature : Ambient temperature [degC], any shape, broadcasts
    reference_temperature : Ambient temperature of the stated threshold [degC], any shape, broadcasts
    function_temperature : Temperature at which the bridge functions [degC], above the reference, any shape, broadcasts

    Returns
    -------
    Steady threshold [A]; zero at and above the function temperature

    Examples
    --------
    >>> round(float(shifted_threshold(0.4, 85.0, 20.0, 280.0)), 6)
    0.34641
    """
    reference = real("reference temperature", reference_temperature, "degC")
    function = real("function temperature", function_temperature, "degC")
    if not (function > reference).all():
        raise InputError(
            f"function temperature must exceed the reference temperature: received {float(np.min(function)):g} degC "
            f"against {float(np.max(reference)):g} degC; write the temperature at which the bridge functions"
        )
    rise = np.maximum(function - real("temperature", temperature, "degC"), 0.0)
    return np.asarray(at_least_zero("threshold", threshold, "A") * np.sqrt(rise / (function - reference)))
