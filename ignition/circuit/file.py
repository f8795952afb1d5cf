"""Circuit files: TOML in, a complete circuit or a list of all mistakes out; and the JSON Schema of the format."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

from ignition.circuit.complete import complete
from ignition.circuit.description import FAULT_PLACES, RULE_NAMES, Description
from ignition.circuit.mistakes import KeyPath, read_table, read_text, read_toml, report
from ignition.circuit.model import Circuit
from ignition.circuit.other_files import NETLIST, is_netlist_name, refuse_netlist
from ignition.errors import CircuitFileError, did_you_mean

__all__ = ["MAX_BYTES", "circuit_of_table", "json_schema", "limit_mistakes", "load_circuit", "parse_circuit"]

MAX_BYTES = 1_000_000
"""Largest circuit file accepted [byte]; a real one has a few thousand."""


def load_circuit(path: str | Path) -> Circuit:
    """Read a circuit file.

    Raises InputError when the file cannot be read at all. Raises CircuitFileError with all mistakes of the file, each
    with line, key and what to write instead.

    Examples
    --------
    >>> load_circuit("none.toml")
    Traceback (most recent call last):
    ...
    ignition.errors.InputError: none.toml does not exist; write an example to start from: ignition example none.toml
    """
    name = f"{NETLIST} {path}" if is_netlist_name(path) else path
    text = read_text(path, "circuit file", MAX_BYTES, f"write an example to start from: ignition example {name}")
    refuse_netlist(path, text, "circuit file")
    return parse_circuit(text, name=Path(path).name, shown=str(path))


def parse_circuit(text: str, name: str = "circuit", shown: str | None = None) -> Circuit:
    """Read a circuit from TOML text.

    Raises CircuitFileError with all mistakes of the text.

    Parameters
    ----------
    shown : Path for messages; the name by default

    Examples
    --------
    >>> from ignition.circuit.examples import example_text
    >>> parse_circuit(example_text("tether-cutter")).title
    'Fennmark balloon tether cutter'
    """
    shown = name if shown is None else shown
    description, _ = read_toml(text, Description, shown, _HINTS, _cross_checks)
    digest = hashlib.sha256(text.encode()).hexdigest()
    circuit = _completed(description, name, digest, lambda found: report(shown, text, found))
    return replace(circuit, file=(shown, text))


def circuit_of_table(table: dict[str, Any], name: str, digest: str, shown: str) -> Circuit:
    """Make a circuit of a table that no text stands for.

    Raises CircuitFileError with all mistakes of the table.

    Parameters
    ----------
    table : Keys and values as a file has them; a value with its unit may be read already
    shown : What the table is, for messages

    Examples
    --------
    >>> import tomllib
    >>> from ignition.circuit.examples import example_text
    >>> circuit_of_table(tomllib.loads(example_text("tether-cutter")), "tether", "", "tether").title
    'Fennmark balloon tether cutter'
    """

    def wrong(found: list[tuple[KeyPath, str]]) -> CircuitFileError:
        return report(shown, "", found)

    return _completed(read_table(table, Description, _HINTS, _cross_checks, wrong), name, digest, wrong)


def _completed(
    description: Description, name: str, digest: str, wrong: Callable[[list[tuple[KeyPath, str]]], CircuitFileError]
) -> Circuit:
    circuit, problems = complete(description, name, digest)
    if circuit is None:
        raise wrong([(_path_of(key), message) for key, message in problems])
    return circuit


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of the circuit file, for editors that complete it.

    Examples
    --------
    >>> json_schema()["title"]
    'ignition circuit file, format 1'
    """
    schema = Description.model_json_schema()
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "ignition circuit file, format 1",
    }


def _path_of(key: str) -> KeyPath:
    head, _, name = key.partition(".")
    if head in ("igniter", "mosfet"):
        return head, name  # a user's name, which may hold dots and brackets
    parts: list[str | int] = []
    for part in key.split("."):
        name, _, index = part.partition("[")
        parts.append(name)
        if index:
            parts.append(int(index.rstrip("]")))
    return tuple(parts)


