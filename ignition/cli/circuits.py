"""A circuit file as a verb gets it: read, and with what the command line changes."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ignition.errors import InputError

if TYPE_CHECKING:
    from ignition.circuit.model import Circuit

__all__ = ["changed_values", "load", "refuse_changes"]

_CHANGE = re.compile(r"""((?:(?:^|(?<=\.))(?:"[^"]*"|'[^']*')|[^=])*?)=(.*)""", re.DOTALL)
"""A key and a value; a name in quotes within the key may have an equals sign too."""


def load(file: Path, changes: Sequence[str] | None) -> Circuit:
    """Read a circuit file and change some of its values.

    Raises InputError and CircuitFileError as `load_circuit` and `with_values` do.

    Parameters
    ----------
    changes : ``KEY=VALUE`` each
    """
    from ignition.circuit.file import load_circuit

    circuit = load_circuit(file)
    return circuit.with_values(changed_values(changes)) if changes else circuit


def changed_values(changes: Sequence[str]) -> dict[str, Any]:
    """Read changes: a value is TOML where it is that, else text; an empty one takes the key away.

    Raises InputError for a change without a key, and for a key that is changed twice.

    Examples
    --------
    >>> changed_values(["battery.resistance=80 mohm", "controller.adc.bits=10", "channel[0].second="])
    {'battery.resistance': '80 mohm', 'controller.adc.bits': 10, 'channel[0].second': None}
    """
    found: dict[str, Any] = {}
    for change in changes:
        parts = _CHANGE.fullmatch(change)
        key, text = (part.strip() for part in parts.groups()) if parts else ("", "")
        if not key:
            raise InputError(f"--set takes KEY=VALUE, for example battery.resistance='80 mohm'; received {change!r}")
        if key in found:
            raise InputError(f"--set {key} stands twice; give each key once")
        found[key] = _value(text)
    return found


def _value(text: str) -> Any:
    if not text:
        return None
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except (ValueError, KeyError):
        return text


def refuse_changes(changes: Sequence[str] | None) -> None:
    """Refuse changes of a netlist.

    Raises InputError where there are any.

    Examples
    --------
    >>> refuse_changes(None)
    """
    if changes:
        raise InputError("--set changes a circuit file; change a netlist's values in the netlist or its role file")
