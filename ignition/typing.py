"""Types that annotations share: arrays, numbers with their unit, and notes on how a result is written.

A result class says beside each field what a program that reads it needs to know: ``current: Amps``,
``all_fire_margin: Annotated[Ratio | None, Missing("no all-fire current is given")]``. Every output reads it from there.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Annotated

import numpy as np
import numpy.typing as npt
from numpy.typing import ArrayLike

__all__ = [
    "Amps",
    "ArrayLike",
    "BARE",
    "BoolArray",
    "Celsius",
    "Coulombs",
    "Decibels",
    "FloatArray",
    "HIDDEN",
    "INLINE",
    "Joules",
    "Key",
    "Metres",
    "Missing",
    "Ohms",
    "Placement",
    "Ratio",
    "Seconds",
    "SquareTime",
    "Unit",
    "Volts",
]

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Unit:
    """Unit of a number, for example ``A``."""

    symbol: str


@dataclass(frozen=True, slots=True)
class Key:
    """Name that a field is written under, where that is not its own; a property is written only where it has one."""

    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """Why a number can be absent.

    Attributes
    ----------
    field : Attribute that says why, where it says anything
    otherwise : What is said where that attribute is silent
    infinite : What is said of an infinite number, where that has a meaning of its own
    always : Whether the attribute is said of a number that is there too
    """

    field: str = "reason"
    otherwise: str = ""
    infinite: str = ""
    always: bool = False


class Placement(Enum):
    """Where a field is written."""

    BARE = "a number without its unit beside it; of a unit other than 1, the object's `units` say it"
    INLINE = "its fields among those of the object that holds it"
    HIDDEN = "not at all"


BARE, INLINE, HIDDEN = Placement

Amps = Annotated[float, Unit("A")]
Celsius = Annotated[float, Unit("degC")]
Coulombs = Annotated[float, Unit("C")]
Decibels = Annotated[float, Unit("dB")]
Joules = Annotated[float, Unit("J")]
Metres = Annotated[float, Unit("m")]
Ohms = Annotated[float, Unit("ohm")]
Ratio = Annotated[float, Unit("1")]
Seconds = Annotated[float, Unit("s")]
SquareTime = Annotated[float, Unit("A^2 s")]
Volts = Annotated[float, Unit("V")]
