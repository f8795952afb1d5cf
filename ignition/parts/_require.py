"""Checks of the arguments of the component laws; each returns the argument as an array."""

from __future__ import annotations

import numpy as np

from ignition.errors import InputError
from ignition.typing import ArrayLike, BoolArray, FloatArray

__all__ = ["at_least_zero", "bounded", "positive", "real", "within"]

_EXAMPLES = {
    "1": "0.5",
    "A": "2.0",
    "A^2 s": "50.0",
    "C": "6480.0 (1800 mAh)",
    "F": "1e-3",
    "J/K": "4e-6",
    "K": "10.0",
    "V": "8.0",
    "degC": "20.0",
    "m": "1e-3",
    "m^2": "0.5e-6",
    "ohm": "1.0",
    "oz/ft^2": "1.0",
    "s": "0.05",
}


def real(name: str, value: ArrayLike, unit: str, *, infinite: bool = False) -> FloatArray:
    """Return a value as an array of numbers; NaN is refused, and infinity unless allowed.

    Parameters
    ----------
    value : The value [unit], any shape

    Returns
    -------
    The value, same shape

    Examples
    --------
    >>> real("current", [1, 2], "A")
    array([1., 2.])
    """
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"{name} must be a number in {unit}: received {value!r}; write a plain number") from error
    good = ~np.isnan(array) if infinite else np.isfinite(array)
    return _checked(name, array, unit, good, "a number" if infinite else "a finite number")


def positive(name: str, value: ArrayLike, unit: str, *, infinite: bool = False) -> FloatArray:
    """Return a value as an array of numbers above zero.

    Parameters
    ----------
    value : The value [unit], any shape

    Returns
    -------
    The value, same shape

    Examples
    --------
    >>> float(positive("current", 2, "A"))
    2.0
    """
    array = real(name, value, unit, infinite=infinite)
    return _checked(name, array, unit, array > 0.0, "above 0")


def at_least_zero(name: str, value: ArrayLike, unit: str, *, infinite: bool = False) -> FloatArray:
    """Return a value as an array of numbers of zero or more.

    Parameters
    ----------
    value : The value [unit], any shape

    Returns
    -------
    The value, same shape

    Examples
    --------
    >>> float(at_least_zero("current", 0, "A"))
    0.0
    """
    array = real(name, value, unit, infinite=infinite)
    return _checked(name, array, unit, array >= 0.0, "0 or more")


def within(name: str, value: ArrayLike, unit: str, low: float, high: float) -> FloatArray:
    """Return a value as an array of numbers strictly between two bounds.

    Parameters
    ----------
    value : The value [unit], any shape
    low, high : Bounds, themselves not allowed [unit]

    Returns
    -------
    The value, same shape

    Examples
    --------
    >>> float(within("reliability", 0.999, "1", 0.5, 1.0))
    0.999
    """
    array = real(name, value, unit, infinite=True)
    return _checked(name, array, unit, (array > low) & (array < high), f"above {low:g} and below {high:g}")


def _checked(name: str, array: FloatArray, unit: str, good: BoolArray, rule: str) -> FloatArray:
    ok = np.asarray(good)
    if not ok.all():
        first = float(array[~ok][0])
        raise InputError(f"{name} must be {rule} [{unit}]: received {first:g}; write a value in {unit} that is {rule}")
    return array


def bounded(
    name: str,
    value: ArrayLike,
    unit: str,
    *,
    above: float | None = None,
    least: float | None = None,
    most: float | None = None,
    endless: bool = False,
) -> FloatArray:
    """Return `value` as an array of numbers within bounds; the message gives an example in that unit."""
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError(f"{name} must be a number in {unit}, received {value!r}; write {_EXAMPLES[unit]}") from None
    good = ~np.isnan(array) if endless else np.isfinite(array)
    words = ["a number" if endless else "a finite number"]
    for bound, word, ok in (
        (above, "above", np.greater),
        (least, "of at least", np.greater_equal),
        (most, "of at most", np.less_equal),
    ):
        if bound is not None:
            good &= ok(array, bound)
            words.append(f"{word} {bound:g} {unit}")
    if not np.all(good):
        first = float(array[~good].flat[0])
        rule = " ".join(words[:2]) + "".join(f" and {word}" for word in words[2:])
        raise InputError(f"{name} must be {rule}, received {first:g} {unit}; write for example {_EXAMPLES[unit]}")
    return array
