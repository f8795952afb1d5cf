"""One value of a circuit file that moves: where it stands, how far it is taken, and the circuit with it there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ignition.circuit.mistakes import KeyPath, dotted
from ignition.circuit.model import Circuit
from ignition.circuit.values import key_path, table_of, with_values
from ignition.errors import InputError, UnitError
from ignition.toleranced import Toleranced, parse_toleranced

__all__ = ["Varied", "varied"]

_DECADES = 2
"""How far a value is varied either way where no range is asked for: powers of ten [1]."""

_WEATHER = (-60.0, 125.0)
"""The same for a temperature [degC]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Varied:
    """A value that moves, by its nominal; its tolerance moves with it.

    Attributes
    ----------
    start : Nominal value of the file [`unit`]
    low, high : Ends of the range [`unit`]
    whole : Whether it is a whole number
    """

    circuit: Circuit
    key: str
    given: Any
    unit: str
    start: float
    low: float
    high: float
    whole: bool

    def at(self, nominal: float) -> Circuit:
        """Return the circuit with the value moved; every end of its tolerance by the same factor, or difference.

        Temperatures are shifted, and so is what a factor would not move; everything else is scaled.

        Raises InputError where the circuit file would be refused.

        Parameters
        ----------
        nominal : Where the nominal value goes [`unit`]
        """
        if nominal == self.start:
            return self.circuit
        moved: Any = int(nominal) if self.whole else nominal
        if isinstance(self.given, Toleranced):
            given = self.given
            if self.unit == "degC" or given.nominal == 0.0:
                moved = Toleranced(
                    low=given.low + nominal - self.start,
                    nominal=nominal,
                    high=given.high + nominal - self.start,
                    unit=given.unit,
                    distribution=given.distribution,
                )
            else:
                moved = given.times(nominal / self.start)
        return with_values(self.circuit, {self.key: moved})

    def points(self, count: int) -> list[float]:
        """Spread points over the range, its ends and the file's own value among them [`unit`].

        Evenly in the logarithm where the whole range lies above zero and is no temperature.

        Parameters
        ----------
        count : How many [1]
        """
        if self.logarithmic:
            found = np.geomspace(self.low, self.high, count).tolist()
        else:
            found = np.linspace(self.low, self.high, count).tolist()
        found = [self.low, *found[1:-1], self.high]
        if self.whole:
            found = [float(round(point)) for point in found]
        if self.low <= self.start <= self.high:
            found.append(self.start)
        return sorted(dict.fromkeys(found))

    def middle(self, low: float, high: float) -> float | None:
        """Return a point between two [`unit`]; None where they are as near as it matters: a part in a thousand.

        Parameters
        ----------
        low, high : Two points [`unit`]
        """
        if self.whole:
            return None if high - low <= 1.0 else float(math.floor(0.5 * (low + high)))
        span = _FINEST * (max(abs(low), abs(high)) if self.logarithmic else self.high - self.low)
        if high - low <= span:
            return None
        return math.sqrt(low * high) if self.logarithmic else 0.5 * (low + high)

    @property
    def logarithmic(self) -> bool:
        """Whether it moves by factors."""
        return self.low > 0.0 and self.unit != "degC" and not self.whole


_FINEST = 1e-3
"""How near a change is bracketed, over the value, or over the range of what does not move by factors [1]."""


def varied(circuit: Circuit, asked: str) -> Varied:
    """Read what is to be varied.

    Raises InputError for a key that the file does not give or that is no number, and for a range that is none.

    Parameters
    ----------
    asked : ``KEY`` or ``KEY=FROM..TO``; without a range from a hundredth to a hundred times the file's value, of a
        temperature from -60 to 125 degC

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> found = varied(load_example("kelp-line-cutter"), "channel.line.lead.distance=1 m..50 m")
    >>> found.start, found.low, found.high, round(found.at(6.0).channels[0].lead.round_trip.nominal, 4)
    (3.0, 1.0, 50.0, 0.3997)
    """
    key, sign, text = asked.partition("=")
    key, text = key.strip(), text.strip()
    given = _given(table_of(circuit.given), key_path(key), key)
    if isinstance(given, bool) or not isinstance(given, Toleranced | int | float):
        raise InputError(f"--vary {key}: {_shown(given)} is no number; name a value, for example battery.resistance")
    whole = isinstance(given, int)
    unit = given.unit if isinstance(given, Toleranced) else "1"
    start = given.nominal if isinstance(given, Toleranced) else float(given)
    if sign:
        low, high = _range(key, text, unit)
    elif unit == "degC":
        low, high = _WEATHER
    elif start > 0.0:
        low, high = start * 10.0**-_DECADES, start * 10.0**_DECADES
    else:
        raise InputError(
            f"--vary {key}: the file gives {_shown(given)}, from which no range follows; write one, for example "
            f"--vary '{key}=FROM..TO' with its unit"
        )
    if whole:
        low, high = float(math.ceil(low)), float(math.floor(high))
    if not low < high:
        raise InputError(f"--vary {key}: the range must ascend; received {text!r}")
    return Varied(circuit=circuit, key=key, given=given, unit=unit, start=start, low=low, high=high, whole=whole)


def _range(key: str, text: str, unit: str) -> tuple[float, float]:
    parts = text.split("..")
    if len(parts) != 2 or not all(part.strip() for part in parts):
        raise InputError(f"--vary {key}: a range is FROM..TO, for example --vary '{key}=1 m..50 m'; received {text!r}")
    try:
        found = parse_toleranced(f"{parts[0].strip()} .. {parts[1].strip()}", unit)
    except UnitError as error:
        raise InputError(f"--vary {key}: {error}") from None
    return found.low, found.high


def _given(node: Any, path: KeyPath, key: str) -> Any:
    """What the file gives at a key."""
    for depth, word in enumerate(path):
        there: Sequence[Any] = ()
        if isinstance(node, list) and isinstance(word, int):
            there = node[word : word + 1]
        elif isinstance(node, list):
            there = [one for one in node if isinstance(one, dict) and one.get("name") == word]
        elif isinstance(node, dict) and word in node:
            there = [node[word]]
        if not there:
            raise InputError(
                f"--vary {key}: the file does not give {dotted(path[: depth + 1])}; give it, or --set it first"
            )
        node = there[0]
    return node


def _shown(given: Any) -> str:
    return repr(str(given)) if isinstance(given, Toleranced | str) else type(given).__name__
