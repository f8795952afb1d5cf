"""Copper conductors: wire gauge, resistance, board traces, heating and melting, inductance of a pair."""

from __future__ import annotations

import math
import re
from typing import Literal

import numpy as np

from ignition.errors import InputError
from ignition.parts._require import bounded
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "COPPER_MELTING_POINT",
    "COPPER_RESISTIVITY",
    "COPPER_TEMPERATURE_COEFFICIENT",
    "FUSING_CONSTANTS",
    "adiabatic_temperature",
    "awg_area",
    "awg_diameter",
    "conductor_area",
    "copper_resistance",
    "copper_thickness",
    "fusing_current_preece",
    "onderdonk_current",
    "onderdonk_time",
    "temperature_factor",
    "trace_area",
    "trace_current",
    "trace_temperature_rise",
    "two_wire_inductance",
]

COPPER_RESISTIVITY = 1e-6 / 58.0
"""Annealed copper at 20 degC [ohm m]: 1/58 ohm mm^2/m (IEC 60028, 1925)."""

COPPER_TEMPERATURE_COEFFICIENT = 0.00393
"""Change of resistance per kelvin, of the value at 20 degC [1/K] (IEC 60028, 1925)."""

COPPER_MELTING_POINT = 1083.0
"""Melting point of copper used by Onderdonk's equation [degC]."""

FUSING_CONSTANTS = {
    "aluminium": 7585.0,
    "copper": 10244.0,
    "iron": 3148.0,
    "platinum": 5172.0,
    "tin": 1642.0,
    "tin-lead": 1318.0,
}
"""Preece's constants [A/inch^1.5] (Ness Engineering fuse page, n.d.)."""

Layer = Literal["outer", "inner"]

_INCH = 25.4e-3
_MIL = 25.4e-6
_CIRCULAR_MIL = math.pi / 4.0 * _MIL**2
_OUNCE_THICKNESS = 1.378 * _MIL
_TRACE_CONSTANTS = {"inner": 0.024, "outer": 0.048}
_ONDERDONK_OFFSET = 234.0
_AREA_HELP = 'write "AWG 20", "AWG 2/0" or "0.75 mm2"'
_AWG = re.compile(r"AWG\s*(?:(0|[1-9][0-9]?)|([1-4])/0)", re.IGNORECASE)
_SQUARE_MILLIMETRES = re.compile(r"([0-9]+(?:\.[0-9]*)?|\.[0-9]+)\s*mm(?:2|\^2|²)")


def awg_diameter(gauge: ArrayLike) -> FloatArray:
    """Give the diameter of a solid round wire of an American wire gauge [m].

    ``d = 0.127 mm * 92^((36 - n)/39)``.

    Raises InputError if a gauge is not a whole number from -3 to 40.

    Source: ASTM B258.

    Parameters
    ----------
    gauge : Gauge number [1], -3 (which is 4/0) to 40, any shape; 0 is 1/0, -1 is 2/0, -2 is 3/0

    Examples
    --------
    >>> round(1e3 * float(awg_diameter(20)), 4)
    0.8118
    """
    number = np.asarray(gauge, dtype=np.float64)
    refused = ~((number >= -3.0) & (number <= 40.0) & (number == np.round(number)))
    if np.any(refused):
        raise InputError(
            "a wire gauge must be a whole number from -3 (4/0) to 40, "
            f"received {float(number[refused].flat[0]):g}; write the nearest gauge, or give the area in mm2"
        )
    return np.asarray(0.127e-3 * 92.0 ** ((36.0 - number) / 39.0))


def awg_area(gauge: ArrayLike) -> FloatArray:
    """Give the cross-section of a solid round wire of an American wire gauge [m^2].

    ``A = pi d^2/4``. A stranded wire of the same gauge may have more or less copper: up to 9 % either way was found.

    Raises InputError if a gauge is not a whole number from -3 to 40.

    Source: ASTM B258.

    Parameters
    ----------
    gauge : Gauge number [1], -3 (which is 4/0) to 40, any shape

    Examples
    --------
    >>> round(1e6 * float(awg_area(20)), 4)
    0.5176
    """
    return np.asarray(math.pi / 4.0 * awg_diameter(gauge) ** 2)


