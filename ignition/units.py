"""Text to SI numbers and SI numbers to engineering text; the only module that imports pint.

Numbers inside the package are plain SI floats. Two conventions differ from strict SI, because the trade's
data sheets do: absolute temperatures are in degC, temperature differences in K.
"""

from __future__ import annotations

import functools
import math
import re
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING, Any, Literal

from ignition.errors import UnitError, did_you_mean

if TYPE_CHECKING:
    import pint

__all__ = [
    "COMMON",
    "Towards",
    "UNIT_NAMES",
    "engineering",
    "normalise",
    "number_and_unit",
    "round_decimal",
    "si_value",
]

Towards = Literal["nearest", "up", "down"]
"""Which way a number is rounded for printing."""

UNIT_NAMES = {
    "1": "plain number",
    "V": "voltage",
    "A": "current",
    "ohm": "resistance",
    "F": "capacitance",
    "H": "inductance",
    "s": "time",
    "Hz": "frequency",
    "J": "energy",
    "W": "power",
    "C": "charge",
    "m": "length",
    "m^2": "area",
    "degC": "temperature",
    "K": "temperature difference",
    "1/K": "temperature coefficient",
    "V/K": "voltage per temperature",
    "K/W": "thermal resistance",
    "A^2 s": "current squared times time",
}
"""SI units that a value can be asked in, with the word used for each in a message."""

_EXAMPLES = {
    "1": "0.5",
    "V": "3.3 V",
    "A": "250 mA",
    "ohm": "4.7 kohm",
    "F": "100 nF",
    "H": "1 uH",
    "s": "500 ms",
    "Hz": "433 MHz",
    "J": "3 mJ",
    "W": "1 W",
    "C": "1800 mAh",
    "m": "8 m",
    "m^2": "0.5 mm2",
    "degC": "20 degC",
    "K": "5 K",
    "1/K": "0.0004 / K",
    "V/K": "-4 mV/K",
    "K/W": "40 K/W",
    "A^2 s": "55 A^2 s",
}

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_UNIT_TEXT = re.compile(r"(?:[A-Za-z_%/*^(). -]|(?<=[A-Za-z^*-])[1-4])*")
_SPICE_SUFFIXES = {"M": ("Mohm", "1e6"), "MEG": ("Mohm", "1e6"), "K": ("kohm", "1e3"), "k": ("kohm", "1e3")}
_BARE_SUFFIX_UNITS = {"m": ("m",), "K": ("degC", "K")}  # the single letters that are also units
_SPELLING = str.maketrans(
    {
        "Ω": "ohm",
        "\u2126": "ohm",
        "µ": "u",
        "μ": "u",
        "−": "-",
        "\u00a0": " ",
        "\u202f": " ",
        "°": "deg",
        "²": "^2",
        "·": " ",
    }
)


@functools.lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[Any]:
    """One private registry, made at first use; its definitions are cached on disk where that is possible."""
    import pint

    try:
        registry: pint.UnitRegistry[Any] = pint.UnitRegistry(
            cache_folder=":auto:", autoconvert_offset_to_baseunit=False
        )
    except OSError:  # no place to write a cache: slower, not wrong
        registry = pint.UnitRegistry()
    return registry


def _pint_name(unit: str) -> str:
    """Spelling that pint understands: powers marked, any capitalisation of ohm, degrees Celsius."""
    unit = re.sub(r"(?i)ohms?\b", "ohm", unit)
    unit = re.sub(r"(?i)\bdeg ?C\b|\bcelsius\b", "degC", unit)
    unit = re.sub(r"(?i)\bdeg ?F\b", "degF", unit)
    unit = re.sub(r"\b([munpk]?m|s|A|V)([23])\b", r"\1^\2", unit)
    unit = re.sub(r"(?<=[A-Za-z0-9]) +(?=[A-Za-z])", " * ", unit)
    if unit.startswith("/"):
        unit = "1" + unit
    return unit.replace("%", "percent")


_FACTORS = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}


def _common() -> dict[tuple[str, str], tuple[float, float]]:
    """Slope and offset of the everyday spellings, so that a usual file loads without importing pint (0.2 s)."""
    table = {
        (prefix + unit, unit): (factor, 0.0)
        for unit in ("V", "A", "ohm", "F", "H", "s", "J", "W", "m")
        for prefix, factor in _FACTORS.items()
    }
    return table | {
        ("%", "1"): (0.01, 0.0),
        ("degC", "degC"): (1.0, 0.0),
        ("K", "K"): (1.0, 0.0),
        ("/ K", "1/K"): (1.0, 0.0),
        ("K/W", "K/W"): (1.0, 0.0),
        ("mV/K", "V/K"): (1e-3, 0.0),
        ("A^2 s", "A^2 s"): (1.0, 0.0),
        ("mAh", "C"): (3.6, 0.0),
        ("Ah", "C"): (3600.0, 0.0),
    }


