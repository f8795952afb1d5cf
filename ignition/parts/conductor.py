"""Copper conductors: wire gauge, resistance, section of a board trace, heating, inductance of a pair."""

from __future__ import annotations

import math
import re

import numpy as np

from ignition.errors import InputError
from ignition.parts._require import bounded
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "COPPER_MELTING_POINT",
    "COPPER_RESISTIVITY",
    "COPPER_TEMPERATURE_COEFFICIENT",
    "adiabatic_temperature",
    "awg_area",
    "awg_diameter",
    "conductor_area",
    "copper_resistance",
    "temperature_factor",
    "trace_area",
    "two_wire_inductance",
]

COPPER_RESISTIVITY = 1e-6 / 58.0
"""Annealed copper at 20 degC [ohm m]: 1/58 ohm mm^2/m (IEC 60028, 1925)."""

COPPER_TEMPERATURE_COEFFICIENT = 0.00393
"""Change of resistance per kelvin, of the value at 20 degC [1/K] (IEC 60028, 1925)."""

COPPER_MELTING_POINT = 1083.0
"""Melting point of copper used by Onderdonk's equation [degC]."""

_MIL = 25.4e-6
_CIRCULAR_MIL = math.pi / 4.0 * _MIL**2
_ONDERDONK_OFFSET = 234.0
_AREA_HELP = 'write "AWG 20", "AWG 2/0" or "0.75 mm2"'
_AWG = re.compile(r"AWG\s*(?:(0|[1-9][0-9]?)|([1-4])/0)", re.IGNORECASE)
_SQUARE_MILLIMETRES = re.compile(r"([0-9]+(?:\.[0-9]*)?|\.[0-9]+)\s*mm(?:2|\^2|²)")


def awg_diameter(gauge: ArrayLike) -> FloatArray:
    """Give the diameter of a solid round wire of an American wire gauge [m].

    ``d = 0.127 mm * 92^((36 - n)/39)``.

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


def trace_area(width: ArrayLike, thickness: ArrayLike) -> FloatArray:
    """Give the cross-section of a board trace [m^2].

    A rectangle; the slope of the etched edge is left out.

    Source: IPC-2221.

    Parameters
    ----------
    width : Width of the trace [m], any shape, broadcasts
    thickness : Thickness of the copper [m], any shape, broadcasts

    Examples
    --------
    >>> round(1e6 * float(trace_area(2.54e-3, 35e-6)), 5)
    0.0889
    """
    return np.asarray(bounded("width", width, "m", above=0.0) * bounded("thickness", thickness, "m", above=0.0))


def adiabatic_temperature(area: ArrayLike, current: ArrayLike, time: ArrayLike, ambient: ArrayLike) -> FloatArray:
    """Give the temperature of a copper conductor after a pulse of constant current, no heat being lost.

    Onderdonk's equation solved for the temperature: ``T = Ta + (234 + Ta)(10^(33 t (I/A)^2) - 1)``, A in circular
    mils. An upper bound, since heat is lost in truth.

    Source: Onderdonk's equation with 33 and (234 + Ta); a form with (234 - Ta) circulates and is wrong.

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
    circular_mils = bounded("area", area, "m^2", above=0.0) / _CIRCULAR_MIL
    start = bounded("ambient", ambient, "degC", above=-_ONDERDONK_OFFSET, most=COPPER_MELTING_POINT)
    melted = np.log10(1.0 + (COPPER_MELTING_POINT - start) / (_ONDERDONK_OFFSET + start))
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
