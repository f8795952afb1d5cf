"""A circuit with some of its file's values changed."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from ignition.circuit.file import circuit_of_table
from ignition.circuit.mistakes import KeyPath, dotted
from ignition.circuit.model import Circuit
from ignition.errors import InputError, did_you_mean

__all__ = ["key_path", "key_word", "table_of", "with_values"]

_WORD = re.compile(r"""("[^"]+"|'[^']+')|\[(\d+)\]|([^.\[\]"'][^.\[\]"]*)""")
_KEY = re.compile(rf"(?:{_WORD.pattern})(?:\[\d+\]|\.(?:{_WORD.pattern}))*")


def with_values(circuit: Circuit, values: Mapping[str, Any]) -> Circuit:
    """Return a circuit as its file would make it with some values changed.

    The name says what is changed. Raises InputError for a key that does not exist, CircuitFileError with all mistakes
    that the changes make.

    Parameters
    ----------
    values : New value of each key, as the circuit file has it: text with a unit, number, list or table; None for a key
        that the file shall not give. A key is dotted; a member of a list stands by its place or by its name:
        ``channel[0].pulse``, ``channel.boosters.pulse``, ``igniter."type 1.b".bridge_resistance``, in either quotes

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> longer = with_values(circuit, {"channel.cutter.pulse": "3 s"})
    >>> longer.channels[0].pulse.nominal, longer.name
    (3.0, 'tether-cutter.toml with channel.cutter.pulse = 3 s')
    """
    if not values:
        return circuit
    table = table_of(circuit.given)
    for key, value in values.items():
        _put(table, key, value)
    changes = ", ".join(f"{key} = {'not given' if value is None else value}" for key, value in values.items())
    name = f"{circuit.name} with {changes}"
    digest = hashlib.sha256(f"{circuit.digest} {changes}".encode()).hexdigest()
    return circuit_of_table(table, name, digest, name)


def table_of(node: Any) -> Any:
    """Return what a description was given as tables and lists; values with units stay as they were read.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> str(table_of(load_example("tether-cutter").given)["channel"][0]["pulse"])
    '2 s'
    """
    if isinstance(node, BaseModel):
        return {name: table_of(getattr(node, name)) for name in node.model_fields_set}
    if isinstance(node, dict):
        return {name: table_of(member) for name, member in node.items()}
    if isinstance(node, tuple) and len(node) == 1:  # one value where several may stand
        return table_of(node[0])
    return [table_of(member) for member in node] if isinstance(node, list | tuple) else node


def key_path(key: str) -> KeyPath:
    """Read a dotted key.

    Raises InputError for text that is none.

    Examples
    --------
    >>> key_path('igniter."type 1.b".bridge_resistance'), key_path("feed[0].resistance")
    (('igniter', 'type 1.b', 'bridge_resistance'), ('feed', 0, 'resistance'))
    """
    if not _KEY.fullmatch(key):
        raise InputError(
            f"{key!r} is no key; write for example channel[0].pulse, channel.NAME.pulse, battery.resistance"
        )
    return tuple(int(place) if place else quoted[1:-1] or plain for quoted, place, plain in _WORD.findall(key))


def key_word(name: str) -> str:
    """Write a user's name as a word of a dotted key: in quotes where it holds what a key is written with.

    Examples
    --------
    >>> key_word("type 1.b"), key_word("boosters")
    ('"type 1.b"', 'boosters')
    """
    if '"' in name:
        return f"'{name}'"
    return f'"{name}"' if set(name) & set(".[]=") or name.startswith("'") else name


def _put(table: Any, key: str, value: Any) -> None:
    """Change one value in place; tables on the way to it are made."""
    path, node = key_path(key), table
    for depth, word in enumerate(path[:-1]):
        place = _place(node, word, path[:depth], key)
        if isinstance(node, dict) and node.get(place) is None:
            node[place] = {}
        node = node[place]
    last = _place(node, path[-1], path[:-1], key)
    if value is not None:
        node[last] = value
    elif isinstance(node, dict) and last not in node:
        raise InputError(f"{key}: the file does not give it")
    else:
        del node[last]


def _place(node: Any, word: str | int, above: KeyPath, key: str) -> Any:
    """Where a word of a key stands in a table or list."""
    where = dotted(above) or "the file"
    if isinstance(node, dict) and isinstance(word, str):
        return word
    if isinstance(node, list) and isinstance(word, int):
        if word < len(node):
            return word
        raise InputError(f"{key}: {where} has {len(node)} members, counted from 0")
    if isinstance(node, list):
        names = [member.get("name") if isinstance(member, dict) else None for member in node]
        if word in names:
            return names.index(word)
        known = [name for name in names if name is not None]
        offered = did_you_mean(str(word), known) or f"there are: {', '.join(known) or 'none with a name'}"
        raise InputError(f"{key}: {where} has no member {word!r}; {offered}")
    raise InputError(f"{key}: {where} is one value and has no parts")
