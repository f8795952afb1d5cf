"""A value with its tolerance: low, nominal and high bound, and how it is spread between them."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from ignition.errors import InputError, UnitError
from ignition.typing import HIDDEN, FloatArray
from ignition.units import engineering, normalise, number_and_unit, si_value

__all__ = ["Distribution", "Spread", "Toleranced", "in_parallel", "in_series", "parse_toleranced", "vertices"]

Distribution = Literal["uniform", "normal"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Toleranced:
    """A value with guaranteed bounds.

    Attributes
    ----------
    low, nominal, high : Bounds and nominal value [`unit`], ``low <= nominal <= high``, all finite
    distribution : Spread between the bounds: uniform from low to high, or normal with the bounds at three standard
        deviations on either side of nominal and truncated there

    Examples
    --------
    >>> r = Toleranced(low=990.0, nominal=1000.0, high=1010.0, unit="ohm")
    >>> (r + Toleranced.exact(5.0, "ohm")).high
    1015.0
    """

    low: float
    nominal: float
    high: float
    unit: str = "1"
    distribution: Annotated[Distribution, HIDDEN] = "uniform"

    def __post_init__(self) -> None:
        if not all(math.isfinite(v) for v in (self.low, self.nominal, self.high)):
            raise InputError(f"a toleranced value must be finite; received {self.low}, {self.nominal}, {self.high}")
        if not self.low <= self.nominal <= self.high:
            raise InputError(
                f"low, nominal and high must ascend; received {self.low:g}, {self.nominal:g}, {self.high:g} {self.unit}"
            )

    @classmethod
    def exact(cls, value: float, unit: str = "1") -> Toleranced:
        """Make a value without tolerance [`unit`]."""
        return cls(low=value, nominal=value, high=value, unit=unit)

    @classmethod
    def hull(cls, *members: Toleranced) -> Toleranced:
        """Make the smallest range that holds all members; nominal is the first member's."""
        first = members[0]
        return cls(
            low=min(m.low for m in members),
            nominal=first.nominal,
            high=max(m.high for m in members),
            unit=first.unit,
        )

    @property
    def is_exact(self) -> bool:
        """Whether the bounds coincide."""
        return self.low == self.high

    def __add__(self, other: Toleranced) -> Toleranced:
        """Sum of two independent values of one unit."""
        return Toleranced(
            low=self.low + other.low,
            nominal=self.nominal + other.nominal,
            high=self.high + other.high,
            unit=self.unit,
            distribution=self.distribution if other.is_exact else other.distribution if self.is_exact else "uniform",
        )

    def times(self, factor: Toleranced | float) -> Toleranced:
        """Multiply by an independent non-negative factor [1]; the unit is kept.

        Parameters
        ----------
        factor : Factor [1], not negative
        """
        f = factor if isinstance(factor, Toleranced) else Toleranced.exact(factor)
        if f.low < 0:
            raise InputError(f"a factor must not be negative; received {f.low:g}")
        corners = [a * b for a in (self.low, self.high) for b in (f.low, f.high)]
        return Toleranced(
            low=min(corners),
            nominal=self.nominal * f.nominal,
            high=max(corners),
            unit=self.unit,
            distribution=self.distribution if f.is_exact else "uniform",
        )

    def sample(self, rng: np.random.Generator, size: int) -> FloatArray:
        """Draw independent samples; every one lies inside the bounds [`unit`].

        Parameters
        ----------
        size : How many [1]
        """
        if self.is_exact:
            return np.full(size, self.nominal)
        if self.distribution == "uniform":
            return rng.uniform(self.low, self.high, size)
        z = rng.standard_normal(size)
        outside = np.abs(z) > 3.0
        while np.any(outside):  # 0.27 % a round: ends at once
            z[outside] = rng.standard_normal(int(outside.sum()))
            outside = np.abs(z) > 3.0
        spread = np.where(z < 0, self.nominal - self.low, self.high - self.nominal) / 3.0
        return np.clip(self.nominal + z * spread, self.low, self.high)

    def __str__(self) -> str:
        if self.is_exact:
            return engineering(self.nominal, self.unit, 4)
        low, nominal, high = (engineering(v, self.unit, 4) for v in (self.low, self.nominal, self.high))
        return f"{low} .. {nominal} .. {high}"