_HINTS = {
    "format": "write format = 1",
    "title": 'write title = "..."',
    "battery": "write a [battery] table with chemistry, open_circuit_voltage or readings",
    "feed": "write at least one [[feed]] part with kind = 'arm switch'",
    "controller": "write a [controller] table with powered_by and supply",
    "igniter": "write an [igniter.NAME] table",
    "mosfet": "write a [mosfet.NAME] table",
    "channel": "write at least one [[channel]]",
    "adc": "write [controller.adc] with bits and reference",
    "gate": "write gate = { series = '100 ohm', pull_down = '10 kohm' }",
    "sense": "write sense = { upper = '100 kohm ± 1 %', lower = '33 kohm ± 1 %' }",
    "lead": "write lead = { wire = 'AWG 20', distance = '8 m', joints = '40 mohm' }",
    "pulse": "write pulse = '500 ms'",
    "around": "write around = '100 kohm', or around = 'none' where no resistor lies around the contact",
    "powered_by": "write powered_by = 'before arm switch' or 'after arm switch'",
}


def limit_mistakes(table: dict[str, Any]) -> list[tuple[KeyPath, str]]:
    """Return what is wrong between the limits of one's own in [rules], on the raw values.

    Examples
    --------
    >>> limit_mistakes({"rules": {"limit": [{"name": "mine"}]}})
    []
    """
    rules = table.get("rules")
    limits = _list(rules, "limit") if isinstance(rules, dict) else []
    found = _duplicates(("rules", "limit"), limits)
    for index, limit in enumerate(limits):
        if isinstance(limit, dict) and limit.get("name") in RULE_NAMES:
            where: KeyPath = ("rules", "limit", index, "name")
            found.append((where, f"{limit['name']!r} names a rule that is shipped; give the limit another name"))
    return found


def _cross_checks(table: dict[str, Any]) -> list[tuple[KeyPath, str]]:
    """Rules between tables, on the raw values so that they are checked even where a value is wrong."""
    found: list[tuple[KeyPath, str]] = []
    feed = [part if isinstance(part, dict) else {} for part in _list(table, "feed")]
    channels = [c if isinstance(c, dict) else {} for c in _list(table, "channel")]
    switches = [i for i, part in enumerate(feed) if part.get("kind") == "arm switch"]
    if feed and len(switches) != 1:
        where: KeyPath = ("feed", switches[1] if len(switches) > 1 else 0, "kind")
        found.append((where, f"exactly one feed part is the arm switch; received {len(switches)}"))
    for name, members in (("feed", feed), ("channel", channels), ("load", _list(table, "load"))):
        found += _duplicates((name,), members)
    found += limit_mistakes(table)
    found += _taken_names(table, channels)
    own = table.get("faults")
    added = _list(own, "add") if isinstance(own, dict) else []
    found += _duplicates(("faults", "add"), added)
    battery = table.get("battery")
    bank = ["bank"] if isinstance(battery, dict) and "capacitor_bank" in battery else []
    places = ["battery", *bank, "bus", "ground"]
    lines = [c["name"] for c in channels if isinstance(c.get("name"), str)]
    places += [f"{name}.{where}" for name in lines for where in FAULT_PLACES]
    for index, one in enumerate(added):
        ends = one.get("between") if isinstance(one, dict) else None
        if isinstance(ends, list) and len(ends) == 2 and ends[0] == ends[1]:
            found.append((("faults", "add", index, "between"), f"both ends are {ends[0]!r}; name two places"))
    connectors = _list(own, "connector") if isinstance(own, dict) else []
    found += _duplicates(("faults", "connector"), connectors)
    for list_name, key, members in (("add", "between", added), ("connector", "pins", connectors)):
        for index, one in enumerate(members):
            named = one.get(key, []) if isinstance(one, dict) else []
            for position, place in enumerate(named if isinstance(named, list) else []):
                if isinstance(place, str) and place not in places:
                    said = f"there is no place {place!r}; there are: {', '.join(places)}"
                    found.append((("faults", list_name, index, key, position), said))
    igniters, mosfets = _names(table, "igniter"), _names(table, "mosfet")
    for index, channel in enumerate(channels):
        if channel.get("name") in _RESERVED:
            found.append(
                (
                    ("channel", index, "name"),
                    f"{channel['name']!r} names another part of the circuit; give the channel another name",
                )
            )
        for s, string in enumerate(channel.get("igniters", []) if isinstance(channel.get("igniters"), list) else []):
            for p, kind in enumerate(string if isinstance(string, list) else []):
                if isinstance(kind, str) and igniters is not None and kind not in igniters:
                    found.append(
                        (
                            ("channel", index, "igniters"),
                            _unknown("igniter", kind, igniters, f"string {s + 1}, position {p + 1}"),
                        )
                    )
        mosfet = channel.get("mosfet")
        if isinstance(mosfet, str) and mosfets is not None and mosfet not in mosfets:
            found.append((("channel", index, "mosfet"), _unknown("mosfet", mosfet, mosfets, "")))
    return found