def conductor_area(text: str) -> float:
    """Read the cross-section of a conductor from text [m^2].

    A gauge is taken as solid wire (:func:`awg_area`).

    Raises InputError if the text is anything else.

    Source: ASTM B258.

    Parameters
    ----------
    text : A gauge, "AWG 20" or "AWG 2/0" (4/0 to 40), or an area, "0.75 mm2", "0.75 mm^2" or with a raised 2

    Examples
    --------
    >>> round(1e6 * conductor_area("AWG 2/0"), 2)
    67.43
    >>> conductor_area("0.75 mm2")
    7.5e-07
    """
    if not isinstance(text, str):
        raise InputError(f"a conductor must be text with its kind of size, received {text!r}; {_AREA_HELP}")
    gauge = _AWG.fullmatch(text.strip())
    if gauge is not None:
        return float(awg_area(int(gauge[1]) if gauge[1] is not None else 1 - int(gauge[2])))
    square = _SQUARE_MILLIMETRES.fullmatch(text.strip())
    if square is None:
        raise InputError(f"a conductor must be a gauge or an area in mm2, received {text!r}; {_AREA_HELP}")
    area = float(square[1] + "e-6") if "." not in square[1] else float(square[1].rstrip(".") + "e-6")
    if not 0.0 < area < math.inf:
        raise InputError(f"a conductor's area must be above 0 mm2 and finite, received {text!r}; {_AREA_HELP}")
    return area


def temperature_factor(temperature: ArrayLike) -> FloatArray:
    """Give the resistance of copper relative to its resistance at 20 degC [1].

    ``1 + 0.00393 (T - 20)``. A straight line, good from about -100 to 200 degC; beyond, an extrapolation.

    Raises InputError if a temperature is outside the range in which the straight line is positive and copper is solid.

    Source: IEC 60028, 1925.

    Parameters
    ----------
    temperature : Temperature of the copper [degC], any shape; above -234 and up to 1083 degC

    Examples
    --------
    >>> round(float(temperature_factor(90.0)), 4)
    1.2751
    """
    degrees = bounded("temperature", temperature, "degC", above=-_ONDERDONK_OFFSET, most=COPPER_MELTING_POINT)
    return np.asarray(1.0 + COPPER_TEMPERATURE_COEFFICIENT * (degrees - 20.0))


def copper_resistance(length: ArrayLike, area: ArrayLike, temperature: ArrayLike = 20.0) -> FloatArray:
    """Give the resistance of a copper conductor [ohm].

    ``R = length/(58e6 area) * (1 + 0.00393 (T - 20))``; direct current.

    Raises InputError if the length is negative, the area not positive, or the temperature refused by
    :func:`temperature_factor`.

    Source: IEC 60028, 1925.

    Parameters
    ----------
    length : Length of the copper, both ways for a pair of leads [m], any shape, broadcasts
    area : Cross-section [m^2], any shape, broadcasts
    temperature : Temperature of the copper [degC], any shape, broadcasts

    Examples
    --------
    >>> round(float(copper_resistance(12.0, awg_area(20))), 6)
    0.399708
    """
    metres = bounded("length", length, "m", least=0.0)
    section = bounded("area", area, "m^2", above=0.0)
    return np.asarray(COPPER_RESISTIVITY * metres / section * temperature_factor(temperature))


def copper_thickness(ounces: ArrayLike) -> FloatArray:
    """Give the thickness of a board's copper from its weight [m].

    1.378 mil for each oz/ft^2, nominal; etching and plating change it.

    Raises InputError if a weight is not positive and finite.

    Source: IPC-2221, as quoted in a component maker's calculator text, n.d.

    Parameters
    ----------
    ounces : Copper weight [oz/ft^2], any shape

    Examples
    --------
    >>> round(1e6 * float(copper_thickness(1.0)), 3)
    35.001
    """
    return np.asarray(_OUNCE_THICKNESS * bounded("ounces", ounces, "oz/ft^2", above=0.0))


def trace_area(width: ArrayLike, thickness: ArrayLike) -> FloatArray:
    """Give the cross-section of a board trace [m^2].

    A rectangle; the slope of the etched edge is left out.

    Raises InputError if a measure is not positive and finite.

    Source: IPC-2221.

    Parameters
    ----------
    width : Width of the trace [m], any shape, broadcasts
    thickness : Thickness of the copper [m] (:func:`copper_thickness`), any shape, broadcasts

    Examples
    --------
    >>> round(1e6 * float(trace_area(2.54e-3, copper_thickness(1.0))), 5)
    0.0889
    """
    return np.asarray(bounded("width", width, "m", above=0.0) * bounded("thickness", thickness, "m", above=0.0))


def _trace_constant(layer: str) -> float:
    """IPC-2221 constant of a layer."""
    if layer not in _TRACE_CONSTANTS:
        raise InputError(f'a layer must be "outer" or "inner", received {layer!r}; write "inner" when in doubt')
    return _TRACE_CONSTANTS[layer]