COMMON = _common()
"""Spellings that are converted without pint, with the SI unit asked for; a test holds each against pint."""


@functools.lru_cache(maxsize=512)
def _affine(unit: str, target: str) -> tuple[float, float]:
    """Slope and offset that take a number in `unit` to the SI unit `target`."""
    return COMMON[unit, target] if (unit, target) in COMMON else _pint_affine(unit, target)


def _pint_affine(unit: str, target: str) -> tuple[float, float]:
    """The same by pint, which knows every unit."""
    what = UNIT_NAMES[target]
    example = _EXAMPLES[target]
    if len(unit) > 40 or not _UNIT_TEXT.fullmatch(unit) or "dB" in unit:
        raise UnitError(f"{unit!r} is not a unit; {what} is written like {example!r}")
    registry = _registry()
    name = _pint_name(unit)
    if target == "K" and name in ("degC", "degF"):
        raise UnitError(f"a temperature difference is given in kelvin, not {unit!r}; write for example {example!r}")
    if "delta_" in name:
        raise UnitError(f"{unit!r} is not accepted; a temperature is written like '20 degC', a difference like '5 K'")
    pint_target = {"C": "coulomb", "1": "dimensionless"}.get(target, target.replace(" ", " * "))
    try:
        parsed = registry.parse_units(name) if name not in ("1",) else registry.parse_units("")
    except Exception as error:  # pint raises many kinds (tokenizer, assertion, its own): all mean "not a unit"
        near = _nearest_unit(unit, target)
        raise UnitError(f"unknown unit {unit!r}{near}; {what} is written like {example!r}") from error
    try:
        zero = registry.Quantity(0.0, parsed).to(pint_target).magnitude
        one = registry.Quantity(1.0, parsed).to(pint_target).magnitude
    except Exception as error:
        near = _nearest_unit(unit, target)
        raise UnitError(f"{unit!r} is no unit of {what}{near}; write for example {example!r}") from error
    return float(one - zero), float(zero)


def _nearest_unit(unit: str, target: str) -> str:
    prefixes = ("", "m", "u", "n", "p", "k", "M")
    names = [prefix + target for prefix in prefixes] if target not in _PLAIN else [target]
    offered = did_you_mean(unit, names)
    return f" ({offered})" if offered else ""


def normalise(text: str) -> str:
    """Fold the usual typographic spellings (ohm sign, micro sign, true minus, degree sign) into plain ones.

    Examples
    --------
    >>> normalise(" 4.7 kΩ ")
    '4.7 kohm'
    """
    return text.translate(_SPELLING).strip()


def number_and_unit(text: str, target: str) -> tuple[float, str]:
    """Split ``"4.7 kohm"`` into its number and its unit text, refusing what a reader or SPICE could misread.

    Raises UnitError for anything that is not one finite number and a unit.

    Parameters
    ----------
    target : SI unit that the value is asked in; a key of `UNIT_NAMES`

    Returns
    -------
    The number as written [unit text] and the unit text, which may be empty

    Examples
    --------
    >>> number_and_unit("4.7 kohm", "ohm")
    (4.7, 'kohm')
    """
    example = _EXAMPLES[target]
    plain = normalise(text)
    match = _NUMBER.match(plain)
    if match is None:
        raise UnitError(f"{text!r} is no {UNIT_NAMES[target]}; write a number and a unit, for example {example!r}")
    unit = plain[match.end() :].strip()
    if re.match(r"^,\d", unit):
        raise UnitError(f"{text!r}: the decimal mark is a point; write for example {example!r}")
    if re.match(r"^[A-Za-z]{1,3}\d", plain[match.end() :]) and not re.match(r"^(mm|cm|m|A|s|V)[23]\b", unit):
        letter = re.match(r"^[A-Za-z]+", unit)
        digits = re.sub(r"^[A-Za-z]+", "", unit)
        assert letter is not None
        offered = f"{match.group()}.{digits} {_prefix_unit(letter.group(), target)}"
        raise UnitError(f"{text!r} is read differently by people and by SPICE; write {offered!r}")
    if target not in _BARE_SUFFIX_UNITS.get(unit, ()) and (
        unit in _SPICE_SUFFIXES or unit in ("m", "u", "n", "p", "G", "g", "f", "t", "T")
    ):
        offered = f"{match.group()} {_prefix_unit(unit, target)}"
        raise UnitError(f"{text!r} has a SPICE suffix and no unit (SPICE reads 1M as a thousandth); write {offered!r}")
    value = float(match.group())
    if not math.isfinite(value):
        raise UnitError(f"{text!r} is not a finite number; write for example {example!r}")
    return value, unit