def _taken_names(table: dict[str, Any], channels: list[dict[str, Any]]) -> list[tuple[KeyPath, str]]:
    """Names of feed parts and channels by which elements or faults of other parts go."""
    found: list[tuple[KeyPath, str]] = []
    owners = [c["name"] for c in channels if isinstance(c.get("name"), str)]
    parts = [part.get("name") if isinstance(part, dict) else None for part in _list(table, "feed")]
    for index, name in enumerate(parts):
        if not isinstance(name, str):
            continue
        owner = next((one for one in owners if name.startswith(f"{one}.")), None)
        shorted = name.removesuffix(" short")
        says = None
        if owner is not None:  # those of a channel begin with its name and a dot
            says = f"{name!r} is a name of a part of channel {owner!r}, as all are that begin with {owner + '.'!r}"
        elif name in _SUPPLY_PARTS:
            says = f"{name!r} names another part of the circuit"
        elif name != shorted and shorted in parts:
            says = f"{name!r} is what a short across feed part {shorted!r} is called"
        if says is not None:
            found.append((("feed", index, "name"), f"{says}; give the feed part another name"))
    return found + _like_pairs(channels)


def _like_pairs(channels: list[dict[str, Any]]) -> list[tuple[KeyPath, str]]:
    """Channels of which two pairs read alike: 'a' with 'b and c', and 'a and b' with 'c'."""
    found: list[tuple[KeyPath, str]] = []
    named = {c["name"]: index for index, c in enumerate(channels) if isinstance(c.get("name"), str)}
    seen: set[str] = set()
    for one, other in combinations(named, 2):
        pair = f"{one} and {other}"
        if pair in seen:
            says = f"{pair!r} may be two of the channels or another two; give the channel another name"
            found.append((("channel", named[other], "name"), says))
        seen.add(pair)
    return found


_SUPPLY_PARTS = ("bank", "capacitor bank", "controller", "recharge", "recharge resistor", "regulator")
"""Parts beside the feed, and before every channel, that have elements or faults of their own."""

_RESERVED = ("bank", "battery", "bus", "controller", "feed", "load")
"""First words of the names of elements and values that belong to no channel."""


def _list(table: dict[str, Any], key: str) -> list[Any]:
    value = table.get(key)
    return value if isinstance(value, list) else []


def _names(table: dict[str, Any], key: str) -> set[str] | None:
    value = table.get(key)
    return set(value) if isinstance(value, dict) else None


def _unknown(what: str, name: str, known: set[str], where: str) -> str:
    offered = did_you_mean(name, known) or f"there are: {', '.join(sorted(known)) or 'none'}"
    return f"unknown {what} {name!r}{' in ' + where if where else ''}; {offered}"


def _duplicates(key: KeyPath, members: list[Any]) -> list[tuple[KeyPath, str]]:
    seen: dict[str, int] = {}
    found: list[tuple[KeyPath, str]] = []
    for index, member in enumerate(members):
        name = member.get("name") if isinstance(member, dict) else None
        if not isinstance(name, str):
            continue
        if name in seen:
            found.append(((*key, index, "name"), f"name {name!r} stands twice; names of one kind must differ"))
        seen[name] = index
    return found