def trace_current(area: ArrayLike, temperature_rise: ArrayLike, layer: Layer = "outer") -> FloatArray:
    """Give the continuous current that heats a board trace by a temperature rise [A].

    ``I = k dT^0.44 A^0.725``, A in mil^2, k 0.048 outer and 0.024 inner. A curve fit for steady currents to about 35
    A, rises of 10 to 100 K, traces to about 10 mm (limits from memory).

    Raises InputError if area or rise is not positive and finite, or the layer is unknown.

    Source: IPC-2221, as quoted in a component maker's calculator text, n.d.

    Parameters
    ----------
    area : Cross-section of the trace [m^2], any shape, broadcasts
    temperature_rise : Rise above the ambient [K], any shape, broadcasts

    Examples
    --------
    >>> round(float(trace_current(trace_area(2.54e-3, copper_thickness(1.0)), 10.0)), 4)
    4.7011
    """
    constant = _trace_constant(layer)
    rise = bounded("temperature_rise", temperature_rise, "K", above=0.0)
    return np.asarray(constant * rise**0.44 * (bounded("area", area, "m^2", above=0.0) / _MIL**2) ** 0.725)


def trace_temperature_rise(current: ArrayLike, area: ArrayLike, layer: Layer = "outer") -> FloatArray:
    """Give the temperature rise of a board trace that carries a continuous current [K].

    The inverse of :func:`trace_current`, with the same validity.

    Raises InputError if the area is not positive and finite, the current is not finite, or the layer is unknown.

    Source: IPC-2221, as quoted in a component maker's calculator text, n.d.

    Parameters
    ----------
    current : Continuous current [A], any shape, broadcasts; its sign does not matter
    area : Cross-section of the trace [m^2], any shape, broadcasts

    Examples
    --------
    >>> round(float(trace_temperature_rise(4.7011, trace_area(2.54e-3, copper_thickness(1.0)))), 3)
    10.0
    """
    square_mils = bounded("area", area, "m^2", above=0.0) / _MIL**2
    magnitude = np.abs(bounded("current", current, "A"))
    return np.asarray((magnitude / (_trace_constant(layer) * square_mils**0.725)) ** (1.0 / 0.44))


def fusing_current_preece(diameter: ArrayLike, metal: str = "copper") -> FloatArray:
    """Give the continuous current at which a long wire in still air melts [A].

    ``I = k d^1.5``, d in inches. Steady state, long bare wire in free air: a melting current, never a rating.

    Raises InputError if the diameter is not positive and finite, or the metal is unknown.

    Source: Preece's law, constants of the Ness Engineering fuse page, n.d.

    Parameters
    ----------
    diameter : Diameter of the bare wire [m], any shape
    metal : A key of `FUSING_CONSTANTS`

    Examples
    --------
    >>> round(float(fusing_current_preece(0.0524 * 25.4e-3)), 1)
    122.9
    """
    if metal not in FUSING_CONSTANTS:
        raise InputError(f'a metal must be one of {", ".join(FUSING_CONSTANTS)}, received {metal!r}; write "copper"')
    return np.asarray(FUSING_CONSTANTS[metal] * (bounded("diameter", diameter, "m", above=0.0) / _INCH) ** 1.5)


