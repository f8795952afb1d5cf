"""Text to SI numbers and back."""

from __future__ import annotations

import pytest

from ignition.errors import UnitError
from ignition.units import COMMON, _pint_affine, engineering, normalise, si_value


@pytest.mark.parametrize("key", sorted(COMMON))
def test_everyday_spellings_are_what_pint_says(key: tuple[str, str]) -> None:
    """Each spelling that skips pint has pint's slope and offset."""
    slope, offset = _pint_affine(*key)
    assert COMMON[key] == (pytest.approx(slope, rel=1e-12), pytest.approx(offset, abs=1e-9))


@pytest.mark.parametrize(
    ("number", "unit", "target", "expected"),
    [
        (4.7, "kohm", "ohm", 4700.0),
        (4.7, "mohm", "ohm", 0.0047),
        (4.7, "Mohm", "ohm", 4.7e6),
        (1.0, "MOhm", "ohm", 1e6),
        (68.0, "degF", "degC", 20.0),
        (293.15, "K", "degC", 20.0),
        (0.5, "mm2", "m^2", 5e-7),
        (1800.0, "mAh", "C", 6480.0),
        (-4.0, "mV/K", "V/K", -0.004),
        (40.0, "%", "1", 0.4),
    ],
)
def test_conversion(number: float, unit: str, target: str, expected: float) -> None:
    """Units convert by hand arithmetic."""
    assert si_value(number, unit, target) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("unit", "target", "says"),
    [
        ("", "V", "has no unit"),
        ("A", "V", "is no unit of voltage"),
        ("ma", "A", "did you mean 'mA'"),
        ("uf", "F", "did you mean 'uF'"),
        ("degC", "K", "kelvin"),
        ("V/0", "V", "is not a unit"),
        ("dBm", "W", "is not a unit"),
        ("import os", "ohm", "unknown unit"),
        ("x" * 60, "V", "is not a unit"),
    ],
)
def test_refused_units(unit: str, target: str, says: str) -> None:
    """A unit that is missing, unknown or of another dimension is refused with what to write."""
    with pytest.raises(UnitError, match=says):
        si_value(1.0, unit, target)


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (5.71422e-05, "A", "57.1 uA"),
        (0.0, "V", "0 V"),
        (20.0, "degC", "20 degC"),
        (999.9, "ohm", "1 kohm"),
        (None, "V", "-"),
        (float("inf"), "s", "never"),
        (1e-18, "A", "0 A"),
        (-0.0033, "V", "-3.3 mV"),
    ],
)
def test_engineering(value: float | None, unit: str, shown: str) -> None:
    """Numbers are written with a prefix and three digits."""
    assert engineering(value, unit) == shown


def test_typographic_spellings() -> None:
    """Ohm sign, micro sign, degree sign and true minus are folded."""
    assert normalise("\u22124.7 k\u2126") == "-4.7 kohm" and normalise("1 \u00b5A") == "1 uA"