def _prefix_unit(suffix: str, target: str) -> str:
    """Unit that a SPICE-like suffix most probably stood for: ``k`` and ohm give ``kohm``."""
    prefix = {"K": "k", "MEG": "M", "R": "", "r": "", "V": "", "v": "", "g": "G", "t": "T"}.get(suffix, suffix)
    unit = {"degC": "K", "1": ""}.get(target, target)
    if len(prefix) > 1 or prefix not in "munpkMGT":
        prefix = ""
    return f"{prefix}{unit}"


def si_value(number: float, unit: str, target: str) -> float:
    """Convert a number in a unit to the SI unit asked for.

    Raises UnitError when the unit is missing, unknown or of another dimension.

    Parameters
    ----------
    number : The number as written [in `unit`]
    unit : Unit text, for example ``"kohm"``; empty only where a plain number is due
    target : SI unit asked for; a key of `UNIT_NAMES`

    Returns
    -------
    The value [`target`]

    Examples
    --------
    >>> si_value(4.7, "kohm", "ohm")
    4700.0
    >>> round(si_value(-5.0, "degC", "degC"), 9)
    -5.0
    """
    if not unit:
        if target == "1":
            return number
        raise UnitError(f"{number:g} has no unit; {UNIT_NAMES[target]} needs one, for example {_EXAMPLES[target]!r}")
    slope, offset = _affine(unit, target)
    # Dividing by the whole inverse keeps decimal input exact: 4.7 / 1000 is 0.0047, 4.7 * 1e-3 need not be.
    inverse = 1.0 / slope if slope else 0.0
    value = (
        number / round(inverse) if slope < 1.0 and abs(inverse - round(inverse)) < 1e-9 * inverse else number * slope
    )
    return value + offset


_PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"), (1e-12, "p"))
_PLAIN = {"1", "degC", "K", "%", "1/K", "m^2", "dB", "LSB"}


def engineering(value: float | None, unit: str, digits: int = 3, towards: Towards = "nearest") -> str:
    """Write an SI number as engineering text with a prefix; a bound is rounded outwards, so that it stays one.

    Parameters
    ----------
    value : The number [in `unit`]; None gives ``"-"``
    unit : SI unit; the units ``1``, ``degC`` and ``K`` take no prefix
    digits : Significant digits [1]

    Returns
    -------
    For example ``"57.1 uA"``

    Examples
    --------
    >>> engineering(5.71422e-05, "A")
    '57.1 uA'
    >>> engineering(5.71422e-05, "A", towards="up"), engineering(5.71422e-05, "A", towards="down")
    ('57.2 uA', '57.1 uA')
    >>> engineering(20.0, "degC")
    '20 degC'
    >>> engineering(0.0, "V")
    '0 V'
    """
    if value is None:
        return "-"
    if math.isinf(value):
        return "never" if unit == "s" else ("-" if value < 0 else "") + "unlimited"
    if towards != "nearest" and value != 0.0:
        value = round_decimal(value, Decimal(f"{value:.12e}").adjusted() - digits + 1, towards)
    suffix = "" if unit == "1" else f" {unit}"
    if value == 0 or unit in _PLAIN:
        return f"{_significant(value, digits)}{suffix}"
    magnitude = abs(float(f"{value:.{digits - 1}e}"))
    for factor, prefix in _PREFIXES:
        if magnitude >= factor * 0.9999999:
            return f"{_significant(value / factor, digits)} {prefix}{unit}"
    factor, prefix = _PREFIXES[-1]
    if magnitude < factor * 1e-3:
        return f"0 {unit}"
    return f"{_significant(value / factor, digits)} {prefix}{unit}"


def round_decimal(value: float, exponent: int, towards: Towards) -> float:
    """Round to a power of ten; what is a round number but for rounding errors is that number.

    Parameters
    ----------
    value : Number [1]
    exponent : Power of the last digit kept [1]

    Returns
    -------
    The number rounded [1]

    Examples
    --------
    >>> round_decimal(0.99999, -3, "down"), round_decimal(0.1 + 0.2, -1, "up"), round_decimal(-1.25, -1, "up")
    (0.999, 0.3, -1.2)
    """
    mode = {"up": ROUND_CEILING, "down": ROUND_FLOOR, "nearest": ROUND_HALF_EVEN}[towards]
    step = Decimal(1).scaleb(exponent)
    return float((Decimal(f"{value:.12e}") / step).to_integral_value(mode) * step)


def _significant(value: float, digits: int) -> str:
    """Round to significant digits without switching to exponents for everyday numbers."""
    if value == 0:
        return "0"
    exponent = math.floor(math.log10(abs(value)))
    if exponent >= digits:
        return f"{round(value):d}" if exponent < 7 else f"{value:.{digits}g}"
    if exponent < -4:
        return f"{value:.{digits}g}"
    text = f"{value:.{max(digits - 1 - exponent, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