def in_series(parts: Sequence[Toleranced]) -> Toleranced:
    """Return the sum of independent values of one unit, as of resistors in series.

    Parameters
    ----------
    parts : One value or more [their unit]

    Examples
    --------
    >>> in_series([Toleranced.exact(75e3, "ohm"), Toleranced.exact(68e3, "ohm")]).nominal
    143000.0
    """
    total = parts[0]
    for part in parts[1:]:
        total = total + part
    return total


def in_parallel(parts: Sequence[Toleranced]) -> Toleranced:
    """Return the reciprocal of the sum of reciprocals of independent values, as of resistors in parallel.

    Parameters
    ----------
    parts : One value or more, none below zero [their unit]; zero beside others is zero

    Examples
    --------
    >>> in_parallel([Toleranced.exact(10e3, "ohm"), Toleranced.exact(10e3, "ohm")]).high
    5000.0
    """
    if len(parts) == 1:
        return parts[0]
    low, nominal, high = (
        1.0 / math.fsum(1.0 / end for end in ends) if all(ends) else 0.0
        for ends in zip(*((part.low, part.nominal, part.high) for part in parts), strict=True)
    )
    return Toleranced(low=low, nominal=nominal, high=high, unit=parts[0].unit)


def vertices(values: Sequence[Toleranced]) -> FloatArray:
    """List all corners of the box that the values span.

    Raises InputError when n exceeds 20.

    Parameters
    ----------
    values : The k values; exact ones do not double the count

    Returns
    -------
    Corners [each value's unit], shape (2**n, k), n the number of values that are not exact

    Examples
    --------
    >>> vertices([Toleranced(low=1.0, nominal=2.0, high=3.0), Toleranced.exact(5.0)]).tolist()
    [[1.0, 5.0], [3.0, 5.0]]
    """
    free = [i for i, v in enumerate(values) if not v.is_exact]
    if len(free) > 20:
        raise InputError(f"{len(free)} free values have {2 ** len(free)} corners; at most 20 can be listed")
    corners = np.tile(np.array([v.nominal for v in values], dtype=float), (2 ** len(free), 1))
    for position, index in enumerate(free):
        bits = (np.arange(len(corners)) >> position) & 1
        corners[:, index] = np.where(bits == 1, values[index].high, values[index].low)
    return corners


_PLUS_MINUS = re.compile(r"\s*(?:±|\+/-|\+-)\s*")


def parse_toleranced(text: str, unit: str, distribution: Distribution = "uniform") -> Toleranced:
    """Read a value with its tolerance from text [`unit`].

    Raises UnitError for text that is no such value, or of another dimension.

    Parameters
    ----------
    text : ``"4.7 kohm"``, ``"4.7 kohm ± 1 %"``, ``"4.7 kohm +/- 200 ohm"``, ``"18 mohm .. 35 mohm"`` (nominal in the
        middle) or ``"18 mohm .. 24 mohm .. 35 mohm"``; in a range the unit may stand once, at the end
    distribution : Spread between the bounds

    Examples
    --------
    >>> parse_toleranced("4.7 kohm ± 1 %", "ohm").high
    4747.0
    >>> parse_toleranced("18 .. 24 .. 35 mohm", "ohm").low
    0.018
    >>> parse_toleranced("-5 degC .. 35 degC", "degC").nominal
    15.0
    """
    if len(text) > 200:
        raise UnitError(f"a value of {len(text)} characters is no quantity; write for example '4.7 kohm ± 1 %'")
    plain = normalise(text)
    if ".." in plain:
        return _parse_range(text, plain, unit, distribution)
    parts = _PLUS_MINUS.split(plain)
    if len(parts) > 2:
        raise UnitError(f"{text!r} has more than one tolerance; write one, for example '4.7 kohm ± 1 %'")
    number, given = number_and_unit(parts[0], unit)
    if len(parts) == 1:
        return Toleranced.exact(si_value(number, given, unit), unit)
    if not parts[1]:
        raise UnitError(f"{text!r}: the tolerance after ± is missing; write for example '± 1 %'")
    nominal = si_value(number, given or _unit_at_end(parts[1], unit), unit)
    half = _half_width(text, parts[1], nominal, unit)
    return Toleranced(low=nominal - half, nominal=nominal, high=nominal + half, unit=unit, distribution=distribution)


