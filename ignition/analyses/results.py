"""The number with a spread that results are made of; a number that cannot exist carries its reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ignition.toleranced import Toleranced

__all__ = ["Spread", "number"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Guaranteed bounds and nominal value of a result.

    Attributes
    ----------
    low, nominal, high : float or None
        Bounds and nominal value [`unit`]; None where the number cannot exist.
    unit : str
        SI unit.
    reason : str or None
        Why a number is missing.

    Examples
    --------
    >>> Spread(low=1.0, nominal=2.0, high=None, unit="s", reason="does not function").as_dict()["high"] is None
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

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        result: dict[str, Any] = {"low": self.low, "nominal": self.nominal, "high": self.high, "unit": self.unit}
        return result | ({"reason": self.reason} if self.reason else {})


def number(value: float | None, unit: str, reason: str | None = None) -> dict[str, Any]:
    """Return the JSON form of a plain number.

    Parameters
    ----------
    value : float or None
        The number [`unit`]; None where it cannot exist.
    unit : str
        SI unit.
    reason : str, optional
        Why it is missing.

    Returns
    -------
    dict
        Value and unit, and the reason if there is one.
    """
    result: dict[str, Any] = {"value": value, "unit": unit}
    return result | ({"reason": reason} if reason else {})
