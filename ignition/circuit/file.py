"""Circuit files: TOML in, a complete circuit or a list of all mistakes out; and the JSON Schema of the format."""

from __future__ import annotations

import difflib
import hashlib
import tomllib
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from ignition.circuit.complete import complete
from ignition.circuit.description import Description
from ignition.circuit.lines import key_lines, line_of
from ignition.circuit.model import Circuit
from ignition.errors import CircuitFileError, InputError, Mistake

__all__ = ["MAX_BYTES", "json_schema", "load_circuit", "parse_circuit"]

MAX_BYTES = 1_000_000
"""Largest circuit file accepted [byte]; a real one has a few thousand."""

_Path = tuple[str | int, ...]


def load_circuit(path: str | Path) -> Circuit:
    """Read a circuit file.

    Parameters
    ----------
    path : str or Path
        The TOML file.

    Returns
    -------
    Circuit
        The complete circuit, its assumptions recorded.

    Raises
    ------
    InputError
        When the file cannot be read at all.
    CircuitFileError
        With all mistakes of the file, each with line, key and what to write instead.

    Examples
    --------
    >>> load_circuit("/no/such/pad.toml")
    Traceback (most recent call last):
    ...
    ignition.errors.InputError: /no/such/pad.toml does not exist; write an example to start from: ignition example /no/such/pad.toml
    """
    file = Path(path)
    try:
        size = file.stat().st_size
        if file.is_dir():
            raise InputError(f"{path} is a folder; name a circuit file, or write one: ignition example pad.toml")
        if not file.is_file():
            raise InputError(f"{path} is not an ordinary file; name a circuit file")
        if size > MAX_BYTES:
            raise InputError(f"{path} has {size} bytes; a circuit file has at most {MAX_BYTES}")
        raw = file.read_bytes()
    except FileNotFoundError:
        raise InputError(f"{path} does not exist; write an example to start from: ignition example {path}") from None
    except (OSError, ValueError) as error:
        raise InputError(f"{path} cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if b"\0" in raw:
        raise InputError(f"{path} is a binary file; a circuit file is TOML text in UTF-8")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise InputError(
            f"{path}:{line}: is not UTF-8 text (byte {raw[error.start]:#04x}); save the file as UTF-8"
        ) from None
    return parse_circuit(text, name=file.name, shown=str(path))


def parse_circuit(text: str, name: str = "circuit", shown: str | None = None) -> Circuit:
    """Read a circuit from TOML text.

    Parameters
    ----------
    text : str
        The file's text.
    name : str
        File name that results echo.
    shown : str, optional
        Path for messages; the name by default.

    Returns
    -------
    Circuit
        The complete circuit.

    Raises
    ------
    CircuitFileError
        With all mistakes of the text.

    Examples
    --------
    >>> from ignition.circuit.examples import example_text
    >>> parse_circuit(example_text("tether-cutter")).title
    'Fennmark balloon tether cutter'
    """
    shown = name if shown is None else shown
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # ValueError: TOML's own, and a number of thousands of digits
        raise CircuitFileError(shown, (_syntax_mistake(error),)) from None
    lines = key_lines(text)
    found: list[tuple[_Path, str]] = []
    description: Description | None = None
    try:
        description = Description.model_validate(table)
    except ValidationError as error:
        found += [_translate(entry, table) for entry in error.errors(include_url=False)]
    found += _cross_checks(table)
    if description is not None and not found:
        circuit, problems = complete(description, name, hashlib.sha256(text.encode()).hexdigest())
        if circuit is not None:
            return circuit
        found += [(_path_of(key), message) for key, message in problems]
    mistakes = {Mistake(key=_dotted(path), line=line_of(lines, path), message=message): None for path, message in found}
    raise CircuitFileError(shown, tuple(sorted(mistakes, key=lambda m: (m.line or 0, m.key))))


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of the circuit file, for editors that complete it.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12.

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


def _syntax_mistake(error: Exception) -> Mistake:
    message = str(error)
    line: int | None = None
    if "(at line " in message:
        line = int(message.split("(at line ")[1].split(",")[0])
    return Mistake(key="", line=line, message=f"is not TOML: {message}")


def _dotted(path: _Path) -> str:
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def _path_of(key: str) -> _Path:
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


def _translate(entry: Any, table: dict[str, Any]) -> tuple[_Path, str]:
    """One pydantic error as path and message in the words of this format."""
    location = tuple(entry["loc"])
    path = _real_path(location, table)
    kind, value = entry["type"], entry.get("input")
    if kind == "extra_forbidden":
        return path, _unknown_key(path)
    if kind == "missing":
        return path, f"is missing; {_hint(path)}"
    if kind == "value_error":
        return path, str(entry["ctx"]["error"])
    if kind == "literal_error":
        near = difflib.get_close_matches(str(value), str(entry["ctx"]["expected"]).replace("'", "").split(", "), n=1)
        offered = f"; did you mean {near[0]!r}?" if near else ""
        return path, f"must be {entry['ctx']['expected']}; received {_short(value)}{offered}"
    return path, f"{entry['msg'][0].lower()}{entry['msg'][1:]}; received {_short(value)}"


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _real_path(location: tuple[Any, ...], table: Any) -> _Path:
    """Drop the branch names that pydantic adds for unions; they are not in the file."""
    path: list[str | int] = []
    node: Any = table
    for part in location:
        if isinstance(node, dict) and isinstance(part, str):
            path.append(part)
            node = node.get(part)
        elif isinstance(node, list) and isinstance(part, int):
            path.append(part)
            node = node[part] if part < len(node) else None
    return tuple(path)


def _model_at(path: _Path) -> type[BaseModel] | None:
    """Model class of the table that a path names."""
    model: Any = Description
    for position, part in enumerate(path):
        if isinstance(part, int) or (position == 1 and path[0] in ("igniter", "mosfet")):
            continue  # a position, or a name given by the user
        if isinstance(model, type) and issubclass(model, BaseModel):
            field = model.model_fields.get(part)
            if field is None:
                return None
            model = _inner_model(field.annotation)
    return model if isinstance(model, type) and issubclass(model, BaseModel) else None


def _inner_model(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        inner = _inner_model(argument)
        if inner is not None:
            return inner
    return None


def _unknown_key(path: _Path) -> str:
    key = str(path[-1])
    parent = path[:-1]
    if len(parent) == 1 and parent[0] in ("igniter", "mosfet"):
        return "unknown key"
    model = _model_at(parent)
    known = sorted(model.model_fields) if model else []
    near = difflib.get_close_matches(key, known, n=1, cutoff=0.4)
    where = f"[{_dotted(parent)}]" if parent else "the file"
    offered = f"did you mean {near[0]!r}?" if near else f"known there: {', '.join(known)}"
    return f"unknown key {key!r} in {where}; {offered}"


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
    "powered_by": "write powered_by = 'before arm switch' or 'after arm switch'",
}


def _hint(path: _Path) -> str:
    key = str(path[-1])
    return _HINTS.get(key, f"write {key} = ...")


def _cross_checks(table: dict[str, Any]) -> list[tuple[_Path, str]]:
    """Rules between tables, on the raw values so that they are checked even where a value is wrong."""
    found: list[tuple[_Path, str]] = []
    feed = [part if isinstance(part, dict) else {} for part in _list(table, "feed")]
    channels = [c if isinstance(c, dict) else {} for c in _list(table, "channel")]
    switches = [i for i, part in enumerate(feed) if part.get("kind") == "arm switch"]
    if feed and len(switches) != 1:
        where: _Path = ("feed", switches[1], "kind") if len(switches) > 1 else ("feed",)
        found.append((where, f"exactly one feed part is the arm switch; received {len(switches)}"))
    for name, members in (("feed", feed), ("channel", channels), ("load", _list(table, "load"))):
        found += _duplicates(name, members)
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
    found += _preset_mistakes(table)
    return found


_RESERVED = ("bank", "battery", "controller", "feed", "load")
"""First words of the names of elements and values that belong to no channel."""


def _preset_mistakes(table: dict[str, Any]) -> list[tuple[_Path, str]]:
    from ignition.rules.presets import preset_names

    rules = table.get("rules")
    presets = rules.get("presets") if isinstance(rules, dict) else None
    known = preset_names()
    return [
        (("rules", "presets"), _unknown("preset", preset, set(known), ""))
        for preset in (presets if isinstance(presets, list) else [])
        if isinstance(preset, str) and preset not in known
    ]


def _list(table: dict[str, Any], key: str) -> list[Any]:
    value = table.get(key)
    return value if isinstance(value, list) else []


def _names(table: dict[str, Any], key: str) -> set[str] | None:
    value = table.get(key)
    return set(value) if isinstance(value, dict) else None


def _unknown(what: str, name: str, known: set[str], where: str) -> str:
    near = difflib.get_close_matches(name, sorted(known), n=1, cutoff=0.4)
    offered = f"did you mean {near[0]!r}?" if near else f"there are: {', '.join(sorted(known)) or 'none'}"
    return f"unknown {what} {name!r}{' in ' + where if where else ''}; {offered}"


def _duplicates(key: str, members: list[Any]) -> list[tuple[_Path, str]]:
    seen: dict[str, int] = {}
    found: list[tuple[_Path, str]] = []
    for index, member in enumerate(members):
        name = member.get("name") if isinstance(member, dict) else None
        if not isinstance(name, str):
            continue
        if name in seen:
            found.append(((key, index, "name"), f"name {name!r} stands twice; names of one kind must differ"))
        seen[name] = index
    return found
