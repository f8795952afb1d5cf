"""The same circuit written otherwise, and circuits of which one thing is known to be worse or stronger."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from pydantic import BaseModel

from ignition.circuit.complete import complete
from ignition.circuit.description import Description
from ignition.circuit.model import Circuit
from ignition.toleranced import Toleranced

__all__ = [
    "Table", "circuit_of", "given_of", "leaves", "other_units", "renamed", "reversed_channels", "reversed_feed",
    "reversed_igniters", "reversed_strings", "reversed_tables", "split_feed", "stronger", "widened",
]  # fmt: skip

Table = dict[str, Any]


def given_of(table: Table) -> Description:
    """A circuit file's table as its description."""
    return Description.model_validate(table)


def circuit_of(given: Description) -> Circuit | None:
    """The circuit of a description; None where what was changed contradicts something else."""
    return complete(given, "changed.toml")[0]


def reversed_strings(table: Table) -> Table:
    """Strings of every channel in the opposite order."""
    found = copy.deepcopy(table)
    for channel in found["channel"]:
        channel["igniters"].reverse()
    return found


def reversed_igniters(table: Table) -> Table:
    """Igniters of every string in the opposite order."""
    found = copy.deepcopy(table)
    for channel in found["channel"]:
        channel["igniters"] = [string[::-1] for string in channel["igniters"]]
    return found


def reversed_channels(table: Table) -> Table:
    """Channels in the opposite order."""
    return table | {"channel": table["channel"][::-1]}


def reversed_feed(table: Table) -> Table:
    """Feed parts in the opposite order."""
    return table | {"feed": table["feed"][::-1]}


def reversed_tables(table: Table) -> Table:
    """Types of igniters and switches, and loads, in the opposite order."""
    kinds = {key: dict(reversed(table[key].items())) for key in ("igniter", "mosfet")}
    return table | kinds | {"load": table.get("load", [])[::-1]}


def renamed(table: Table) -> Table:
    """Every name another one, with dots, brackets and spaces; channel NAME becomes "NAME [1]. x"."""
    found = copy.deepcopy(table)
    for key in ("igniter", "mosfet"):
        found[key] = {f"{name}.{key}": value for name, value in found[key].items()}
    for channel in found["channel"]:
        channel["name"] += " [1]. x"
        channel["igniters"] = [[f"{kind}.igniter" for kind in string] for string in channel["igniters"]]
        channel["mosfet"] += ".mosfet"
    for part in [*found["feed"], *found.get("load", [])]:
        part["name"] = f"lead {part['name']}.1"
    return found


_UNITS = {
    "V": ("mV", 1000), "mV": ("V", "0.001"), "kohm": ("ohm", 1000), "ohm": ("mohm", 1000), "mohm": ("ohm", "0.001"),
    "Mohm": ("kohm", 1000), "A": ("mA", 1000), "mA": ("A", "0.001"), "uA": ("nA", 1000), "nA": ("uA", "0.001"),
    "s": ("ms", 1000), "ms": ("s", "0.001"), "us": ("ns", 1000), "m": ("mm", 1000), "uF": ("nF", 1000),
    "nF": ("pF", 1000), "pF": ("nF", "0.001"), "mF": ("uF", 1000), "mJ": ("uJ", 1000), "J": ("mJ", 1000),
    "mAh": ("Ah", "0.001"), "mV/K": ("V/K", "0.001"),
}  # fmt: skip
_NUMBER = r"[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?"
_QUANTITY = re.compile(
    rf"{_NUMBER}(?: ?[A-Za-z%][A-Za-z/0-9^ ]*?)?(?: ?(?:\.\.|±|\+/-) ?{_NUMBER}(?: ?[A-Za-z%][A-Za-z/0-9^ ]*?)?)*"
)