def _onderdonk(area: ArrayLike, ambient: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Area in circular mils, start temperature, and 33 t (I/A)^2 at which copper reaches its melting point."""
    circular_mils = bounded("area", area, "m^2", above=0.0) / _CIRCULAR_MIL
    start = bounded("ambient", ambient, "degC", above=-_ONDERDONK_OFFSET, most=COPPER_MELTING_POINT)
    melted = np.log10(1.0 + (COPPER_MELTING_POINT - start) / (_ONDERDONK_OFFSET + start))
    return np.asarray(circular_mils), start, np.asarray(melted)


def onderdonk_current(area: ArrayLike, time: ArrayLike, ambient: ArrayLike) -> FloatArray:
    """Give the current that brings a copper conductor to its melting point in a time [A].

    ``I = A sqrt(log10(1 + (1083 - Ta)/(234 + Ta))/(33 t))``, A in circular mils. No heat is lost: good for pulses of
    seconds and less, too low a current for longer ones.

    Raises InputError if area or time is not positive and finite, or the ambient is not between -234 and 1083 degC.

    Source: Onderdonk's equation with 33 and (234 + Ta); a form with (234 - Ta) circulates and is wrong.

    Parameters
    ----------
    area : Cross-section [m^2], any shape, broadcasts
    time : Length of the pulse [s], any shape, broadcasts
    ambient : Temperature of the copper at the start [degC], any shape, broadcasts

    Examples
    --------
    >>> round(float(onderdonk_current(2581 * 5.067075e-10, 5.0, 25.0)), 2)
    168.86
    """
    circular_mils, _, melted = _onderdonk(area, ambient)
    return np.asarray(circular_mils * np.sqrt(melted / (33.0 * bounded("time", time, "s", above=0.0))))


def onderdonk_time(current: ArrayLike, area: ArrayLike, ambient: ArrayLike) -> FloatArray:
    """Give the time in which a current brings a copper conductor to its melting point.

    The inverse of :func:`onderdonk_current`: no heat is lost, so the true time is never shorter.

    Raises InputError if the area is not positive and finite, the current is not finite, or the ambient is refused.

    Source: As :func:`onderdonk_current`.

    Parameters
    ----------
    current : Constant current [A], any shape, broadcasts; its sign does not matter
    area : Cross-section [m^2], any shape, broadcasts
    ambient : Temperature of the copper at the start [degC], any shape, broadcasts

    Returns
    -------
    Time [s]; infinite at zero current

    Examples
    --------
    >>> round(float(onderdonk_time(59.1, awg_area(24), 25.0)), 2)
    1.0
    """
    circular_mils, _, melted = _onderdonk(area, ambient)
    density = np.asarray(np.abs(bounded("current", current, "A")) / circular_mils)
    with np.errstate(over="ignore"):
        time = melted / 33.0 / np.where(density > 0.0, density, 1.0) ** 2
    return np.where(density > 0.0, time, np.inf)


def adiabatic_temperature(area: ArrayLike, current: ArrayLike, time: ArrayLike, ambient: ArrayLike) -> FloatArray:
    """Give the temperature of a copper conductor after a pulse of constant current, no heat being lost.

    Onderdonk's equation solved for the temperature: ``T = Ta + (234 + Ta)(10^(33 t (I/A)^2) - 1)``, A in circular
    mils. An upper bound, since heat is lost in truth.

    Raises InputError if the area is not positive and finite, the time is negative, or current or ambient is refused.

    Source: As :func:`onderdonk_current`.

    Parameters
    ----------
    area : Cross-section [m^2], any shape, broadcasts
    current : Constant current [A], any shape, broadcasts; its sign does not matter
    time : Length of the pulse [s], any shape, broadcasts
    ambient : Temperature of the copper at the start [degC], any shape, broadcasts

    Returns
    -------
    Temperature [degC]; infinite where the copper reaches its melting point

    Examples
    --------
    >>> round(float(adiabatic_temperature(awg_area(24), 10.0, 0.5, 25.0)), 2)
    31.1
    >>> float(adiabatic_temperature(awg_area(24), 60.0, 1.0, 25.0))
    inf
    """
    circular_mils, start, melted = _onderdonk(area, ambient)
    pulse = bounded("time", time, "s", least=0.0)
    with np.errstate(over="ignore"):
        density = np.minimum(np.abs(bounded("current", current, "A")) / circular_mils, 1e100)
        exponent = 33.0 * pulse * density**2
    rise = (_ONDERDONK_OFFSET + start) * np.expm1(np.minimum(exponent, melted) * math.log(10.0))
    return np.where(exponent >= melted * (1.0 - 1e-12), np.inf, start + rise)


def two_wire_inductance(length_one_way: ArrayLike, spacing: ArrayLike, diameter: ArrayLike) -> FloatArray:
    """Give the inductance of the loop of two parallel round wires, out and back [H].

    ``L = mu0/pi * length * (ln(2 spacing/diameter) + 1/4)``: evenly filled wires (slow currents), length much above
    spacing; ends left out. Fast edges crowd the current to the facing surfaces, so this is the higher value.

    Raises InputError if a measure is refused, or the spacing is less than the diameter.

    Source: Textbook (from memory); checked in the tests by geometric mean distances.

    Parameters
    ----------
    length_one_way : Distance from source to load [m], any shape, broadcasts
    spacing : Distance between the centres of the wires [m], any shape, broadcasts
    diameter : Diameter of each bare wire [m], any shape, broadcasts

    Examples
    --------
    >>> round(1e6 * float(two_wire_inductance(1.0, 2e-3, awg_diameter(20))), 3)
    0.738
    """
    apart = bounded("spacing", spacing, "m", above=0.0)
    thick = bounded("diameter", diameter, "m", above=0.0)
    if np.any(apart < thick):
        raise InputError(
            "spacing must be at least the diameter, since it runs from centre to centre, "
            f"received {float(np.min(apart)):g} m against {float(np.max(thick)):g} m; write the distance of the centres"
        )
    metres = bounded("length_one_way", length_one_way, "m", least=0.0)
    return np.asarray(4e-7 * metres * (np.log(2.0 * apart / thick) + 0.25))