def _unit_at_end(part: str, unit: str) -> str:
    """Unit of ``"3.3 +/- 0.1 V"``, which stands once; never a percent sign."""
    given = number_and_unit(part, unit)[1]
    return "" if given in ("%", "percent") else given


def _half_width(text: str, part: str, nominal: float, unit: str) -> float:
    difference = "K" if unit == "degC" else unit
    number, given = number_and_unit(part, difference)
    if number < 0:
        raise UnitError(f"{text!r}: a tolerance must not be negative")
    if given in ("%", "percent"):
        if unit == "degC":
            raise UnitError(f"{text!r}: a temperature's tolerance is a difference, for example '20 degC ± 5 K'")
        return abs(nominal) * number / 100.0
    return si_value(number, given, difference)


def _parse_range(text: str, plain: str, unit: str, distribution: Distribution) -> Toleranced:
    if _PLUS_MINUS.search(plain):
        raise UnitError(f"{text!r} mixes a range and a tolerance; write one of them")
    parts = [p.strip() for p in plain.split("..")]
    if "..." in plain:  # "0...3 ohm" would be 0 to 0.3 ohm
        raise UnitError(
            f"{text!r} has three dots, which can be read in two ways; write 'low .. high' with two dots and spaces"
        )
    if len(parts) not in (2, 3) or not all(parts):
        raise UnitError(f"{text!r} is no range; write 'low .. high' or 'low .. nominal .. high', each with its unit")
    pairs = [number_and_unit(p, unit) for p in parts]
    last = pairs[-1][1]
    values = [si_value(number, given or last, unit) for number, given in pairs]
    if sorted(values) != values:
        raise UnitError(f"{text!r} does not ascend; write low before high")
    low, high = values[0], values[-1]
    nominal = values[1] if len(values) == 3 else (low + high) / 2.0
    return Toleranced(low=low, nominal=nominal, high=high, unit=unit, distribution=distribution)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Guaranteed bounds and nominal value of a result.

    Attributes
    ----------
    low, nominal, high : Bounds and nominal value [`unit`]; None where the number cannot exist

    Examples
    --------
    >>> Spread.hull([Spread(low=1.0, nominal=2.0, high=3.0, unit="s"), Spread.missing("s", "never")]).low is None
    True
    """

    low: float | None
    nominal: float | None
    high: float | None
    unit: str
    reason: str | None = None

    @classmethod
    def missing(cls, unit: str, reason: str) -> Spread:
        """Make a spread of which nothing is known [`unit`]."""
        return cls(low=None, nominal=None, high=None, unit=unit, reason=reason)

    @classmethod
    def of(cls, value: Toleranced) -> Spread:
        """Make a spread from a toleranced value [its unit]."""
        return cls(low=value.low, nominal=value.nominal, high=value.high, unit=value.unit)

    @property
    def largest(self) -> float | None:
        """Size of the bound farther from zero [`unit`]; None where one is missing."""
        return None if self.low is None or self.high is None else max(-self.low, self.high)

    @classmethod
    def hull(cls, members: Sequence[Spread]) -> Spread:
        """Make the smallest spread that holds all members; nominal is the first member's, None spoils its side."""
        lows = [m.low for m in members]
        highs = [m.high for m in members]
        reason = next((m.reason for m in members if m.reason), None)
        return cls(
            low=None if None in lows else min(v for v in lows if v is not None),
            nominal=members[0].nominal,
            high=None if None in highs else max(v for v in highs if v is not None),
            unit=members[0].unit,
            reason=reason,
        )