def _in_other_units(text: str) -> str:
    if not _QUANTITY.fullmatch(text):
        return text
    units = re.findall(rf"{_NUMBER} ?([A-Za-z][A-Za-z/]*)", text)
    last = units[-1] if units else ""

    def written(found: re.Match[str]) -> str:
        number, unit = Decimal(found[1]), found[2] or last
        if unit == "degC":
            return f"{number * 9 / 5 + 32} degF"
        other, factor = _UNITS.get(unit, (unit, 1))
        return f"{number * Decimal(factor)} {other}"

    return re.sub(rf"(?<![A-Za-z])({_NUMBER}) ?([A-Za-z%][A-Za-z/]*(?:\^2 s)?)?", written, text)


def other_units(value: Any) -> Any:
    """Every quantity in another unit: 9 V as 9000 mV, 20 degC as 68 degF."""
    if isinstance(value, dict):
        return {
            key: member if key in ("name", "title", "wire") else other_units(member) for key, member in value.items()
        }
    if isinstance(value, list):
        return [other_units(member) for member in value]
    return _in_other_units(value) if isinstance(value, str) else value


def split_feed(given: Description) -> Description:
    """Every feed part that is a resistance as two of half of it in series; a wire as two of half its length."""
    feed = []
    for part in given.feed:
        half: dict[str, Any] = {}
        if part.resistance is not None:
            half["resistance"] = part.resistance.times(0.5)
        if part.distance is not None:
            half["distance"] = part.distance.times(0.5)
        if not half:
            feed.append(part)
            continue
        rest = {"name": f"second half of {part.name}"} | ({} if part.kind == "wire" else {"kind": "resistor"})
        clean = (
            {}
            if part.kind == "wire"
            else {
                "edge": None,
                "rating": None,
                "melting_i2t": None,
                "hold_current": None,
                "trip_i2t": None,
                "derating": None,
            }
        )
        feed += [part.model_copy(update=half), part.model_copy(update=half | clean | rest)]
    return given.model_copy(update={"feed": feed})


def leaves(value: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Where the values with a tolerance stand in a description."""
    if isinstance(value, Toleranced):
        return [] if value.is_exact else [at]
    members: Any = ()
    if isinstance(value, BaseModel):
        members = ((name, getattr(value, name)) for name in sorted(value.model_fields_set))
    elif isinstance(value, dict):
        members = value.items()
    elif isinstance(value, (list, tuple)):
        members = enumerate(value)
    return [leaf for key, member in members for leaf in leaves(member, (*at, key))]


def widened(given: Any, at: tuple[Any, ...], share: float = 0.2) -> Any:
    """A description with one tolerance wider by a share; what may not fall to zero stays above it."""
    return _changed(given, at, lambda value: _wider(value, share))


def _wider(value: Toleranced, share: float) -> Toleranced:
    low = value.low - share * (value.nominal - value.low)
    if low <= 0.0 < value.low and value.unit != "degC":
        low = 0.5 * value.low
    high = value.high + share * (value.high - value.nominal)
    if value.low >= 0.0 > low and value.unit != "degC":
        low = 0.0
    if value.unit == "1":  # shares of a whole
        high = min(high, 1.0)
    return Toleranced(low=low, nominal=value.nominal, high=high, unit=value.unit, distribution=value.distribution)


def _changed(value: Any, at: tuple[Any, ...], change: Callable[[Any], Any]) -> Any:
    if not at:
        return change(value)
    key, rest = at[0], at[1:]
    if isinstance(value, BaseModel):
        return value.model_copy(update={key: _changed(getattr(value, key), rest, change)})
    if isinstance(value, dict):
        return value | {key: _changed(value[key], rest, change)}
    return type(value)(_changed(member, rest, change) if i == key else member for i, member in enumerate(value))


def stronger(given: Description) -> Description:
    """A battery of a tenth more voltage behind a fifth less resistance, or a fuller one of more cells side by side."""
    battery = given.battery
    changes: dict[str, Any] = {}
    for name, factor in (("open_circuit_voltage", 1.1), ("resistance", 0.8), ("cell_resistance", 0.8)):
        value = getattr(battery, name)
        if value is not None:
            changes[name] = value.times(factor)
    if battery.readings is not None:
        raised = {name: getattr(battery.readings, name).times(1.1) for name in ("open", "loaded")}
        changes["readings"] = battery.readings.model_copy(update=raised)
    return given.model_copy(update={"battery": battery.model_copy(update=changes)})
